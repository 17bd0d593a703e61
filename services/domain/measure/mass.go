package measure

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
)

// Mass is whole micrograms. Differences of masses may be negative; nothing that is
// read is.
type Mass int64

// MaxMass is the largest mass that is read, 1 000 tonnes: far above any parcel, and so
// low that thousands of them can be added up.
const MaxMass Mass = 1_000_000_000_000_000

const massExample = "34.20 g or 3.04 ct"

// ParseMass reads a mass with its unit: g, mg, µg, kg, ct, points, gr (grains), dwt,
// "oz t" or ozt, "oz av", "lb av". It rounds half up to the microgram. The error is a
// *ParseError.
func ParseMass(text string) (Mass, error) {
	value, name, err := split(text, massExample)
	if err != nil {
		return 0, err
	}
	switch strings.ToLower(name) {
	case "oz", "oz.", "ounce", "ounces":
		return 0, &ParseError{text, "a bare ounce could be troy (31.1034768 g) or avoirdupois (28.349523125 g), which are 9.7 % apart; write oz t or oz av"}
	case "lb", "lbs", "pound", "pounds":
		return 0, &ParseError{text, "a bare pound could be troy or avoirdupois; write lb av for 453.59237 g"}
	}
	for _, u := range massUnits {
		if slices.Contains(u.names, name) {
			n, ok := roundHalfUp(value.Mul(value, u.ug), int64(MaxMass))
			if !ok {
				return 0, &ParseError{text, fmt.Sprintf("it is above %s, the most that is read", MaxMass)}
			}
			return Mass(n), nil
		}
	}
	return 0, &ParseError{text, fmt.Sprintf("%q is not a unit of mass known here; write it as %s (also mg, kg, gr, dwt, oz t, oz av; small letters)", name, massExample)}
}

// ParseDivision reads the division of a scale, as "0.01 g" or "0.01 ct": a mass above
// zero.
func ParseDivision(text string) (Mass, error) {
	d, err := ParseMass(text)
	if err != nil {
		return 0, err
	}
	if d <= 0 {
		return 0, &ParseError{text, "a scale's division is above zero; write it as 0.01 g"}
	}
	return d, nil
}

// String is the exact mass in grams: "34.2 g".
func (m Mass) String() string { return m.Grams(0) }

// Grams is the exact mass in grams with at least decimals decimals: "34.20 g".
func (m Mass) Grams(decimals int) string { return decimal(int64(m), 6, decimals) + " g" }

// OnScale is the exact mass in grams, with as many decimals as a scale of the division
// shows: "34.20 g" at 0.01 g.
func (m Mass) OnScale(division Mass) string {
	_, fraction, _ := strings.Cut(decimal(int64(division), 6, 0), ".")
	return m.Grams(len(fraction))
}

// Carats is the mass in carats with two decimals, rounded down, as stones are sold:
// "3.04 ct". A carat is 0.2 g exactly.
func (m Mass) Carats() string {
	const hundredth = 2_000
	n := int64(m) / hundredth
	if int64(m)%hundredth < 0 {
		n--
	}
	return decimal(n, 2, 2) + " ct"
}

// GramsAndCarats shows both side by side, the grams exact: "0.608 g (3.04 ct)".
func (m Mass) GramsAndCarats() string { return m.String() + " (" + m.Carats() + ")" }

// In is the mass in a unit, exactly.
func (m Mass) In(u MassUnit) *big.Rat {
	return new(big.Rat).Quo(new(big.Rat).SetInt64(int64(m)), u.ug)
}
