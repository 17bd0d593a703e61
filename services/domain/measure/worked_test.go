package measure_test

import (
	"encoding/json"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"seamshare.example/services/domain/measure"
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
