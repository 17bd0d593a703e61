package search

import (
	"fmt"
	"math"
	"slices"

	"seamshare.example/services/domain/saw"
)

// design is which stones the parts of some trees give.
type design struct {
	score  float64
	stones map[*node]planned
	set    int // how many of them are a set
}

// planned is a stone to be planned in a part.
type planned struct {
	want  *want
	size  Size
	place place
	set   bool
}

// design takes from each part what is worth the most alone, and at most one set where that is worth more.
func (c *climber) design(roots []*node) design {
	d := design{score: -c.minute * float64(c.SawMinutes) * float64(len(c.scheme.cuts))}
	for _, r := range roots {
		d.score += r.worth
	}
	var sets bool
	for _, w := range c.wants {
		sets = sets || w.Together > 0
	}
	if !sets {
		return d
	}
	d.stones = map[*node]planned{}
	best, from := 0.0, map[*node]planned(nil)
	for _, w := range c.wants {
		if w.Together == 0 {
			continue
		}
		type seatOf struct {
			n *node
			f *fit
		}
		var on []seatOf
		for i, r := range roots {
			for _, leaf := range r.leaves(nil) {
				if leaf.pinned {
					continue
				}
				var f *fit
				for k := range c.slabs[i].slab.seats {
					if c.slabs[i].slab.seats[k].want == w && leaf.fits[k].reach > 0 && (f == nil || leaf.fits[k].reach > f.reach) {
						f = &leaf.fits[k]
					}
				}
				if f != nil {
					on = append(on, seatOf{leaf, f})
				}
			}
		}
		slices.SortStableFunc(on, func(a, b seatOf) int {
			if a.f.reach > b.f.reach {
				return -1
			}
			return 1
		})
		on = on[:min(len(on), 10)]
		pick := make([]int, w.Together)
		var choose func(k, next int)
		choose = func(k, next int) {
			if k < len(pick) {
				for i := next; i < len(on); i++ {
					pick[k] = i
					choose(k+1, i+1)
				}
				return
			}
			fits := make([]*fit, len(pick))
			lost := 0.0
			for j, i := range pick {
				fits[j] = on[i].f
				lost += on[i].n.worth
			}
			sizes, worth := c.together(w, fits)
			if sizes == nil || worth-lost <= best {
				return
			}
			best, from = worth-lost, map[*node]planned{}
			for j, i := range pick {
				from[on[i].n] = planned{w, sizes[j], on[i].f.place, true}
			}
		}
		choose(0, 0)
	}
	d.score += best
	d.stones, d.set = from, len(from)
	return d
}

// together are the sizes of a set in places of falling reach, and what it is worth.
func (c *climber) together(w *want, fits []*fit) ([]Size, float64) {
	sizes := make([]Size, len(fits))
	worth := 0.0
	if len(w.Sizes) > 0 {
		// The largest that goes, then the largest that is so much shorter, and again.
		best := -1.0
		var out []Size
		for first := len(w.Sizes) - 1; first >= 0; first-- {
			at, sum, ok := first, 0.0, true
			for k, f := range fits {
				if k > 0 && w.StepUm > 0 {
					longest := w.Sizes[at].LengthUm - w.StepUm
					for at >= 0 && w.Sizes[at].LengthUm > longest {
						at--
					}
				}
				if at < 0 || !f.takes(w, at) {
					ok = false
					break
				}
				sizes[k] = w.Sizes[at]
				sum += c.worth(w, sizes[k])
			}
			if ok && sum > best {
				best, out = sum, slices.Clone(sizes)
			}
		}
		return out, best
	}
	most := math.Inf(1)
	for k, f := range fits {
		most = min(most, (2*f.reach*w.body.sure()-slack)/1_000+float64(w.StepUm)*float64(k))
	}
	if w.ToUm > 0 {
		most = min(most, float64(w.ToUm))
	}
	for k := range fits {
		length := int64(most) - w.StepUm*int64(k)
		if length < max(w.FromUm, shortest) || most <= 0 {
			return nil, 0
		}
		if sizes[k] = (Size{length, w.body.form.WidthUm(length)}); sizes[k].WidthUm < shortest {
			return nil, 0
		}
		worth += c.worth(w, sizes[k])
	}
	return sizes, worth
}

// takes is whether a calibrated size goes where the form does, told by both its measures.
func (f *fit) takes(w *want, i int) bool {
	long := 2*f.reach*w.body.sure() - slack
	wide := long * w.body.beta
	return float64(w.Sizes[i].LengthUm)*1_000 <= long && float64(w.Sizes[i].WidthUm)*1_000 <= wide
}

// letters is the next name of a part: A to Z, then AA, AB and so on.
func letters(n *int) (name string) {
	*n++
	for k := *n; k > 0; k = (k - 1) / 26 {
		name = string(rune('A'+(k-1)%26)) + name
	}
	return name
}

// plan writes a design down.
func (c *climber) plan(roots []*node, d design) saw.Plan {
	p := saw.Plan{Blades: []saw.Blade{c.Blade}, Settings: c.Settings, Steps: c.sectionSteps(c.scheme.cuts)}
	stones, parts := 0, 0
	var lay func(g *grower, n *node, name string)
	lay = func(g *grower, n *node, name string) {
		if n.cut != nil {
			s := saw.Saw{Blade: c.Blade.Name, View: saw.Face, Line: *n.cut}
			for range n.left {
				s.Left = append(s.Left, letters(&parts))
			}
			for range n.right {
				s.Right = append(s.Right, letters(&parts))
			}
			p.Steps = append(p.Steps, saw.Step{Part: name, Minutes: c.SawMinutes, Do: s})
			for i, k := range n.left {
				lay(g, k, s.Left[i])
			}
			for i, k := range n.right {
				lay(g, k, s.Right[i])
			}
			return
		}
		if n.pinned {
			s := g.pin.stone
			stones++
			s.Name = fmt.Sprint(stones)
			p.Ends = append(p.Ends, saw.End{Part: name, Kind: saw.Stones, Stones: []saw.Stone{s}})
			return
		}
		s, ok := d.stones[n]
		if !ok && n.best >= 0 {
			f := n.fits[n.best]
			s, ok = planned{g.slab.seats[n.best].want, f.size, f.where, false}, true
		}
		if !ok {
			end := c.Rest
			if end.Part = name; g.rest(n) <= 0 {
				end.Class, end.Market = "", ""
			}
			p.Ends = append(p.Ends, end)
			return
		}
		stone := s.want.body.stone(s.place)
		at, turn := stone.At, stone.TurnMdeg
		stone = s.want.Pattern
		stones++
		stone.Name, stone.At, stone.TurnMdeg = fmt.Sprint(stones), at, turn
		stone.LengthUm, stone.WidthUm = s.size.LengthUm, s.size.WidthUm
		p.Ends = append(p.Ends, saw.End{Part: name, Kind: saw.Stones, Stones: []saw.Stone{stone}})
	}
	for i, r := range roots {
		lay(c.slabs[i], r, c.scheme.slabs[i].name)
	}
	p.Steps, p.Ends = slices.Clip(p.Steps), slices.Clip(p.Ends)
	return p
}
