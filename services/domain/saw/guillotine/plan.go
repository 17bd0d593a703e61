package guillotine

import (
	"fmt"

	"seamshare.example/services/domain/rule"
)

// Part is a rectangle of the plan: cut on, a piece, or waste.
type Part struct {
	X, Y, Length, Width int64 // place in the stock and size, units
	Kind                int   // which kind this piece is; -1 where it is none
	Turned              bool  // the kind's length lies across
	Cut                 *Cut  // nil for a piece and for waste
}

// Waste: nothing more is cut from it.
func (p *Part) Waste() bool { return p.Cut == nil && p.Kind < 0 }

// Cut goes straight through its part. First ends at At from the part's corner; Second
// begins behind the kerf and is nil where nothing is left.
type Cut struct {
	Along         bool  // runs along the length and shares out the width; otherwise the other way round
	At            int64 // units
	Kerf          int64 // what it takes: the blade's kerf, or less at the far edge
	First, Second *Part
}

// side says how two builds lie.
type side uint8

const (
	whole  side = iota // no two
	across             // one behind the other, a cut across the length between them
	along              // beside each other, a cut along the length between them
)

// lay puts a build into a part that has room for it.
func (p Problem) lay(g *grid, b *build, part *Part) *Part {
	part.Kind = -1
	if b == nil {
		return part
	}
	if b.side == whole {
		v := g.variants[b.variant]
		switch l, w := v.l-p.Kerf, v.w-p.Kerf; {
		case part.Length > l:
			p.cut(g, part, across, l, b, nil)
		case part.Width > w:
			p.cut(g, part, along, w, b, nil)
		default:
			part.Kind, part.Turned = v.kind, v.turned
		}
		return part
	}
	at := b.at - p.Kerf
	if b.side == across && at == part.Length || b.side == along && at == part.Width {
		return p.lay(g, b.first, part) // there is nothing to cut off
	}
	p.cut(g, part, b.side, at, b.first, b.second)
	return part
}

func (p Problem) cut(g *grid, part *Part, s side, at int64, first, second *build) {
	one, two := *part, *part
	kerf := p.Kerf
	if s == along {
		kerf = min(kerf, part.Width-at)
		one.Width, two.Width = at, part.Width-at-kerf
		two.Y += at + kerf
	} else {
		kerf = min(kerf, part.Length-at)
		one.Length, two.Length = at, part.Length-at-kerf
		two.X += at + kerf
	}
	part.Cut = &Cut{Along: s == along, At: at, Kerf: kerf, First: p.lay(g, first, &one)}
	if two.Length > 0 && two.Width > 0 {
		part.Cut.Second = p.lay(g, second, &two)
	}
}

// Pieces are the parts that are kinds, in the order of the cuts.
func (p *Part) Pieces() []*Part {
	var pieces []*Part
	p.walk(func(q *Part) {
		if q.Kind >= 0 {
			pieces = append(pieces, q)
		}
	})
	return pieces
}

func (p *Part) walk(visit func(*Part)) {
	if p == nil {
		return
	}
	visit(p)
	if p.Cut != nil {
		p.Cut.First.walk(visit)
		p.Cut.Second.walk(visit)
	}
}

// Check reads a plan anew and gives its value: the root is the stock; each cut goes from
// edge to edge of its part and takes the kerf; parts, waste and kerf make up the whole;
// pieces have the size of their kind, keep its limit, and lie apart by the kerf.
// The error is a rule.Broken that names the place.
func (p Problem) Check(plan *Part) (int64, error) {
	broken := func(q *Part, format string, args ...any) error {
		place := "nothing"
		if q != nil {
			place = fmt.Sprintf("%d × %d at %d, %d", q.Length, q.Width, q.X, q.Y)
		}
		return rule.Broken{Reason: rule.FieldInvalid, Field: "plan", Value: place, Rule: fmt.Sprintf(format, args...), Hint: "compute the plan again"}
	}
	if plan == nil || plan.X != 0 || plan.Y != 0 || plan.Length != p.Length || plan.Width != p.Width {
		return 0, broken(plan, "the first part is the stock, %d × %d", p.Length, p.Width)
	}
	var value, area int64
	used := make([]int64, len(p.Kinds))
	var failed error
	plan.walk(func(q *Part) {
		if failed != nil {
			return
		}
		if q.Length < 1 || q.Width < 1 {
			failed = broken(q, "a part has a size")
			return
		}
		if q.Cut == nil {
			area += q.Length * q.Width
			if q.Kind < 0 {
				return
			}
			if q.Kind >= len(p.Kinds) {
				failed = broken(q, "there is no kind %d", q.Kind)
				return
			}
			k := p.Kinds[q.Kind]
			l, w := k.Length, k.Width
			if q.Turned {
				l, w = w, l
			}
			if q.Length != l || q.Width != w || q.Turned && !k.Turns {
				failed = broken(q, "it isn't kind %d, which is %d × %d", q.Kind, k.Length, k.Width)
				return
			}
			used[q.Kind]++
			value += k.Value
			return
		}
		c := q.Cut
		if q.Kind >= 0 || c.First == nil {
			failed = broken(q, "a part that is cut is no piece and has a first part")
			return
		}
		area += c.Kerf * map[bool]int64{true: q.Length, false: q.Width}[c.Along]
		side := map[bool]int64{true: q.Width, false: q.Length}[c.Along]
		rest := side - c.At - c.Kerf
		if c.At < 1 || c.At >= side || rest < 0 || c.Kerf != min(p.Kerf, side-c.At) || (c.Second == nil) != (rest == 0) {
			failed = broken(q, "a cut at %d takes %d of the side %d", c.At, c.Kerf, side)
			return
		}
		one, two := [4]int64{q.X, q.Y, c.At, q.Width}, [4]int64{q.X + c.At + c.Kerf, q.Y, rest, q.Width}
		if c.Along {
			one, two = [4]int64{q.X, q.Y, q.Length, c.At}, [4]int64{q.X, q.Y + c.At + c.Kerf, q.Length, rest}
		}
		if c.First.box() != one || c.Second != nil && c.Second.box() != two {
			failed = broken(q, "the cut at %d doesn't go from edge to edge", c.At)
		}
	})
	if failed != nil {
		return 0, failed
	}
	if area != p.Length*p.Width {
		return 0, broken(plan, "parts, waste and kerf make up %d of %d", area, p.Length*p.Width)
	}
	for i, n := range used {
		if most := p.Kinds[i].Most; most > 0 && n > most {
			return 0, broken(plan, "there are %d of kind %d, which may be cut %d times", n, i, most)
		}
	}
	pieces := plan.Pieces()
	for i, a := range pieces {
		for _, b := range pieces[:i] {
			apart := max(a.X-b.X-b.Length, b.X-a.X-a.Length, a.Y-b.Y-b.Width, b.Y-a.Y-a.Width)
			if apart < p.Kerf {
				return 0, broken(a, "it is %d from the piece at %d, %d, where the kerf is %d", apart, b.X, b.Y, p.Kerf)
			}
		}
	}
	return value, nil
}

func (p *Part) box() [4]int64 { return [4]int64{p.X, p.Y, p.Length, p.Width} }
