package measure_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure"
)

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
