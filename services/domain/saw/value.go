package saw

import (
	"math/big"
	"math/bits"

	"seamshare.example/services/domain/saw/risk"
)

// find is the first price of a class and size in a market.
func (p Prices) find(market, class string, lengthUm int64) (Price, bool) {
	for _, m := range p.Markets {
		if m.Name != market {
			continue
		}
		for _, price := range m.Prices {
			if price.Class == class && price.FromUm <= lengthUm && (price.ToUm == 0 || lengthUm < price.ToUm) {
				return price, true
			}
		}
	}
	return Price{}, false
}

// of is what a mass and area bring, fractions of a minor unit dropped, and never above MaxMinor.
func (p Price) of(massUg, areaUm2 int64) int64 {
	amount, per := int64(1), int64(1)
	switch p.Per {
	case PerFaceMm2:
		amount, per = areaUm2, 1_000_000
	case PerCarat:
		amount, per = massUg, 200_000
	case PerGram:
		amount, per = massUg, 1_000_000
	}
	hi, lo := bits.Mul64(uint64(p.Minor), uint64(amount))
	if hi >= uint64(per) {
		return MaxMinor
	}
	q, _ := bits.Div64(hi, lo, uint64(per))
	return int64(min(q, MaxMinor))
}

// levy of a sale, fractions of a minor unit dropped.
func (s Settings) levy(minor int64) int64 {
	hi, lo := bits.Mul64(uint64(minor), uint64(s.LevyBp))
	q, _ := bits.Div64(hi, lo, 10_000)
	return int64(q)
}

// net is what is left of a sale; what brings nothing isn't sold.
func (ev *evaluation) net(minor int64) int64 {
	if minor == 0 {
		return 0
	}
	return minor - ev.plan.Settings.levy(minor) - ev.plan.Settings.SellingMinor
}

// price finds what the stone brings if it comes out.
func (f *fitting) price() {
	price, ok := f.prices.find(f.s.Market, f.s.Class, f.s.LengthUm)
	if !ok {
		f.noPrice(f.b, f.p, f.path, f.s.Name, f.s.Market, f.s.Class)
		return
	}
	f.out.Priced = true
	if f.out.Fits {
		f.out.PriceMinor = price.of(f.out.MassUg, f.out.AreaUm2)
		f.out.LevyMinor = f.plan.Settings.levy(f.out.PriceMinor)
		f.out.NetMinor = f.net(f.out.PriceMinor)
	}
}

// outlook is what a branch may bring, exactly: before rounding.
type outlook struct {
	mean, variance *big.Rat // of the net
	nothing        *big.Rat // chance that nothing that brings money comes out
	minutes        *big.Rat // expected
	best, worst    *big.Rat
	markets        map[string]*marketOutlook
}

// marketOutlook is what one market is expected to pay.
type marketOutlook struct {
	mean   *big.Rat
	stones int
}

// value fills in the money of the result and of all branches.
func (ev *evaluation) value(r *Result) {
	ev.outlook(&r.Trunk)
	r.Money = r.Trunk.Money
}

// outlook adds up a branch and all below it.
func (ev *evaluation) outlook(b *Branch) outlook {
	var sales sales
	markets := map[string]*marketOutlook{}
	for _, e := range b.Ends {
		if e.Minor > 0 {
			sales.add(10_000, e.NetMinor)
			market(markets, e.Market).add(10_000, e.Minor, 0)
		}
		for _, s := range e.Stones {
			if s.Fits && s.Priced {
				sales.add(s.ChanceBp, s.NetMinor)
				market(markets, s.Market).add(s.ChanceBp, s.PriceMinor, 1)
			}
		}
	}
	out := sales.outlook(ev.hours(new(big.Rat).SetInt64(b.Minutes)))
	out.minutes, out.markets = new(big.Rat).SetInt64(b.Minutes), markets
	for i := range b.Looks {
		ev.looked(&out, &b.Looks[i])
	}
	b.Money = ev.money(out)
	return out
}

// hours is what so many minutes at the bench cost.
func (ev *evaluation) hours(minutes *big.Rat) *big.Rat {
	return minutes.Mul(minutes, big.NewRat(ev.plan.Settings.HourMinor, 60))
}

// sales adds up sales that come about or not, each apart from all others, in whole numbers: a chance is so many of
// 10 000.
type sales struct {
	mean        big.Int // · 10⁴
	variance    big.Int // · 10⁸
	nothing     big.Int // · 10⁴ to the power of risky
	risky       int64
	best, worst int64
	a, b        big.Int // for work in between
}

func (s *sales) add(chanceBp, net int64) {
	p, v := &s.a, &s.b
	p.SetInt64(chanceBp)
	v.SetInt64(net)
	s.mean.Add(&s.mean, p.Mul(p, v))
	p.SetInt64(chanceBp * (risk.Certain - chanceBp))
	s.variance.Add(&s.variance, p.Mul(p, v).Mul(p, v)) // p (1 − p) v²
	if net > 0 {
		if s.risky++; s.risky == 1 {
			s.nothing.SetInt64(1)
		}
		s.nothing.Mul(&s.nothing, p.SetInt64(risk.Certain-chanceBp))
	}
	if net > 0 || chanceBp == risk.Certain {
		s.best = plus(s.best, net)
	}
	if net < 0 || chanceBp == risk.Certain {
		s.worst = plus(s.worst, net)
	}
}

// plus is a sum of amounts, of which there may be thousands, kept far within int64 and beyond any that is shown.
func plus(sum, minor int64) int64 {
	const most = 1_000 * MaxMinor
	return max(-most, min(sum+minor, most))
}

func (s *sales) outlook(hours *big.Rat) outlook {
	out := outlook{
		mean:     new(big.Rat).SetFrac(&s.mean, big.NewInt(risk.Certain)),
		variance: new(big.Rat).SetFrac(&s.variance, big.NewInt(risk.Certain*risk.Certain)),
		nothing:  big.NewRat(1, 1),
		best:     new(big.Rat).SetInt64(s.best),
		worst:    new(big.Rat).SetInt64(s.worst),
	}
	if s.risky > 0 {
		out.nothing.SetFrac(&s.nothing, new(big.Int).Exp(big.NewInt(risk.Certain), big.NewInt(s.risky), nil))
	}
	for _, sum := range []*big.Rat{out.mean, out.best, out.worst} {
		sum.Sub(sum, hours)
	}
	return out
}

func market(all map[string]*marketOutlook, name string) *marketOutlook {
	m := all[name]
	if m == nil {
		m = &marketOutlook{mean: new(big.Rat)}
		all[name] = m
	}
	return m
}

func (m *marketOutlook) add(chanceBp, minor int64, stones int) {
	var p big.Rat
	m.mean.Add(m.mean, p.Mul(p.SetFrac64(chanceBp, risk.Certain), new(big.Rat).SetInt64(minor)))
	m.stones += stones
}

// looked adds a look: the mean of its outcomes, and by the law of total variance their spread and what they differ by.
func (ev *evaluation) looked(out *outlook, l *Looked) {
	mean, square, nothing, minutes := new(big.Rat), new(big.Rat), new(big.Rat), new(big.Rat)
	var best, worst *big.Rat
	for i := range l.Outcomes {
		o := ev.outlook(&l.Outcomes[i])
		p := big.NewRat(l.Outcomes[i].ChanceBp, 10_000)
		if p.Sign() > 0 {
			if best == nil || o.best.Cmp(best) > 0 {
				best = o.best
			}
			if worst == nil || o.worst.Cmp(worst) < 0 {
				worst = o.worst
			}
		}
		for name, m := range o.markets {
			sum := market(out.markets, name)
			sum.mean.Add(sum.mean, m.mean.Mul(m.mean, p))
			sum.stones += m.stones
		}
		weighed := func(sum, v *big.Rat) { sum.Add(sum, v.Mul(v, p)) }
		weighed(square, new(big.Rat).Add(o.variance, new(big.Rat).Mul(o.mean, o.mean)))
		weighed(mean, o.mean)
		weighed(nothing, o.nothing)
		weighed(minutes, o.minutes)
	}
	out.mean.Add(out.mean, mean)
	out.variance.Add(out.variance, square.Sub(square, new(big.Rat).Mul(mean, mean)))
	out.nothing.Mul(out.nothing, nothing)
	out.minutes.Add(out.minutes, minutes)
	out.best.Add(out.best, best)
	out.worst.Add(out.worst, worst)
}

// money rounds to whole units, halves away from zero; no sum passes MaxMinor.
func (ev *evaluation) money(o outlook) Money {
	thousand := new(big.Rat).SetInt64(1_000)
	hours := ev.hours(new(big.Rat).Set(o.minutes))
	m := Money{
		Currency: ev.plan.Settings.Currency,
		Expected: risk.Round(o.mean), Spread: risk.Root(o.variance), Best: risk.Round(o.best), Worst: risk.Round(o.worst),
		NothingPpm: risk.Round(new(big.Rat).Mul(o.nothing, new(big.Rat).SetInt64(1_000_000))),
		HoursMinor: risk.Round(hours), MinutesMilli: risk.Round(new(big.Rat).Mul(o.minutes, thousand)),
	}
	if o.minutes.Sign() > 0 {
		perMinute := new(big.Rat).Quo(new(big.Rat).Add(o.mean, hours), o.minutes)
		m.PerHour = risk.Round(perMinute.Mul(perMinute, new(big.Rat).SetInt64(60)))
	}
	for _, market := range ev.prices.Markets {
		if found := o.markets[market.Name]; found != nil {
			m.Markets = append(m.Markets, MarketMoney{market.Name, risk.Round(found.mean), found.stones})
		}
	}
	return m
}
