package rule_test

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"seamshare.example/services/domain/rule"
)

func TestCatalogue(t *testing.T) {
	for _, r := range rule.Reasons() {
		if !regexp.MustCompile(`^[A-Z][A-Z0-9_]*[A-Z0-9]$`).MatchString(string(r)) { // AIP-193
			t.Errorf("%q is not in UPPER_SNAKE_CASE", r)
		}
	}
}

func TestAll(t *testing.T) {
	invalid := rule.Broken{Reason: rule.MassInvalid, Field: "mass_ug", Value: "-1", Rule: "a mass is above zero", Hint: "weigh it"}
	state := rule.Broken{Reason: rule.NoDeal, Field: "parcel_id", Rule: "there is no deal", Hint: "make one"}

	t.Run("OK: nothing broken is no error", func(t *testing.T) {
		if err := (rule.All{}).Err(); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("OK: found through wrapping, one or several", func(t *testing.T) {
		for _, err := range []error{invalid, rule.All{invalid}, fmt.Errorf("couldn't list: %w", rule.All{invalid})} {
			if got, ok := rule.Of(err); !ok || got[0] != invalid {
				t.Errorf("got %v of %v", got, err)
			}
			var one rule.Broken
			if !errors.As(err, &one) || one != invalid {
				t.Errorf("errors.As finds %v in %v", one, err)
			}
		}
	})
	t.Run("OK: invalid input decides over a state that says no", func(t *testing.T) {
		all := rule.All{state, invalid}
		if all.Kind() != rule.Invalid || all.First() != invalid {
			t.Errorf("kind %v, first %v", all.Kind(), all.First())
		}
	})
	t.Run("OK: merged below a path, and no field is blamed twice", func(t *testing.T) {
		all := rule.All{{Reason: rule.MassInvalid, Field: "pieces[2].weighing.mass_ug"}}
		if err := all.Merge("pieces[2]", rule.All{
			{Reason: rule.NotAnswered, Field: "weighing"}, {Reason: rule.NotAnswered, Field: "kind"},
		}); err != nil {
			t.Fatal(err)
		}
		if len(all) != 2 || all[1].Field != "pieces[2].kind" {
			t.Errorf("merged to %+v", all)
		}
	})
	t.Run("refused: merging what is no refusal", func(t *testing.T) {
		broken := errors.New("disk")
		var all rule.All
		if err := all.Merge("", broken); err != broken || len(all) != 0 {
			t.Errorf("got %v, %v", err, all)
		}
	})
	t.Run("OK: a long list says how much more there is", func(t *testing.T) {
		var all rule.All
		for range 400 {
			all.Add(invalid)
		}
		if text := all.Error(); len(text) > 1000 || !strings.HasSuffix(text, "; and 392 more") {
			t.Errorf("got %d characters: %.60s", len(text), text)
		}
	})
	t.Run("OK: the message names field, value, rule and what to do", func(t *testing.T) {
		if got, want := invalid.Error(), "mass_ug is -1: a mass is above zero; weigh it"; got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	})
}
