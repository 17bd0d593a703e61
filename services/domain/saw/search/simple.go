package search

import (
	"cmp"
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// enough is what is taken to be worth as much as some amount: not less by more than 1 in 500.
func enough(minor int64) int64 { return minor - max(minor, -minor)/500 }

// Stones whose sizes differ by less than this, or by less than a twentieth, are the same stone to a cutter.
const sameSize = 500 // µm

// alike is whether a cutter would see the same plan in two: the same stones, after as many cuts in the section,
// whatever the market that each is meant for and wherever it lies.
func (e *entry) alike(o *entry) bool {
	if e.kind != o.kind || len(inView(e.plan, saw.Section)) != len(inView(o.plan, saw.Section)) {
		return false
	}
	near := func(a, b int64) bool { return max(a-b, b-a) < max(sameSize, max(a, b)/20) }
	return slices.EqualFunc(stonesOf(e.plan), stonesOf(o.plan), func(a, b saw.Stone) bool {
		return kindOf(a) == kindOf(b) && near(a.LengthUm, b.LengthUm) && near(a.WidthUm, b.WidthUm)
	})
}

// kindOf is what a stone is but its sizes and place.
func kindOf(s saw.Stone) [5]string {
	return [5]string{string(s.Shape), string(s.View), s.Zone, s.Bar, s.Class}
}

// stonesOf are the stones of a plan by kind and size.
func stonesOf(p saw.Plan) (out []saw.Stone) {
	for _, e := range p.Ends {
		out = append(out, e.Stones...)
	}
	slices.SortStableFunc(out, func(a, b saw.Stone) int {
		ka, kb := kindOf(a), kindOf(b)
		return cmp.Or(slices.Compare(ka[:], kb[:]), cmp.Compare(a.LengthUm, b.LengthUm), cmp.Compare(a.WidthUm, b.WidthUm))
	})
	return out
}

// better is whether a plan is worth more than another, or where both are worth as much as the most that was found, has
// fewer or squarer cuts.
func (e *entry) better(o *entry, most int64) bool {
	if least := enough(most); min(e.worth(), o.worth()) < least {
		return e.worth() > o.worth()
	}
	return cmp.Or(cmp.Compare(len(e.plan.Steps), len(o.plan.Steps)), cmp.Compare(oblique(e.plan), oblique(o.plan)), -cmp.Compare(e.worth(), o.worth())) < 0
}

// inView are the places of a plan's cuts of one view among its steps.
func inView(p saw.Plan, v saw.View) (out []int) {
	for i, s := range p.Steps {
		if s.Do.(saw.Saw).View == v {
			out = append(out, i)
		}
	}
	return out
}

// squareTo is how far a cut's direction is from that of another or square to it, in radians to either side: what it is to be
// turned by.
func squareTo(l, to saw.Line) float64 {
	_, a := direction(l)
	_, b := direction(to)
	turn := math.Atan2(a.cross(b), a.dot(b))
	return math.Remainder(turn, math.Pi/2)
}

// squarest is a degree: what is nearer than that is square.
const squarest = math.Pi / 180

// oblique is how many cuts across the face aren't square to the one that most are square to.
func oblique(p saw.Plan) int {
	_, n := datum(p)
	return n
}

// datum is the cut across the face that most others are square to, the first of several, and how many aren't.
func datum(p saw.Plan) (to saw.Line, rest int) {
	cuts := inView(p, saw.Face)
	rest = len(cuts)
	for _, i := range cuts {
		line, n := p.Steps[i].Do.(saw.Saw).Line, 0
		for _, j := range cuts {
			if math.Abs(squareTo(p.Steps[j].Do.(saw.Saw).Line, line)) > squarest {
				n++
			}
		}
		if n < rest {
			to, rest = line, n
		}
	}
	return to, rest
}

// simpler is an entry with fewer and squarer cuts, where that costs next to nothing: cuts that free no stone and nothing
// to keep are left out, and oblique ones turned.
func (p *planner) simpler(e *entry) *entry {
	if p.pinned != nil {
		return e
	}
	least := enough(e.worth())
	best := *e
	try := func(plan saw.Plan) bool {
		r, plan, ok := p.evaluated(plan)
		if ok = ok && r.Money.Expected >= least; ok {
			best.plan, best.result = plan, r
		}
		return ok
	}
	for i := len(best.plan.Steps) - 1; i >= 0 && !p.ended(); i-- {
		if less, ok := p.leftOut(&best, i); ok {
			try(less)
		}
	}
	to, _ := datum(best.plan)
	for _, i := range inView(best.plan, saw.Face) {
		if p.ended() {
			break
		}
		if turn := squareTo(best.plan.Steps[i].Do.(saw.Saw).Line, to); math.Abs(turn) > squarest {
			if plan, ok := p.turned(&best, i, turn); ok {
				try(plan)
			}
		}
	}
	return &best
}

// below are the steps and ends of a plan that go on with a part or with what is cut from it.
type below struct {
	steps, ends map[int]bool
	left        []string // parts that aren't cut
	stones      []string
}

func (b *below) add(p saw.Plan, names ...string) {
	for i, s := range p.Steps {
		if slices.Contains(names, s.Part) {
			b.steps[i] = true
			do := s.Do.(saw.Saw)
			b.add(p, slices.Concat(do.Left, do.Right)...)
		}
	}
	for i, e := range p.Ends {
		if slices.Contains(names, e.Part) {
			b.ends[i] = true
			b.left = append(b.left, e.Part)
			for _, s := range e.Stones {
				b.stones = append(b.stones, s.Name)
			}
		}
	}
}

func under(p saw.Plan, names []string) below {
	b := below{steps: map[int]bool{}, ends: map[int]bool{}}
	b.add(p, names...)
	return b
}

// leftOut is a plan without one of its cuts across the face and all that follows on the side that gives nothing but
// slivers; false where there is no such side, or the other falls into several.
func (p *planner) leftOut(e *entry, i int) (saw.Plan, bool) {
	plan := e.plan
	do := plan.Steps[i].Do.(saw.Saw)
	if do.View != saw.Face {
		return plan, false
	}
	slivers := p.slivers(e)
	for _, side := range [][2][]string{{do.Left, do.Right}, {do.Right, do.Left}} {
		gone, kept := under(plan, side[0]), side[1]
		useful := slices.ContainsFunc(gone.left, func(part string) bool { return !slivers[part] })
		if len(gone.stones) > 0 || useful || len(kept) != 1 {
			continue
		}
		gone.steps[i] = true
		out := plan
		out.Steps, out.Ends = nil, nil
		for k, s := range plan.Steps {
			if s.Part == kept[0] {
				s.Part = plan.Steps[i].Part
			}
			if !gone.steps[k] {
				out.Steps = append(out.Steps, s)
			}
		}
		for k, e := range plan.Ends {
			if e.Part == kept[0] {
				e.Part = plan.Steps[i].Part
			}
			if !gone.ends[k] {
				out.Ends = append(out.Ends, e)
			}
		}
		return lettered(out), true
	}
	return plan, false
}

// lettered is a plan whose parts have letters in the order of its cuts across the face.
func lettered(p saw.Plan) saw.Plan {
	n := 0
	names := map[string]string{}
	name := func(old []string) []string {
		out := make([]string, len(old))
		for i, o := range old {
			out[i] = letters(&n)
			names[o] = out[i]
		}
		return out
	}
	of := func(part string) string {
		if new, ok := names[part]; ok {
			return new
		}
		return part
	}
	p.Steps, p.Ends = slices.Clone(p.Steps), slices.Clone(p.Ends)
	for i, s := range p.Steps {
		if do := s.Do.(saw.Saw); do.View == saw.Face {
			do.Left, do.Right = name(do.Left), name(do.Right)
			p.Steps[i].Part, p.Steps[i].Do = of(s.Part), do
		}
	}
	for i, e := range p.Ends {
		p.Ends[i].Part = of(e.Part)
	}
	return p
}

// turned is a plan with one cut turned, and moved as far as the stones on either side of it need; false where they leave
// no room.
func (p *planner) turned(e *entry, i int, turn float64) (saw.Plan, bool) {
	do := e.plan.Steps[i].Do.(saw.Saw)
	var ring plane.Ring
	for _, part := range e.result.Trunk.Parts {
		if part.Name == e.plan.Steps[i].Part {
			ring = part.Face
		}
	}
	outlines := map[string]plane.Ring{}
	for _, end := range e.result.Trunk.Ends {
		for _, s := range end.Stones {
			outlines[s.Name] = s.Outline
		}
	}
	from, d := direction(do.Line)
	c := at(ring.Centroid()).times(1.0 / plane.Micrometre)
	middle := from.plus(d.times(c.minus(from).dot(d)))
	sin, cos := math.Sincos(turn)
	d = d.turned([2]float64{sin, cos})
	left := vec{-d.y, d.x}
	low, high := math.Inf(-1), math.Inf(1) // where along left the line may lie
	gap := float64(p.Blade.KerfUm)/2 + float64(p.Blade.WanderUm) + 2
	for _, name := range under(e.plan, do.Left).stones {
		for _, q := range outlines[name] {
			high = min(high, at(q).dot(left)/plane.Micrometre-gap)
		}
	}
	for _, name := range under(e.plan, do.Right).stones {
		for _, q := range outlines[name] {
			low = max(low, at(q).dot(left)/plane.Micrometre+gap)
		}
	}
	foot := middle.dot(left)
	if low > high {
		low = (low + high) / 2
		high = low
	}
	do.Line = through(middle.plus(left.times(min(max(foot, low), high)-foot)), d)
	plan := e.plan
	plan.Steps = slices.Clone(plan.Steps)
	plan.Steps[i].Do = do
	return plan, true
}
