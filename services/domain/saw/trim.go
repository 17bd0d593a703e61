package saw

import (
	"fmt"
	"math"

	"seamshare.example/services/domain/measure/plane"
)

// trim leaves of a part what lies within the rings.
func (ev *evaluation) trim(w *way, b *Branch, p part, path string, t Trim, ends []End) error {
	at := path + ".trim"
	rings := make([]plane.Ring, 0, len(t.Keep))
	made := make([]part, 0, len(t.Keep))
	for i, k := range t.Keep {
		keep := fmt.Sprintf("%s.keep[%d]", at, i)
		r, err := ev.keep(keep, t.View, k, ends)
		if err != nil {
			return err
		}
		for j, other := range rings {
			if touching(r, other) {
				both, err := plane.Intersection([]plane.Ring{r}, []plane.Ring{other})
				if err != nil || len(both) > 0 {
					return invalid(keep, quoted(k.Part), "it overlaps keep[%d], %s; draw them apart", j, t.Keep[j].Part)
				}
			}
		}
		rings = append(rings, r)
		faces, err := common(p.face, r)
		if err != nil {
			return invalid(keep, quoted(k.Part), "it couldn't be laid over part %s: %v; draw it with fewer points", p.name, err)
		}
		var parts []part
		for _, f := range faces {
			q := p
			q.face = f
			parts = append(parts, ev.tighten(q)...)
		}
		if len(parts) == 0 {
			return invalid(keep, quoted(k.Part), "it lies outside part %s; move it", p.name)
		}
		// Where the part is concave there may be several bits; only the heaviest is kept.
		best := 0
		for j := range parts {
			if ev.weigh(&parts[j]); parts[j].ng > parts[best].ng {
				best = j
			}
		}
		if len(parts) > 1 {
			ev.find(b, Finding{
				Rule: AllNamed, Path: path, Part: k.Part, View: Face, At: um(parts[best].face.Centroid()), Notice: true,
				Text: fmt.Sprintf("within that outline the part falls into %d; the heaviest is kept, the rest counts as trimmed away", len(parts)),
			})
		}
		q := parts[best]
		q.name, q.from, q.step, q.trimmed, q.unplaced = k.Part, p.name, path, true, false
		made = append(made, q)
	}
	lost := ev.share(p, made, true)
	for i, q := range made {
		if err := w.add(fmt.Sprintf("%s.keep[%d].part", at, i), q); err != nil {
			return err
		}
		b.Parts = append(b.Parts, q.shown())
	}
	b.Losses = append(b.Losses, Loss{Reason: TrimmedAway, Part: p.name, Path: path, MassUg: lost})
	return nil
}

// keep is the outline that a trim leaves, in the face view.
func (ev *evaluation) keep(path string, v View, k Kept, ends []End) (plane.Ring, error) {
	if k.Stone == "" {
		points := make([]Point, len(k.Ring))
		for i, p := range k.Ring {
			if points[i] = p; v == Back {
				points[i].X = -p.X
			}
		}
		return ring(path+".ring", points)
	}
	for _, e := range ends {
		for _, s := range e.Stones {
			if e.Part == k.Part && s.Name == k.Stone {
				p, err := ev.place(path, s)
				if err != nil {
					return nil, err
				}
				r := grown(p.footprint(), k.AllowUm*plane.Micrometre)
				if _, err := plane.CheckPath(r.Closed()); err != nil {
					return nil, invalid(path+".allow_um", k.AllowUm, "so much round the stone is no outline any more: %v", err)
				}
				return r, nil
			}
		}
	}
	return nil, invalid(path+".stone", quoted(k.Stone), "no end of part %q gives that stone; plan it there", k.Part)
}

// roundCorners is how many corners stand for a circle that a ring is grown by, outside the true one.
const roundCorners = 24

// grown is a ring with so much more all round, at its corners up to a hundredth more. Hollows that close are
// filled, and all of them where the ring has very many corners.
func grown(r plane.Ring, by int64) plane.Ring {
	if by == 0 {
		return r
	}
	radius := (float64(by) + 2) / math.Cos(math.Pi/roundCorners) // and two for rounding
	// The sum of a convex shape and the circle's polygon is the hull of all sums of their corners.
	about := func(of ...plane.Point) plane.Ring {
		sums := make(plane.Ring, 0, len(of)*roundCorners)
		for _, p := range of {
			for k := range roundCorners {
				sin, cos := math.Sincos((float64(k) + 0.5) * 2 * math.Pi / roundCorners)
				sums = append(sums, p.Plus(plane.Point{X: int64(math.Round(radius * cos)), Y: int64(math.Round(radius * sin))}))
			}
		}
		return sums.Hull()
	}
	const many = 300 // a union of more capsules takes the better part of a second
	if convex(r) || len(r) > many {
		return about(r...)
	}
	rings := make([]plane.Ring, 0, len(r)+1)
	rings = append(rings, r)
	for i, p := range r {
		rings = append(rings, about(p, r[(i+1)%len(r)]))
	}
	if faces, err := plane.Union(rings...); err == nil && len(faces) == 1 {
		return faces[0].Outer
	}
	return about(r...)
}

func touching(r, s plane.Ring) bool {
	a, b := r.Box(), s.Box()
	return a.Min.X <= b.Max.X && b.Min.X <= a.Max.X && a.Min.Y <= b.Max.Y && b.Min.Y <= a.Max.Y
}

// common is what two rings have in common. Against a convex one it is cut out edge by edge, which is exact but for
// each corner's rounding, and fast.
func common(r, by plane.Ring) ([]plane.Ring, error) {
	switch {
	case plane.Holds(r, by):
		return []plane.Ring{by}, nil
	case convex(by):
		if len(r) < len(by) && convex(r) {
			r, by = by, r
		}
		rings := []plane.Ring{r}
		for i, p := range by {
			side, _ := plane.Line{A: p, B: by[(i+1)%len(by)]}.Band(0)
			var left []plane.Ring
			for _, r := range rings {
				left = side.Clip(left, r)
			}
			rings = left
		}
		return rings, nil
	}
	faces, err := plane.Intersection([]plane.Ring{r}, []plane.Ring{by})
	out := make([]plane.Ring, len(faces))
	for i, f := range faces {
		out[i] = f.Outer
	}
	return out, err
}

// convex is whether the ring, which is simple, turns left everywhere.
func convex(r plane.Ring) bool {
	n := len(r)
	for i := range r {
		a, b, c := r[i], r[(i+1)%n], r[(i+2)%n]
		d, v := b.Minus(a), c.Minus(b)
		if d.X*v.Y-d.Y*v.X < 0 {
			return false
		}
	}
	return true
}
