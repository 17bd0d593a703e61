package measure

import (
	"fmt"
	"math"
)

// Slabs is a block sawn into slices of one thickness: all of it is slabs, kerf or
// off-cut.
type Slabs struct {
	Slabs, Cuts int64
	Used        Length // from the first slab's outer face to the last one's
	Kerf        Length // all that the saw turns to mud
	Offcut      Length // thickness of what the last cut frees
}

// SlabsOf is how many slabs of a thickness come out of a block, with a kerf between two
// and one more where a rest is to be freed. A rest no thicker than the kerf is sawn away.
// The error is a *FieldError.
func SlabsOf(block, slab, kerf Length) (Slabs, error) {
	for _, c := range []struct {
		field string
		value Length
		least Length
	}{{"block", block, 1}, {"slab", slab, 1}, {"kerf", kerf, 0}} {
		if c.value < c.least || c.value > MaxLength {
			return Slabs{}, &FieldError{c.field, c.value.String(), fmt.Sprintf("it is between %s and %s", c.least, MaxLength)}
		}
	}
	n := int64((block + kerf) / (slab + kerf))
	if n == 0 {
		return Slabs{Offcut: block}, nil // nothing is sawn
	}
	s := Slabs{Slabs: n, Cuts: n - 1, Used: Length(n)*slab + Length(n-1)*kerf}
	s.Kerf = Length(n-1) * kerf
	if rest := block - s.Used; rest > 0 {
		s.Cuts++
		s.Kerf += min(rest, kerf)
		s.Offcut = rest - min(rest, kerf)
	}
	return s, nil
}

// KerfLoss is the mass that a saw turns to mud: kerf × area × specific gravity ÷ cos of
// the tilt. The area is that of the section square to the block, and the tilt in radians
// how far the cut leans from it, less than 80°. The specific gravity is that of what is
// sawn: of mixed rough its weighed mass over its volume. It is an estimate; the error is
// a *FieldError.
func KerfLoss(kerf Length, area Area, tilt float64, sg SGMilli) (Mass, error) {
	const steepest = 80 * math.Pi / 180
	switch {
	case kerf < 0 || kerf > maxSide:
		return 0, &FieldError{"kerf", kerf.String(), fmt.Sprintf("it is between 0 mm and %s", maxSide)}
	case area < 0 || area > Area(maxSide)*Area(maxSide):
		return 0, &FieldError{"area", fmt.Sprintf("%g mm²", area.SquareMillimetres()), fmt.Sprintf("a cut's area is at most %s square", maxSide)}
	case !(math.Abs(tilt) < steepest):
		return 0, &FieldError{"tilt", fmt.Sprintf("%g", tilt), "a cut leans less than 80° (1.396 radians); give the area of the cut itself and no tilt"}
	}
	if err := sg.check("specific gravity"); err != nil {
		return 0, err
	}
	return Volume(math.Round(float64(kerf) * float64(area) / math.Cos(tilt))).mass(sg), nil
}
