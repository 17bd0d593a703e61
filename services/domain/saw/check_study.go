package saw

import (
	"fmt"
	"slices"
	"strings"

	"seamshare.example/services/domain/measure"
)

// check holds what can be said of a study without its geometry.
func (s Study) check() error {
	if err := ranged("mass_ug", s.MassUg, 1, MaxMassUg, "weigh the piece dry"); err != nil {
		return err
	}
	if err := ranged("sg_milli", s.SGMilli, MinSGMilli, MaxSGMilli, "give the specific gravity in thousandths, 2950 for 2.95"); err != nil {
		return err
	}
	drawn := len(s.Profile) > 0
	switch {
	case drawn && s.ThicknessUm != 0:
		return invalid("thickness_um", s.ThicknessUm, "a piece with a drawn section has its thickness there; leave it out")
	case drawn && len(s.Layers) > 0:
		return invalid("layers", len(s.Layers), "a piece with a drawn section has its layers there; draw them as features")
	}
	if !drawn {
		if err := ranged("thickness_um", s.ThicknessUm, 1, MaxLengthUm, "measure it, or draw a section"); err != nil {
			return err
		}
	}
	names := map[string]string{}
	if err := s.checkLayers(names); err != nil {
		return err
	}
	if n := len(s.Features); n > MaxFeatures {
		return invalid("features", n, "a study has at most %d", MaxFeatures)
	}
	if n := len(s.Underlays); n > MaxUnderlays {
		return invalid("underlays", n, "a study has at most %d", MaxUnderlays)
	}
	points := 0
	for i, f := range s.Features {
		if err := f.check(fmt.Sprintf("features[%d]", i), names); err != nil {
			return err
		}
		points += len(f.Points)
	}
	if points > MaxPoints {
		return invalid("features", points, "all features together have at most %d points; leave out those that hardly change them", MaxPoints)
	}
	return nil
}

func (s Study) checkLayers(names map[string]string) error {
	if n := len(s.Layers); n > MaxLayers {
		return invalid("layers", n, "a study has at most %d", MaxLayers)
	}
	left := s.ThicknessUm
	for i, l := range s.Layers {
		path := fmt.Sprintf("layers[%d]", i)
		if err := named(path+".name", l.Name, path, names); err != nil {
			return err
		}
		if !slices.Contains([]Kind{Colour, Potch, Rock, Matrix}, l.Kind) {
			return invalid(path+".kind", quoted(l.Kind), "a layer is colour, potch, host rock or matrix")
		}
		if err := ranged(path+".thickness_um", l.ThicknessUm, 1, left, "the layers together are no thicker than the piece"); err != nil {
			return err
		}
		left -= l.ThicknessUm
		if err := ranged(path+".sg_milli", l.SGMilli, MinSGMilli, MaxSGMilli, "give the specific gravity in thousandths, 2100 for 2.10"); err != nil {
			return err
		}
	}
	return nil
}

func (f Feature) check(path string, names map[string]string) error {
	if err := named(path+".name", f.Name, path, names); err != nil {
		return err
	}
	if !slices.Contains([]Kind{Colour, Potch, Rock, Crack, Matrix, Seam}, f.Kind) {
		return invalid(path+".kind", quoted(f.Kind), "a feature is colour, potch, host rock, crack, matrix or seam")
	}
	if !slices.Contains([]View{Face, Back, Section}, f.View) {
		return invalid(path+".view", quoted(f.View), "a feature is drawn in face, back or section")
	}
	line := f.Kind == Crack || f.Kind == Seam
	switch {
	case f.Closed && line:
		return invalid(path+".closed", true, "a %s is drawn as a line", f.Kind)
	case !f.Closed && !line && f.Kind != Rock:
		return invalid(path+".closed", false, "%s is drawn as a closed outline", f.Kind)
	case f.Kind == Seam && f.View != Section:
		return invalid(path+".view", quoted(f.View), "a seam is drawn in the section; what it shows in the face is a colour")
	}
	thickest := int64(0)
	if f.Kind == Seam {
		thickest = MaxLengthUm
	}
	if err := ranged(path+".thickness_um", f.ThicknessUm, min(1, thickest), thickest, "a seam has a thickness, other features have none"); err != nil {
		return err
	}
	deepest := int64(MaxLengthUm)
	if f.View == Section {
		deepest = 0
	}
	if err := ranged(path+".depth_um", f.DepthUm, 0, deepest, "say how deep it reaches from its face or back, 0 for all through; in a section it is drawn"); err != nil {
		return err
	}
	heaviest := int64(0)
	if f.View == Section && (f.Closed || f.Kind == Seam) {
		heaviest = MaxSGMilli
	}
	if f.SGMilli != 0 {
		return ranged(path+".sg_milli", f.SGMilli, min(MinSGMilli, heaviest), heaviest, "layers of the section have a specific gravity, in thousandths; others have none")
	}
	return nil
}

func (u Underlay) check(path string) error {
	if !slices.Contains([]View{Face, Back, Section}, u.View) {
		return invalid(path+".view", quoted(u.View), "a photo lies under face, back or section")
	}
	if u.SHA256 == ([32]byte{}) {
		return invalid(path+".sha256", "", "a photo is named by the SHA-256 of its bytes")
	}
	const most = 100_000
	for _, p := range []struct {
		name string
		at   Pixel
	}{{"pixel_a", u.PixelA}, {"pixel_b", u.PixelB}} {
		if max(p.at.X, p.at.Y) > most || min(p.at.X, p.at.Y) < 0 {
			return invalid(path+"."+p.name, p.at, "a photo's pixels are counted from 0 to %d", most)
		}
	}
	if u.PixelA == u.PixelB {
		return invalid(path+".pixel_b", u.PixelB, "it is the same pixel as the first, which gives no scale; mark two points well apart")
	}
	if err := ranged(path+".distance_um", u.DistanceUm, 1, MaxLengthUm, "give how far the two points are apart on the piece; a scale of zero shows nothing"); err != nil {
		return err
	}
	if !u.At.inRange() {
		return invalid(path+".at", u.At, "a point is at most %v from the origin", measure.Length(MaxLengthUm))
	}
	return ranged(path+".turn_mdeg", u.TurnMdeg, -360_000, 360_000, "a turn is at most once round")
}

func (p Point) inRange() bool { return max(p.X, -p.X, p.Y, -p.Y) <= MaxLengthUm }

func (p Point) String() string {
	return fmt.Sprintf("(%s, %s) mm", strings.TrimSuffix(measure.Length(p.X).String(), " mm"), strings.TrimSuffix(measure.Length(p.Y).String(), " mm"))
}

// maxName keeps names readable in drawings.
const maxName = 80

func named(path, name, at string, names map[string]string) error {
	if name == "" || len(name) > maxName {
		return invalid(path, quoted(name), "a name has 1 to %d bytes", maxName)
	}
	if other, ok := names[name]; ok {
		return invalid(path, quoted(name), "%s has this name already; give each its own", other)
	}
	names[name] = at
	return nil
}

func ranged(path string, v, from, to int64, hint string) error {
	if v < from || v > to {
		return invalid(path, v, "it is %d to %d; %s", from, to, hint)
	}
	return nil
}

func quoted[S ~string](s S) string { return fmt.Sprintf("%q", string(s)) }
