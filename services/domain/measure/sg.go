package measure

import (
	"fmt"
	"math/bits"
)

// SGMilli is a specific gravity in thousandths: 2100 is 2.100, that is 2.100 times as
// heavy as water, 2.100 mg a cubic millimetre.
type SGMilli int64

// What is read as a specific gravity. The most porous dry opal is above the least,
// hematite (5.3) below the most.
const (
	MinSG SGMilli = 1_000
	MaxSG SGMilli = 8_000
)

// String is the specific gravity with three decimals: "2.100".
func (s SGMilli) String() string { return decimal(int64(s), 3, 3) }

func (s SGMilli) check(field string) error {
	if s < MinSG || s > MaxSG {
		return &FieldError{field, s.String(), fmt.Sprintf("a specific gravity here is between %s and %s, in thousandths (2100 for 2.100)", MinSG, MaxSG)}
	}
	return nil
}

// FieldError says which given value breaks which rule and what to do.
type FieldError struct{ Field, Value, Rule string }

func (e *FieldError) Error() string { return fmt.Sprintf("%s is %s: %s", e.Field, e.Value, e.Rule) }

// Volume is whole cubic micrometres; a cubic millimetre is 10⁹ of them.
type Volume int64

// CubicMillimetres is the volume in mm³.
func (v Volume) CubicMillimetres() float64 { return float64(v) / 1e9 }

// mass of the volume, v ≥ 0, rounded half up. It isn't exported because a stone on rock
// has no one specific gravity: see Stone.Model.
func (v Volume) mass(sg SGMilli) Mass { return Mass(scale(int64(v), int64(sg), 1_000_000_000)) }

// Area is whole square micrometres; a square millimetre is 10⁶ of them.
type Area int64

// SquareMillimetres is the area in mm².
func (a Area) SquareMillimetres() float64 { return float64(a) / 1e6 }

// scale is x·by/over rounded half up, for whole numbers from zero whose answer fits.
func scale(x, by, over int64) int64 {
	hi, lo := bits.Mul64(uint64(x), uint64(by))
	lo, carry := bits.Add64(lo, uint64(over)/2, 0)
	q, _ := bits.Div64(hi+carry, lo, uint64(over))
	return int64(q)
}

// WaterCaution stands wherever weighing in water is offered.
const WaterCaution = "Don't weigh hydrophane, cracked or porous stones in water: they take it up, may craze or change, and the result is wrong."

// InWater is a stone weighed in air and hanging in water.
type InWater struct {
	Air, Water Weighing
	// Sound says that the stone is known to be neither hydrophane nor cracked nor porous.
	Sound bool
}

// Gravity is a specific gravity with what the scale's divisions leave open.
type Gravity struct{ SG, Least, Most SGMilli }

// Gravity is air / (air − water), rounded half up, after Archimedes; least and most are
// what half a division on each weighing can make of it, rounded outward. It is relative to
// the water used: at 20 °C its density is 0.2 % less than at 4 °C, and the result as much
// higher than against the latter (0.9982 g/cm³, from memory). The error is a *FieldError
// or *LineError.
func (w InWater) Gravity() (Gravity, error) {
	if !w.Sound {
		return Gravity{}, &FieldError{"sound", "false", WaterCaution + " Use the scale for its mass, and leave its specific gravity open"}
	}
	if err := weighing("air", w.Air); err != nil {
		return Gravity{}, err
	}
	if err := weighing("water", w.Water); err != nil {
		return Gravity{}, err
	}
	// In half micrograms, so that half a division is whole.
	air, water := 2*w.Air.Mass, 2*w.Water.Mass
	lift := air - water
	if lift <= 0 {
		return Gravity{}, &FieldError{"water", w.Water.Mass.OnScale(w.Water.Division), "it is not below the mass in air, and what is weighed here sinks; weigh again"}
	}
	open := w.Air.Division + w.Water.Division
	if lift <= open {
		return Gravity{}, &FieldError{"water", w.Water.Mass.OnScale(w.Water.Division), "the two weighings differ by no more than the scale's divisions; use a finer scale"}
	}
	g := Gravity{
		SG:    SGMilli(scale(int64(air), 1_000, int64(lift))),
		Least: SGMilli((1_000 * (air + w.Air.Division)) / (lift + open)),
		Most:  SGMilli((1_000*(air-w.Air.Division) + lift - open - 1) / (lift - open)),
	}
	if err := g.SG.check("specific gravity"); err != nil {
		return Gravity{}, err
	}
	return g, nil
}

// OpalShare is how much of a stone of two materials is opal, in parts per million of its
// volume and of its mass, if its specific gravity as a whole is known: from that of the
// opal and of the rock, which differ. The error is a *FieldError.
func OpalShare(whole, opal, rock SGMilli) (volume, mass int64, err error) {
	for i, sg := range []SGMilli{whole, opal, rock} {
		if err := sg.check([]string{"whole", "opal", "rock"}[i]); err != nil {
			return 0, 0, err
		}
	}
	if opal == rock || whole < min(opal, rock) || whole > max(opal, rock) {
		return 0, 0, &FieldError{"whole", whole.String(), fmt.Sprintf("it must lie between that of the opal, %s, and of the rock, %s, which differ; measure all three again", opal, rock)}
	}
	of := max(rock-whole, whole-rock)
	span := max(rock-opal, opal-rock)
	return scale(int64(of), 1_000_000, int64(span)), scale(int64(of*opal), 1_000_000, int64(span*whole)), nil
}
