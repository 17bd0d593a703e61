package measure

import (
	"fmt"
	"math"

	"seamshare.example/services/domain/measure/plane"
)

// Form is how the top of a stone rises above its wall.
type Form uint8

// The forms. The outline at each height of a dome but the barrel is the stone's outline
// made smaller about one point; a freeform's volume doesn't depend on which.
const (
	_              Form = iota
	FlatTop             // no dome
	EllipticalDome      // upright half-ellipses over the middle: √(1 − ρ²) of the height, at ρ of the way to the edge
	ParabolicDome       // 1 − ρ² of the height
	CapDome             // an arc of a circle across the width, no higher than half of it
	ConicalTop          // straight flanks: 1 − ρ of the height
	BarrelDome          // over a rectangle: a half-ellipse across the width, the same along the length
	Undulating          // through measured points
)

var formNames = [...]string{"no form", "flat", "elliptical dome", "parabolic dome", "cap", "cone", "barrel", "undulating"}

func (f Form) String() string {
	if int(f) < len(formNames) {
		return formNames[f]
	}
	return fmt.Sprintf("form %d", uint8(f))
}

// Spot is a height above the back measured at a point of the face.
type Spot struct {
	At     plane.Point // in the outline's frame
	Height Length
}

// MaxSpots is how many heights a face may be measured at.
const MaxSpots = 500

// Bevel is taken off around the back: In across it and Up the wall.
type Bevel struct {
	In, Up Length
	// Scaled takes an oval's semi-axes shorter by In instead of going in by In everywhere,
	// square to the outline, which takes off more: 0.5 % of the bevel for 8 × 6 mm.
	Scaled bool
}

// Stone is the shape of a stone with a flat back.
type Stone struct {
	Outline Outline
	Form    Form
	Dome    Length // height of the top above the wall; zero for a flat or undulating one
	// Wall is how high the side stands, with the bevel; zero for an undulating stone,
	// whose spots are heights above the back.
	Wall  Length
	Spots []Spot
	Bevel Bevel
}

// Kind is what a stone is of, by the bodies' nomenclature for natural opal.
type Kind uint8

// The kinds.
const (
	_       Kind = iota
	Solid        // type 1: opal throughout, potch included
	Boulder      // type 2: opal on its host rock
	Matrix       // type 3: opal in the pores of its host rock
)

func (k Kind) String() string {
	return [...]string{"no kind", "solid", "boulder", "matrix"}[min(int(k), 3)]
}

// Layer is one material of a stone, from the top down.
type Layer struct {
	// Thickness is measured down from the top: from the highest point of a flat or domed
	// stone to a seam that runs parallel to the back, and from everywhere on an undulating
	// face, which follows the seam. Zero is all that is left, for the last layer.
	Thickness Length
	SG        SGMilli
}

// Model is what a stone's shape makes of it: an estimate, to be held against the scale.
type Model struct {
	Volume Volume
	Mass   Mass // of all layers
	Face   Area
	Depth  Length // at its highest
	Layers []LayerModel
	// ErrorPPM is the most, in parts per million, by which the volume misses that of the
	// shape as given: zero for closed formulas, which are rounded to the µm³. How far a real
	// stone is from the shape as given is another matter: a dome's form is worth far more.
	ErrorPPM int64
}

// LayerModel is one layer of a model.
type LayerModel struct {
	Volume Volume
	Mass   Mass
}

// Depth is the height of the stone at its highest.
func (s Stone) Depth() Length {
	depth := s.Wall + s.Dome
	for _, spot := range s.Spots {
		depth = max(depth, spot.Height)
	}
	return depth
}

// lowest height of the wall, which the bevel may take.
func (s Stone) lowest() Length {
	if s.Form != Undulating {
		return s.Wall
	}
	low := s.Spots[0].Height
	for _, spot := range s.Spots {
		low = min(low, spot.Height)
	}
	return low
}

// Model of a stone of this kind, from one layer or two. Opal on rock needs two, or the
// scale: rock weighs from 2.7 to 4 times as much as water and more, so one specific gravity
// for both says nothing, and no function here makes a stone's mass of one for such kinds.
// The error is a *FieldError, or an *OnRockError.
func (s Stone) Model(kind Kind, layers ...Layer) (Model, error) {
	if err := s.check(); err != nil {
		return Model{}, err
	}
	if err := s.checkLayers(kind, layers); err != nil {
		return Model{}, err
	}
	whole, ppm := s.volume()
	m := Model{Volume: Volume(math.Round(whole)), Face: s.Outline.FaceArea(), Depth: s.Depth(), ErrorPPM: ppm}
	volumes := []Volume{m.Volume}
	if len(layers) == 2 {
		bar := Volume(math.Round(s.top(layers[0].Thickness)))
		volumes = []Volume{bar, m.Volume - bar}
	}
	for i, v := range volumes {
		mass := v.mass(layers[i].SG)
		m.Layers = append(m.Layers, LayerModel{v, mass})
		m.Mass += mass
	}
	return m, nil
}

// OnRockError says that a stone on rock has no one specific gravity.
type OnRockError struct{ Kind Kind }

func (e *OnRockError) Error() string {
	return fmt.Sprintf("kind is %s: the mass of opal on or in rock can't be told from one specific gravity (rock varies from about 2.7 to 4); weigh it, or give the bar and the backing as two layers, each with its thickness and specific gravity", e.Kind)
}

func (s Stone) checkLayers(kind Kind, layers []Layer) error {
	switch {
	case kind < Solid || kind > Matrix:
		return &FieldError{"kind", kind.String(), "say solid, boulder or matrix: its mass is found by it"}
	case kind != Solid && len(layers) == 1:
		return &OnRockError{kind}
	case len(layers) != 1 && len(layers) != 2:
		return &FieldError{"layers", fmt.Sprint(len(layers)), "give one layer, or the bar and its backing"}
	}
	for i, l := range layers {
		field := fmt.Sprintf("layers[%d]", i)
		if err := l.SG.check(field + ".sg"); err != nil {
			return err
		}
		if last := i == len(layers)-1; last {
			if l.Thickness != 0 {
				return &FieldError{field + ".thickness", l.Thickness.String(), "the last layer is all that is left; give zero"}
			}
			continue
		}
		under := s.Depth()
		if s.Form == Undulating {
			under = s.lowest() - s.Bevel.Up
		}
		if l.Thickness < 1 || l.Thickness >= under {
			return &FieldError{field + ".thickness", l.Thickness.String(), fmt.Sprintf("a bar on a backing is thinner than the stone, %s here (an undulating one above its bevel, where it is lowest); give one layer if there is no backing", under)}
		}
	}
	return nil
}

func (s Stone) check() error {
	refuse := func(field string, value any, rule string, args ...any) error {
		return &FieldError{field, fmt.Sprint(value), fmt.Sprintf(rule, args...)}
	}
	length, width := s.Outline.Sides()
	switch {
	case s.Outline.area == 0:
		return refuse("outline", "missing", "make it with NewOutline or NewFreeform")
	case s.Form < FlatTop || s.Form > Undulating:
		return refuse("form", s.Form, "say how the top rises: flat, elliptical, parabolic, cap, cone, barrel or undulating")
	case s.Dome < 0 || s.Dome > maxSide:
		return refuse("dome", s.Dome, "a height is between 0 mm and %s", maxSide)
	case s.Wall < 0 || s.Wall > maxSide:
		return refuse("wall", s.Wall, "a height is between 0 mm and %s", maxSide)
	case s.Form == FlatTop && (s.Dome != 0 || s.Wall == 0):
		return refuse("dome", s.Dome, "a flat stone has a wall and no dome; give its depth as the wall")
	case s.Form == Undulating && (s.Dome != 0 || s.Wall != 0):
		return refuse("wall", s.Wall, "an undulating stone has no dome or wall beside its spots; give zero")
	case s.Form > FlatTop && s.Form < Undulating && s.Dome == 0:
		return refuse("dome", s.Dome, "a dome has a height; say flat otherwise")
	case s.Form == BarrelDome && s.Outline.Shape() != Rectangle:
		return refuse("form", s.Form, "a barrel stands on a rectangle; say elliptical otherwise")
	case s.Form == CapDome && 2*s.Dome > width:
		return refuse("dome", s.Dome, "a cap is at most half as high as the stone is wide, %s; say elliptical otherwise", width)
	}
	if s.Form == Undulating {
		if err := checkSpots(s.Spots); err != nil {
			return err
		}
	} else if len(s.Spots) > 0 {
		return refuse("spots", len(s.Spots), "only an undulating stone has heights at points")
	}
	b := s.Bevel
	switch round := s.Outline.Shape() == Oval || s.Outline.Shape() == Round; {
	case b.In < 0 || b.Up < 0 || (b.In == 0) != (b.Up == 0):
		return refuse("bevel", fmt.Sprintf("%s in, %s up", b.In, b.Up), "give how far in and how far up, both above zero, or neither")
	case b.Up > s.lowest():
		return refuse("bevel.up", b.Up, "it is higher than the wall, %s; make it lower", s.lowest())
	case b.Scaled && !round:
		return refuse("bevel.scaled", true, "only an oval or round has semi-axes to scale")
	case b.Scaled && 2*b.In > min(length, width), s.Outline.Shape() != Freeform && !b.Scaled && float64(b.In) > s.Outline.deepest:
		return refuse("bevel.in", b.In, "it is wider than the outline's tightest curve, %s; make it narrower", Length(s.Outline.deepest))
	}
	return nil
}

func checkSpots(spots []Spot) error {
	if len(spots) == 0 || len(spots) > MaxSpots {
		return &FieldError{"spots", fmt.Sprint(len(spots)), fmt.Sprintf("an undulating stone is measured at 1 to %d points", MaxSpots)}
	}
	seen := make(map[plane.Point]bool, len(spots))
	for i, spot := range spots {
		field := fmt.Sprintf("spots[%d]", i)
		switch {
		case spot.Height < 1 || spot.Height > maxSide:
			return &FieldError{field + ".height", spot.Height.String(), fmt.Sprintf("a height above the back is above zero and at most %s", maxSide)}
		case max(spot.At.X, -spot.At.X, spot.At.Y, -spot.At.Y) > plane.MaxCoordinate:
			return &FieldError{field + ".at", spot.At.String(), "it is out of range; measure in the outline's frame"}
		case seen[spot.At]:
			return &FieldError{field + ".at", spot.At.String(), "there is another height at this point; leave one out"}
		}
		seen[spot.At] = true
	}
	return nil
}

// volume in µm³, and by how many parts per million it may be off.
func (s Stone) volume() (float64, int64) {
	var whole, off float64
	if s.Form == Undulating {
		whole, off = s.undulating()
	} else {
		whole = s.domeAbove(float64(s.Dome)) + s.Outline.area*float64(s.Wall)
	}
	bevel, more := s.bevelAbove(0)
	return whole - bevel, int64(math.Ceil(1e6 * (off + more) / (whole - bevel)))
}

// top is the volume in µm³ of the uppermost layer of this thickness.
func (s Stone) top(thickness Length) float64 {
	t, dome := float64(thickness), float64(s.Dome)
	if s.Form == Undulating {
		return s.Outline.area * t
	}
	bevel, _ := s.bevelAbove(s.Depth() - thickness)
	return s.domeAbove(min(t, dome)) + s.Outline.area*max(0, t-dome) - bevel
}

// domeAbove is the volume of the dome's uppermost part, t ≤ its height in thickness: the
// integral of the outline's area made smaller by ρ², or of the barrel's sections. At t = h
// they are 2/3, 1/2, 1/3 of the area times the height, the cap's formula, and π/4.
func (s Stone) domeAbove(t float64) float64 {
	a, h := s.Outline.area, float64(s.Dome)
	if t <= 0 {
		return 0
	}
	switch s.Form {
	case EllipticalDome: // ρ² = (2hs − s²) / h² at s below the top
		return a * (t*t/h - t*t*t/(3*h*h))
	case ParabolicDome: // ρ² = s / h
		return a * t * t / (2 * h)
	case ConicalTop: // ρ² = s² / h²
		return a * t * t * t / (3 * h * h)
	case CapDome: // ρ² = (2rs − s²) / b², r the arc's radius over the half width b
		b := float64(s.Outline.width) / 2
		r := (b*b + h*h) / (2 * h)
		return a / (b * b) * (r*t*t - t*t*t/3)
	case BarrelDome:
		u := 1 - t/h
		return a * h * (math.Acos(u) - u*math.Sqrt(1-u*u)) / 2
	}
	return 0
}

// bevelAbove is what the bevel takes off above a height over the back, in µm³, and how
// far that may be off. What is above is again a bevel, smaller both ways.
func (s Stone) bevelAbove(height Length) (volume, off float64) {
	if s.Bevel.Up <= height {
		return 0, 0
	}
	o := s.Outline
	up := float64(s.Bevel.Up - height)
	in := float64(s.Bevel.In) * up / float64(s.Bevel.Up)
	switch {
	case o.shape == Freeform:
		fine := o.ringBevel(in, 4, 1_000)
		return up * fine, up * math.Abs(fine-o.ringBevel(in, 2, 500)) // more than what fine is off by
	case s.Bevel.Scaled:
		half := float64(o.length+o.width) / 2
		return up * (math.Pi*half*in/2 - math.Pi*in*in/3), 0
	}
	// The mean of what lies within δ of the edge, perimeter·δ − corners·δ², for δ from 0
	// to in.
	return up * (o.perimeter*in/2 - o.corners*in*in/3), 0
}
