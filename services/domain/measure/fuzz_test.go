package measure_test

import (
	"errors"
	"testing"
	"unicode/utf8"

	"seamshare.example/services/domain/measure"
)

var seeds = []string{
	"34.20 g", "3.04 ct", "12.5 ozt", "1 oz av", "5 gr", "1 oz", "0.025 inch", `1 "`, "1e9 g", "-1 mm", "NaN g", "1,000 g", "1.2.3 g",
	"00000000000000000000000000000001 g", "1000000000 g", "0.0000005 g", "1\u00a0µg", "\xff g", "",
}

// What was read is within its bounds, and what is written is read as the same.
func FuzzParseMass(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		m, err := measure.ParseMass(text)
		if err != nil {
			explains(t, err)
			return
		}
		if m < 0 || m > measure.MaxMass {
			t.Fatalf("%q was read as %d", text, m)
		}
		for _, written := range []string{m.String(), m.OnScale(10_000)} {
			if again, err := measure.ParseMass(written); err != nil || again != m {
				t.Fatalf("%q was read as %d, written %q, and that read as %d (%v)", text, m, written, again, err)
			}
		}
		down, err := measure.ParseMass(m.Carats())
		if err != nil || down > m || m-down >= 2_000 {
			t.Fatalf("%d in carats is %s, that is %d (%v)", m, m.Carats(), down, err)
		}
	})
}

func FuzzParseLength(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		l, err := measure.ParseLength(text)
		if err != nil {
			explains(t, err)
			return
		}
		if l < 0 || l > measure.MaxLength {
			t.Fatalf("%q was read as %d", text, l)
		}
		if again, err := measure.ParseLength(l.String()); err != nil || again != l {
			t.Fatalf("%q was read as %d, written %q, and that read as %d (%v)", text, l, l, again, err)
		}
	})
}

func explains(t *testing.T, err error) {
	t.Helper()
	var wrong *measure.ParseError
	if !errors.As(err, &wrong) || wrong.Problem == "" || !utf8.ValidString(err.Error()) || len(err.Error()) > 600 {
		t.Fatalf("refused with %q", err)
	}
}
