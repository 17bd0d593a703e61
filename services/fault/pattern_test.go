package fault

import (
	"strings"
	"testing"

	"buf.build/go/protovalidate"

	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
)

func TestPatternWords(t *testing.T) {
	const id, name = `^[a-z0-9_-]{1,64}$`, `^[0-9A-Za-z.'_-]{1,16}$`
	for title, c := range map[string]struct{ value, pattern, want string }{
		"a space":          {"P 1", id, `"P 1" has characters that aren't allowed; allowed are a-z, 0-9, _ and -`},
		"nothing":          {"", id, "is missing; write 1 to 64 characters out of a-z, 0-9, _ and -"},
		"too long":         {strings.Repeat("a", 65), id, `"` + strings.Repeat("a", 65) + `" has 65 characters; at most 64 are allowed`},
		"a slash":          {"1/2", name, `"1/2" has characters that aren't allowed; allowed are 0-9, A-Z, a-z, ., ', _ and -`},
		"a day":            {"2031-5-4", datePattern, `"2031-5-4" is not how a day is written; write it as 2031-05-04`},
		"a currency":       {"aud", currencyPattern, `"aud" is not how a currency is written; write its three letters in capitals, such as AUD`},
		"a thing":          {"01k", thingPattern, `"01k" is not how a thing is named; write its kind, / and its id, such as parcel/ID, stone/ID or order/ID`},
		"an unknown form":  {"x", `^(a|b)$`, `"x" does not have this field's form`},
		"a very long text": {strings.Repeat("a", 500), id, `"` + strings.Repeat("a", 80) + `…" has 500 characters; at most 64 are allowed`},
	} {
		t.Run(title, func(t *testing.T) {
			if got := patternWords(c.value, c.pattern); got != c.want {
				t.Errorf("says %s\nwant %s", got, c.want)
			}
		})
	}
}

// TestProblemWords: what the protos' own rules refuse is said as people say it.
func TestProblemWords(t *testing.T) {
	err := protovalidate.Validate(&minerv1.PublishParcelRequest{RequestId: "x", Label: strings.Repeat("P", 300)})
	said := map[string]string{}
	for _, f := range fromValidation(err).Fields {
		said[f.Path] = f.Problem
	}
	for path, want := range map[string]string{"treatment": "is not answered; it is one of none known, not known, oil", "total": "is missing", "label": "has 300 characters; at most"} {
		if !strings.HasPrefix(said[path], want) {
			t.Errorf("%s %q, want %q", path, said[path], want)
		}
	}
	for path, problem := range said {
		if strings.Contains(problem, "value") || strings.Contains(problem, "list") {
			t.Errorf("%s: %s", path, problem)
		}
	}
}
