package measure

import (
	"cmp"
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
)

// undulating is the volume in µm³ under a face through the spots, and by how much it may
// be off: between them linear on
// the triangles of Delaunay, outside the triangles as high as the nearest point of
// them. The plane falls into cells on each of which that is one linear function, and the
// integral over a cell is its area times the height at its centroid. Curved outlines are
// taken as rings of many corners and scaled to their area.
func (s Stone) undulating() (volume, off float64) {
	ring, _ := s.Outline.Around(1_000)
	points := make([]plane.Point, len(s.Spots))
	for i, spot := range s.Spots {
		points[i] = spot.At
	}
	height := func(i int) float64 { return float64(s.Spots[i].Height) }
	var sum float64 // µm · twice nm²
	add := func(value func(plane.Point) float64, within ...plane.HalfPlane) {
		parts := []plane.Ring{ring}
		for _, h := range within {
			var kept []plane.Ring
			for _, part := range parts {
				kept = h.Clip(kept, part)
			}
			parts = kept
		}
		for _, part := range parts {
			sum += float64(part.TwiceArea()) * value(part.Centroid())
		}
	}
	mesh := plane.Triangulate(points)
	for _, t := range mesh.Triangles {
		a, b, c := points[t[0]], points[t[1]], points[t[2]]
		add(func(p plane.Point) float64 {
			whole := cross(b.Minus(a), c.Minus(a))
			return (height(t[0])*cross(c.Minus(b), p.Minus(b)) + height(t[1])*cross(a.Minus(c), p.Minus(c)) + height(t[2])*cross(b.Minus(a), p.Minus(a))) / whole
		}, leftOf(a, b), leftOf(b, c), leftOf(c, a))
	}
	hull := mesh.Hull
	n := len(hull)
	if len(mesh.Triangles) == 0 { // along a line and back on its other side
		for i := n - 2; i > 0; i-- {
			hull = append(hull, hull[i])
		}
		n = len(hull)
	}
	for i := range n {
		u, v, w := hull[i], hull[(i+1)%n], hull[(i+2)%n]
		if u == v { // a single spot
			add(func(plane.Point) float64 { return height(u) })
			break
		}
		edge, next := points[v].Minus(points[u]), points[w].Minus(points[v])
		add(func(p plane.Point) float64 { // beyond the edge from u to v
			along := dot(p.Minus(points[u]), edge) / dot(edge, edge)
			return height(u) + (height(v)-height(u))*along
		}, leftOf(points[v], points[u]), past(points[u], edge), past(points[v], edge).Other())
		add(func(plane.Point) float64 { return height(v) }, // beyond the corner v
			past(points[v], edge), past(points[v], next).Other())
	}
	area := float64(ring.TwiceArea()) / 2e6
	// What the ring has beside the outline is nowhere higher than the highest spot. And a
	// part in a million for corners rounded to the nanometre.
	volume = sum / 2e6 / area * s.Outline.area
	return volume, math.Abs(area-s.Outline.area)*float64(s.Depth()) + 1e-6*volume
}

func leftOf(a, b plane.Point) plane.HalfPlane {
	left, _ := plane.Line{A: a, B: b}.Band(0)
	return left
}

// past is what lies ahead of the point p for somebody who looks along d.
func past(p, d plane.Point) plane.HalfPlane { return leftOf(p, p.Plus(plane.Point{X: d.Y, Y: -d.X})) }

func cross(a, b plane.Point) float64 { return float64(a.X)*float64(b.Y) - float64(a.Y)*float64(b.X) }

func dot(a, b plane.Point) float64 { return float64(a.X)*float64(b.X) + float64(a.Y)*float64(b.Y) }

// ringBevel is the mean area in µm², over δ from 0 to in, of what lies within δ of a
// freeform's edge: by Simpson's rule, which is exact while that area grows with the square
// of δ, in so many steps, an even number, and on so many lines across.
func (o Outline) ringBevel(in float64, steps, lines int) float64 {
	var sum float64
	for i := 1; i <= steps; i++ {
		weight := 2.
		switch {
		case i == steps:
			weight = 1
		case i%2 == 1:
			weight = 4
		}
		sum += weight * o.edgeArea(in*float64(i)/float64(steps), lines)
	}
	return sum / float64(3*steps)
}

// edgeArea is the area in µm² of what of a freeform lies within δ µm of its edge. On a
// line across, what is within δ of one edge is an interval: they are joined, and what of
// them is inside is added up.
func (o Outline) edgeArea(delta float64, lines int) float64 {
	type span struct{ from, to float64 }
	// Turned by the angle of the triangle 3, 4, 5: an edge that the lines run along would
	// make sums jump, and edges mostly run along an axis.
	corners := make([][2]float64, len(o.ring))
	low, high := math.Inf(1), math.Inf(-1)
	for i, p := range o.ring {
		x, y := float64(p.X)/plane.Micrometre, float64(p.Y)/plane.Micrometre
		corners[i] = [2]float64{float64(0.8*x) - float64(0.6*y), float64(0.6*x) + float64(0.8*y)}
		low, high = min(low, corners[i][1]), max(high, corners[i][1])
	}
	step := (high - low) / float64(lines)
	var sum float64
	var near []span
	var across []float64
	for k := range lines {
		y := low + (float64(k)+0.5)*step
		near, across = near[:0], across[:0]
		last := corners[len(corners)-1]
		for _, p := range corners {
			ax, ay, bx, by := last[0], last[1], p[0], p[1]
			last = p
			if (ay > y) != (by > y) {
				across = append(across, ax+(bx-ax)*(y-ay)/(by-ay))
			}
			if from, to, ok := nearEdge(ax, ay, bx, by, y, delta); ok {
				near = append(near, span{from, to})
			}
		}
		slices.Sort(across)
		slices.SortFunc(near, func(a, b span) int { return cmp.Compare(a.from, b.from) })
		for i := 0; i+1 < len(across); i += 2 {
			done, end := across[i], across[i+1]
			for _, s := range near {
				from, to := max(s.from, done), min(s.to, end)
				if to > from {
					sum += (to - from) * step
					done = to
				}
			}
		}
	}
	return sum
}

// nearEdge is where on the line at height y points are within d of the stretch from a to
// b: what its two ends' circles and the rectangle along it cover, one interval.
func nearEdge(ax, ay, bx, by, y, d float64) (from, to float64, ok bool) {
	if min(ay, by) > y+d || max(ay, by) < y-d {
		return 0, 0, false
	}
	from, to = math.Inf(1), math.Inf(-1)
	for _, end := range [2][2]float64{{ax, ay}, {bx, by}} {
		if off := y - end[1]; math.Abs(off) <= d {
			half := math.Sqrt(d*d - off*off)
			from, to = min(from, end[0]-half), max(to, end[0]+half)
		}
	}
	// The rectangle: 0 ≤ (x − ax)·ux + (y − ay)·uy ≤ length, and across it within ± d.
	length := math.Hypot(bx-ax, by-ay)
	ux, uy := (bx-ax)/length, (by-ay)/length
	low, high := math.Inf(-1), math.Inf(1)
	within := func(slope, at, least, most float64) {
		switch {
		case slope > 0:
			low, high = max(low, (least-at)/slope), min(high, (most-at)/slope)
		case slope < 0:
			low, high = max(low, (most-at)/slope), min(high, (least-at)/slope)
		case at < least || at > most:
			low, high = 1, 0
		}
	}
	within(ux, (y-ay)*uy, 0, length)
	within(-uy, (y-ay)*ux, -d, d)
	if low <= high {
		from, to = min(from, ax+low), max(to, ax+high)
	}
	return from, to, from < to
}
