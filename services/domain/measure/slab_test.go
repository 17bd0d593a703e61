package measure_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure"
)

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
