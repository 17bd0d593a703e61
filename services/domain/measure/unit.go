package measure

import "math/big"

// MassUnit is a unit people give masses in.
type MassUnit struct {
	Symbol string // as written by this package
	names  []string
	ug     *big.Rat // micrograms in one, exactly
}

// Micrograms in one unit, exactly.
func (u MassUnit) Micrograms() *big.Rat { return new(big.Rat).Set(u.ug) }

// The units of mass. Factors: 4th CGPM 1907 (carat), SI, NIST Handbook 44 Appendix C
// (grain 64.79891 mg; troy ounce 480 grains; avoirdupois pound 7000 grains, ounce its
// sixteenth).
var (
	Microgram        = MassUnit{"µg", []string{"µg", "μg", "ug"}, big.NewRat(1, 1)} // both mu's of Unicode
	Milligram        = MassUnit{"mg", []string{"mg"}, big.NewRat(1_000, 1)}
	Gram             = MassUnit{"g", []string{"g", "gram", "grams"}, big.NewRat(1_000_000, 1)}
	Kilogram         = MassUnit{"kg", []string{"kg"}, big.NewRat(1_000_000_000, 1)}
	Carat            = MassUnit{"ct", []string{"ct", "cts", "carat", "carats"}, big.NewRat(200_000, 1)}
	Point            = MassUnit{"point", []string{"point", "points"}, big.NewRat(2_000, 1)}
	Grain            = MassUnit{"gr", []string{"gr", "grain", "grains"}, big.NewRat(6_479_891, 100)}
	Pennyweight      = MassUnit{"dwt", []string{"dwt", "pennyweight"}, big.NewRat(24*6_479_891, 100)}
	OunceTroy        = MassUnit{"oz t", []string{"oz t", "ozt", "oz troy", "troy oz", "ounce troy", "troy ounce"}, big.NewRat(480*6_479_891, 100)}
	OunceAvoirdupois = MassUnit{"oz av", []string{"oz av", "ozav", "oz avdp", "oz avoirdupois", "avoirdupois oz", "ounce avoirdupois"}, big.NewRat(7_000*6_479_891, 16*100)}
	PoundAvoirdupois = MassUnit{"lb av", []string{"lb av", "lb avdp", "lb avoirdupois", "pound avoirdupois"}, big.NewRat(7_000*6_479_891, 100)}
)

var massUnits = []MassUnit{
	Microgram, Milligram, Gram, Kilogram, Carat, Point, Grain, Pennyweight, OunceTroy, OunceAvoirdupois, PoundAvoirdupois,
}

// LengthUnit is a unit people give lengths in.
type LengthUnit struct {
	Symbol string
	names  []string
	um     *big.Rat // micrometres in one, exactly
}

// Micrometres in one unit, exactly.
func (u LengthUnit) Micrometres() *big.Rat { return new(big.Rat).Set(u.um) }

// The units of length: SI, and the international inch of 1959.
var (
	Micrometre = LengthUnit{"µm", []string{"µm", "μm", "um"}, big.NewRat(1, 1)}
	Millimetre = LengthUnit{"mm", []string{"mm"}, big.NewRat(1_000, 1)}
	Centimetre = LengthUnit{"cm", []string{"cm"}, big.NewRat(10_000, 1)}
	Inch       = LengthUnit{"in", []string{"in", "inch", "inches", `"`}, big.NewRat(25_400, 1)}
)

var lengthUnits = []LengthUnit{Micrometre, Millimetre, Centimetre, Inch}
