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

// Query says for which stone a region is asked.
type Query struct {
	Branch string // path of the branch, as in Branch.Path; empty: the trunk
	Part   string // a part of that branch that its steps leave
	// Except is a planned stone of the part that the one asked for stands in the place of; the others are kept clear of.
	Except  string
	Zone    string // to lie in; empty: anywhere in the part
	Surface Surface
	View    View  // Face or Back: the side it looks to
	DepthUm int64 // how deep it reaches from there; 0: through all of the part
}

// Region is where in the face view a stone may lie, by a plan's cuts and settings. Depth and backing are for Evaluate to
// try. The error is an *Invalid of the plan, or of the query.
func (m *Model) Region(plan Plan, prices Prices, q Query) (Region, error) {
	ev := &evaluation{Model: m, plan: plan, prices: prices, query: &q}
	if _, err := ev.evaluate(); err != nil {
		return Region{}, err
	}
	if ev.region == nil {
		return Region{}, invalid("part", quoted(q.Part), "no part of that name is left in the branch %q", q.Branch)
	}
	return *ev.region, nil
}

// answer notes the region that is asked for, if it is that of the part.
func (ev *evaluation) answer(w *way, b *Branch, p part, e Ended) error {
	q := ev.query
	if q == nil || q.Branch != b.Path || q.Part != p.name {
		return nil
	}
	heights := p.heights()
	if deep := q.DepthUm * plane.Micrometre; deep > 0 && q.View == Back {
		heights.to = min(heights.to, heights.from+deep)
	} else if deep > 0 {
		heights.from = max(heights.from, heights.to-deep)
	}
	r, err := ev.regionOf(w, p, q.Zone, "zone", q.Surface, heights, ev.obstacles(w, p, false))
	if err != nil {
		return err
	}
	for _, s := range e.Stones {
		if s.Name != q.Except {
			r.Avoid = append(r.Avoid, Avoid{Ring: s.Outline, Margin: ev.plan.Settings.BetweenUm * plane.Micrometre, Rule: ClearOfStone, Name: s.Name})
		}
	}
	ev.region = &r
	return nil
}

// regionOf is where in a part a stone may lie that reaches over some depths.
func (ev *evaluation) regionOf(w *way, p part, zone, path string, surface Surface, heights span, obstacles []Avoid) (r Region, err error) {
	r.Within = append(make([]Within, 0, 2), Within{p.face, InsidePart, ""})
	if zone != "" {
		ring, ok := w.zone(zone)
		if !ok {
			return r, invalid(path, quoted(zone), "no zone of that name is drawn in face or back")
		}
		r.Within = append(r.Within, Within{ring, InsideZone, zone})
	}
	for _, a := range obstacles {
		switch {
		case a.Kind == Rock && surface == RockInFace, a.Kind == Potch && surface == PotchInFace: // admitted
		case a.heights.to <= heights.from || a.heights.from >= heights.to:
		default:
			r.Avoid = append(r.Avoid, a)
		}
	}
	for _, c := range p.sawn {
		if c.view != Section && c.wander > 0 {
			r.Beside = append(r.Beside, Beside{c.line, c.clear, c.wander})
		}
	}
	return r, nil
}

// zone is the ring of a closed feature of face or back.
func (w *way) zone(name string) (plane.Ring, bool) {
	for _, d := range w.drawn {
		if d.Name == name && d.View != Section && d.ring != nil {
			return d.ring, true
		}
	}
	return nil, false
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
	set, sides := ev.plan.Settings, p.sides(section)
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
		if d.box.Near(box, a.Margin) {
			a.Ring, a.Path = d.ring, d.path
			out = a.CutOff(out, sides, box)
		}
	}
	return out
}

// CutOff appends to dst what of an obstacle lies in all of some half-planes, where a part was cut off, as far as it comes
// within its margin of a box, the part's.
func (a Avoid) CutOff(dst []Avoid, sides []plane.HalfPlane, box plane.Box) []Avoid {
	if a.Ring != nil {
		rings := []plane.Ring{a.Ring}
		for _, side := range sides {
			var left []plane.Ring
			for _, r := range rings {
				left = side.Clip(left, r)
			}
			rings = left
		}
		for _, r := range rings {
			if a.Ring = r; r.Box().Near(box, a.Margin) {
				dst = append(dst, a)
			}
		}
		return dst
	}
	var space [1]plane.Path
	paths := append(space[:0], a.Path)
	for _, side := range sides {
		var left []plane.Path
		for _, path := range paths {
			left = side.ClipPath(left, path)
		}
		paths = left
	}
	for _, path := range paths {
		if a.Path = path; path.Box().Near(box, a.Margin) {
			dst = append(dst, a)
		}
	}
	return dst
}

// sides are what the part's saw cuts left, in face and back or in the section.
func (p part) sides(section bool) (out []plane.HalfPlane) {
	for _, c := range p.sawn {
		if (c.view == Section) == section {
			out = append(out, c.side)
		}
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
	ex, ey := vx-t*dx, vy-t*dy
	return math.Sqrt(ex*ex + ey*ey)
}
