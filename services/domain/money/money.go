// Package money reads and writes amounts of money as people type them, as whole minor
// units (cents) of an ISO 4217 currency. There are no floats, and nothing is rounded:
// what the currency has no unit for is refused.
package money

import (
	"fmt"
	"strings"

	"github.com/bojanz/currency"
)

// Max bounds every amount, in minor units, either way.
const Max = 1_000_000_000_000_000

// maxInput is longer than any amount within Max.
const maxInput = 32

// Error says what is wrong with an amount or currency and what to write instead.
type Error struct {
	Text    string // as given, shortened
	Problem string
}

func (e *Error) Error() string {
	return fmt.Sprintf("couldn't read %q as money: %s", e.Text, e.Problem)
}

func refuse(text, format string, args ...any) error {
	if len(text) > maxInput {
		text = text[:maxInput] + "…"
	}
	return &Error{text, fmt.Sprintf(format, args...)}
}

// Digits is how many decimals the currency's amounts have, by ISO 4217. The error is
// an *Error.
func Digits(code string) (int, error) {
	digits, ok := currency.GetDigits(code)
	if !ok {
		return 0, refuse(code, "it is not an ISO 4217 currency in use; write three capital letters, as AUD")
	}
	return int(digits), nil
}

// Parse reads an amount as "1480.00", "1480" or "-12.5" in the currency, as minor
// units. It takes no grouping, no comma, no symbol, no exponent and no more decimals
// than the currency has, even if they are zero. The error is an *Error.
func Parse(text, code string) (int64, error) {
	digits, err := Digits(code)
	if err != nil {
		return 0, err
	}
	if len(text) > maxInput {
		return 0, refuse(text, "it is longer than %d bytes", maxInput)
	}
	unsigned := strings.TrimSpace(text)
	unsigned, negative := strings.CutPrefix(unsigned, "-")
	whole, fraction, point := strings.Cut(unsigned, ".")
	switch {
	case unsigned == "":
		return 0, refuse(text, "it is empty; write it as %s", example(digits))
	case strings.Contains(unsigned, ","):
		return 0, refuse(text, "a comma could mean thousands or decimals; write it as %s", example(digits))
	case !isDigits(whole), point && !isDigits(fraction):
		return 0, refuse(text, "an amount is digits with at most one point between them; write it as %s", example(digits))
	case len(fraction) > digits:
		return 0, refuse(text, "%s has %d decimals, this has %d; write it as %s", code, digits, len(fraction), example(digits))
	}
	var minor int64
	for _, d := range whole + fraction + strings.Repeat("0", digits-len(fraction)) {
		minor = minor*10 + int64(d-'0') // stays far below int64 as it stops above Max
		if minor > Max {
			return 0, refuse(text, "it is above %d minor units, the most that is taken", int64(Max))
		}
	}
	if negative {
		minor = -minor
	}
	return minor, nil
}

func isDigits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}

func example(digits int) string {
	if digits == 0 {
		return "1480"
	}
	return "1480." + strings.Repeat("0", digits)
}

// Format writes minor units with the currency's decimals and code: "1480.00 AUD". The
// error is an *Error.
func Format(minor int64, code string) (string, error) {
	number, err := Number(minor, code)
	if err != nil {
		return "", err
	}
	return number + " " + code, nil
}

// Number is Format without the code, and what Parse reads: "1480.00". The error is an
// *Error.
func Number(minor int64, code string) (string, error) {
	if _, err := Digits(code); err != nil {
		return "", err
	}
	amount, err := currency.NewAmountFromInt64(minor, code)
	if err != nil {
		return "", refuse(code, "%v", err)
	}
	return amount.Number(), nil
}
