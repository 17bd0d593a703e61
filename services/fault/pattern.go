package fault

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// characterClass is the form of nearly all patterns in the protos: so many characters of a class.
var characterClass = regexp.MustCompile(`^\^\[([^\]]+)\]\{(\d+),(\d+)\}\$$`)

// datePattern is that of the protos' effective_date.
const datePattern = `^([0-9]{4}-[0-9]{2}-[0-9]{2})?$`

// currencyPattern is that of a currency in google.type.Money and of the protos' currency; thingPattern that of a thing.
const (
	currencyPattern = `^[A-Z]{3}$`
	thingPattern    = `^[a-z]{1,16}/[a-z0-9_-]{1,64}$`
)

// problemWords says in words what is wrong with a field. What no words are known for stays as protovalidate says it,
// without its "value".
func problemWords(v *protovalidate.Violation, said string) string {
	valued := v.FieldValue.IsValid() && v.RuleValue.IsValid()
	switch id := v.Proto.GetRuleId(); {
	case id == "string.pattern" && valued:
		return patternWords(v.FieldValue.String(), v.RuleValue.String())
	case id == "required", id == "string.min_len" && v.FieldValue.IsValid() && v.FieldValue.String() == "":
		return "is missing"
	case id == "string.max_len" && valued:
		return fmt.Sprintf("has %d characters; at most %d are allowed", utf8.RuneCountInString(v.FieldValue.String()), v.RuleValue.Uint())
	case id == "repeated.min_items" && valued:
		return fmt.Sprintf("are %d; at least %d are needed", v.FieldValue.List().Len(), v.RuleValue.Uint())
	case id == "repeated.max_items" && valued:
		return fmt.Sprintf("are %d; at most %d are allowed", v.FieldValue.List().Len(), v.RuleValue.Uint())
	case strings.HasPrefix(id, "enum.") && v.FieldDescriptor != nil && v.FieldDescriptor.Enum() != nil:
		return "is not answered; it is one of " + choices(v.FieldDescriptor.Enum())
	}
	return strings.TrimPrefix(strings.TrimPrefix(said, "value "), "length ")
}

// choices lists an enumeration's values as people say them.
func choices(e protoreflect.EnumDescriptor) string {
	prefix := strings.TrimSuffix(string(e.Values().ByNumber(0).Name()), "UNSPECIFIED")
	var all []string
	for i := range e.Values().Len() {
		if value := e.Values().Get(i); value.Number() != 0 {
			all = append(all, strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(value.Name()), prefix), "_", " ")))
		}
	}
	return strings.Join(all, ", ")
}

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
	if pattern == currencyPattern {
		return fmt.Sprintf("%q is not how a currency is written; write its three letters in capitals, such as AUD", shown)
	}
	if pattern == thingPattern {
		return fmt.Sprintf("%q is not how a thing is named; write its kind, / and its id, such as parcel/ID, stone/ID or order/ID", shown)
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
