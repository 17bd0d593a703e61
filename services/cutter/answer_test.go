package cutter

import (
	"errors"
	"testing"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

// What is written beyond what an answer holds is refused while it is written, and isn't kept.
func TestAnswerStopsAtItsLimit(t *testing.T) {
	var a answer
	chunk := make([]byte, 64_000)
	for {
		n, err := a.Write(chunk)
		if err == nil {
			continue
		}
		if n != 0 || len(a.data) != maxResult/len(chunk)*len(chunk) {
			t.Errorf("%d bytes are kept after %d of the last were", len(a.data), n)
		}
		ruletest.Refused(t, err, rule.KeepsTooMuch, "step")
		break
	}
	if n, err := a.Write(make([]byte, maxResult-len(a.data))); err != nil || len(a.data) != maxResult {
		t.Errorf("what just fits: got %d, %v", n, err)
	}
	if _, err := a.Write([]byte{0}); !errors.As(err, new(rule.Broken)) {
		t.Errorf("one byte more: got %v", err)
	}
}
