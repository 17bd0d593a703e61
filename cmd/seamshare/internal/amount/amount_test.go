package amount_test

import (
	"errors"
	"testing"

	gmoney "google.golang.org/genproto/googleapis/type/money"
	"pgregory.net/rapid"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/services/domain/money"
)

// What is written is read as the same, in currencies with 0 to 4 decimals.
func TestBothWays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		code := rapid.SampledFrom([]string{"AUD", "JPY", "KWD", "CLF"}).Draw(t, "currency")
		minor := rapid.Int64Range(-money.Max, money.Max).Draw(t, "minor")
		text, err := money.Format(minor, code)
		if err != nil {
			t.Fatal(err)
		}
		m, err := amount.Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := amount.Minor(m); err != nil || back != minor || amount.Text(m) != text {
			t.Fatalf("%q became %v, then %d (%v), written %q", text, m, back, err, amount.Text(m))
		}
	})
}

func TestRefuses(t *testing.T) {
	for name, m := range map[string]*gmoney.Money{
		"half a cent":         {CurrencyCode: "AUD", Nanos: 5_000_000},
		"too much":            {CurrencyCode: "AUD", Units: 1 << 62},
		"an unknown currency": {CurrencyCode: "AUX", Units: 1},
	} {
		if got, err := amount.Minor(m); err == nil {
			t.Errorf("%s was read as %d", name, got)
		}
	}
	var wrong *money.Error
	for _, text := range []string{"1480.00", "1480.00 AUX", "AUD 1480.00", "", "1 480.00 AUD"} {
		if got, err := amount.Parse(text); !errors.As(err, &wrong) {
			t.Errorf("%q was read as %v (%v)", text, got, err)
		}
	}
}
