// Package seam says where two seams of colour that meet at an angle can both be had.
//
// Each seam is a plane; seen along the line where they meet, they are two rays from one
// point with an angle θ between them. A stone from a seam needs backing: rock or
// potch behind the colour, measured across from its own seam. One cut between the seams
// has to leave both that much, and takes the kerf k out of what lies between. The blade
// can wander by w to either side of its line, so each side is planned w further off.
//
//   - A Parallel cut follows the first seam, its backing b₁ away. At x along the first seam
//     the far side of the cut is (x, b₁+2w+k), at x·sin θ − (b₁+2w+k)·cos θ from the second seam:
//     both can be had where x ≥ (b₂ + (b₁+2w+k)·cos θ) / sin θ.
//   - A Bisector cut runs midway. At s along the bisector its sides are (s, ±(k/2+w)),
//     at s·sin(θ/2) − (k/2+w)·cos(θ/2) from the seams: s ≥ (b + (k/2+w)·cos(θ/2)) / sin(θ/2),
//     with b the greater backing.
//
// These are distances from points to lines, derived here; no published source. Lengths are
// whole micrometres, angles whole thousandths of a degree; in between are floats. From where
// both can be had, and what is recovered, is rounded to the micrometre towards the safe side;
// the backing at a place, which is read beside the one asked for, to the nearest. The saw's
// reach and how the part is gripped are not looked at.
package seam

import (
	"fmt"
	"math"

	"seamshare.example/services/domain/rule"
)

// Cut says how the cut between the seams runs.
type Cut int

// The cuts.
const (
	Parallel Cut = iota + 1 // along the first seam
	Bisector                // midway
)

// Seams is two seams of one piece.
type Seams struct {
	AngleMilliDeg          int64 // between them, more than 0 and less than 90 000
	NearUm, FarUm          int64 // where the piece begins and ends, from where they meet, along each seam
	FirstBackUm, SecBackUm int64 // backing that each stone needs
	KerfUm, WanderUm       int64 // of the blade
}

// Validate refuses what can't be sawn, as a rule.All.
func (s Seams) Validate() error {
	var all rule.All
	if s.AngleMilliDeg < 1 || s.AngleMilliDeg >= 90_000 {
		all.Add(rule.Broken{
			Reason: rule.SizeInvalid, Field: "angle_milli_deg", Value: fmt.Sprint(s.AngleMilliDeg),
			Rule: "seams that meet have an angle above 0 and below 90000 thousandths of a degree", Hint: "measure it in the section; 14 degrees is 14000",
		})
	}
	for _, l := range []struct {
		field     string
		um, least int64
	}{
		{"near_um", s.NearUm, 0},
		{"far_um", s.FarUm, s.NearUm + 1},
		{"first_back_um", s.FirstBackUm, 0},
		{"second_back_um", s.SecBackUm, 0},
		{"kerf_um", s.KerfUm, 0},
		{"wander_um", s.WanderUm, 0},
	} {
		if l.um < l.least || l.um > rule.MaxLengthUm {
			all.Add(rule.Broken{
				Reason: rule.SizeInvalid, Field: l.field, Value: fmt.Sprint(l.um),
				Rule: fmt.Sprintf("here it is %d to %d micrometres", l.least, int64(rule.MaxLengthUm)), Hint: "measure it",
			})
		}
	}
	return all.Err()
}

func (s Seams) angle() float64 { return float64(s.AngleMilliDeg) / 1000 * math.Pi / 180 }

// backs are the least backings in float micrometres; midway cuts leave the same on both.
func (s Seams) backs(c Cut) (first, second float64) {
	first, second = float64(s.FirstBackUm), float64(s.SecBackUm)
	if c == Bisector {
		first = max(first, second)
		second = first
	}
	return first, second
}

// from is where both can be had in float micrometres, measured as Place says.
func (s Seams) from(c Cut) float64 {
	first, second := s.backs(c)
	k, w, a := float64(s.KerfUm), float64(s.WanderUm), s.angle()
	if c == Bisector {
		return (first + (k/2+w)*math.Cos(a/2)) / math.Sin(a/2)
	}
	return (second + (first+2*w+k)*math.Cos(a)) / math.Sin(a)
}

// From is the least place from which both stones keep their backing: micrometres from where
// the seams meet, along the first seam for a Parallel cut, along the bisector for a
// Bisector, rounded up.
func (s Seams) From(c Cut) (int64, error) {
	if err := s.Validate(); err != nil {
		return 0, err
	}
	return up(s.from(c)), nil
}

// up and down round to the safe side, but not for a billionth of a micrometre.
func up(um float64) int64      { return int64(math.Ceil(um - 1e-6)) }
func down(um float64) int64    { return int64(math.Floor(um + 1e-6)) }
func nearest(um float64) int64 { return int64(math.Round(um)) }

// Backing is what each stone is left with at a place, the blade wandered towards it,
// micrometres, the nearest; below 0 there is none and the saw is in the colour. The first
// of a Parallel cut has what it was set to, or what there is where the seams are closer.
func (s Seams) Backing(c Cut, placeUm int64) (first, second int64, err error) {
	if err := s.Validate(); err != nil {
		return 0, 0, err
	}
	p, k, w, a := float64(placeUm), float64(s.KerfUm), float64(s.WanderUm), s.angle()
	if c == Bisector {
		back := nearest(p*math.Sin(a/2) - (k/2+w)*math.Cos(a/2))
		return back, back, nil
	}
	// Straight across from the first seam to the second it is p·tan θ.
	set := min(float64(s.FirstBackUm), p*math.Tan(a))
	return nearest(set), nearest(p*math.Sin(a) - (float64(s.FirstBackUm)+2*w+k)*math.Cos(a)), nil
}

// Yield is what a choice recovers: the lengths along each seam, micrometres, that keep their
// backing. The closed end, towards the meeting line, gives one of its two lengths, not both.
type Yield struct {
	Name                       string
	FirstUm, SecondUm          int64
	ClosedFirstUm, ClosedSecUm int64
}

// Choices are what can be made of the piece with a cut of this kind: one seam only, all the
// rock between them its backing and the other seam given up; both from where both can be had,
// the closed end lost; and both on the open part with one at the closed end, parted by a
// cross cut at placeUm, square to the line that the place is measured along. The place must
// be one from where both can be had, within the piece.
func (s Seams) Choices(c Cut, placeUm int64) ([]Yield, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	least := s.from(c)
	if placeUm < up(least) || placeUm > s.FarUm {
		return nil, rule.Broken{
			Reason: rule.SizeInvalid, Field: "place_um", Value: fmt.Sprint(placeUm),
			Rule: fmt.Sprintf("both can be had from %d to the open end at %d micrometres", up(least), s.FarUm), Hint: "cut further out, or take one seam only",
		}
	}
	far, near := float64(s.FarUm), float64(s.NearUm)
	b1, b2, a := float64(s.FirstBackUm), float64(s.SecBackUm), s.angle()
	// Straight across from t along a seam the other is t·tan θ away.
	one1, one2 := max(near, b1/math.Tan(a)), max(near, b2/math.Tan(a))
	length := func(from, to float64) int64 { return max(0, down(to-max(from, near))) }
	yields := []Yield{{Name: "first only", FirstUm: length(one1, far)}, {Name: "second only", SecondUm: length(one2, far)}}
	both := Yield{Name: "both"}
	f1, f2 := s.feet(c, least)
	both.FirstUm, both.SecondUm = length(f1, far), length(f2, far)
	parted := Yield{Name: "both on the open part, one at the closed end"}
	// The cross cut takes its kerf, and what it may wander, out of the closed end. Where it
	// isn't square to a seam, the colour meets it first on the open side and the back on the
	// closed one.
	last := float64(placeUm - s.KerfUm - s.WanderUm)
	lean1, lean2 := 0.0, a
	if c == Bisector {
		lean1, lean2 = a/2, a/2
	}
	parted.FirstUm = length(float64(placeUm)/math.Cos(lean1), far)
	parted.SecondUm = length(float64(placeUm)/math.Cos(lean2), far)
	parted.ClosedFirstUm = length(one1, min(far, (last-b1*math.Sin(lean1))/math.Cos(lean1)))
	parted.ClosedSecUm = length(one2, min(far, (last-b2*math.Sin(lean2))/math.Cos(lean2)))
	return append(yields, both, parted), nil
}

// feet are how far along each seam its backing begins that ends at a place of the cut: the
// foot of the perpendicular from the cut's side.
func (s Seams) feet(c Cut, place float64) (first, second float64) {
	k, w, a := float64(s.KerfUm), float64(s.WanderUm), s.angle()
	if c == Bisector {
		foot := place*math.Cos(a/2) + (k/2+w)*math.Sin(a/2)
		return foot, foot
	}
	return place, place*math.Cos(a) + (float64(s.FirstBackUm)+2*w+k)*math.Sin(a)
}
