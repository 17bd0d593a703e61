package search

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"seamshare.example/services/domain/saw"
)

// Kind is in what plans on offer differ, besides the places of their cuts.
type Kind struct {
	Stones int // how many
	Set    int // how many of them are a matched set; 0: none
}

// Offer is one way to cut the piece.
type Offer struct {
	Kind   Kind
	Plan   saw.Plan
	Result saw.Result // of the plan, each stone in the market it is planned for
	// Markets is what the same stones bring in each market, all sold there that it takes.
	Markets []InMarket
}

// InMarket is a plan's money in one market. One that only sets are wanted for takes no stone that is of none: such are
// sold where they are planned for.
type InMarket struct {
	Market string
	Stones int       // how many of the plan's stones it takes
	Money  saw.Money // of the plan, where it takes any
	Best   bool      // it brings something, and no plan that was found more there
}

// Suggestion is what a search found.
type Suggestion struct {
	// Offers are the best plans found of a few kinds, each of a name of its own, by number of stones, those with sets first, then by the longest
	// stone. They aren't ranked. No two give the same stones, to half a millimetre, after as many cuts in the section; of
	// plans that are worth the same, to 1 in 500, it is the one with fewer and squarer cuts.
	Offers []Offer
	// Best is the expected worth of the most valuable of them, Bound what no plan passes (see Bound).
	Best, Bound int64
	Steps       int  // changes that were tried
	Stopped     bool // before all steps
}

// Progress is told now and then from the beginning of a search to its end: while it gets ready, which is step 0, between
// its steps and within them.
type Progress struct {
	Step, Of int
	Best     int64 // math.MinInt64 before there is a plan
	Bound    int64 // Unbounded before it is known: of two halves, to the end
}

// telling is a context of which a search asks again and again, whatever it is at, whether it is over. So it is told there
// that it goes on, and who searches may let others have a turn.
type telling struct {
	context.Context
	tell func()
}

// Err implements context.Context.
func (t telling) Err() error {
	t.tell()
	return t.Context.Err()
}

// MaxOffers is how many plans a suggestion has at most.
const MaxOffers = 6

// errNothing is where not even leaving the piece alone can be planned.
var errNothing = errors.New("no plan could be evaluated")

// Suggest searches plans for a piece, so many steps long: for all markets together, and for each alone. A plan saws in the
// section first or not at all, then straight across the face, part by part, and takes one stone from a part. Each
// plan on offer was evaluated by package saw, and is feasible.
//
// The same task, seed and steps give the same suggestion. The context stops it early, which is no error. Progress may
// be nil; it is called from the caller's goroutine. The error is a *saw.Invalid.
func Suggest(ctx context.Context, t Task, rng *Dice, steps int, progress func(Progress)) (Suggestion, error) {
	return suggest(ctx, t, rng, steps, progress, nil)
}

func suggest(ctx context.Context, t Task, rng *Dice, steps int, progress func(Progress), pinned *pin) (Suggestion, error) {
	s := Suggestion{Bound: Unbounded}
	all := &book{best: map[Kind]*entry{}} // of all markets
	tell := func() {
		if progress != nil {
			best := int64(math.MinInt64)
			for _, e := range all.best {
				best = max(best, e.worth())
			}
			progress(Progress{s.Steps, steps, best, s.Bound})
		}
	}
	ctx = telling{ctx, tell}
	if pinned == nil {
		var err error
		if s.Bound, err = Bound(ctx, t); err != nil {
			return Suggestion{}, err
		}
	}
	hunts, err := newHunts(ctx, t, rng, pinned, all)
	if err != nil {
		return Suggestion{}, err
	}
	stop := func() bool {
		if stopped(ctx, &s, steps) {
			return true
		}
		s.Steps++
		return false
	}
	// Stages of double length each, so that more steps go on where fewer end and never find less.
	for length := firstStage; !stopped(ctx, &s, steps); length *= 2 {
		for i := range hunts {
			n := length
			if i > 0 {
				n /= 2 // one market alone
			}
			hunts[i].run(n, length == firstStage, stop)
		}
	}
	if tell(); len(all.best) == 0 {
		return s, errNothing
	}
	return s, s.offer(t, hunts)
}

// hunt is the search for one set of wants.
type hunt struct {
	market   string // empty: all
	planner  *planner
	book     *book
	climbers []*climber
}

// firstStage is how many steps the first stage has for all markets together.
const firstStage = 120

// stopped is whether a search is over, by its steps or before.
func stopped(ctx context.Context, s *Suggestion, steps int) bool {
	s.Stopped = s.Steps < steps && ctx.Err() != nil
	return s.Stopped || s.Steps >= steps
}

// run is one stage: at first a look at every scheme, later one at the best so far: half of it from where it is
// uncut, half from the best there is.
func (h *hunt) run(steps int, first bool, stop func() bool) {
	const cold = 0.0005
	if first {
		for _, c := range h.climbers {
			c.run(max(1, steps/len(h.climbers)), 0.08, cold, stop)
		}
		return
	}
	c := slices.MaxFunc(h.climbers, func(a, b *climber) int { return cmp.Compare(a.top, b.top) })
	c.take(c.first)
	c.run(steps/2, 0.08, cold, stop)
	c.take(c.topped)
	c.run(steps-steps/2, 0.03, cold, stop)
}

func newHunts(ctx context.Context, t Task, rng *Dice, pinned *pin, ofAll *book) ([]hunt, error) {
	markets := []string{""}
	var named []string
	for _, m := range t.Prices.Markets {
		if len(t.In(m.Name).Wants) > 0 {
			named = append(named, m.Name)
		}
	}
	if len(named) > 1 && pinned == nil {
		markets = append(markets, named...)
	}
	all, err := newCutter(ctx, t)
	if err != nil {
		return nil, err
	}
	all.pinned = pinned
	var hunts []hunt
	for i, market := range markets {
		if i > 0 && all.ended() {
			break
		}
		p, b := all, ofAll
		if market != "" {
			p, b = all.in(market), &book{best: map[Kind]*entry{}}
		}
		h := hunt{market: market, planner: p, book: b}
		schemes := p.schemes
		if pinned != nil {
			schemes = schemes[:1]
		}
		for i, s := range schemes {
			if i > 0 && p.ended() {
				break
			}
			c := p.climber(s, Seeded(rng.Uint64()), h.book)
			if pinned == nil {
				if exact := c.rectangular(); exact != nil {
					c.take([]*node{exact})
				}
			}
			h.climbers = append(h.climbers, c)
		}
		hunts = append(hunts, h)
	}
	return hunts, nil
}

// book keeps the best plan of each kind.
type book struct{ best map[Kind]*entry }

type entry struct {
	kind   Kind
	plan   saw.Plan
	result saw.Result
	tried  float64 // the greatest score that was tried
	most   int64   // of what it stands for on offer: the greatest worth
}

func (e *entry) worth() int64 { return e.result.Money.Expected }

// note evaluates a design if it may be the best of its kind.
func (b *book) note(c *climber, d design) {
	kind := Kind{Set: d.set}
	for _, r := range c.roots {
		for _, leaf := range r.leaves(nil) {
			if _, ok := d.stones[leaf]; ok || leaf.best >= 0 || leaf.pinned {
				kind.Stones++
			}
		}
	}
	e := b.best[kind]
	if e != nil && (d.score <= float64(e.worth())+0.5 || d.score <= e.tried && c.rng.IntN(10) > 0) {
		return
	}
	r, plan, ok := c.evaluated(c.plan(c.roots, d))
	if e != nil {
		e.tried = max(e.tried, d.score)
	}
	if !ok || len(r.Trunk.Ends) == 0 {
		return
	}
	if e == nil {
		b.best[kind] = &entry{kind: kind, plan: plan, result: r, tried: d.score}
	} else if r.Money.Expected > e.worth() {
		e.plan, e.result = plan, r
	}
}

// evaluated is a plan evaluated; what doesn't fit by a hair is made smaller.
func (p *planner) evaluated(plan saw.Plan) (saw.Result, saw.Plan, bool) {
	shrink := 0.001
	for range 8 {
		r, err := p.model.Evaluate(plan, p.Prices)
		if err != nil {
			return r, plan, false
		}
		if !r.Infeasible {
			p.learn(plan, r)
			return r, plan, true
		}
		bad := map[string]bool{}
		for _, f := range r.Trunk.Findings {
			if !f.Notice && f.Stone == "" {
				return r, plan, false
			}
			if !f.Notice {
				bad[f.Stone] = true
			}
		}
		ends := slices.Clone(plan.Ends)
		for i, e := range ends {
			for _, s := range e.Stones {
				if !bad[s.Name] {
					continue
				}
				if p.pinned != nil && s.At == p.pinned.stone.At && s.LengthUm == p.pinned.stone.LengthUm {
					return r, plan, false
				}
				w := p.wantOf(s)
				if w == nil || w.Together > 0 || len(w.Sizes) > 0 || s.Name == "" {
					return r, plan, false
				}
				s.LengthUm = int64(float64(s.LengthUm) * (1 - shrink))
				if s.WidthUm = w.body.form.WidthUm(s.LengthUm); s.LengthUm < max(w.FromUm, shortest) || s.WidthUm < shortest {
					return r, plan, false
				}
				ends[i].Stones = []saw.Stone{s}
			}
		}
		plan.Ends = ends
		shrink *= 2
	}
	return saw.Result{}, plan, false
}

// wantOf is the want that a stone was planned by.
func (p *planner) wantOf(s saw.Stone) *want {
	for _, w := range p.wants {
		q := w.Pattern
		if q.Market == s.Market && q.Class == s.Class && q.Shape == s.Shape && q.Zone == s.Zone && q.Bar == s.Bar && q.DepthUm == s.DepthUm && q.View == s.View {
			if len(w.Sizes) == 0 && w.body.form.WidthUm(s.LengthUm) != s.WidthUm {
				continue
			}
			return w
		}
	}
	return nil
}

// learn takes the area for a size and the mass for an area from stones that were weighed.
func (p *planner) learn(plan saw.Plan, r saw.Result) {
	weighed := map[string]saw.Planned{}
	for _, e := range r.Trunk.Ends {
		for _, s := range e.Stones {
			weighed[s.Name] = s
		}
	}
	for _, e := range plan.Ends {
		for _, s := range e.Stones {
			if w := p.wantOf(s); w != nil && weighed[s.Name].AreaUm2 > 0 && weighed[s.Name].MassUg > 0 {
				w.perArea = float64(weighed[s.Name].MassUg) / float64(weighed[s.Name].AreaUm2)
				w.unit = float64(weighed[s.Name].AreaUm2) / float64(s.LengthUm*s.WidthUm)
			}
		}
	}
}

func sortedKinds(m map[Kind]*entry) []Kind {
	return slices.SortedFunc(maps.Keys(m), func(a, b Kind) int { return cmp.Or(cmp.Compare(a.Stones, b.Stones), cmp.Compare(a.Set, b.Set)) })
}

// String names the kind as a cutter would.
func (k Kind) String() string {
	what := fmt.Sprintf("%d stones", k.Stones)
	switch k.Stones {
	case 0:
		return "left as it is"
	case 1:
		what = "one stone"
	}
	switch k.Set {
	case 2:
		return what + ", two of them a pair"
	case 3:
		return what + ", three of them a suite"
	}
	return what
}
