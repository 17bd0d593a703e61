package saw

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"seamshare.example/services/domain/measure/plane"
)

// edge is an edge of a ring that isn't square to the trace: from s0 to s1, where it has the other coordinate a0 and a1.
type edge struct {
	s0, s1, a0, a1 int64
	upper          bool
}

// edges are the edges of rings, by their beginning.
func edges(rings ...plane.Ring) []edge { return appendEdges(nil, rings...) }

func appendEdges(out []edge, rings ...plane.Ring) []edge {
	n := 0
	for _, r := range rings {
		n += len(r)
	}
	out = slices.Grow(out, n)
	for _, r := range rings {
		p := r[len(r)-1]
		for _, q := range r {
			if p.X < q.X {
				out = append(out, edge{p.X, q.X, p.Y, q.Y, false})
			} else if p.X > q.X {
				out = append(out, edge{q.X, p.X, q.Y, p.Y, true})
			}
			p = q
		}
	}
	slices.SortFunc(out, func(e, f edge) int { return cmp.Compare(e.s0, f.s0) })
	return out
}

// twice is twice the other coordinate at half of s2, rounded half away from the edge's first end.
func (e edge) twice(s2 int64) int64 {
	return 2*e.a0 + rounded((e.a1-e.a0)*(s2-2*e.s0), e.s1-e.s0)
}

// rounded is a/b to the nearest whole number, halves away from zero; b > 0.
func rounded(a, b int64) int64 {
	q, r := a/b, a%b
	if r >= b-r {
		return q + 1
	}
	if -r >= b+r {
		return q - 1
	}
	return q
}

// sweep keeps the edges that span the present stretch.
type sweep struct {
	rest, now []edge
}

func (w *sweep) to(from, to int64) {
	kept := w.now[:0]
	for _, e := range w.now {
		if e.s1 >= to {
			kept = append(kept, e)
		}
	}
	w.now = kept
	for len(w.rest) > 0 && w.rest[0].s0 <= from {
		if w.rest[0].s1 >= to {
			w.now = append(w.now, w.rest[0])
		}
		w.rest = w.rest[1:]
	}
}

// twice is twice the width at half of s2, within the present stretch.
func (w *sweep) twice(s2 int64) int64 {
	sum := int64(0)
	for _, e := range w.now {
		if e.upper {
			sum += e.twice(s2)
		} else {
			sum -= e.twice(s2)
		}
	}
	return sum
}

// volume is ∫ w(s) · h(s) ds in nm³, w the width of one set of edges and h that of the other.
func volume(w, h []edge) float64 {
	var space [128]int64
	stops := space[:0]
	for _, edges := range [][]edge{w, h} {
		for _, e := range edges {
			stops = append(stops, e.s0, e.s1)
		}
	}
	slices.Sort(stops)
	stops = slices.Compact(stops)
	var wideSpace, highSpace [16]edge
	wide, high := sweep{rest: w, now: wideSpace[:0]}, sweep{rest: h, now: highSpace[:0]}
	sum := 0.0
	for i := 1; i < len(stops); i++ {
		from, to := stops[i-1], stops[i]
		wide.to(from, to)
		high.to(from, to)
		if len(wide.now) == 0 || len(high.now) == 0 {
			continue
		}
		// Simpson's rule: exact for the product of two linear functions. Widths are within 2·10⁹ half nanometres.
		ends := float64(wide.twice(2*from)*high.twice(2*from)) + float64(wide.twice(2*to)*high.twice(2*to))
		middle := float64(wide.twice(from+to) * high.twice(from+to))
		// The conversion keeps compilers from fusing, so that all machines weigh alike.
		sum += float64(float64(to-from) * (ends + float64(4*middle)))
	}
	return sum / 24
}

// weigh finds the part's mass by the model.
func (m *Model) weigh(p *part) {
	weigher := weigher{m: m, face: p.face}
	ng := weigher.ng(p.sgMilli, p.section)
	for _, l := range p.layers {
		// What a layer is heavier than the rest: so layers needn't tile the section to the nanometre.
		if l.sgMilli != p.sgMilli {
			ng += weigher.ng(l.sgMilli-p.sgMilli, l.rings...)
		}
	}
	p.ng = max(0, ng)
}

// volume of the part in nm³.
func (m *Model) volume(p part) float64 {
	w := weigher{m: m, face: p.face}
	return w.volume(p.section)
}

// weigher keeps what the layers of one part share.
type weigher struct {
	m      *Model
	face   plane.Ring
	across []edge // of the face along the trace; made when needed
	area2  int64
	along  span
}

// ng is the mass of what the rings of the section hold, in nanograms: nm³ · thousandths · 10⁻¹⁵.
func (w *weigher) ng(sgMilli int64, rings ...plane.Ring) int64 {
	return int64(math.Round(w.volume(rings...) * float64(sgMilli) * 1e-15))
}

// volume of what the rings of the section hold, in nm³.
func (w *weigher) volume(rings ...plane.Ring) float64 {
	if w.area2 == 0 {
		w.area2, w.along = w.face.TwiceArea(), w.m.trace.span(w.face)
	}
	total := 0.0
	var rest []plane.Ring
	for _, r := range rings {
		// A plate below all of the outline is its area by its thickness.
		if s, z, ok := upright(r); ok && s.from <= w.along.from+tightened && s.to >= w.along.to-tightened {
			total += float64(float64(w.area2) / 2 * float64(z.to-z.from))
		} else {
			rest = append(rest, r)
		}
	}
	if len(rest) > 0 {
		if w.across == nil {
			w.across = edges(w.m.trace.ring(w.face))
		}
		total += volume(w.across, edges(rest...))
	}
	return total
}

// upright is whether a ring is an upright rectangle, and which.
func upright(r plane.Ring) (s, z span, ok bool) {
	if len(r) != 4 {
		return s, z, false
	}
	box := r.Box()
	for i, p := range r {
		q := r[(i+1)%4]
		if p.X != q.X && p.Y != q.Y {
			return s, z, false
		}
	}
	return span{box.Min.X, box.Max.X}, span{box.Min.Y, box.Max.Y}, true
}

// share gives the mass of a part to what is made of it: to each what it is of the whole piece by the model, rounded
// down, so that it depends on no other part's outline; what is left over to what is lost. Where nothing is, or
// rounding has made them weigh more than the part, the heaviest makes up for it.
func (ev *evaluation) share(p part, made []part, lossy bool) (lost int64) {
	left := p.ug
	for i := range made {
		made[i].ug = portion(ev.study.MassUg, min(made[i].ng, ev.whole.ng), ev.whole.ng)
		left -= made[i].ug
	}
	if lossy && left >= 0 {
		return left
	}
	for left != 0 {
		heaviest := &made[0]
		for i := range made {
			q := &made[i]
			if q.ug > heaviest.ug || q.ug == heaviest.ug && q.name < heaviest.name {
				heaviest = q
			}
		}
		more := max(left, -heaviest.ug)
		heaviest.ug += more
		left -= more
	}
	return 0
}

// portion is amount · of / whole, rounded down; 0 ≤ of ≤ whole and whole > 0.
func portion(amount, of, whole int64) int64 {
	hi, lo := bits.Mul64(uint64(amount), uint64(of))
	q, _ := bits.Div64(hi, lo, uint64(whole))
	return int64(q)
}
