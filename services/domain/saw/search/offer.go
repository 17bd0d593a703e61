package search

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// offer puts the best of each kind on offer.
func (s *Suggestion) offer(t Task, hunts []hunt) error {
	p := hunts[0].planner
	// What was found for one market is a plan for all of them too.
	kinds := map[Kind]*entry{}
	best := map[string]*entry{}
	for _, h := range hunts {
		for _, kind := range sortedKinds(h.book.best) {
			e := h.book.best[kind]
			if have := kinds[kind]; have == nil || e.worth() > have.worth() {
				kinds[kind] = e
			}
			if have := best[h.market]; have == nil || e.worth() > have.worth() {
				best[h.market] = e
			}
		}
	}
	var found []*entry // in the order in which they are offered while there is room
	for _, h := range hunts {
		if e := best[h.market]; e != nil && !slices.Contains(found, e) {
			found = append(found, e)
		}
	}
	sure := len(found)
	for _, e := range slices.SortedStableFunc(maps.Values(kinds), func(a, b *entry) int {
		return cmp.Or(-cmp.Compare(a.worth(), b.worth()), cmp.Compare(a.kind.Stones, b.kind.Stones), cmp.Compare(a.kind.Set, b.kind.Set))
	}) {
		if !slices.Contains(found, e) {
			found = append(found, e)
		}
	}
	var chosen []*entry
	for i, e := range found {
		if len(chosen) == MaxOffers || i >= sure && len(chosen) > 0 && e.worth() <= 0 {
			break
		}
		full := p.polished(e)
		e = p.polished(p.simpler(full))
		e.most = max(e.worth(), full.worth())
		if err := p.tidy(e); err != nil {
			return err
		}
		same := slices.IndexFunc(chosen, e.alike)
		if same < 0 {
			chosen = append(chosen, e)
			continue
		}
		most := max(e.most, chosen[same].most)
		if e.better(chosen[same], most) {
			chosen[same] = e
		}
		chosen[same].most = most
	}
	s.Best = math.MinInt64
	inMarket := map[string]int64{}
	called := map[string]int{}
	for _, e := range chosen {
		o := Offer{Kind: e.kind, Plan: e.plan, Result: e.result}
		o.Plan.Name = e.kind.String()
		if called[o.Plan.Name]++; called[o.Plan.Name] > 1 {
			o.Plan.Name = fmt.Sprintf("%s (%d)", o.Plan.Name, called[o.Plan.Name])
		}
		o.Result.Plan = o.Plan.Name // named after it was evaluated
		for _, market := range t.Prices.Markets {
			m := InMarket{Market: market.Name}
			plan, taken := sold(e.plan, market.Name, p.onlySets(market.Name))
			if m.Stones = taken; taken > 0 {
				r, err := p.model.Evaluate(plan, t.Prices)
				if err != nil {
					return err
				}
				m.Money = r.Money
				inMarket[market.Name] = max(inMarket[market.Name], r.Money.Expected)
			}
			o.Markets = append(o.Markets, m)
		}
		s.Best = max(s.Best, e.worth())
		s.Offers = append(s.Offers, o)
	}
	for i := range s.Offers {
		for j := range s.Offers[i].Markets {
			o := &s.Offers[i].Markets[j]
			o.Best = o.Money.Expected > 0 && o.Money.Expected == inMarket[o.Market]
		}
	}
	slices.SortStableFunc(s.Offers, func(a, b Offer) int {
		return cmp.Or(cmp.Compare(a.Kind.Stones, b.Kind.Stones), -cmp.Compare(a.Kind.Set, b.Kind.Set), -cmp.Compare(longestOf(a.Plan), longestOf(b.Plan)))
	})
	return nil
}

// polished is an entry whose stones of any length are made longer where they lie, as far as they still go and bring
// more: the search keeps them within the greatest ellipse they hold, and a hair from walls.
func (p *planner) polished(e *entry) *entry {
	best := *e
	for i, end := range e.plan.Ends {
		if len(end.Stones) != 1 {
			continue
		}
		w := p.wantOf(end.Stones[0])
		if w == nil || w.Together > 0 || len(w.Sizes) > 0 || p.pinned != nil {
			continue
		}
		low := end.Stones[0].LengthUm
		for high := low + low/40; low < high && !p.ended(); {
			mid := (low + high + 1) / 2
			plan := best.plan
			plan.Ends = slices.Clone(plan.Ends)
			s := end.Stones[0]
			s.LengthUm, s.WidthUm = mid, w.body.form.WidthUm(mid)
			plan.Ends[i].Stones = []saw.Stone{s}
			r, err := p.model.Evaluate(plan, p.Prices)
			if err == nil && !r.Infeasible && r.Money.Expected >= best.worth() && (w.ToUm == 0 || mid <= w.ToUm) {
				low, best.plan, best.result = mid, plan, r
			} else {
				high = mid - 1
			}
		}
	}
	return &best
}

// Parts without a stone that nobody can use again are thrown away (common practice, no source).
const (
	narrowest = plane.Millimetre
	lightest  = 50_000 // µg
)

// sliver is whether a part is too narrow or light to be of use, or too short to be held.
func (p *planner) sliver(part saw.Part) bool {
	if part.MassUg < lightest || part.Face.Width() < narrowest {
		return true
	}
	hull := part.Face.Hull()
	long := 0.0
	for i, a := range hull {
		for _, b := range hull[:i] {
			long = max(long, at(a).minus(at(b)).length())
		}
	}
	return long < float64(p.Settings.GripUm*plane.Micrometre)
}

func (p *planner) slivers(e *entry) map[string]bool {
	slivers := map[string]bool{}
	for _, part := range e.result.Trunk.Parts {
		slivers[part.Name] = p.sliver(part)
	}
	return slivers
}

// tidy throws the slivers of a plan away that aren't sold, which changes its mass balance and not its money.
func (p *planner) tidy(e *entry) error {
	if len(e.plan.Steps) == 0 {
		return nil // the piece as it is
	}
	slivers := p.slivers(e)
	ends := slices.Clone(e.plan.Ends)
	for i, end := range ends {
		if end.Kind != saw.Stones && end.Class == "" && slivers[end.Part] {
			ends[i].Kind = saw.Waste
		}
	}
	e.plan.Ends = ends
	var err error
	e.result, err = p.model.Evaluate(e.plan, p.Prices)
	return err
}

func longestOf(p saw.Plan) (most int64) {
	for _, e := range p.Ends {
		for _, s := range e.Stones {
			most = max(most, s.LengthUm)
		}
	}
	return most
}

// sold is a plan with the stones that a market takes sold there, and how many they are. A market of sets only takes those
// that are planned for it; the others are sold as planned.
func sold(p saw.Plan, market string, onlySets bool) (_ saw.Plan, taken int) {
	p.Ends = slices.Clone(p.Ends)
	for i, e := range p.Ends {
		p.Ends[i].Stones = slices.Clone(e.Stones)
		for j := range p.Ends[i].Stones {
			if s := &p.Ends[i].Stones[j]; !onlySets || s.Market == market {
				s.Market = market
				taken++
			}
		}
	}
	return p, taken
}

// onlySets is whether stones are wanted for a market, but only such as match.
func (p *planner) onlySets(market string) bool {
	sets := p.pinned != nil && p.pinned.stone.Market == market
	for _, w := range p.Wants {
		if w.Pattern.Market == market {
			if w.Together == 0 {
				return false
			}
			sets = true
		}
	}
	return sets
}
