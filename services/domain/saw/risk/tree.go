package risk

import (
	"fmt"
	"math/big"

	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"
)

// MaxNodes bounds the nodes that are visited in a tree, a shared one each time it is
// reached.
const MaxNodes = 100_000

// Tree is choices, forks and ends in the order in which they come. States are hidden until
// they show in a fork; a tree without any has one, which is certain.
type Tree struct {
	States []State
	Root   Node
}

// Node is an End, a Fork or a Choice.
type Node interface {
	visit(t *solver, path string, belief []*big.Rat) (*big.Rat, []leaf)
}

// End is what a path brings. Values is one amount, or one for each state, minor units.
// Gains come on top, independent of all else and of each other.
type End struct {
	Values []int64
	Gains  []Gain
}

// Fork is what nobody chooses. The chances of its branches add up to Certain, in each state.
// Where they differ by state it is a look: what it shows tells of the state.
type Fork struct{ Branches []Branch }

// Branch is one way. Given is its chance, one for all states or one for each.
type Branch struct {
	Name  string
	Given []int64 // basis points
	Then  Node
}

// Choice is between options; the best is taken, the first of equals.
type Choice struct{ Options []Option }

// Option is one choice; Cost is paid for it, minor units.
type Option struct {
	Name string
	Cost int64
	Then Node
}

// Pick is what to choose at a place of the tree, named by the names that lead there.
type Pick struct {
	Path   string // "look/clear", "" for the root
	Option int
	Name   string
	Worth  []*big.Rat // of each option there, when it is reached, cost taken off
}

// Solved is what a tree is worth and how to go through it.
type Solved struct {
	Prospect
	Picks []Pick // of the choices that are reached, outermost first
}

type leaf struct {
	chance *big.Rat
	value  int64 // costs taken off
	gains  []Gain
}

type solver struct {
	states  int
	visited int
	all     rule.All
	spent   int64
	picks   []Pick
}

// Solve computes the best way through a tree and what it brings, exactly.
func (t Tree) Solve() (Solved, error) {
	states := t.States
	if len(states) == 0 {
		states = []State{{"", Certain}}
	}
	s := &solver{states: len(states)}
	belief := make([]*big.Rat, len(states))
	var sum int64
	for i, st := range states {
		checkChance(&s.all, fmt.Sprintf("states[%d].chance", i), st.Chance)
		sum += min(max(st.Chance, -Certain), 2*Certain)
		belief[i] = chance(st.Chance)
	}
	checkCertain(&s.all, "states", sum, "all states")
	mean, leaves := s.follow(t.Root, "", belief)
	if err := s.all.Err(); err != nil {
		return Solved{}, err
	}
	p := Prospect{leaves: leaves, Moments: Moments{Mean: mean}}
	square := new(big.Rat)
	for _, l := range leaves {
		m := l.moments()
		square.Add(square, mul(l.chance, add(m.Variance, mul(m.Mean, m.Mean))))
	}
	p.Variance = sub(square, mul(mean, mean))
	return Solved{p, s.picks}, nil
}

func (l leaf) moments() Moments {
	m := Moments{whole(l.value), new(big.Rat)}
	for _, g := range l.gains {
		m = m.Plus(g.Moments(), 0)
	}
	return m
}

func (s *solver) refuse(path, value, holds, hint string) (*big.Rat, []leaf) {
	s.all.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "tree", Value: fmt.Sprintf("%q: %s", path, value), Rule: holds, Hint: hint})
	return new(big.Rat), nil
}

// follow is a node's worth times the chance of reaching it, as belief sums to, and its
// leaves. It stops taking in more once something is wrong.
func (s *solver) follow(n Node, path string, belief []*big.Rat) (*big.Rat, []leaf) {
	if len(s.all) > 0 {
		return new(big.Rat), nil
	}
	if s.visited++; s.visited > MaxNodes {
		return s.refuse(path, fmt.Sprint(s.visited), fmt.Sprintf("a tree has at most %d nodes on all its paths", MaxNodes), "put what is independent into gains, or leave out what can't change the choice")
	}
	if n == nil {
		return s.refuse(path, "nothing", "every path ends", "say what it brings")
	}
	return n.visit(s, path, belief)
}

func (e End) visit(s *solver, path string, belief []*big.Rat) (*big.Rat, []leaf) {
	if len(e.Values) != 1 && len(e.Values) != s.states {
		return s.refuse(path, fmt.Sprintf("%d values", len(e.Values)), fmt.Sprintf("an end has one value, or one for each of the %d states", s.states), "say what it brings")
	}
	gains := new(big.Rat)
	for i, g := range e.Gains {
		if g.check(&s.all, fmt.Sprintf("tree %q gains[%d]", path, i)); len(s.all) > 0 {
			return new(big.Rat), nil
		}
		gains.Add(gains, g.Moments().Mean)
	}
	mean := new(big.Rat)
	var leaves []leaf
	for i, p := range belief {
		v := e.Values[0]
		if len(e.Values) > 1 {
			v = e.Values[i]
		}
		if checkAmount(&s.all, fmt.Sprintf("tree %q", path), v); len(s.all) > 0 {
			return new(big.Rat), nil
		}
		if p.Sign() == 0 {
			continue
		}
		mean.Add(mean, mul(p, add(whole(v-s.spent), gains)))
		if n := len(leaves); n > 0 && len(e.Values) == 1 {
			leaves[n-1].chance = add(leaves[n-1].chance, p)
			continue
		}
		leaves = append(leaves, leaf{p, v - s.spent, e.Gains})
	}
	return mean, leaves
}

func (f Fork) visit(s *solver, path string, belief []*big.Rat) (*big.Rat, []leaf) {
	sums := make([]int64, len(belief))
	for _, b := range f.Branches {
		if len(b.Given) != 1 && len(b.Given) != s.states {
			return s.refuse(join(path, b.Name), fmt.Sprintf("%d chances", len(b.Given)), fmt.Sprintf("a branch has one chance, or one for each of the %d states", s.states), "give them in basis points")
		}
		for i := range sums {
			g := b.given(i)
			if checkChance(&s.all, fmt.Sprintf("tree %q", join(path, b.Name)), g); len(s.all) > 0 {
				return new(big.Rat), nil
			}
			sums[i] += g
		}
	}
	for _, sum := range sums {
		if checkCertain(&s.all, fmt.Sprintf("tree %q", path), sum, "all branches"); len(s.all) > 0 {
			return new(big.Rat), nil
		}
	}
	mean := new(big.Rat)
	var leaves []leaf
	for _, b := range f.Branches {
		next := make([]*big.Rat, len(belief))
		reached := false
		for i, p := range belief {
			next[i] = mul(p, chance(b.given(i)))
			reached = reached || next[i].Sign() > 0
		}
		if !reached {
			continue
		}
		m, l := s.follow(b.Then, join(path, b.Name), next)
		mean.Add(mean, m)
		leaves = append(leaves, l...)
	}
	return mean, leaves
}

func (b Branch) given(state int) int64 {
	if len(b.Given) == 1 {
		return b.Given[0]
	}
	return b.Given[state]
}

func (c Choice) visit(s *solver, path string, belief []*big.Rat) (*big.Rat, []leaf) {
	if len(c.Options) == 0 {
		return s.refuse(path, "0 options", "a choice has an option", "say what can be done")
	}
	reached := new(big.Rat)
	for _, p := range belief {
		reached.Add(reached, p)
	}
	var (
		best   *big.Rat
		leaves []leaf
		below  []Pick
	)
	outer := s.picks
	pick := Pick{Path: path}
	for i, o := range c.Options {
		if checkAmount(&s.all, fmt.Sprintf("tree %q cost", join(path, o.Name)), o.Cost); len(s.all) > 0 {
			return new(big.Rat), nil
		}
		s.picks = nil
		s.spent += o.Cost
		if s.spent > money.Max || s.spent < -money.Max {
			return s.refuse(join(path, o.Name), fmt.Sprint(s.spent), fmt.Sprintf("costs on a path stay within %d minor units", int64(money.Max)), "check the costs")
		}
		m, l := s.follow(o.Then, join(path, o.Name), belief)
		s.spent -= o.Cost
		pick.Worth = append(pick.Worth, new(big.Rat).Quo(m, reached))
		if best == nil || m.Cmp(best) > 0 {
			best, leaves, below, pick.Option, pick.Name = m, l, s.picks, i, o.Name
		}
	}
	s.picks = append(append(outer, pick), below...)
	return best, leaves
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "/" + name
}
