package measure

import (
	"fmt"
	"math/big"
	"slices"
)

// Length is whole micrometres.
type Length int64

// MaxLength is the largest length that is read, a kilometre.
const MaxLength Length = 1_000_000_000

const lengthExample = "12.5 mm"

// ParseLength reads a length with its unit: mm, cm, µm, or in (inches, also written
// as a double quote). It rounds half up to the micrometre. The error is a *ParseError.
func ParseLength(text string) (Length, error) {
	value, name, err := split(text, lengthExample)
	if err != nil {
		return 0, err
	}
	for _, u := range lengthUnits {
		if slices.Contains(u.names, name) {
			n, ok := roundHalfUp(value.Mul(value, u.um), int64(MaxLength))
			if !ok {
				return 0, &ParseError{text, fmt.Sprintf("it is above %s, the most that is read", MaxLength)}
			}
			return Length(n), nil
		}
	}
	return 0, &ParseError{text, fmt.Sprintf("%q is not a unit of length known here; write it as %s (also cm, in; small letters)", name, lengthExample)}
}

// String is the exact length in millimetres: "12.5 mm".
func (l Length) String() string { return l.Millimetres(0) }

// Millimetres is the exact length in millimetres with at least decimals decimals.
func (l Length) Millimetres(decimals int) string { return decimal(int64(l), 3, decimals) + " mm" }

// In is the length in a unit, exactly.
func (l Length) In(u LengthUnit) *big.Rat {
	return new(big.Rat).Quo(new(big.Rat).SetInt64(int64(l)), u.um)
}
