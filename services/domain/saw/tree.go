package saw

import (
	"math/big"
	"slices"

	"seamshare.example/services/domain/saw/risk"
)

// Tree is what the plan may bring as a tree for package risk, which compares plans, tells their amounts apart and says
// what a look is worth. Looks at different parts stand one below the other. The bench's hours are rounded to the minor
// unit on each path.
func (r Result) Tree() risk.Tree {
	return risk.Tree{Root: r.below(path{}.through(r.Trunk))}
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
		p.value += e.NetMinor
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
		return risk.End{Values: []int64{p.value - risk.Round(big.NewRat(r.HourMinor*p.minutes, 60))}, Gains: p.gains}
	}
	look := p.looks[0]
	p.looks = p.looks[1:]
	fork := risk.Fork{}
	for _, o := range look.Outcomes {
		fork.Branches = append(fork.Branches, risk.Branch{Name: look.Part + ": " + o.Name, Given: []int64{o.ChanceBp}, Then: r.below(p.through(o))})
	}
	return fork
}
