package search

import (
	"context"
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// stonesOf are all the stones of some wants that could count: the calibrated, and of any length those that are the
// longest to take so many steps, or the last of their price.
func (p *planner) stonesOf(l level, wants []*want, whole plane.Ring) (out []single) {
	for _, w := range wants {
		if p.ended() {
			return nil
		}
		body, oval := 1.0, w.body.oval(p.ctx)
		if l.thick > 0 {
			body = float64(w.Pattern.DepthUm) - float64(w.Pattern.DomeUm)/3
		}
		note := func(s Size, worth float64) {
			one := single{worth: worth*(1+1e-5) + 2, area: w.unit * float64(s.LengthUm) * float64(s.WidthUm) * (1 - 1e-5) * body}
			if l.thick == 0 {
				one.round = one.area * oval
			}
			if worth > 0 {
				out = append(out, one)
			}
		}
		region := p.uncut(w, whole, l.stretch)
		if len(w.Sizes) > 0 {
			// By area, so what is too large comes after what it holds.
			var too []Size
			for i, s := range w.Sizes {
				larger := func(o Size) bool { return o.LengthUm <= s.LengthUm && o.WidthUm <= s.WidthUm }
				if slices.ContainsFunc(too, larger) || !p.holds(region, w.bodies[i], s) {
					too = append(too, s)
					continue
				}
				note(s, p.worth(w, s))
			}
			continue
		}
		most := p.proved(region, w.body, 0)
		if w.ToUm > 0 {
			most = min(most, w.ToUm)
		}
		least := max(w.FromUm, shortest)
		size := func(length int64) Size { return Size{length, w.body.form.WidthUm(length)} }
		// Each stands for all that are shorter than it and longer than the one before: it has the area of those and the
		// worth of itself, within one price the greatest.
		stops := []int64{most}
		for _, e := range w.edges {
			if e >= least && e < most {
				stops = append(stops, e)
			}
		}
		slices.Sort(stops)
		from := least
		for _, to := range stops {
			for from <= to {
				next := min(to, max(from, int64(float64(from)*1.004)))
				s := size(from)
				s.WidthUm = max(1, s.WidthUm-1) // rounded up
				one := single{worth: p.worth(w, size(next))*(1+1e-5) + 2, area: w.unit * float64(s.LengthUm) * float64(s.WidthUm) * (1 - 1e-5) * body}
				if l.thick == 0 {
					one.round = one.area * oval
				}
				if one.worth > 2 {
					out = append(out, one)
				}
				from = next + 1
			}
		}
	}
	return out
}

// oval is the share of a body's area that an ellipse has which it holds: as large a one as a short search finds.
func (b *body) oval(ctx context.Context) (most float64) {
	const scale = plane.Millimetre
	if b.ellipse {
		return math.Pi * b.inner * b.inner * b.beta / b.area * (1 - 1e-9)
	}
	ring := make(plane.Ring, len(b.corner))
	for i, c := range b.corner {
		ring[i] = plane.Point{X: int64(math.Round(c.x * scale)), Y: int64(math.Round(c.y * scale))}
	}
	w := newWalls(saw.Region{Within: []saw.Within{{Ring: ring}}})
	rng := Seeded(1)
	space := space{ctx: ctx}
	for ratio := int64(10); ratio <= 30; ratio += 2 {
		e, err := newBody(Form{Shape: saw.Oval, Length: ratio, Width: 10}, saw.Face)
		if err != nil {
			continue
		}
		for range 3 {
			_, reach := w.ascend(e, w.random(e, rng), 30, &space)
			reach *= e.inner / scale
			most = max(most, math.Pi*reach*reach*e.beta/b.area*(1-1e-5))
		}
	}
	return most
}

// uncut is where a want may lie in the uncut piece, its obstacles without margins: in the plane of its bar, in
// which all is longer along the trace by the stretch.
func (p *planner) uncut(w *want, whole plane.Ring, stretch float64) saw.Region {
	a, d := p.trace()
	drawn := func(q plane.Point) plane.Point {
		more := at(q).minus(a).dot(d) * (stretch - 1)
		return q.Plus(plane.Point{X: int64(math.Round(d.x * more)), Y: int64(math.Round(d.y * more))})
	}
	ring := func(r plane.Ring) plane.Ring {
		out := make(plane.Ring, len(r))
		for i, q := range r {
			out[i] = drawn(q)
		}
		return out
	}
	r := saw.Region{Within: []saw.Within{{Ring: ring(whole)}}}
	if w.zone != nil {
		r.Within = append(r.Within, saw.Within{Ring: ring(w.zone)})
	}
	for _, o := range w.avoided {
		if !p.surely(o.Name, w) {
			continue
		}
		o.Margin = 0
		if o.Ring != nil {
			o.Ring = ring(o.Ring)
		}
		o.Path = plane.Path(ring(plane.Ring(o.Path)))
		r.Avoid = append(r.Avoid, o)
	}
	return r
}

// surely is whether a feature of face or back is in the way of a want wherever it lies: it goes all through, or
// from its side beyond the underside of the want's layer.
func (p *planner) surely(name string, w *want) bool {
	from, to := p.model.Reach(name)
	if from == math.MinInt64 && to == math.MaxInt64 {
		return true
	}
	z := int64(0)
	for _, l := range p.Study.Layers {
		if z -= l.ThicknessUm * plane.Micrometre; l.Name == w.Pattern.Bar && w.Pattern.View == saw.Face && w.Pattern.Surface == saw.Clean && w.Pattern.DomeUm > 1 {
			return to == math.MaxInt64 && from <= z
		}
	}
	return false
}

// proved is a length that no stone of a body passes in the region; looking ends where it is below enough.
func (p *planner) proved(r saw.Region, b *body, enough int64) int64 {
	l := &larger{b: b, w: newWalls(r), region: r, space: space{ctx: p.ctx}}
	rng := Seeded(1)
	for range 4 {
		l.note(l.w.ascend(b, l.w.random(b, rng), 20, &l.space))
	}
	if enough > 0 {
		// Whether it goes at all: what is found is enough, and so is a proof that it doesn't.
		if 2*l.best > float64(enough)*plane.Micrometre {
			return enough
		}
		l.best = max(l.best, float64(enough)*plane.Micrometre/2*0.998)
		l.seen = l.best
	}
	l.unsettled = true
	e := Effort{Cells: 20_000, GapBp: 100}
	if enough > 0 {
		e.GapBp = 5
	}
	most, _ := l.prove(p.ctx, e)
	return int64(math.Ceil(2*most/plane.Micrometre)) + 2
}

// holds is whether a size may lie in the region, as far as is known.
func (p *planner) holds(r saw.Region, b *body, s Size) bool {
	return p.proved(r, b, s.LengthUm) >= s.LengthUm
}

// kept is the area of rock and potch that the stones of a level keep off, grown as they are.
func (p *planner) kept(l level, within plane.Ring, zone string) float64 {
	sum := 0.0
	for _, a := range l.wants[0].avoided {
		if a.Ring == nil || p.ended() || zone != "" && !plane.Holds(within, a.Ring) || l.stretch != 1 {
			continue
		}
		all := true
		for _, w := range l.wants {
			all = all && p.surely(a.Name, w) && slices.ContainsFunc(w.avoided, func(b saw.Avoid) bool { return b.Name == a.Name })
		}
		// Obstacles that overlap would be counted twice.
		for _, b := range l.wants[0].avoided {
			all = all && (b.Name == a.Name || b.Ring == nil || !plane.RingsNearer(a.Ring, b.Ring, 1))
		}
		if all {
			// After a cut along it nothing is kept but the stone itself; it reaches in by as much as it was grown.
			sum += max(0, float64(a.Ring.TwiceArea())/2e6-a.Ring.Perimeter()/plane.Micrometre*l.grow)
		}
	}
	return sum
}

// plain is the area at the best price of any size: for stones so small that steps of area don't tell them apart.
func (p *planner) plain(l level, room float64) float64 {
	best := 0.0
	for _, w := range l.wants {
		try := func(s Size) {
			area := w.unit * float64(s.LengthUm) * float64(s.WidthUm) * (1 - 1e-5)
			if l.thick > 0 {
				area *= float64(w.Pattern.DepthUm) - float64(w.Pattern.DomeUm)/3
			}
			best = max(best, (p.worth(w, s)+p.minute*float64(w.Pattern.Minutes)+2)/area)
		}
		for _, s := range w.Sizes {
			try(s)
		}
		if len(w.Sizes) == 0 {
			for _, length := range append(slices.Clone(w.edges), max(w.FromUm, shortest), saw.MaxLengthUm/2) {
				if length >= shortest {
					try(Size{length, w.body.form.WidthUm(length)})
					try(Size{length + 1, w.body.form.WidthUm(length + 1)})
				}
			}
		}
	}
	return best * room
}
