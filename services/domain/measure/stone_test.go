package measure_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/measure/plane"
)

// A face measured at points: planes and ridges whose volume is plain.
func TestUndulating(t *testing.T) {
	spot := func(x, y, h float64) measure.Spot {
		return measure.Spot{At: plane.Micrometres(int64(x*1_000), int64(y*1_000)), Height: um(h)}
	}
	box := outline(t, measure.Rectangle, 10, 8)
	l, err := plane.CheckRing([]plane.Point{{}, plane.Micrometres(6_000, 0), plane.Micrometres(6_000, 2_000), plane.Micrometres(2_000, 2_000), plane.Micrometres(2_000, 5_000), plane.Micrometres(0, 5_000)})
	must(t, l, err)
	bent, err := measure.NewFreeform(l)
	must(t, bent, err)
	for name, c := range map[string]struct {
		outline measure.Outline
		spots   []measure.Spot
		want    float64 // mm³
	}{
		"one spot":                       {box, []measure.Spot{spot(1, 1, 3)}, 240},
		"a slope by four corners":        {box, []measure.Spot{spot(-5, -4, 2), spot(5, -4, 4), spot(5, 4, 4), spot(-5, 4, 2)}, 240},
		"a slope by three, wide outside": {box, []measure.Spot{spot(-50, -40, 2), spot(50, -40, 4), spot(0, 90, 3)}, 240},
		"a roof: ridge 4, eaves 2":       {box, []measure.Spot{spot(-5, -4, 2), spot(5, -4, 2), spot(-5, 0, 4), spot(5, 0, 4), spot(-5, 4, 2), spot(5, 4, 2)}, 240},
		"spots on a line, 2 to 4":        {box, []measure.Spot{spot(-5, 0, 2), spot(0, 0, 3), spot(5, 0, 4)}, 240},
		"two spots, level beyond them":   {box, []measure.Spot{spot(-1, 0, 2), spot(1, 0, 4)}, 240},
		"beyond the triangles":           {box, []measure.Spot{spot(-1, -1, 2), spot(1, -1, 4), spot(1, 1, 4), spot(-1, 1, 2)}, 240},
		"an oval on a slope":             {outline(t, measure.Oval, 10, 8), []measure.Spot{spot(-5, -4, 2), spot(5, -4, 4), spot(5, 4, 4), spot(-5, 4, 2)}, 3 * math.Pi * 20},
		// 1 + x/2 over the L: its centre of area is at x = 7/3.
		"a bent freeform on a slope": {bent, []measure.Spot{spot(0, 0, 1), spot(6, 0, 4), spot(6, 5, 4), spot(0, 5, 1)}, 18 * (1 + 7./6)},
	} {
		t.Run(name, func(t *testing.T) {
			s := measure.Stone{Outline: c.outline, Form: measure.Undulating, Spots: c.spots}
			m, err := s.Model(measure.Boulder, measure.Layer{Thickness: 500, SG: 2_100}, solid(3_000))
			must(t, m, err)
			close(t, "volume", m.Volume.CubicMillimetres(), c.want, 2e-5*c.want)
			close(t, "volume of the bar", m.Layers[0].Volume.CubicMillimetres(), c.outline.FaceArea().SquareMillimetres()/2, 1e-6)
		})
	}
	t.Run("one high spot among low ones is a pyramid on a slab", func(t *testing.T) {
		s := measure.Stone{Outline: box, Form: measure.Undulating, Spots: []measure.Spot{spot(-5, -4, 2), spot(5, -4, 2), spot(5, 4, 2), spot(-5, 4, 2), spot(1, 2, 5)}}
		m, err := s.Model(measure.Solid, solid(2_100))
		must(t, m, err)
		close(t, "volume", m.Volume.CubicMillimetres(), 80*2+80*3./3, 1e-4)
		if m.Depth != 5_000 {
			t.Errorf("depth %s", m.Depth)
		}
	})
}

func TestStonesRefused(t *testing.T) {
	oval := outline(t, measure.Oval, 8, 6)
	good := measure.Stone{Outline: oval, Form: measure.EllipticalDome, Wall: 1_200, Dome: 2_000, Bevel: measure.Bevel{In: 400, Up: 400}}
	if _, err := good.Model(measure.Solid, solid(2_100)); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		change func(*measure.Stone)
		kind   measure.Kind
		layers []measure.Layer
		says   string
	}{
		"no kind":                     {nil, 0, []measure.Layer{solid(2_100)}, "say solid, boulder or matrix"},
		"no layer":                    {nil, measure.Solid, nil, "give one layer, or"},
		"three layers":                {nil, measure.Boulder, []measure.Layer{{Thickness: 1, SG: 2_100}, {Thickness: 1, SG: 2_100}, solid(2_100)}, "give one layer, or"},
		"a specific gravity of 2.1":   {nil, measure.Solid, []measure.Layer{solid(2)}, "layers[0].sg is 0.002: a specific gravity here is between 1.000 and 8.000, in thousandths (2100 for 2.100)"},
		"a bar as thick as the stone": {nil, measure.Boulder, []measure.Layer{{Thickness: 3_200, SG: 2_100}, solid(3_000)}, "a bar on a backing is thinner than the stone, 3.2 mm"},
		"a backing with thickness":    {nil, measure.Boulder, []measure.Layer{{Thickness: 1_000, SG: 2_100}, {Thickness: 2_200, SG: 3_000}}, "the last layer is all that is left"},
		"one layer with a thickness":  {nil, measure.Solid, []measure.Layer{{Thickness: 1_000, SG: 2_100}}, "the last layer is all that is left"},
		"no outline":                  {func(s *measure.Stone) { s.Outline = measure.Outline{} }, measure.Solid, []measure.Layer{solid(2_100)}, "outline is missing"},
		"no form":                     {func(s *measure.Stone) { s.Form = 0 }, measure.Solid, []measure.Layer{solid(2_100)}, "say how the top rises"},
		"a flat one with a dome":      {func(s *measure.Stone) { s.Form = measure.FlatTop }, measure.Solid, []measure.Layer{solid(2_100)}, "no dome"},
		"a dome without height":       {func(s *measure.Stone) { s.Dome = 0 }, measure.Solid, []measure.Layer{solid(2_100)}, "a dome has a height"},
		"a barrel on an oval":         {func(s *measure.Stone) { s.Form = measure.BarrelDome }, measure.Solid, []measure.Layer{solid(2_100)}, "stands on a rectangle"},
		"a cap higher than a ball":    {func(s *measure.Stone) { s.Form, s.Dome = measure.CapDome, 3_001 }, measure.Solid, []measure.Layer{solid(2_100)}, "at most half as high"},
		"a bevel above the wall":      {func(s *measure.Stone) { s.Bevel.Up = 1_201 }, measure.Solid, []measure.Layer{solid(2_100)}, "higher than the wall, 1.2 mm"},
		"a bevel one way":             {func(s *measure.Stone) { s.Bevel.Up = 0 }, measure.Solid, []measure.Layer{solid(2_100)}, "or neither"},
		"a bevel past the curve":      {func(s *measure.Stone) { s.Bevel.In = 2_251 }, measure.Solid, []measure.Layer{solid(2_100)}, "tightest curve, 2.25 mm"},
		"spots on a dome":             {func(s *measure.Stone) { s.Spots = []measure.Spot{{Height: 1}} }, measure.Solid, []measure.Layer{solid(2_100)}, "only an undulating stone"},
		"undulating without spots":    {func(s *measure.Stone) { *s = measure.Stone{Outline: oval, Form: measure.Undulating} }, measure.Solid, []measure.Layer{solid(2_100)}, "measured at 1 to"},
		"two heights at a point": {func(s *measure.Stone) {
			*s = measure.Stone{Outline: oval, Form: measure.Undulating, Spots: []measure.Spot{{Height: 1}, {Height: 2}}}
		}, measure.Solid, []measure.Layer{solid(2_100)}, "another height"},
		"a height below the back": {func(s *measure.Stone) {
			*s = measure.Stone{Outline: oval, Form: measure.Undulating, Spots: []measure.Spot{{Height: -1}}}
		}, measure.Solid, []measure.Layer{solid(2_100)}, "above the back"},
		"undulating with a thick bar": {func(s *measure.Stone) {
			*s = measure.Stone{Outline: oval, Form: measure.Undulating, Spots: []measure.Spot{{Height: 2_000}}, Bevel: measure.Bevel{In: 400, Up: 400}}
		}, measure.Boulder, []measure.Layer{{Thickness: 1_600, SG: 2_100}, solid(2_100)}, "thinner than the stone, 1.6 mm"},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			s := good
			if c.change != nil {
				c.change(&s)
			}
			m, err := s.Model(c.kind, c.layers...)
			var wrong *measure.FieldError
			if !errors.As(err, &wrong) || !strings.Contains(err.Error(), c.says) || m.Mass != 0 {
				t.Errorf("%v, %+v", err, m)
			}
		})
	}
	for _, kind := range []measure.Kind{measure.Boulder, measure.Matrix} {
		t.Run("refused: "+kind.String()+" from one specific gravity", func(t *testing.T) {
			_, err := good.Model(kind, solid(2_700))
			var onRock *measure.OnRockError
			if !errors.As(err, &onRock) || !strings.Contains(err.Error(), "weigh it, or give the bar and the backing as two layers") {
				t.Error(err)
			}
			if _, err := measure.Quick(oval, 3_000, kind, 2_700); !errors.As(err, &onRock) {
				t.Error(err)
			}
		})
	}
	for name, c := range map[string]struct {
		shape measure.Shape
		l, w  measure.Length
	}{
		"a round that isn't": {measure.Round, 8_000, 7_999}, "a short pear": {measure.Pear, 8_000, 8_000}, "a wide marquise": {measure.Marquise, 6_000, 8_000},
		"no shape": {0, 1, 1}, "a freeform without corners": {measure.Freeform, 1, 1}, "no side": {measure.Oval, 0, 1}, "a side below zero": {measure.Oval, 1, -1},
		"a side above the plane": {measure.Oval, 500_001, 1},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			_, err := measure.NewOutline(c.shape, c.l, c.w)
			var wrong *measure.FieldError
			if !errors.As(err, &wrong) {
				t.Error(err)
			}
		})
	}
}

func anyStone(t *rapid.T, unit measure.Length) measure.Stone {
	pick := shapes[rapid.IntRange(0, len(shapes)-1).Draw(t, "shape")]
	o, err := measure.NewOutline(pick.shape, measure.Length(pick.l)*unit, measure.Length(pick.w)*unit)
	if err != nil {
		t.Fatal(err)
	}
	form := rapid.SampledFrom([]measure.Form{measure.FlatTop, measure.EllipticalDome, measure.ParabolicDome, measure.CapDome, measure.ConicalTop}).Draw(t, "form")
	s := measure.Stone{Outline: o, Form: form, Wall: unit * measure.Length(rapid.Int64Range(1, 3).Draw(t, "wall"))}
	if form != measure.FlatTop {
		s.Dome = unit * measure.Length(rapid.Int64Range(1, 3).Draw(t, "dome"))
	}
	return s
}

func TestModelScalesWithTheCube(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyStone(t, 1_000)
		s.Bevel = measure.Bevel{In: 200, Up: 300}
		by := measure.Length(rapid.Int64Range(2, 30).Draw(t, "by"))
		sides, width := s.Outline.Sides()
		big := s
		var err error
		if big.Outline, err = measure.NewOutline(s.Outline.Shape(), sides*by, width*by); err != nil {
			t.Fatal(err)
		}
		big.Wall, big.Dome, big.Bevel.In, big.Bevel.Up = s.Wall*by, s.Dome*by, s.Bevel.In*by, s.Bevel.Up*by
		m, err := s.Model(measure.Solid, solid(2_100))
		n, err2 := big.Model(measure.Solid, solid(2_100))
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		cube := float64(by * by * by)
		if math.Abs(float64(n.Volume)-cube*float64(m.Volume)) > cube || math.Abs(float64(n.Mass)-cube*float64(m.Mass)) > cube || math.Abs(float64(n.Face)-float64(by*by)*float64(m.Face)) > float64(by*by) {
			t.Fatalf("%d times as large: %+v, %+v", by, m, n)
		}
	})
}

func TestMoreBevelLessMass(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyStone(t, 1_000)
		mass := func() measure.Mass {
			m, err := s.Model(measure.Solid, solid(2_100))
			if err != nil {
				t.Fatal(err)
			}
			return m.Mass
		}
		s.Bevel = measure.Bevel{In: measure.Length(rapid.Int64Range(50, 400).Draw(t, "in")), Up: measure.Length(rapid.Int64Range(50, 900).Draw(t, "up"))}
		less := mass()
		s.Bevel.In += 50
		more := mass()
		s.Bevel.Up += 50
		most := mass()
		s.Bevel = measure.Bevel{}
		if none := mass(); !(most < more && more < less && less < none) {
			t.Fatalf("%d, %d, %d, %d", none, less, more, most)
		}
	})
}

func TestLayersLieBetweenTheirGravities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := anyStone(t, 1_000)
		s.Bevel = measure.Bevel{In: 300, Up: measure.Length(rapid.Int64Range(1, int64(s.Wall)).Draw(t, "up"))}
		opal, rock := measure.SGMilli(rapid.Int64Range(1_900, 2_300).Draw(t, "opal")), measure.SGMilli(rapid.Int64Range(2_700, 4_000).Draw(t, "rock"))
		thick := measure.Length(rapid.Int64Range(1, int64(s.Depth())-2).Draw(t, "bar"))
		at := func(thick measure.Length) measure.Model {
			m, err := s.Model(measure.Boulder, measure.Layer{Thickness: thick, SG: opal}, solid(rock))
			if err != nil {
				t.Fatal(err)
			}
			return m
		}
		m := at(thick)
		light, err := s.Model(measure.Solid, solid(opal))
		heavy, err2 := s.Model(measure.Solid, solid(rock))
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		if m.Mass < light.Mass || m.Mass > heavy.Mass+1 || m.Layers[0].Volume+m.Layers[1].Volume != m.Volume || m.Layers[0].Volume < 0 || m.Layers[1].Volume < 0 || m.Layers[0].Mass+m.Layers[1].Mass != m.Mass {
			t.Fatalf("%+v, %+v, %+v", light, m, heavy)
		}
		if thicker := at(thick + 1); thicker.Layers[0].Volume < m.Layers[0].Volume || thicker.Mass > m.Mass+1 {
			t.Fatalf("a thicker bar: %+v, %+v", m, thicker)
		}
	})
}
