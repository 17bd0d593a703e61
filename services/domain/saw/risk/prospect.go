package risk

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"slices"

	"seamshare.example/services/domain/rule"
)

// MaxAtoms bounds the amounts that a prospect is told apart into.
const MaxAtoms = 50_000

// Prospect is what can come out of a tree gone through the best way. Its mean and variance
// are exact.
type Prospect struct {
	Moments
	leaves []leaf
}

// Atom is one amount that can come out, and its chance.
type Atom struct {
	Value  int64 // minor units
	Chance *big.Rat
}

// ErrTooMany says that the amounts can't be told apart one by one: there is a price range
// among them, or they are more than MaxAtoms. Simulate still draws them.
var ErrTooMany = errors.New("the amounts that can come out are not told apart one by one; simulate them")

// Atoms are all amounts that can come out, rising, each once. The error is ErrTooMany.
func (p Prospect) Atoms() ([]Atom, error) {
	sum := map[int64]*big.Rat{}
	for _, l := range p.leaves {
		here := map[int64]*big.Rat{l.value: l.chance}
		for _, g := range l.gains {
			if g.Range != nil {
				return nil, ErrTooMany
			}
			next := map[int64]*big.Rat{}
			for v, c := range here {
				for _, o := range g.Outcomes {
					if o.Chance > 0 {
						put(next, v+o.Value, mul(c, chance(o.Chance)))
					}
				}
				if len(next) > MaxAtoms {
					return nil, ErrTooMany
				}
			}
			here = next
		}
		for v, c := range here {
			put(sum, v, c)
		}
		if len(sum) > MaxAtoms {
			return nil, ErrTooMany
		}
	}
	atoms := make([]Atom, 0, len(sum))
	for v, c := range sum {
		atoms = append(atoms, Atom{v, c})
	}
	slices.SortFunc(atoms, func(a, b Atom) int { return int(min(1, max(-1, a.Value-b.Value))) })
	return atoms, nil
}

func put(into map[int64]*big.Rat, v int64, c *big.Rat) {
	if old := into[v]; old != nil {
		c = add(old, c)
	}
	into[v] = c
}

// AtMost is the exact chance of no more than level. The error is ErrTooMany.
func (p Prospect) AtMost(level int64) (*big.Rat, error) {
	atoms, err := p.Atoms()
	if err != nil {
		return nil, err
	}
	sum := new(big.Rat)
	for _, a := range atoms {
		if a.Value <= level {
			sum.Add(sum, a.Chance)
		}
	}
	return sum, nil
}

// Source gives random bits. One with a stated seed, as math/rand/v2's PCG, makes a
// simulation that others can repeat.
type Source interface{ Uint64() uint64 }

// MaxDraws bounds a simulation.
const MaxDraws = 10_000_000

// Simulation is drawn, in floats: use it for what has no exact form.
type Simulation struct {
	Mean, Deviation float64 // minor units
	Error           float64 // standard error of Mean: off by more than 4 of it about once in 16 000
	drawn           []float64
}

// Simulate draws from the prospect, 2 to MaxDraws times.
func (p Prospect) Simulate(source Source, draws int) (Simulation, error) {
	if draws < 2 || draws > MaxDraws {
		return Simulation{}, rule.Broken{
			Reason: rule.CountInvalid, Field: "draws", Value: fmt.Sprint(draws),
			Rule: fmt.Sprintf("a simulation has 2 to %d draws", MaxDraws), Hint: "take 100000",
		}
	}
	unit := func() float64 { return (float64(source.Uint64()>>11) + 0.5) / (1 << 53) }
	up := make([]float64, len(p.leaves))
	reached := 0.0
	for i, l := range p.leaves {
		c, _ := l.chance.Float64()
		reached += c
		up[i] = reached
	}
	s := Simulation{drawn: make([]float64, draws)}
	squares := 0.0
	for n := range s.drawn {
		at, _ := slices.BinarySearch(up, unit()*reached)
		l := p.leaves[min(at, len(up)-1)]
		x := float64(l.value)
		for _, g := range l.gains {
			x += g.draw(unit())
		}
		s.drawn[n] = x
		// Welford: the sum of squares never loses what the mean is large against.
		off := x - s.Mean
		s.Mean += off / float64(n+1)
		squares += off * (x - s.Mean)
	}
	s.Deviation = math.Sqrt(squares / float64(draws-1))
	s.Error = s.Deviation / math.Sqrt(float64(draws))
	slices.Sort(s.drawn)
	return s, nil
}

func (g Gain) draw(u float64) float64 {
	if g.Range != nil {
		return g.Range.at(u)
	}
	up := 0.0
	for _, o := range g.Outcomes {
		if up += float64(o.Chance) / Certain; u < up {
			return float64(o.Value)
		}
	}
	return float64(g.Outcomes[len(g.Outcomes)-1].Value)
}

// AtMost is the share of draws that brought no more than level, and its standard error.
func (s Simulation) AtMost(level float64) (share, err float64) {
	at, _ := slices.BinarySearch(s.drawn, math.Nextafter(level, math.Inf(1)))
	share = float64(at) / float64(len(s.drawn))
	return share, math.Sqrt(share * (1 - share) / float64(len(s.drawn)))
}

// Quantile is the amount that a share q of the draws stays at or below, 0 < q < 1.
func (s Simulation) Quantile(q float64) float64 {
	return s.drawn[min(len(s.drawn)-1, max(0, int(math.Ceil(q*float64(len(s.drawn))))-1))]
}
