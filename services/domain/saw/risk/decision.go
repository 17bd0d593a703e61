package risk

import (
	"fmt"
	"math/big"

	"seamshare.example/services/domain/rule"
)

// State is a way it can come out that nobody chooses.
type State struct {
	Name   string
	Chance int64 // basis points
}

// Act is something that can be done: Values[s] is what it brings in state s, minor units.
type Act struct {
	Name   string
	Values []int64
}

// Decision is acts against states. The chances of all states add up to Certain.
type Decision struct {
	States []State
	Acts   []Act
}

// Sure is the decision between an amount that is sure and one that holds with a chance:
// act 0 is the sure one, act 1 the bold one; state 0 holds, state 1 fails.
func Sure(sure, holds, fails, chanceBp int64) Decision {
	return Decision{
		States: []State{{"holds", chanceBp}, {"fails", Certain - chanceBp}},
		Acts:   []Act{{"sure", []int64{sure, sure}}, {"bold", []int64{holds, fails}}},
	}
}

// Validate refuses a table that isn't whole, as a rule.All.
func (d Decision) Validate() error {
	var all rule.All
	if len(d.States) == 0 || len(d.Acts) == 0 {
		all.Add(rule.Broken{
			Reason: rule.CountInvalid, Field: "states", Value: fmt.Sprintf("%d states, %d acts", len(d.States), len(d.Acts)),
			Rule: "a decision has an act and a state at least", Hint: "say what can be done and how it can come out",
		})
		return all
	}
	var sum int64
	for i, s := range d.States {
		checkChance(&all, fmt.Sprintf("states[%d].chance", i), s.Chance)
		sum += min(max(s.Chance, -Certain), 2*Certain)
	}
	checkCertain(&all, "states", sum, "all states")
	for i, a := range d.Acts {
		field := fmt.Sprintf("acts[%d].values", i)
		if checkCount(&all, field, len(a.Values), len(d.States), "states") {
			for s, v := range a.Values {
				checkAmount(&all, fmt.Sprintf("%s[%d]", field, s), v)
			}
		}
	}
	return all.Err()
}

// Comparison is what a Decision's acts are worth beside each other.
type Comparison struct {
	Acts    []Moments // of each act, as in the decision
	Best    int       // the first act with the highest mean
	Perfect *big.Rat  // expected value if the state were known before choosing
}

// Worth is the expected value of perfect information: the most that any look can be worth.
func (c Comparison) Worth() *big.Rat { return sub(c.Perfect, c.Acts[c.Best].Mean) }

// Compare computes means, variances and the value of knowing.
func (d Decision) Compare() (Comparison, error) {
	if err := d.Validate(); err != nil {
		return Comparison{}, err
	}
	c := Comparison{Perfect: new(big.Rat)}
	for _, a := range d.Acts {
		mean, square := new(big.Rat), new(big.Rat)
		for s, v := range a.Values {
			p := chance(d.States[s].Chance)
			mean.Add(mean, mul(p, whole(v)))
			square.Add(square, mul(p, mul(whole(v), whole(v))))
		}
		c.Acts = append(c.Acts, Moments{mean, sub(square, mul(mean, mean))})
		if mean.Cmp(c.Acts[c.Best].Mean) > 0 {
			c.Best = len(c.Acts) - 1
		}
	}
	for s := range d.States {
		most := d.Acts[0].Values[s]
		for _, a := range d.Acts {
			most = max(most, a.Values[s])
		}
		c.Perfect.Add(c.Perfect, mul(chance(d.States[s].Chance), whole(most)))
	}
	return c, nil
}

// AtMost is the chance, in basis points, that an act of a valid decision brings no more
// than level: with 0 that both stones are lost.
func (d Decision) AtMost(act int, level int64) int64 {
	var sum int64
	for s, v := range d.Acts[act].Values {
		if v <= level {
			sum += d.States[s].Chance
		}
	}
	return sum
}

// Indifferent is the chance of the first of two states at which acts a and b are worth
// the same; nil where one is the better at every chance, or both are always the same.
// The error says that there are not two states.
func (d Decision) Indifferent(a, b int) (*big.Rat, error) {
	if len(d.States) != 2 {
		return nil, rule.Broken{
			Reason: rule.CountInvalid, Field: "states", Value: fmt.Sprint(len(d.States)),
			Rule: "one chance makes two acts equal only where there are two states", Hint: "put states together",
		}
	}
	first := sub(whole(d.Acts[a].Values[0]), whole(d.Acts[b].Values[0]))
	second := sub(whole(d.Acts[b].Values[1]), whole(d.Acts[a].Values[1]))
	sum := add(first, second)
	if sum.Sign() == 0 {
		return nil, nil
	}
	p := new(big.Rat).Quo(second, sum)
	if p.Sign() < 0 || p.Cmp(whole(1)) > 0 {
		return nil, nil
	}
	return p, nil
}

// Look is a sign of the state that can be had for a cost: facing, rubbing a window, a
// trial cut.
type Look struct {
	Cost     int64 // minor units
	Findings []Finding
}

// Finding is what a look can show: Given[s] is its chance where the state is s, basis
// points. Over all findings they add up to Certain for each state.
type Finding struct {
	Name  string
	Given []int64
}

// Looked is what a look does to a decision.
type Looked struct {
	Findings []Found
	With     *big.Rat // expected value with the look, its cost taken off
	Worth    *big.Rat // With less the expected value without it: below 0 it isn't worth its cost
}

// Gross is what the look is worth before its cost; never below 0, never above perfect
// information.
func (l Looked) Gross(cost int64) *big.Rat { return add(l.Worth, whole(cost)) }

// Found is what to do after a finding.
type Found struct {
	Chance *big.Rat   // of the finding
	States []*big.Rat // chance of each state after it; nil where it can't be found
	Best   int        // the first act with the highest mean after it
	Mean   *big.Rat   // of that act after it, cost not taken off
}

// Look computes what to do after each finding and what the look is worth.
func (d Decision) Look(l Look) (Looked, error) {
	c, err := d.Compare()
	if err != nil {
		return Looked{}, err
	}
	var all rule.All
	if checkAmount(&all, "cost", l.Cost); l.Cost < 0 {
		all.Add(rule.Broken{Reason: rule.AmountInvalid, Field: "cost", Value: fmt.Sprint(l.Cost), Rule: "a look costs nothing or more", Hint: "give its hours in money"})
	}
	sums := make([]int64, len(d.States))
	for i, f := range l.Findings {
		field := fmt.Sprintf("findings[%d].given", i)
		if !checkCount(&all, field, len(f.Given), len(d.States), "states") {
			return Looked{}, all
		}
		for s, p := range f.Given {
			checkChance(&all, fmt.Sprintf("%s[%d]", field, s), p)
			sums[s] += min(max(p, -Certain), 2*Certain)
		}
	}
	for s, sum := range sums {
		checkCertain(&all, fmt.Sprintf("findings, in state %d", s), sum, "all findings")
	}
	if err := all.Err(); err != nil {
		return Looked{}, err
	}
	with := whole(-l.Cost)
	var found []Found
	for _, f := range l.Findings {
		joint := make([]*big.Rat, len(d.States))
		total := new(big.Rat)
		for s := range d.States {
			joint[s] = mul(chance(d.States[s].Chance), chance(f.Given[s]))
			total.Add(total, joint[s])
		}
		it := Found{Chance: total}
		if total.Sign() > 0 {
			var most *big.Rat
			for a, act := range d.Acts {
				sum := new(big.Rat)
				for s, v := range act.Values {
					sum.Add(sum, mul(joint[s], whole(v)))
				}
				if most == nil || sum.Cmp(most) > 0 {
					most, it.Best = sum, a
				}
			}
			with.Add(with, most)
			it.Mean = new(big.Rat).Quo(most, total)
			for _, j := range joint {
				it.States = append(it.States, new(big.Rat).Quo(j, total))
			}
		}
		found = append(found, it)
	}
	return Looked{found, with, sub(with, c.Acts[c.Best].Mean)}, nil
}
