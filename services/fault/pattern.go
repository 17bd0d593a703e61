package fault

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"
)

// characterClass is the form of nearly all patterns in the protos: so many characters of a class.
var characterClass = regexp.MustCompile(`^\^\[([^\]]+)\]\{(\d+),(\d+)\}\$$`)

// datePattern is that of the protos' effective_date.
const datePattern = `^([0-9]{4}-[0-9]{2}-[0-9]{2})?$`

// patternWords says in words what is wrong with a value that a pattern of the protos refuses: people write ids and names,
// not regular expressions.
func patternWords(value, pattern string) string {
	shown := value
	if utf8.RuneCountInString(shown) > 80 {
		shown = string([]rune(shown)[:80]) + "…"
	}
	if pattern == datePattern {
		return fmt.Sprintf("%q is not how a day is written; write it as 2031-05-04", shown)
	}
	m := characterClass.FindStringSubmatch(pattern)
	if m == nil {
		return fmt.Sprintf("%q does not have this field's form", shown)
	}
	allowed := classWords(m[1])
	most, _ := strconv.Atoi(m[3]) // digits, by the expression
	switch n := utf8.RuneCountInString(value); {
	case n == 0:
		return fmt.Sprintf("is missing; write %s to %s characters out of %s", m[2], m[3], allowed)
	case n > most && regexp.MustCompile(`^[`+m[1]+`]+$`).MatchString(value):
		return fmt.Sprintf("%q has %d characters; at most %d are allowed", shown, n, most)
	}
	return fmt.Sprintf("%q has characters that aren't allowed; allowed are %s", shown, allowed)
}

// classWords lists what a character class without escapes allows: "a-z, 0-9, _ and -".
func classWords(class string) string {
	var parts []string
	for rest := class; rest != ""; {
		n := 1
		if len(rest) > 2 && rest[1] == '-' {
			n = 3
		}
		parts = append(parts, rest[:n])
		rest = rest[n:]
	}
	last := len(parts) - 1
	if last == 0 {
		return parts[0]
	}
	return strings.Join(parts[:last], ", ") + " and " + parts[last]
}
