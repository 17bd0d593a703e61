package saw

import (
	"fmt"
	"math/big"
	"slices"

	"seamshare.example/services/domain/saw/risk"
)

// Tree is what the plan may bring as a tree for package risk, which compares plans, tells their amounts apart and says
// what a look is worth. Looks at different parts stand one below the other. The bench's hours are rounded to the minor
// unit on each path. The error says that there are too many paths: each look multiplies them.
func (r Result) Tree() (risk.Tree, error) {
	if n := paths(r.Trunk); n > risk.MaxNodes/2 {
		return risk.Tree{}, fmt.Errorf("the plan's looks give more than %d ways together, too many to list; its own expectation and spread still hold", risk.MaxNodes/2)
	}
	return risk.Tree{Root: r.below(path{}.through(r.Trunk))}, nil
}

// paths is how many ways lead down a branch, or some number above risk.MaxNodes.
func paths(b Branch) int {
	n := 1
	for _, l := range b.Looks {
		sum := 0
		for _, o := range l.Outcomes {
			sum = min(sum+paths(o), risk.MaxNodes)
		}
		n = min(n*sum, risk.MaxNodes)
	}
	return n
}

// path is a way down the tree so far.
type path struct {
	minutes, value int64
	gains          []risk.Gain
	looks          []Looked // still to come
}

// through goes on through a branch.
func (p path) through(b Branch) path {
	p.minutes += b.Minutes
	p.gains, p.looks = slices.Clip(p.gains), slices.Concat(p.looks, b.Looks)
	for _, e := range b.Ends {
		p.value = plus(p.value, e.NetMinor)
		for _, s := range e.Stones {
			if s.NetMinor != 0 {
				p.gains = append(p.gains, risk.Gain{Outcomes: []risk.Outcome{{Chance: s.ChanceBp, Value: s.NetMinor}, {Chance: risk.Certain - s.ChanceBp}}})
			}
		}
	}
	return p
}

func (r Result) below(p path) risk.Node {
	if len(p.looks) == 0 {
		hours := big.NewRat(r.HourMinor, 60)
		hours.Mul(hours, new(big.Rat).SetInt64(p.minutes))
		value := p.value - risk.Round(hours)
		return risk.End{Values: []int64{max(-MaxMinor, min(value, MaxMinor))}, Gains: p.gains}
	}
	look := p.looks[0]
	p.looks = p.looks[1:]
	fork := risk.Fork{}
	for _, o := range look.Outcomes {
		fork.Branches = append(fork.Branches, risk.Branch{Name: look.Part + ": " + o.Name, Given: []int64{o.ChanceBp}, Then: r.below(p.through(o))})
	}
	return fork
}
