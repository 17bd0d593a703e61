package seam_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw/risk"
	"seamshare.example/services/domain/saw/seam"
)

func readJSON(t *testing.T, file string, into any) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatalf("%s: %v", file, err)
	}
}

// Derived as distances from points to lines; no published source.
func TestAngledSeams(t *testing.T) {
	var derived struct {
		Cases []struct {
			ThetaDeg float64 `json:"theta_deg"`
			Kerf     float64
			B1       float64 `json:"backing1"`
			B2       float64 `json:"backing2"`
			Parallel float64 `json:"parallel_cut_x_min_mm"`
			Bisector float64 `json:"bisector_cut_s_min_mm"`
		}
	}
	readJSON(t, "testdata/angled_seams.json", &derived)
	if len(derived.Cases) < 2 {
		t.Fatalf("only %d cases", len(derived.Cases))
	}
	um := func(mm float64) int64 { return int64(math.Round(mm * 1000)) }
	for _, c := range derived.Cases {
		s := seam.Seams{AngleMilliDeg: um(c.ThetaDeg), FarUm: 50_000, FirstBackUm: um(c.B1), SecBackUm: um(c.B2), KerfUm: um(c.Kerf)}
		for cut, mm := range map[seam.Cut]float64{seam.Parallel: c.Parallel, seam.Bisector: c.Bisector} {
			got, err := s.From(cut)
			if want := int64(math.Ceil(mm * 1000)); err != nil || got != want {
				t.Errorf("at %g degrees, cut %d: from %d µm, expected %d; %v", c.ThetaDeg, cut, got, want, err)
			}
		}
	}
}

// Our own scenario, invented: piece P1-3.
func TestScenario(t *testing.T) {
	var c struct {
		Angle   int64   `json:"angle_milli_deg"`
		Near    int64   `json:"near_um"`
		Far     int64   `json:"far_um"`
		Back    int64   `json:"backing_um"`
		Kerf    int64   `json:"kerf_um"`
		From    float64 `json:"from_mm"`
		Place   int64   `json:"place_um"`
		AtPlace float64 `json:"backing_at_place_mm"`
		Sure, Holds, Fails,
		Mean, Deviation int64
		Chance      int64 `json:"chance_bp"`
		Indifferent float64
		Perfect     int64 `json:"perfect_worth"`
	}
	readJSON(t, "testdata/scenario.json", &c)
	s := seam.Seams{AngleMilliDeg: c.Angle, NearUm: c.Near, FarUm: c.Far, FirstBackUm: c.Back, SecBackUm: c.Back, KerfUm: c.Kerf}
	from, err := s.From(seam.Bisector)
	if err != nil || math.Abs(float64(from)/1000-c.From) > 0.0011 {
		t.Errorf("both from %d µm, the scenario says %.3f mm; %v", from, c.From, err)
	}
	first, second, err := s.Backing(seam.Bisector, c.Place)
	if err != nil || first != second || math.Abs(float64(first)/1000-c.AtPlace) > 0.0005 {
		t.Errorf("backing %d and %d µm, the scenario says %.3f mm; %v", first, second, c.AtPlace, err)
	}

	d := risk.Sure(c.Sure, c.Holds, c.Fails, c.Chance)
	cmp, err := d.Compare()
	if err != nil {
		t.Fatal(err)
	}
	bold := cmp.Acts[1]
	if got := risk.Round(bold.Mean); got != c.Mean || cmp.Best != 1 {
		t.Errorf("mean %d of act %d, expected %d", got, cmp.Best, c.Mean)
	}
	if got := bold.Deviation(); got != c.Deviation {
		t.Errorf("deviation %d, expected %d", got, c.Deviation)
	}
	if got := risk.Round(cmp.Worth()); got != c.Perfect {
		t.Errorf("knowing is worth %d, expected %d", got, c.Perfect)
	}
	p, err := d.Indifferent(0, 1)
	if err != nil || p == nil {
		t.Fatal(p, err)
	}
	if got, _ := p.Float64(); math.Abs(got-c.Indifferent) > 0.00005 {
		t.Errorf("indifferent at %f, expected %f", got, c.Indifferent)
	}

	yields, err := s.Choices(seam.Bisector, c.Place)
	if err != nil || len(yields) != 4 {
		t.Fatal(yields, err)
	}
	// By hand: 38 - 1.2/tan 14° = 33.187; open part 38 - 12.5/cos 7° = 25.406;
	// closed end (11.9 - 1.2·sin 7°)/cos 7° - 1.2/tan 14° = 7.029.
	want := seam.Yield{Name: yields[3].Name, FirstUm: 25_406, SecondUm: 25_406, ClosedFirstUm: 7_029, ClosedSecUm: 7_029}
	if yields[0].FirstUm != 33_187 || yields[1].SecondUm != 33_187 || yields[3] != want {
		t.Errorf("got %+v", yields)
	}
}

// apart is the distance from a point to the line through the origin at an angle: the other
// way to say the same, with vectors and sampled points instead of the formulas.
func apart(x, y, angle float64) float64 {
	return math.Abs(x*-math.Sin(angle) + y*math.Cos(angle))
}

func drawSeams(t *rapid.T) seam.Seams {
	s := seam.Seams{
		AngleMilliDeg: rapid.Int64Range(2_000, 60_000).Draw(t, "angle"),
		NearUm:        rapid.Int64Range(0, 10_000).Draw(t, "near"),
		FirstBackUm:   rapid.Int64Range(100, 2_000).Draw(t, "first backing"),
		SecBackUm:     rapid.Int64Range(100, 2_000).Draw(t, "second backing"),
		KerfUm:        rapid.Int64Range(0, 1_000).Draw(t, "kerf"),
		WanderUm:      rapid.Int64Range(0, 200).Draw(t, "wander"),
	}
	s.FarUm = s.NearUm + rapid.Int64Range(120_000, 300_000).Draw(t, "length")
	return s
}

func TestBothKeepTheirBackingFromThereOutwards(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSeams(t)
		angle := float64(s.AngleMilliDeg) / 1000 * math.Pi / 180
		b1, b2, k, w := float64(s.FirstBackUm), float64(s.SecBackUm), float64(s.KerfUm), float64(s.WanderUm)
		for _, cut := range []seam.Cut{seam.Parallel, seam.Bisector} {
			from, err := s.From(cut)
			if err != nil {
				t.Fatal(err)
			}
			// left is the least distance of the cut's far sides from the seams, from a place
			// outwards, over all that the blade may wander.
			left := func(place float64) float64 {
				least := math.Inf(1)
				for _, out := range []float64{0, 1, 50, 5_000} {
					for _, off := range []float64{-w, 0, w} {
						p := place + out
						if cut == seam.Parallel { // its line is b1 + w + k/2 from the first seam
							mid := b1 + w + k/2 + off
							least = min(least, mid-k/2-b1, apart(p, mid+k/2, angle)-b2)
							continue
						}
						for _, side := range []float64{1, -1} {
							// Turned so that the first seam is the x axis.
							y := off + side*k/2
							x := p*math.Cos(angle/2) - y*math.Sin(angle/2)
							up := p*math.Sin(angle/2) + y*math.Cos(angle/2)
							least = min(least, apart(x, up, 0)-max(b1, b2), apart(x, up, angle)-max(b1, b2))
						}
					}
				}
				return least
			}
			if got := left(float64(from)); got < -0.001 {
				t.Errorf("cut %d from %d µm: %f µm of backing missing", cut, from, -got)
			}
			if got := left(float64(from) - 2); got >= 0 {
				t.Errorf("cut %d: %d µm isn't the least, 2 µm less do as well", cut, from)
			}
			first, second, err := s.Backing(cut, from)
			if err != nil || cut == seam.Bisector && min(first, second) < max(s.FirstBackUm, s.SecBackUm) || second < s.SecBackUm {
				t.Errorf("cut %d at %d: backing %d and %d, wanted %d and %d; %v", cut, from, first, second, s.FirstBackUm, s.SecBackUm, err)
			}
		}
	})
}

// Every stone of a choice, taken as a thin box of its length and backing, lies on its own
// side of the cut and within its piece.
func TestWhatIsRecoveredIsThere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSeams(t)
		angle := float64(s.AngleMilliDeg) / 1000 * math.Pi / 180
		for _, cut := range []seam.Cut{seam.Parallel, seam.Bisector} {
			from, err := s.From(cut)
			if err != nil {
				t.Fatal(err)
			}
			if from >= s.FarUm {
				continue
			}
			place := rapid.Int64Range(max(from, s.NearUm), s.FarUm).Draw(t, "place")
			yields, err := s.Choices(cut, place)
			if err != nil {
				t.Fatal(err)
			}
			for _, y := range yields[2:] {
				for _, len1 := range []struct {
					um, back int64
					second   bool
				}{{y.FirstUm, s.FirstBackUm, false}, {y.SecondUm, s.SecBackUm, true}} {
					if len1.um == 0 {
						continue
					}
					start := float64(s.FarUm - len1.um)
					if start < float64(s.NearUm) {
						t.Errorf("%s begins before the piece", y.Name)
					}
					// Its back corner, in the frame of the first seam.
					x, h := start, float64(len1.back)
					if len1.second {
						x, h = start*math.Cos(angle)+float64(len1.back)*math.Sin(angle), start*math.Sin(angle)-float64(len1.back)*math.Cos(angle)
					}
					lo, hi := s.FirstBackUm, s.FirstBackUm+2*s.WanderUm+s.KerfUm
					switch {
					case cut == seam.Parallel && !len1.second && h > float64(lo)+1, cut == seam.Parallel && len1.second && h < float64(hi)-1:
						t.Errorf("%s, second %v: its back at %f lies in the cut, %d to %d", y.Name, len1.second, h, lo, hi)
					case cut == seam.Bisector:
						off := math.Abs(x*math.Sin(angle/2) - h*math.Cos(angle/2))
						if off < float64(s.KerfUm)/2+float64(s.WanderUm)-1 {
							t.Errorf("%s, second %v: its back is %f from the middle of the cut", y.Name, len1.second, off)
						}
					}
				}
			}
			if y := yields[3]; y.ClosedFirstUm > yields[0].FirstUm || y.ClosedSecUm > yields[1].SecondUm ||
				y.FirstUm+y.ClosedFirstUm > yields[0].FirstUm || y.SecondUm+y.ClosedSecUm > yields[1].SecondUm {
				t.Errorf("more than one seam alone gives: %+v", yields)
			}
		}
	})
}

func TestRefused(t *testing.T) {
	good := seam.Seams{AngleMilliDeg: 14_000, NearUm: 4_000, FarUm: 38_000, FirstBackUm: 1_200, SecBackUm: 1_200, KerfUm: 600}
	for field, break1 := range map[string]func(*seam.Seams){
		"angle_milli_deg": func(s *seam.Seams) { s.AngleMilliDeg = 0 },
		"near_um":         func(s *seam.Seams) { s.NearUm = -1 },
		"far_um":          func(s *seam.Seams) { s.FarUm = 4_000 },
		"first_back_um":   func(s *seam.Seams) { s.FirstBackUm = -5 },
		"second_back_um":  func(s *seam.Seams) { s.SecBackUm = 100_000_000 },
		"kerf_um":         func(s *seam.Seams) { s.KerfUm = -600 },
		"wander_um":       func(s *seam.Seams) { s.WanderUm = -1 },
	} {
		s := good
		break1(&s)
		_, err := s.From(seam.Bisector)
		if all, ok := rule.Of(err); !ok || len(all) != 1 || all[0].Field != field || all[0].Value == "" || all[0].Hint == "" {
			t.Errorf("%s: got %v", field, err)
		}
	}
	if _, err := good.Choices(seam.Bisector, 12_000); err == nil {
		t.Error("a place too close was taken")
	}
}
