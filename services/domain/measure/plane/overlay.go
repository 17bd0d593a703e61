package plane

import (
	"fmt"
	"math"

	"github.com/peterstace/simplefeatures/geom"
)

// Face is one connected part of a region.
type Face struct {
	Outer Ring
	Holes []Ring // counter-clockwise too
}

// TwiceArea is twice the face's area in nm², exactly.
func (f Face) TwiceArea() int64 {
	area := f.Outer.TwiceArea()
	for _, hole := range f.Holes {
		area -= hole.TwiceArea()
	}
	return area
}

// TwiceArea is twice the sum of the faces' areas in nm², exactly.
func TwiceArea(faces []Face) int64 {
	var sum int64
	for _, f := range faces {
		sum += f.TwiceArea()
	}
	return sum
}

// The overlay of regions, each given as rings that may overlap. It is far slower than
// Clip and for what is no half-plane: stones against a drawn zone, what of a bar is used.
// The answer's corners are rounded to the nanometre, parts without area left out. An
// error means that the library refused: a ring that touches itself, as one of Cut may where
// rounding closed a gap. No ring of CheckRing is known to bring it about.

// Union is what lies in any of the rings.
func Union(rings ...Ring) ([]Face, error) {
	s := newSheet(rings)
	g, err := s.put(rings)
	return s.take(g, err, "union")
}

// Intersection is what lies in some ring of a and in some of b.
func Intersection(a, b []Ring) ([]Face, error) {
	return overlay(a, b, geom.Intersection, "intersection")
}

// Difference is what lies in some ring of a and in none of b.
func Difference(a, b []Ring) ([]Face, error) { return overlay(a, b, geom.Difference, "difference") }

func overlay(a, b []Ring, op func(a, b geom.Geometry) (geom.Geometry, error), name string) ([]Face, error) {
	s := newSheet(a, b)
	ga, err := s.put(a)
	if err != nil {
		return s.take(ga, err, name)
	}
	gb, err := s.put(b)
	if err != nil {
		return s.take(gb, err, name)
	}
	g, err := op(ga, gb)
	return s.take(g, err, name)
}

// sheet is a frame with its origin in the middle of all rings, in which the library's
// floats are finest. It counts in nanometres, whole ones of which floats hold exactly.
type sheet struct{ origin Point }

func newSheet(groups ...[]Ring) sheet {
	var all Path
	for _, rings := range groups {
		for _, r := range rings {
			all = append(all, r...)
		}
	}
	box := all.Box()
	return sheet{Point{box.Min.X + box.Size().X/2, box.Min.Y + box.Size().Y/2}}
}

func (s sheet) put(rings []Ring) (geom.Geometry, error) {
	polygons := make([]geom.Geometry, 0, len(rings))
	for _, r := range rings {
		coordinates := make([]float64, 0, 2*len(r)+2)
		for _, p := range r.Closed() {
			p = p.Minus(s.origin)
			coordinates = append(coordinates, float64(p.X), float64(p.Y))
		}
		line := geom.NewLineString(geom.NewSequence(coordinates, geom.DimXY))
		polygon := geom.NewPolygon([]geom.LineString{line})
		if err := polygon.Validate(); err != nil {
			return geom.Geometry{}, err
		}
		polygons = append(polygons, polygon.AsGeometry())
	}
	return geom.UnionMany(polygons)
}

func (s sheet) take(g geom.Geometry, err error, op string) ([]Face, error) {
	if err != nil {
		return nil, fmt.Errorf("couldn't form the %s: %w", op, err)
	}
	var faces []Face
	for _, part := range g.Dump() {
		if !part.IsPolygon() { // a touch: a point or a line
			continue
		}
		polygon := part.MustAsPolygon()
		face := Face{Outer: s.ring(polygon.ExteriorRing())}
		if face.Outer == nil {
			continue
		}
		for i := range polygon.NumInteriorRings() {
			if hole := s.ring(polygon.InteriorRingN(i)); hole != nil {
				face.Holes = append(face.Holes, hole)
			}
		}
		faces = append(faces, face)
	}
	return faces, nil
}

// ring is nil where nothing with an area remains.
func (s sheet) ring(line geom.LineString) Ring {
	sequence := line.Coordinates()
	points := make(Ring, 0, sequence.Length())
	for i := range sequence.Length() {
		xy := sequence.GetXY(i)
		points = appendApart(points, 0, s.origin.Plus(Point{int64(math.Round(xy.X)), int64(math.Round(xy.Y))}))
	}
	for len(points) > 1 && points[len(points)-1] == points[0] {
		points = points[:len(points)-1]
	}
	switch area := points.TwiceArea(); {
	case area < 0:
		for i, j := 1, len(points)-1; i < j; i, j = i+1, j-1 {
			points[i], points[j] = points[j], points[i]
		}
	case area == 0:
		return nil
	}
	return points
}
