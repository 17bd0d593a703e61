package main

import (
	"reflect"
	"strings"
	"testing"
	"time"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

func TestTypedValues(t *testing.T) {
	t.Run("sizes", func(t *testing.T) {
		for _, typed := range []string{"12x9x3.0 mm", "12 × 9 × 3mm", " 12x9x3 mm "} {
			s, err := parseSize(typed)
			if err != nil || s.GetLengthUm() != 12_000 || s.GetWidthUm() != 9_000 || s.GetDepthUm() != 3_000 {
				t.Errorf("%q was read as %v (%v)", typed, s, err)
			}
		}
		for _, typed := range []string{"", "12x9x3", "12x9 mm", "12x9x3x1 mm", "axbxc mm", "1,2x9x3 mm", "-1x9x3 mm", "12x9x3 cm"} {
			if s, err := parseSize(typed); err == nil {
				t.Errorf("%q was read as %v", typed, s)
			}
		}
	})
	t.Run("areas", func(t *testing.T) {
		for typed, want := range map[string]int64{"108 mm2": 108_000_000, "0.5mm²": 500_000} {
			if got, err := parseArea(typed); err != nil || got != want {
				t.Errorf("%q was read as %d (%v)", typed, got, err)
			}
		}
		for _, typed := range []string{"108", "108 mm", "-1 mm2", "1e3 mm2", " mm2"} {
			if got, err := parseArea(typed); err == nil {
				t.Errorf("%q was read as %d", typed, got)
			}
		}
	})
	t.Run("parts", func(t *testing.T) {
		got, err := parseOuts("1A=9.24g, 1B=2 ct:offcut,1C=1g:shelf")
		want := []partOut{{"1A", 9_240_000, 0}, {"1B", 400_000, typev1.Fate_FATE_OFFCUT}, {"1C", 1_000_000, typev1.Fate_FATE_SHELF}}
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("read as %v (%v)", got, err)
		}
		for _, typed := range []string{"", "1A", "=1g", "1A=", "1A=9.24", "1A=1 oz", "1A=1g:bin", "1A=1g:stone", "1A=1g,,"} {
			if got, err := parseOuts(typed); err == nil {
				t.Errorf("%q was read as %v", typed, got)
			}
		}
	})
	t.Run("ends", func(t *testing.T) {
		for _, typed := range []string{"7 days", "1 day", "12 hours", "2 weeks", "3 months", "2100-05-04T17:00:00+10:00"} {
			got, err := parseEnds(typed)
			if at, bad := time.Parse(time.RFC3339, got); err != nil || bad != nil || !at.After(time.Now()) || !strings.HasSuffix(got, "Z") {
				t.Errorf("%q was read as %q (%v)", typed, got, err)
			}
		}
		begun := time.Now().UTC().Truncate(time.Second)
		got, err := parseEnds("7 days")
		if at, bad := time.Parse(time.RFC3339, got); err != nil || bad != nil || at.Before(begun.AddDate(0, 0, 7)) {
			t.Errorf("7 days from %v was read as %q (%v)", begun, got, err)
		}
		if again, err := parseEndsAgain("7 days"); err != nil || !strings.HasSuffix(again, ":00:00Z") {
			t.Errorf("with a request id it was read as %q (%v)", again, err)
		}
		for _, typed := range []string{"", "0 days", "367 days", "25 months", "3 years", "7 daysx", "7x days", "-1 days", "tomorrow", "2100-05-04"} {
			if got, err := parseEnds(typed); err == nil {
				t.Errorf("%q was read as %q", typed, got)
			}
		}
	})
	t.Run("moments past", func(t *testing.T) {
		for typed, ago := range map[string]time.Duration{"4 days ago": 96 * time.Hour, "1 hour ago": time.Hour, "90 minutes ago": 90 * time.Minute} {
			got, err := parsePast(typed)
			at, bad := time.Parse(time.RFC3339, got)
			if off := time.Since(at) - ago; err != nil || bad != nil || off < 0 || off > time.Hour+time.Minute {
				t.Errorf("%q was read as %q (%v)", typed, got, err)
			}
		}
		if got, err := parsePast("2026-05-04T17:00:00+10:00"); err != nil || got != "2026-05-04T07:00:00Z" {
			t.Errorf("a time was read as %q (%v)", got, err)
		}
		for _, typed := range []string{"", "ago", "4 days", "0 days ago", "-1 days ago", "4 moons ago", "10001 days ago", "yesterday", "2026-05-04"} {
			if got, err := parsePast(typed); err == nil {
				t.Errorf("%q was read as %q", typed, got)
			}
		}
	})
	t.Run("words", func(t *testing.T) {
		for _, typed := range []string{"crack-opened", "crack opened", "CRACK_OPENED"} {
			if got, err := parseWord[typev1.Reason](typed); err != nil || got != typev1.Reason_REASON_CRACK_OPENED {
				t.Errorf("%q was read as %v (%v)", typed, got, err)
			}
		}
		for _, typed := range []string{"", "unspecified", "crack"} {
			if got, err := parseWord[typev1.Reason](typed); err == nil {
				t.Errorf("%q was read as %v", typed, got)
			}
		}
		// Every word that is offered is read back as itself.
		for _, typed := range choices[typev1.Treatment]() {
			if got, err := parseWord[typev1.Treatment](typed); err != nil || strings.ReplaceAll(word(got), " ", "-") != typed {
				t.Errorf("%q was read as %v (%v)", typed, got, err)
			}
		}
	})
}
