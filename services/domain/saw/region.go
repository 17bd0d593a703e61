package saw

import (
	"math"

	"seamshare.example/services/domain/measure/plane"
)

// Region is where in the face view the outline of a stone may lie: inside each ring of Within, away from
// what is in Avoid, clear of the cuts in Beside. It is what the search for the largest stone takes.
type Region struct {
	Within []Within
	Avoid  []Avoid
	Beside []Beside
}

// Within is a ring that holds the outline: the part, or the zone that is claimed.
type Within struct {
	Ring plane.Ring
	Rule Rule
	Name string // of the zone
}

// Avoid is a feature or another stone that the outline keeps a margin to, in nanometres. It is a ring or a path.
type Avoid struct {
	Ring     plane.Ring
	Path     plane.Path
	Margin   int64
	Rule     Rule
	Name     string
	Kind     Kind
	Supposed bool
	heights  span
}

// Beside is a sawn edge: the outline lies on the left of the line, at least Clear nanometres away.
type Beside struct {
	Line   plane.Line
	Clear  int64
	Wander int64
}

// Holds is whether an outline may lie there.
func (r Region) Holds(outline plane.Ring) bool {
	for _, w := range r.Within {
		if !plane.Holds(w.Ring, outline) {
			return false
		}
	}
	for _, a := range r.Avoid {
		if a.near(outline) {
			return false
		}
	}
	for _, b := range r.Beside {
		if b.short(outline) > 0 {
			return false
		}
	}
	return true
}

// near is whether the outline comes too near. A margin of nothing still keeps the two apart.
func (a Avoid) near(outline plane.Ring) bool {
	if a.Ring != nil {
		return plane.RingsNearer(outline, a.Ring, max(1, a.Margin))
	}
	return plane.Nearer(outline, a.Path, max(1, a.Margin))
}

// short is by how many nanometres the outline is too near; below one, which is rounding, it isn't.
func (b Beside) short(outline plane.Ring) float64 {
	d := b.Line.B.Minus(b.Line.A)
	least := int64(math.MaxInt64)
	for _, p := range outline {
		least = min(least, beyond(b.Line, d, p))
	}
	if short := float64(b.Clear) - float64(least)/math.Hypot(float64(d.X), float64(d.Y)); short >= 1 {
		return short
	}
	return 0
}

// obstacles are what stones of a part keep away from, in the face view or the section, cut off where the part was cut
// off, since a crack in another part does no harm.
func (ev *evaluation) obstacles(w *way, p part, section bool) []Avoid {
	var out []Avoid
	heights, box := p.heights(), p.face.Box()
	if section {
		box = p.section.Box()
	}
	set := ev.plan.Settings
	for _, d := range w.drawn {
		if (d.View == Section) != section || d.within.to <= heights.from || d.within.from >= heights.to {
			continue
		}
		a := Avoid{Name: d.Name, Kind: d.Kind, Supposed: d.Supposed, heights: d.within}
		switch d.Kind {
		case Crack:
			a.Rule, a.Margin = ClearOfCrack, set.CrackUm*plane.Micrometre
		case Potch, Rock:
			if section {
				continue // what lies below a bar is its backing
			}
			a.Rule, a.Margin = ClearOfPotch, set.PotchUm*plane.Micrometre
		default:
			continue
		}
		if d.ring != nil {
			for _, r := range p.beyondCuts(d.View, []plane.Ring{d.ring}) {
				if a.Ring = r; reaches(r.Box(), box, a.Margin) {
					out = append(out, a)
				}
			}
			continue
		}
		for _, path := range p.pathsBeyondCuts(d.View, d.path) {
			if a.Path = path; reaches(path.Box(), box, a.Margin) {
				out = append(out, a)
			}
		}
	}
	return out
}

func reaches(a, b plane.Box, margin int64) bool {
	return a.Min.X-margin <= b.Max.X && b.Min.X-margin <= a.Max.X && a.Min.Y-margin <= b.Max.Y && b.Min.Y-margin <= a.Max.Y
}

func (p part) beyondCuts(v View, rings []plane.Ring) []plane.Ring {
	for _, c := range p.sawn {
		if (c.view == Section) != (v == Section) {
			continue
		}
		side, _ := c.line.Band(2 * c.half())
		var left []plane.Ring
		for _, r := range rings {
			left = side.Clip(left, r)
		}
		rings = left
	}
	return rings
}

func (c sawn) half() int64 { return c.clear - c.wander }

// pathsBeyondCuts is what of a path lies on the part's side of all its cuts.
func (p part) pathsBeyondCuts(v View, path plane.Path) []plane.Path {
	paths := []plane.Path{path}
	for _, c := range p.sawn {
		if (c.view == Section) != (v == Section) {
			continue
		}
		var left []plane.Path
		for _, path := range paths {
			left = append(left, beyondCut(c, path)...)
		}
		paths = left
	}
	return paths
}

func beyondCut(c sawn, path plane.Path) (out []plane.Path) {
	var now plane.Path
	var dp float64
	for i, q := range path {
		dq := away(c.line, q) - float64(c.half())
		if i > 0 && (dp >= 0) != (dq >= 0) {
			p := path[i-1]
			f := dp / (dp - dq)
			now = append(now, plane.Point{X: p.X + int64(math.Round(f*float64(q.X-p.X))), Y: p.Y + int64(math.Round(f*float64(q.Y-p.Y)))})
			if dq < 0 {
				out, now = append(out, now), nil
			}
		}
		if dq >= 0 {
			now = append(now, q)
		}
		dp = dq
	}
	if len(now) > 0 {
		out = append(out, now)
	}
	return out
}

// toEdge is how far a point is from the boundary of a ring, in nanometres.
func toEdge(r plane.Ring, p plane.Point) float64 {
	least := math.Inf(1)
	a := r[len(r)-1]
	for _, b := range r {
		least = min(least, toStretch(a, b, p))
		a = b
	}
	return least
}

func toStretch(a, b, p plane.Point) float64 {
	dx, dy, vx, vy := float64(b.X-a.X), float64(b.Y-a.Y), float64(p.X-a.X), float64(p.Y-a.Y)
	whole := dx*dx + dy*dy
	t := 0.0
	if whole > 0 {
		t = min(1, max(0, (dx*vx+dy*vy)/whole))
	}
	return math.Hypot(vx-t*dx, vy-t*dy)
}
