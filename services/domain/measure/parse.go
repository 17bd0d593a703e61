package measure

import (
	"fmt"
	"math/big"
	"strings"
)

// maxInput bounds what is worth reading; a longer text is not a measure.
const maxInput = 64

// ParseError says what is wrong with a typed measure and how to write it.
type ParseError struct {
	Text    string // as typed, shortened
	Problem string
}

func (e *ParseError) Error() string { return fmt.Sprintf("couldn't read %q: %s", e.Text, e.Problem) }

// split parts "12.5 oz t" into the exact number and its unit's name, with single
// spaces.
func split(text, example string) (*big.Rat, string, error) {
	refuse := func(format string, args ...any) (*big.Rat, string, error) {
		shown := text
		if len(shown) > maxInput {
			shown = shown[:maxInput] + "…"
		}
		return nil, "", &ParseError{shown, fmt.Sprintf(format, args...) + "; write it as " + example}
	}
	if len(text) > maxInput {
		return refuse("it is longer than %d bytes", maxInput)
	}
	trimmed := strings.TrimSpace(text)
	end := strings.IndexFunc(trimmed, func(r rune) bool { return (r < '0' || r > '9') && r != '.' })
	if end < 0 {
		end = len(trimmed)
	}
	number, rest := trimmed[:end], trimmed[end:]
	whole, fraction, point := strings.Cut(number, ".")
	switch {
	case trimmed == "":
		return refuse("it is empty")
	case strings.HasPrefix(trimmed, "-"), strings.HasPrefix(trimmed, "+"), strings.HasPrefix(trimmed, "−"):
		return refuse("a measure has no sign")
	case number == "":
		return refuse("it doesn't begin with a number")
	case strings.HasPrefix(rest, ","):
		return refuse("a comma could mean thousands or decimals; decimals follow a point")
	case strings.Contains(fraction, "."):
		return refuse("it has two decimal points")
	case whole == "", point && fraction == "":
		return refuse("a decimal point needs a digit on both sides")
	}
	unit := strings.Join(strings.Fields(rest), " ")
	if after := strings.TrimLeft(unit, "eE"); after != unit && after != "" && strings.ContainsAny(after[:1], "+-0123456789") {
		return refuse("powers of ten are not read")
	}
	if strings.ContainsAny(unit, "0123456789") {
		return refuse("there is more than one number in it")
	}
	if unit == "" {
		return refuse("the unit is missing")
	}
	value, ok := new(big.Rat).SetString(number)
	if !ok { // digits and one point between them always are
		return refuse("its number can't be read")
	}
	return value, unit, nil
}

// roundHalfUp is the nearest whole number to x ≥ 0, the upper one of two; ok is false
// above limit.
func roundHalfUp(x *big.Rat, limit int64) (int64, bool) {
	twice := new(big.Int).Lsh(x.Num(), 1)
	twice.Add(twice, x.Denom())
	n := twice.Quo(twice, new(big.Int).Lsh(x.Denom(), 1))
	if !n.IsInt64() || n.Int64() > limit {
		return 0, false
	}
	return n.Int64(), true
}

// decimal writes n units of 10^-places without trailing zeros but with at least least
// decimals.
func decimal(n int64, places, least int) string {
	sign := ""
	if n < 0 {
		sign = "-"
	}
	digits := fmt.Sprintf("%0*d", places+1, magnitude(n))
	whole, fraction := digits[:len(digits)-places], digits[len(digits)-places:]
	for len(fraction) > least && strings.HasSuffix(fraction, "0") {
		fraction = fraction[:len(fraction)-1]
	}
	if fraction == "" {
		return sign + whole
	}
	return sign + whole + "." + fraction
}

func magnitude(n int64) uint64 {
	if n < 0 {
		return -uint64(n) // right for the smallest int64 too
	}
	return uint64(n)
}
