package member_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/member"
)

// Two names are folded alike just where the standard library's comparison by Unicode's simple case folding finds them equal.
func TestFolded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		// ſ folds to s, the Kelvin sign to k, three sigmas to one; İ and ı stay apart from i.
		name := rapid.StringOfN(rapid.SampledFrom([]rune("sSſkKK σςΣiİıßé É4\t")), 0, 4, -1)
		a, b := name.Draw(t, "a"), name.Draw(t, "b")
		plain := func(s string) string { return strings.Join(strings.Fields(s), " ") }
		if got, want := member.Folded(a) == member.Folded(b), strings.EqualFold(plain(a), plain(b)); got != want {
			t.Errorf("%q and %q: got %v, want %v", a, b, got, want)
		}
	})
}
