package saw_test

import (
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/saw"
)

// What follows shares no code with what it tests: it works on exact fractions, by crossing numbers and the parameters
// at which edges meet.

func rat(n int64) *big.Rat { return new(big.Rat).SetInt64(n) }

func sub(a, b *big.Rat) *big.Rat { return new(big.Rat).Sub(a, b) }

func mul(a, b *big.Rat) *big.Rat { return new(big.Rat).Mul(a, b) }

// turn is above zero where c lies left of the way from a to b.
func turn(a, b, c plane.Point) int {
	return sub(mul(rat(b.X-a.X), rat(c.Y-a.Y)), mul(rat(b.Y-a.Y), rat(c.X-a.X))).Sign()
}

func onStretch(a, b, p plane.Point) bool {
	return turn(a, b, p) == 0 && min(a.X, b.X) <= p.X && p.X <= max(a.X, b.X) && min(a.Y, b.Y) <= p.Y && p.Y <= max(a.Y, b.Y)
}

// place is 1 inside, 0 on the boundary, -1 outside, by the crossing number of a ray to the right.
func place(r plane.Ring, p plane.Point) int {
	crossings := 0
	for i, a := range r {
		b := r[(i+1)%len(r)]
		if onStretch(a, b, p) {
			return 0
		}
		if (a.Y <= p.Y) == (b.Y <= p.Y) {
			continue
		}
		x := new(big.Rat).Add(rat(a.X), mul(rat(b.X-a.X), big.NewRat(p.Y-a.Y, b.Y-a.Y)))
		if x.Cmp(rat(p.X)) > 0 {
			crossings++
		}
	}
	return 2*(crossings%2) - 1
}

// holds is whether all of inner lies in container: no corner outside, no edge through an edge, and where an edge runs
// between boundary points, its middle isn't outside.
func holds(container, inner plane.Ring) bool {
	for i, p := range inner {
		if place(container, p) < 0 {
			return false
		}
		q := inner[(i+1)%len(inner)]
		middle := plane.Point{X: (p.X + q.X) / 2, Y: (p.Y + q.Y) / 2}
		if place(container, p) == 0 && place(container, q) == 0 && (p.X+q.X)%2 == 0 && (p.Y+q.Y)%2 == 0 && place(container, middle) < 0 {
			return false
		}
		for j, a := range container {
			b := container[(j+1)%len(container)]
			if turn(p, q, a)*turn(p, q, b) < 0 && turn(a, b, p)*turn(a, b, q) < 0 {
				return false
			}
		}
	}
	for _, c := range container {
		if place(inner, c) > 0 {
			return false
		}
	}
	return true
}

// apart is the square of the distance between two stretches that don't cross, in nm².
func apart(a, b, c, d plane.Point) *big.Rat {
	if turn(a, b, c)*turn(a, b, d) <= 0 && turn(c, d, a)*turn(c, d, b) <= 0 && (turn(a, b, c) != 0 || turn(a, b, d) != 0) {
		return new(big.Rat)
	}
	least := toStretch(a, b, c)
	for _, o := range []*big.Rat{toStretch(a, b, d), toStretch(c, d, a), toStretch(c, d, b)} {
		if o.Cmp(least) < 0 {
			least = o
		}
	}
	return least
}

func toStretch(a, b, p plane.Point) *big.Rat {
	dx, dy, vx, vy := rat(b.X-a.X), rat(b.Y-a.Y), rat(p.X-a.X), rat(p.Y-a.Y)
	whole := new(big.Rat).Add(mul(dx, dx), mul(dy, dy))
	at := new(big.Rat)
	if whole.Sign() > 0 {
		at.Quo(new(big.Rat).Add(mul(dx, vx), mul(dy, vy)), whole)
	}
	if at.Sign() < 0 {
		at.SetInt64(0)
	}
	if at.Cmp(rat(1)) > 0 {
		at.SetInt64(1)
	}
	ex, ey := sub(vx, mul(at, dx)), sub(vy, mul(at, dy))
	return new(big.Rat).Add(mul(ex, ex), mul(ey, ey))
}

// each goes through the stones that fit, with their part.
func each(b saw.Branch, tell func(b saw.Branch, p saw.Part, s saw.Planned, others []saw.Planned)) {
	for _, e := range b.Ends {
		for i, s := range e.Stones {
			if !s.Fits {
				continue
			}
			for _, p := range b.Parts {
				if p.Name == e.Part && p.MassUg == e.MassUg {
					tell(b, p, s, e.Stones[:i])
				}
			}
		}
	}
	for _, l := range b.Looks {
		for _, o := range l.Outcomes {
			each(o, tell)
		}
	}
}

func TestStonesThatFitLieInside(t *testing.T) {
	fits := 0
	rapid.Check(t, func(t *rapid.T) {
		study := drawStudy(t)
		var cracks []plane.Path
		for i := range rapid.IntRange(0, 3).Draw(t, "cracks") {
			from, to := drawInside(t, study), drawInside(t, study)
			if from == to {
				continue
			}
			study.Features = append(study.Features, saw.Feature{Name: "crack " + string(rune('a'+i)), Kind: saw.Crack, View: saw.Face, Points: []saw.Point{from, to}})
			cracks = append(cracks, plane.Path{plane.Micrometres(from.X, from.Y), plane.Micrometres(to.X, to.Y)})
		}
		plan := drawPlan(t, study, without{})
		r, err := saw.Evaluate(study, plan, market)
		if err != nil {
			t.Fatal(err)
		}
		each(r.Trunk, func(_ saw.Branch, p saw.Part, s saw.Planned, others []saw.Planned) {
			fits++
			if !holds(p.Face, s.Outline) || !holds(p.Section, s.Section) {
				t.Fatalf("stone %s isn't inside part %s:\n%v\n%v\n%v\n%v", s.Name, p.Name, p.Face, s.Outline, p.Section, s.Section)
			}
			need := rat(setting.CrackUm * 1_000)
			for _, c := range cracks {
				if !holds(p.Face, box(c)) {
					continue // partly in another part, where it does no harm
				}
				for i, a := range s.Outline {
					if apart(a, s.Outline[(i+1)%len(s.Outline)], c[0], c[1]).Cmp(mul(need, need)) < 0 {
						t.Fatalf("stone %s is too near to the crack %v", s.Name, c)
					}
				}
			}
			for _, o := range others {
				if o.Fits && overlap(s.Outline, o.Outline) && overlap(s.Section, o.Section) {
					t.Fatalf("stones %s and %s overlap", s.Name, o.Name)
				}
			}
		})
	})
	if fits < 20 {
		t.Errorf("only %d stones fitted, which tests little", fits)
	}
}

func overlap(a, b plane.Ring) bool {
	for i, p := range a {
		if place(b, p) > 0 {
			return true
		}
		for j, q := range b {
			if turn(p, a[(i+1)%len(a)], q)*turn(p, a[(i+1)%len(a)], b[(j+1)%len(b)]) < 0 && turn(q, b[(j+1)%len(b)], p)*turn(q, b[(j+1)%len(b)], a[(i+1)%len(a)]) < 0 {
				return true
			}
		}
	}
	return place(a, b[0]) > 0
}

// box is a thin ring round a stretch.
func box(c plane.Path) plane.Ring {
	return plane.Ring{c[0], {X: c[1].X + 1, Y: c[1].Y}, {X: c[1].X, Y: c[1].Y + 1}}
}

// drawInside draws a point inside the outline, between its middle and a corner.
func drawInside(t *rapid.T, s saw.Study) saw.Point {
	p := rapid.SampledFrom(s.Outline).Draw(t, "corner")
	share := rapid.Int64Range(0, 90).Draw(t, "share")
	return saw.Point{X: p.X * share / 100, Y: p.Y * share / 100}
}
