package measure

import "math"

// Estimate is a mass from a stone's sides alone.
type Estimate struct {
	Mass        Mass
	Least, Most Mass
	// Factor is f in carats = length × width × depth (mm) × specific gravity × f, in 10⁻⁹:
	// 2 617 994 for an oval. Of a freeform it is its own.
	FactorNano int64
}

// Quick estimates the mass of a solid stone from the box around it, as on a bench
// without a model: length × width × depth × specific gravity × a factor of the outline, which
// is that of an elliptical dome over the whole depth, two thirds of the outline's area. Least
// and most are a parabolic dome over the whole depth and no dome at all: no more is known of
// the form, so −25 % to +50 % of the mass is how far a model of the same sides may differ (a
// bevel, some per cent more, left out). The factor for ovals that is in circulation, 0.0027, is 3.1 %
// above the elliptical dome's. Solid only: the error is an *OnRockError for kinds on rock, or a
// *FieldError.
func Quick(o Outline, depth Length, kind Kind, sg SGMilli) (Estimate, error) {
	mass := func(form Form, dome, wall Length) (Mass, error) {
		m, err := Stone{Outline: o, Form: form, Dome: dome, Wall: wall}.Model(kind, Layer{SG: sg})
		return m.Mass, err
	}
	var e Estimate
	var err error
	if e.Mass, err = mass(EllipticalDome, depth, 0); err != nil {
		return Estimate{}, err
	}
	if e.Least, err = mass(ParabolicDome, depth, 0); err != nil {
		return Estimate{}, err
	}
	if e.Most, err = mass(FlatTop, 0, depth); err != nil {
		return Estimate{}, err
	}
	// 1 mm³ of specific gravity 1 is 1 mg, 0.005 ct.
	e.FactorNano = int64(math.Round(5e6 * 2 / 3 * o.area / (float64(o.length) * float64(o.width))))
	return e, nil
}
