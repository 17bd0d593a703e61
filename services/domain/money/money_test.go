package money_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"seamshare.example/services/domain/money"
)

// Minor units by ISO 4217, list one (from memory; each is widely printed).
func TestDigits(t *testing.T) {
	for code, want := range map[string]int{"AUD": 2, "JPY": 0, "KWD": 3, "CLF": 4, "ISK": 0, "IQD": 3} {
		if got, err := money.Digits(code); err != nil || got != want {
			t.Errorf("%s has %d decimals (%v), want %d", code, got, err, want)
		}
	}
}

func TestParse(t *testing.T) {
	for _, c := range []struct {
		text, code string
		want       int64
		written    string
	}{
		{"1480.00", "AUD", 148000, "1480.00 AUD"},
		{"1480", "AUD", 148000, "1480.00 AUD"},
		{" 12.5 ", "AUD", 1250, "12.50 AUD"},
		{"-0.01", "AUD", -1, "-0.01 AUD"},
		{"0", "AUD", 0, "0.00 AUD"},
		{"007.05", "AUD", 705, "7.05 AUD"},
		{"1480", "JPY", 1480, "1480 JPY"},
		{"1.234", "KWD", 1234, "1.234 KWD"},
		{"10000000000000", "AUD", money.Max, "10000000000000.00 AUD"},
	} {
		t.Run(c.text+" "+c.code, func(t *testing.T) {
			got, err := money.Parse(c.text, c.code)
			if err != nil || got != c.want {
				t.Fatalf("read as %d (%v), want %d", got, err, c.want)
			}
			if written, err := money.Format(got, c.code); err != nil || written != c.written {
				t.Errorf("written %q (%v), want %q", written, err, c.written)
			}
		})
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ text, code, says string }{
		{"1", "AUX", "ISO 4217"},
		{"1", "aud", "ISO 4217"},
		{"1", "", "ISO 4217"},
		{"1.234", "AUD", "AUD has 2 decimals, this has 3"},
		{"1.0", "JPY", "JPY has 0 decimals, this has 1"},
		{"1,480.00", "AUD", "comma"},
		{"1 480.00", "AUD", "digits"},
		{"$1", "AUD", "digits"},
		{"1 AUD", "AUD", "digits"},
		{"+1", "AUD", "digits"},
		{"--1", "AUD", "digits"},
		{"1e3", "AUD", "digits"},
		{"NaN", "AUD", "digits"},
		{".5", "AUD", "digits"},
		{"5.", "AUD", "digits"},
		{"1.2.3", "AUD", "digits"},
		{"٣", "AUD", "digits"},
		{"", "AUD", "empty"},
		{"-", "AUD", "empty"},
		{"10000000000000.01", "AUD", "above"},
		{"99999999999999999999", "AUD", "above"},
		{strings.Repeat("0", 40), "AUD", "longer"},
	} {
		t.Run("refused: "+c.text+" "+c.code, func(t *testing.T) {
			got, err := money.Parse(c.text, c.code)
			var wrong *money.Error
			if !errors.As(err, &wrong) || !strings.Contains(err.Error(), c.says) || got != 0 {
				t.Errorf("read as %d, %v; want it to say %q", got, err, c.says)
			}
		})
	}
}

func TestFormat(t *testing.T) {
	if got, err := money.Format(math.MinInt64, "AUD"); err != nil || got != "-92233720368547758.08 AUD" {
		t.Errorf("written %q (%v)", got, err)
	}
	var wrong *money.Error
	if _, err := money.Format(1, "AUX"); !errors.As(err, &wrong) {
		t.Errorf("an unknown currency was written: %v", err)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"1480.00", "-0.01", "1e3", "1,5", "NaN", "", "\xff", "10000000000000.00", "0000000000000000000000000000000.1"} {
		f.Add(s, "AUD")
		f.Add(s, "JPY")
		f.Add(s, "KWD")
		f.Add(s, "nil")
	}
	f.Fuzz(func(t *testing.T, text, code string) {
		minor, err := money.Parse(text, code)
		if err != nil {
			var wrong *money.Error
			if !errors.As(err, &wrong) || wrong.Problem == "" || !utf8.ValidString(err.Error()) {
				t.Fatalf("refused with %q", err)
			}
			return
		}
		if minor < -money.Max || minor > money.Max {
			t.Fatalf("%q was read as %d", text, minor)
		}
		number, err := money.Number(minor, code)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := money.Parse(number, code); err != nil || again != minor {
			t.Fatalf("%q was read as %d, written %q, and that read as %d (%v)", text, minor, number, again, err)
		}
	})
}
