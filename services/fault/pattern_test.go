package fault

import (
	"strings"
	"testing"
)

func TestPatternWords(t *testing.T) {
	const id, name = `^[a-z0-9_-]{1,64}$`, `^[0-9A-Za-z.'_-]{1,16}$`
	for title, c := range map[string]struct{ value, pattern, want string }{
		"a space":          {"P 1", id, `"P 1" has characters that aren't allowed; allowed are a-z, 0-9, _ and -`},
		"nothing":          {"", id, "is missing; write 1 to 64 characters out of a-z, 0-9, _ and -"},
		"too long":         {strings.Repeat("a", 65), id, `"` + strings.Repeat("a", 65) + `" has 65 characters; at most 64 are allowed`},
		"a slash":          {"1/2", name, `"1/2" has characters that aren't allowed; allowed are 0-9, A-Z, a-z, ., ', _ and -`},
		"a day":            {"2031-5-4", datePattern, `"2031-5-4" is not how a day is written; write it as 2031-05-04`},
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
