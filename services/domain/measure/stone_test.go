package measure_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/measure/plane"
)

func read(t *testing.T, file string, into any) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatal(err)
	}
}

func must[T any](t testing.TB, x T, err error) T {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// um and milli read what the files give in millimetres and as a specific gravity.
func um(mm float64) measure.Length           { return measure.Length(math.Round(mm * 1_000)) }
func milli(sg float64) measure.SGMilli       { return measure.SGMilli(math.Round(sg * 1_000)) }
func carats(m measure.Mass) float64          { return float64(m) / 200_000 }
func grams(m measure.Mass) float64           { return float64(m) / 1_000_000 }
func solid(sg measure.SGMilli) measure.Layer { return measure.Layer{SG: sg} }

func outline(t testing.TB, shape measure.Shape, l, w float64) measure.Outline {
	t.Helper()
	o, err := measure.NewOutline(shape, um(l), um(w))
	return must(t, o, err)
}

func close(t *testing.T, what string, got, want, slack float64) {
	t.Helper()
	if !(math.Abs(got-want) <= slack) {
		t.Errorf("%s is %.9g, published %.9g", what, got, want)
	}
}

func TestVolumesAsWorkedOut(t *testing.T) {
	var file []struct {
		Name   string
		Inputs map[string]float64
		Volume float64 `json:"volume_mm3"`
		SG     float64
		Carats float64
		Grams  float64
	}
	read(t, "testdata/volumes_and_weights.json", &file)
	model := func(s measure.Stone, sg float64) measure.Model {
		m, err := s.Model(measure.Solid, solid(milli(sg)))
		return must(t, m, err)
	}
	seen := 0
	for _, row := range file {
		seen++
		in := row.Inputs
		oval := func() measure.Outline { return outline(t, measure.Oval, in["L"], in["W"]) }
		bevel := func(scaled bool) measure.Bevel {
			return measure.Bevel{In: um(in["c"]), Up: um(in["k"]), Scaled: scaled}
		}
		var s measure.Stone
		switch row.Name {
		case "half_ellipsoid_8x6x3":
			s = measure.Stone{Outline: oval(), Form: measure.EllipticalDome, Dome: um(in["D"])}
		case "paraboloid_dome_8x6x3":
			s = measure.Stone{Outline: oval(), Form: measure.ParabolicDome, Dome: um(in["D"])}
		case "elliptic_cylinder_8x6x3":
			s = measure.Stone{Outline: oval(), Form: measure.FlatTop, Wall: um(in["H"])}
		case "box_8x6x3":
			s = measure.Stone{Outline: outline(t, measure.Rectangle, in["L"], in["W"]), Form: measure.FlatTop, Wall: um(in["H"])}
		case "spherical_cap_d10_h2.5":
			s = measure.Stone{Outline: outline(t, measure.Round, in["d"], in["d"]), Form: measure.CapDome, Dome: um(in["h"])}
		case "affine_cap_10x8_h2":
			s = measure.Stone{Outline: oval(), Form: measure.CapDome, Dome: um(in["h"])}
		case "full_cab_8x6_wall1.2_dome2.0_chamfer0.4":
			s = measure.Stone{Outline: oval(), Form: measure.EllipticalDome, Wall: um(in["wall_g"]), Dome: um(in["dome_h"]), Bevel: bevel(true)}
			if s.Depth() != um(in["total_depth"]) {
				t.Errorf("%s is %s deep", row.Name, s.Depth())
			}
		case "homothetic_dome_marquise_vesica_12x6_d3":
			s = measure.Stone{Outline: outline(t, measure.Marquise, in["L"], in["W"]), Form: measure.EllipticalDome, Dome: um(in["D"])}
			close(t, "area of the marquise", s.Outline.FaceArea().SquareMillimetres(), 50.320712025, 1e-6)
		case "chamfer_removed_ellipse_axes_8x6_c0.5_k0.5":
			s = measure.Stone{Outline: oval(), Bevel: bevel(true)}
		case "chamfer_removed_true_offset_8x6_c0.5_k0.5":
			s = measure.Stone{Outline: oval(), Bevel: bevel(false)}
			close(t, "perimeter", float64(s.Outline.Perimeter())/1_000, in["P"], 5e-4)
		case "chamfer_removed_circle_d10_c0.6_k0.4":
			s = measure.Stone{Outline: outline(t, measure.Round, in["d"], in["d"]), Bevel: bevel(false)}
		case "chamfer_removed_rectangle_10x8_c0.5_k0.5":
			s = measure.Stone{Outline: outline(t, measure.Rectangle, in["L"], in["W"]), Bevel: bevel(false)}
		default:
			t.Errorf("%s is in the file but not here", row.Name)
			continue
		}
		if strings.HasPrefix(row.Name, "chamfer") { // what a wall loses
			s.Form, s.Wall = measure.FlatTop, um(2)
			with := model(s, row.SG)
			s.Bevel = measure.Bevel{}
			without := model(s, row.SG)
			close(t, row.Name, (without.Volume - with.Volume).CubicMillimetres(), row.Volume, 2e-9)
			close(t, row.Name, grams(without.Mass-with.Mass), row.Grams, 1e-6)
			close(t, row.Name, carats(without.Mass-with.Mass), row.Carats, 5e-6)
			continue
		}
		m := model(s, row.SG)
		close(t, row.Name, m.Volume.CubicMillimetres(), row.Volume, 1e-9)
		close(t, row.Name, grams(m.Mass), row.Grams, 0.51e-6)
		close(t, row.Name, carats(m.Mass), row.Carats, 2.6e-6)
		if m.ErrorPPM != 0 {
			t.Errorf("%s: a closed form is off by %d", row.Name, m.ErrorPPM)
		}
	}
	if seen != 12 {
		t.Errorf("%d rows", seen)
	}
}

func TestShapeFactorsAsWorkedOut(t *testing.T) {
	const l, w, d = 30., 20., 5.
	seen := 0
	for _, row := range rows(t, "testdata/shape_factors.csv") {
		seen++
		s := measure.Stone{Outline: outline(t, measure.Oval, l, w), Form: measure.EllipticalDome, Dome: um(d)}
		quick := true
		box := l * w * d
		switch row[0] {
		case "box":
			s, quick = measure.Stone{Outline: outline(t, measure.Rectangle, l, w), Form: measure.FlatTop, Wall: um(d)}, false
		case "elliptic or round cylinder":
			s.Form, s.Dome, s.Wall, quick = measure.FlatTop, 0, um(d), false
		case "half ellipsoid (oval or round)":
		case "elliptic paraboloid":
			s.Form, quick = measure.ParabolicDome, false
		case "elliptic cone":
			s.Form, quick = measure.ConicalTop, false
		case "rectangle outline, elliptical homothetic dome":
			s.Outline = outline(t, measure.Rectangle, l, w)
		case "rectangle outline, half-elliptic barrel dome":
			s.Outline, s.Form, quick = outline(t, measure.Rectangle, l, w), measure.BarrelDome, false
		case "marquise vesica 2:1, elliptical dome":
			s.Outline, box = outline(t, measure.Marquise, 30, 15), 30*15*d
		case "pear 3:2 (tangent-cone tip), elliptical dome":
			s.Outline = outline(t, measure.Pear, l, w)
		case "superellipse cushion n=4, elliptical dome":
			s.Outline = outline(t, measure.Cushion, l, w)
		default:
			t.Errorf("%s is in the file but not here", row[0])
			continue
		}
		want, err := strconv.ParseFloat(row[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		m, err := s.Model(measure.Solid, solid(1_000))
		must(t, m, err)
		close(t, row[0], m.Volume.CubicMillimetres()*0.005/box, want, 0.6e-9)
		if quick {
			e, err := measure.Quick(s.Outline, s.Dome, measure.Solid, 1_000)
			must(t, e, err)
			close(t, row[0]+", quickly", float64(e.FactorNano)/1e9, want, 0.6e-9)
			if e.Mass != m.Mass {
				t.Errorf("%s: quickly %d, model %d", row[0], e.Mass, m.Mass)
			}
		}
	}
	if seen != 10 {
		t.Errorf("%d rows", seen)
	}
}

func TestQuickBesideTheModel(t *testing.T) {
	seen := 0
	for _, row := range rows(t, "testdata/formula_vs_geometry.csv") {
		seen++
		var x []float64
		for _, text := range row {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			x = append(x, v)
		}
		oval := outline(t, measure.Oval, x[0], x[1])
		e, err := measure.Quick(oval, um(x[2]), measure.Solid, milli(x[3]))
		must(t, e, err)
		close(t, "half ellipsoid", carats(e.Mass), x[5], 3e-6)
		close(t, "paraboloid", carats(e.Least), x[6], 3e-6)
		close(t, "cylinder", carats(e.Most), x[7], 3e-6)
		close(t, "0.0027", x[0]*x[1]*x[2]*x[3]*0.0027, x[4], 1e-6)
		close(t, "0.0027 over the half ellipsoid", 0.0027/(float64(e.FactorNano)/1e9), x[8], 1e-6)
		close(t, "least of the estimate", float64(e.Least)/float64(e.Mass), 0.75, 1e-4)
		close(t, "most of the estimate", float64(e.Most)/float64(e.Mass), 1.5, 1e-4)
	}
	if seen != 10 {
		t.Errorf("%d rows", seen)
	}
}

func TestSawAndLayersAsWorkedOut(t *testing.T) {
	var file struct {
		Slabs []struct {
			T, Kerf, Used float64
			Slab          float64 `json:"t"`
			N             int64
		} `json:"slab_count"`
		Block struct {
			L, W, T, SG, Slab, Kerf float64
			Slabs, Cuts             int64
			BlockG                  float64 `json:"block_g"`
			SlabsG                  float64 `json:"slabs_g"`
			KerfG                   float64 `json:"kerf_g"`
			OffcutMM                float64 `json:"offcut_mm"`
			OffcutG                 float64 `json:"offcut_g"`
		} `json:"block_balance"`
		Inclined struct {
			Example struct {
				A, Kerf, Volume float64
				Phi             float64 `json:"phi_deg"`
			}
		} `json:"inclined_cut"`
		Layered []struct {
			TOpal  float64 `json:"t_opal"`
			TBack  float64 `json:"t_back"`
			Opal   float64 `json:"sg_opal"`
			Back   float64 `json:"sg_back"`
			Mix    float64 `json:"sg_mix"`
			Volume float64 `json:"opal_volume_fraction"`
			Mass   float64 `json:"opal_mass_fraction"`
		}
		Hydrostatic []struct {
			AirCt   float64 `json:"air_ct"`
			WaterCt float64 `json:"water_ct"`
			AirG    float64 `json:"air_g"`
			WaterG  float64 `json:"water_g"`
			SG      float64
		}
	}
	// The file has "T" and "t", which encoding/json takes for one name.
	text, err := os.ReadFile("testdata/saw_and_layers.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(strings.ReplaceAll(string(text), `"t":`, `"slab":`)), &file); err != nil {
		t.Fatal(err)
	}
	var raw struct {
		Slabs []map[string]float64 `json:"slab_count"`
	}
	if err := json.Unmarshal(text, &raw); err != nil {
		t.Fatal(err)
	}
	for _, row := range raw.Slabs {
		s, err := measure.SlabsOf(um(row["T"]), um(row["t"]), um(row["kerf"]))
		if err != nil || s.Slabs != int64(row["n"]) || s.Used != um(row["used"]) {
			t.Errorf("%v: %+v, %v", row, s, err)
		}
	}
	b := file.Block
	s, err := measure.SlabsOf(um(b.T), um(b.Slab), um(b.Kerf))
	if err != nil || s.Slabs != b.Slabs || s.Cuts != b.Cuts || s.Offcut != um(b.OffcutMM) {
		t.Errorf("block: %+v, %v", s, err)
	}
	box := func(thick measure.Length) measure.Mass {
		m, err := measure.Stone{Outline: outline(t, measure.Rectangle, b.L, b.W), Form: measure.FlatTop, Wall: thick}.Model(measure.Solid, solid(milli(b.SG)))
		return must(t, m, err).Mass
	}
	kerf, err := measure.KerfLoss(s.Kerf, outline(t, measure.Rectangle, b.L, b.W).FaceArea(), 0, milli(b.SG))
	must(t, kerf, err)
	slabs, offcut := 3*box(um(b.Slab)), box(s.Offcut)
	if slabs+kerf+offcut != box(um(b.T)) || grams(slabs) != b.SlabsG || grams(kerf) != b.KerfG || grams(offcut) != b.OffcutG || grams(box(um(b.T))) != b.BlockG {
		t.Errorf("%d + %d + %d of %d", slabs, kerf, offcut, box(um(b.T)))
	}
	in := file.Inclined.Example
	lost, err := measure.KerfLoss(um(in.Kerf), measure.Area(in.A*1e6), in.Phi*math.Pi/180, 1_000)
	must(t, lost, err)
	close(t, "slanting cut, mg", float64(lost)/1_000, in.Volume, 1e-3)
	for _, row := range file.Layered {
		if row.TOpal > 0 {
			m, err := measure.Stone{Outline: outline(t, measure.Oval, 12, 10), Form: measure.FlatTop, Wall: um(row.TOpal + row.TBack)}.
				Model(measure.Boulder, measure.Layer{Thickness: um(row.TOpal), SG: milli(row.Opal)}, solid(milli(row.Back)))
			must(t, m, err)
			close(t, "specific gravity of layers", float64(m.Mass)/m.Volume.CubicMillimetres()/1_000, row.Mix, 3e-6)
			volume, mass, err := measure.OpalShare(milli(row.Mix), milli(row.Opal), milli(row.Back))
			if err != nil || math.Abs(float64(volume)-1e6*row.TOpal/(row.TOpal+row.TBack)) > 0.5 || math.Abs(float64(mass)-1e6*float64(m.Layers[0].Mass)/float64(m.Mass)) > 1 {
				t.Errorf("share of opal %d, %d, %v", volume, mass, err)
			}
			continue
		}
		volume, mass, err := measure.OpalShare(milli(row.Mix), milli(row.Opal), milli(row.Back))
		if err != nil || math.Abs(float64(volume)/1e6-row.Volume) > 1e-6 || math.Abs(float64(mass)/1e6-row.Mass) > 1e-6 {
			t.Errorf("share of opal %d, %d, %v", volume, mass, err)
		}
	}
	for _, row := range file.Hydrostatic {
		w := measure.InWater{Sound: true}
		w.Air = measure.Weighing{Mass: measure.Mass(math.Round(row.AirCt*200_000 + row.AirG*1e6)), Division: 2_000}
		w.Water = measure.Weighing{Mass: measure.Mass(math.Round(row.WaterCt*200_000 + row.WaterG*1e6)), Division: 2_000}
		g, err := w.Gravity()
		if err != nil || g.SG != milli(row.SG) || g.Least >= g.SG || g.Most <= g.SG {
			t.Errorf("%+v: %+v, %v", row, g, err)
		}
	}
	if len(raw.Slabs) != 4 || len(file.Layered) != 3 || len(file.Hydrostatic) != 2 {
		t.Error("rows are missing")
	}
}

// edge is a shape's outline by what belongs to it, told otherwise than in the package:
// how far it reaches from its box's middle in a direction, by halving.
func edge(shape measure.Shape, l, w float64) func(t float64) float64 {
	a, b := l/2, w/2
	var in func(x, y float64) bool
	switch shape {
	case measure.Oval, measure.Round:
		in = func(x, y float64) bool { return x*x/(a*a)+y*y/(b*b) <= 1 }
	case measure.Rectangle:
		in = func(x, y float64) bool { return math.Abs(x) <= a && math.Abs(y) <= b }
	case measure.Triangle:
		in = func(x, y float64) bool { return x >= -a && math.Abs(y) <= b*(a-x)/l }
	case measure.Cushion:
		in = func(x, y float64) bool { return math.Pow(x/a, 4)+math.Pow(y/b, 4) <= 1 }
	case measure.Marquise:
		r := (a*a + b*b) / (2 * b)
		in = func(x, y float64) bool { return math.Hypot(x, math.Abs(y)+r-b) <= r }
	case measure.Pear:
		d := l - b
		slope := math.Asin(b / d) // half the tip's angle
		in = func(x, y float64) bool {
			fromTip := a - x // the cone up to where it touches the circle, or the circle
			return math.Hypot(x-(b-a), y) <= b || fromTip >= 0 && fromTip <= d*math.Cos(slope)*math.Cos(slope) && math.Abs(y) <= fromTip*math.Tan(slope)
		}
	}
	return func(t float64) float64 {
		s, c := math.Sincos(t)
		low, high := 0., l+w
		for range 60 {
			if mid := (low + high) / 2; in(mid*c, mid*s) {
				low = mid
			} else {
				high = mid
			}
		}
		return low
	}
}

var shapes = []struct {
	shape measure.Shape
	l, w  float64
}{
	{measure.Oval, 8, 6},
	{measure.Oval, 6, 9},
	{measure.Round, 7, 7},
	{measure.Rectangle, 10, 8},
	{measure.Triangle, 9, 7},
	{measure.Cushion, 8, 8},
	{measure.Cushion, 12, 8},
	{measure.Marquise, 12, 6},
	{measure.Pear, 15, 10},
	{measure.Pear, 7, 6},
}

// Volumes of each outline under each form, integrated in polar coordinates from heights
// that are told here by themselves.
func TestVolumesByIntegration(t *testing.T) {
	const wall, dome, bar = 1.5, 2.5, 1.75 // mm
	forms := map[measure.Form]func(rho, x, y, w float64) float64{
		measure.FlatTop:        func(_, _, _, _ float64) float64 { return 0 },
		measure.EllipticalDome: func(rho, _, _, _ float64) float64 { return dome * math.Sqrt(max(0, 1-rho*rho)) },
		measure.ParabolicDome:  func(rho, _, _, _ float64) float64 { return dome * (1 - rho*rho) },
		measure.ConicalTop:     func(rho, _, _, _ float64) float64 { return dome * (1 - rho) },
		measure.CapDome: func(rho, _, _, w float64) float64 {
			b := w / 2
			r := (b*b + dome*dome) / (2 * dome)
			return math.Sqrt(max(0, r*r-rho*rho*b*b)) - (r - dome)
		},
		measure.BarrelDome: func(_, _, y, w float64) float64 { return dome * math.Sqrt(max(0, 1-4*y*y/(w*w))) },
	}
	const directions, rings = 1_440, 400
	for _, c := range shapes {
		reach := edge(c.shape, c.l, c.w)
		for form, height := range forms {
			if form == measure.BarrelDome && c.shape != measure.Rectangle {
				continue
			}
			t.Run(fmt.Sprintf("%s %gx%g, %s", c.shape, c.l, c.w, form), func(t *testing.T) {
				s := measure.Stone{Outline: outline(t, c.shape, c.l, c.w), Form: form, Wall: um(wall), Dome: um(dome)}
				depth := wall + dome
				if form == measure.FlatTop {
					s.Dome, depth = 0, wall
				}
				thick := min(bar, depth/2)
				m, err := s.Model(measure.Boulder, measure.Layer{Thickness: um(thick), SG: 2_100}, solid(3_000))
				must(t, m, err)
				var whole, top, area float64
				for i := range directions {
					a := 2 * math.Pi * (float64(i) + 0.5) / directions
					far := reach(a)
					sin, cos := math.Sincos(a)
					for k := range rings {
						// Finer towards the edge, where domes are steep: r = far·(1 − u²).
						u := (float64(k) + 0.5) / rings
						rho := 1 - u*u
						cell := 2 * math.Pi / directions * far * rho * far * 2 * u / rings
						z := wall + height(rho, far*rho*cos, far*rho*sin, c.w)
						area += cell
						whole += cell * z
						top += cell * max(0, z-(depth-thick))
					}
				}
				close(t, "area", m.Face.SquareMillimetres(), area, 1e-4*area)
				close(t, "volume", m.Volume.CubicMillimetres(), whole, 2e-4*whole)
				close(t, "volume of the bar", m.Layers[0].Volume.CubicMillimetres(), top, 3e-4*whole)
			})
		}
	}
}

// What a bevel takes, by the distance of points from the edge; as a freeform too, whose
// bevel the package itself integrates.
func TestBevelsByIntegration(t *testing.T) {
	const in, up, wall = 0.6, 0.5, 0.8
	for _, c := range shapes {
		t.Run(fmt.Sprintf("%s %gx%g", c.shape, c.l, c.w), func(t *testing.T) {
			reach := edge(c.shape, c.l, c.w)
			const n = 240
			var boundary [n][2]float64
			for i := range boundary {
				a := 2 * math.Pi * float64(i) / n
				sin, cos := math.Sincos(a)
				boundary[i] = [2]float64{reach(a) * cos, reach(a) * sin}
			}
			away := func(x, y float64) float64 {
				least := math.Inf(1)
				for i, p := range boundary {
					q := boundary[(i+1)%n]
					dx, dy := q[0]-p[0], q[1]-p[1]
					at := min(1, max(0, ((x-p[0])*dx+(y-p[1])*dy)/(dx*dx+dy*dy)))
					ex, ey := x-p[0]-at*dx, y-p[1]-at*dy
					least = min(least, ex*ex+ey*ey)
				}
				return math.Sqrt(least)
			}
			// Of the part in above what is left of the bar over the bevel.
			const barOver = 0.3
			var lost, lostAbove float64
			const step = 0.08
			for x := -c.l/2 + step/2; x < c.l/2; x += step {
				for y := -c.w/2 + step/2; y < c.w/2; y += step {
					if math.Hypot(x, y) > reach(math.Atan2(y, x)) {
						continue
					}
					if d := away(x, y); d < in {
						z := up * (1 - d/in)
						lost += step * step * z
						lostAbove += step * step * max(0, z-barOver)
					}
				}
			}
			s := measure.Stone{Outline: outline(t, c.shape, c.l, c.w), Form: measure.FlatTop, Wall: um(wall)}
			model := func() measure.Model {
				m, err := s.Model(measure.Solid, measure.Layer{Thickness: um(wall - barOver), SG: 2_100}, solid(2_000))
				return must(t, m, err)
			}
			without := model()
			s.Bevel = measure.Bevel{In: um(in), Up: um(up)}
			with := model()
			got := (without.Volume - with.Volume).CubicMillimetres()
			close(t, "bevel", got, lost, 0.02*lost)
			close(t, "bevel of the bar", (without.Layers[0].Volume - with.Layers[0].Volume).CubicMillimetres(), lostAbove, 0.05*lost)

			ring, _ := s.Outline.Around(180)
			free, err := measure.NewFreeform(ring)
			s.Outline = must(t, free, err)
			freely := model()
			if sharp := c.shape == measure.Rectangle || c.shape == measure.Triangle; sharp { // the same outline, so the error is known
				if off := float64(freely.Volume-with.Volume) / float64(with.Volume) * 1e6; math.Abs(off) > float64(freely.ErrorPPM) || freely.ErrorPPM == 0 {
					t.Errorf("a freeform's bevel is %v ppm off, said %d", off, freely.ErrorPPM)
				}
			}
			s.Bevel = measure.Bevel{}
			close(t, "bevel as a freeform", (model().Volume - freely.Volume).CubicMillimetres(), got, 0.002*got)
			if freely.ErrorPPM > 100 {
				t.Errorf("a freeform's bevel leaves %d ppm open", freely.ErrorPPM)
			}
		})
	}
}

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

// Faces through any spots, held against a sum over a grid that asks for the height at each
// point: in the triangle that has it, or at the nearest point of the hull.
func TestUndulatingByIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const l, w = 10, 8
		box, err := measure.NewOutline(measure.Rectangle, um(l), um(w))
		if err != nil {
			t.Fatal(err)
		}
		points := rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) plane.Point {
			return plane.Micrometres(1_000*rapid.Int64Range(-6, 6).Draw(t, "x"), 1_000*rapid.Int64Range(-5, 5).Draw(t, "y"))
		}), 1, 9, rapid.ID[plane.Point]).Draw(t, "points")
		s := measure.Stone{Outline: box, Form: measure.Undulating}
		for _, p := range points {
			s.Spots = append(s.Spots, measure.Spot{At: p, Height: measure.Length(rapid.Int64Range(1_000, 4_000).Draw(t, "height"))})
		}
		mesh := plane.Triangulate(points)
		at := func(i int) (x, y, h float64) {
			return float64(points[i].X) / 1e6, float64(points[i].Y) / 1e6, float64(s.Spots[i].Height) / 1_000
		}
		height := func(x, y float64) float64 {
			for _, c := range mesh.Triangles {
				x0, y0, h0 := at(c[0])
				x1, y1, h1 := at(c[1])
				x2, y2, h2 := at(c[2])
				det := (y1-y2)*(x0-x2) + (x2-x1)*(y0-y2)
				a := ((y1-y2)*(x-x2) + (x2-x1)*(y-y2)) / det
				b := ((y2-y0)*(x-x2) + (x0-x2)*(y-y2)) / det
				if a >= -1e-9 && b >= -1e-9 && a+b <= 1+1e-9 {
					return a*h0 + b*h1 + (1-a-b)*h2
				}
			}
			near, found := math.Inf(1), 0.
			for i, u := range mesh.Hull {
				x0, y0, h0 := at(u)
				x1, y1, h1 := at(mesh.Hull[(i+1)%len(mesh.Hull)])
				part := 0.
				if length := (x1-x0)*(x1-x0) + (y1-y0)*(y1-y0); length > 0 {
					part = min(1, max(0, ((x-x0)*(x1-x0)+(y-y0)*(y1-y0))/length))
				}
				if len(mesh.Triangles) == 0 && i == len(mesh.Hull)-1 && i > 0 {
					continue // a line doesn't close
				}
				if d := math.Hypot(x-x0-part*(x1-x0), y-y0-part*(y1-y0)); d < near {
					near, found = d, h0+part*(h1-h0)
				}
			}
			return found
		}
		const n = 100
		var sum float64
		for i := range n {
			for k := range n {
				sum += height(l*((float64(i)+0.5)/n-0.5), w*((float64(k)+0.5)/n-0.5)) * l * w / n / n
			}
		}
		m, err := s.Model(measure.Solid, solid(2_100))
		if err != nil || math.Abs(m.Volume.CubicMillimetres()-sum) > 2e-3*sum || m.ErrorPPM > 5 {
			t.Fatalf("%+v, %v; by the grid %v", m, err, sum)
		}
	})
}

func TestSlabsAndKerfRefused(t *testing.T) {
	for name, err := range map[string]error{
		"block": second(measure.SlabsOf(0, 1, 0)), "slab": second(measure.SlabsOf(1, 0, 0)), "kerf": second(measure.SlabsOf(1, 1, -1)),
		"block is above": second(measure.SlabsOf(measure.MaxLength+1, 1, 1)),
		"tilt":           second(measure.KerfLoss(600, 1, 1.5, 2_100)), "tilt is NaN": second(measure.KerfLoss(600, 1, math.NaN(), 2_100)),
		"area": second(measure.KerfLoss(600, -1, 0, 2_100)), "kerf is -": second(measure.KerfLoss(-1, 1, 0, 2_100)), "specific gravity": second(measure.KerfLoss(1, 1, 0, 2)),
	} {
		var wrong *measure.FieldError
		if !errors.As(err, &wrong) || !strings.HasPrefix(name, wrong.Field) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, _, err := measure.OpalShare(2_000, 2_100, 3_000); err == nil {
		t.Error("a whole lighter than its parts")
	}
	if _, _, err := measure.OpalShare(2_100, 2_100, 2_100); err == nil {
		t.Error("opal like rock")
	}
}

func second[A any](_ A, err error) error { return err }

// Slabs, kerf and off-cut are the block, and no further slab would fit.
func TestSlabsBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, least int64) measure.Length {
			return measure.Length(rapid.Int64Range(least, 60_000).Draw(t, name))
		}
		block, slab, kerf := draw("block", 1), draw("slab", 1), draw("kerf", 0)
		s, err := measure.SlabsOf(block, slab, kerf)
		if err != nil {
			t.Fatal(err)
		}
		if measure.Length(s.Slabs)*slab+s.Kerf+s.Offcut != block || s.Kerf > measure.Length(s.Cuts)*kerf || s.Offcut < 0 || s.Slabs > 0 && s.Offcut >= slab || s.Slabs == 0 && block >= slab {
			t.Fatalf("%+v of %d", s, block)
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

func TestGravityRefused(t *testing.T) {
	at := func(m, d measure.Mass) measure.Weighing { return measure.Weighing{Mass: m, Division: d} }
	for name, c := range map[string]struct {
		w    measure.InWater
		says string
	}{
		"not known to be sound": {measure.InWater{Air: at(2_000_000, 2_000), Water: at(1_000_000, 2_000)}, "hydrophane, cracked or porous"},
		"it floats":             {measure.InWater{at(1_000_000, 2_000), at(1_000_000, 2_000), true}, "what is weighed here sinks"},
		"a coarse scale":        {measure.InWater{at(12_000, 2_000), at(10_000, 2_000), true}, "use a finer scale"},
		"too heavy":             {measure.InWater{at(2_000_000, 2_000), at(1_900_000, 2_000), true}, "between 1.000 and 8.000"},
		"no division":           {measure.InWater{at(2_000_000, 0), at(1_900_000, 2_000), true}, "air.division"},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			if g, err := c.w.Gravity(); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%+v, %v", g, err)
			}
		})
	}
}

// However the two true weights are rounded to the scale, the true specific gravity lies
// between least and most.
func TestGravityHoldsTheTruth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sg := measure.SGMilli(rapid.Int64Range(1_200, 5_000).Draw(t, "sg"))
		lift := rapid.Int64Range(100, 10_000_000).Draw(t, "µg of water displaced")
		d := measure.Mass(rapid.SampledFrom([]int64{1, 100, 2_000, 10_000}).Draw(t, "division"))
		weigh := func(thousandths int64) measure.Weighing {
			m := measure.Mass((thousandths + 500) / 1_000)
			return measure.Weighing{Mass: (m + d/2) / d * d, Division: d}
		}
		if d == 1 {
			lift *= 1_000 // so that nothing but the division is rounded
		}
		w := measure.InWater{Air: weigh(lift * int64(sg) / 1_000 * 1_000), Water: weigh((lift*int64(sg)/1_000 - lift) * 1_000), Sound: true}
		g, err := w.Gravity()
		if err != nil {
			return // too coarse a scale
		}
		truth := float64(lift*int64(sg)/1_000) / float64(lift) * 1_000
		if float64(g.Least) > truth || float64(g.Most) < truth || g.SG < g.Least || g.SG > g.Most {
			t.Fatalf("true %.4f, found %+v", truth, g)
		}
	})
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

// The ring around an outline holds it, and reaches past it no further than it says.
func TestAroundHoldsTheOutline(t *testing.T) {
	for _, c := range shapes {
		o := outline(t, c.shape, c.l, c.w)
		reach := edge(c.shape, c.l, c.w)
		last := int64(math.MaxInt64)
		for _, n := range []int{8, 32, 64, 200, 600} {
			ring, past := o.Around(n)
			t.Run(fmt.Sprintf("%s %gx%g, %d corners", c.shape, c.l, c.w, n), func(t *testing.T) {
				if _, err := plane.CheckRing(ring); err != nil {
					t.Fatal(err)
				}
				if ring.TwiceArea() < 2e6*int64(o.FaceArea())-2e6 {
					t.Errorf("area %v of %v", ring.SquareMillimetres(), o.FaceArea().SquareMillimetres())
				}
				const steps = 3_000
				dense := make(plane.Ring, steps)
				turned := ring.Turned(1)
				for i := range dense {
					a := 2 * math.Pi * float64(i) / steps
					s, cos := math.Sincos(a)
					r := reach(a) * plane.Millimetre
					dense[i] = plane.Point{X: int64(math.Round(r * cos)), Y: int64(math.Round(r * s))}
					inner := plane.Point{X: int64((r - 2) * cos), Y: int64((r - 2) * s)} // not rounded out
					if ring.Where(inner) == plane.Outside {
						t.Fatalf("%v of the outline is outside", inner)
					}
					s, cos = math.Sincos(a + 1)
					inner = plane.Point{X: int64((r - 2) * cos), Y: int64((r - 2) * s)}
					if turned.Where(inner) == plane.Outside {
						t.Fatalf("%v of the turned outline is outside", inner)
					}
				}
				if n > 200 || c.shape == measure.Rectangle || c.shape == measure.Triangle {
					return // the corners of sharp ones are missing from dense
				}
				var most float64
				for _, p := range ring {
					most = max(most, plane.Distance(dense, plane.Path{p}))
				}
				if most > float64(past)+100 || most < float64(past)-3_000 {
					t.Errorf("reaches %v nm past the outline, said %d", most, past)
				}
				if past > last || past < 0 {
					t.Errorf("past %d with more corners, %d with fewer", past, last)
				}
				if c.shape == measure.Oval && n == 64 && past > 20_000 {
					t.Errorf("64 corners are %d nm past", past)
				}
			})
			last = past
		}
	}
}
