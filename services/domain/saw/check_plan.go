package saw

import (
	"fmt"
	"slices"

	"seamshare.example/services/domain/measure"

	"github.com/bojanz/currency"

	"seamshare.example/services/domain/measure/plane"
)

// check holds what can be said of a plan without the piece.
func (p Plan) check(prices Prices) error {
	if n := len(p.Blades); n > MaxBlades {
		return invalid("blades", n, "a plan has at most %d", MaxBlades)
	}
	names := map[string]string{}
	for i, b := range p.Blades {
		if err := b.check(fmt.Sprintf("blades[%d]", i), names); err != nil {
			return err
		}
	}
	if len(p.Part) > maxName {
		return invalid("part", quoted(p.Part), "a name has 1 to %d bytes", maxName)
	}
	if err := p.Settings.check(); err != nil {
		return err
	}
	if prices.Currency != p.Settings.Currency {
		return invalid("settings.currency", quoted(p.Settings.Currency), "the prices are in %s; use one currency", prices.Currency)
	}
	if err := prices.check(); err != nil {
		return err
	}
	count := counted{}
	return count.way("", p.Steps, p.Ends, 0)
}

func (b Blade) check(path string, names map[string]string) error {
	if err := named(path+".name", b.Name, path, names); err != nil {
		return err
	}
	if err := ranged(path+".kerf_um", b.KerfUm, 0, 50_000, "measure what a cut takes away; it can't be less than nothing"); err != nil {
		return err
	}
	if err := ranged(path+".reach_um", b.ReachUm, 1, MaxLengthUm, "measure how deep it cuts"); err != nil {
		return err
	}
	return ranged(path+".wander_um", b.WanderUm, 0, 50_000, "say how far a cut strays to either side")
}

func (s Settings) check() error {
	const at = "settings."
	for _, l := range []struct {
		name string
		um   int64
	}{
		{"crack_um", s.CrackUm},
		{"potch_um", s.PotchUm},
		{"backing_um", s.BackingUm},
		{"bevel_um", s.BevelUm},
		{"between_um", s.BetweenUm},
		{"grip_um", s.GripUm},
	} {
		if err := ranged(at+l.name, l.um, 0, MaxLengthUm, "0 where none is asked for"); err != nil {
			return err
		}
	}
	if !currency.IsValid(s.Currency) {
		return invalid(at+"currency", quoted(s.Currency), "give the ISO 4217 code, such as AUD")
	}
	if err := ranged(at+"hour_minor", s.HourMinor, 0, maxCost, "give what an hour costs in minor units"); err != nil {
		return err
	}
	if err := ranged(at+"levy_bp", s.LevyBp, 0, 10_000, "give basis points, 600 for 6 %%"); err != nil {
		return err
	}
	return ranged(at+"selling_minor", s.SellingMinor, 0, maxCost, "give what a sale costs in minor units")
}

// maxCost keeps sums of costs within int64.
const maxCost = 1_000_000_000_000

func (p Prices) check() error {
	if n := len(p.Markets); n > MaxMarkets {
		return invalid("markets", n, "there are at most %d", MaxMarkets)
	}
	names := map[string]string{}
	for i, m := range p.Markets {
		path := fmt.Sprintf("markets[%d]", i)
		if err := named(path+".name", m.Name, path, names); err != nil {
			return err
		}
		if n := len(m.Prices); n > MaxPrices {
			return invalid(path+".prices", n, "a market has at most %d", MaxPrices)
		}
		for j, price := range m.Prices {
			at := fmt.Sprintf("%s.prices[%d]", path, j)
			if price.Class == "" || len(price.Class) > maxName {
				return invalid(at+".class", quoted(price.Class), "a price is for a class, of 1 to %d bytes", maxName)
			}
			if !slices.Contains([]Per{PerFaceMm2, PerCarat, PerStone, PerGram}, price.Per) {
				return invalid(at+".per", quoted(price.Per), "a price is per %s, %s, %s or %s", PerFaceMm2, PerCarat, PerStone, PerGram)
			}
			if err := ranged(at+".from_um", price.FromUm, 0, MaxLengthUm, "give the shortest length it holds for"); err != nil {
				return err
			}
			if price.ToUm != 0 {
				if err := ranged(at+".to_um", price.ToUm, price.FromUm+1, MaxLengthUm, "give a length above from_um, or 0 for no bound"); err != nil {
					return err
				}
			}
			if err := ranged(at+".minor", price.Minor, 0, maxCost, "give minor units"); err != nil {
				return err
			}
		}
	}
	return nil
}

// counted is what of the plan was seen so far.
type counted struct{ steps, stones, points int }

func (c *counted) way(at string, steps []Step, ends []End, depth int) error {
	if c.steps += len(steps); c.steps > MaxSteps {
		return invalid(at+"steps", c.steps, "a plan has at most %d steps, those of all outcomes counted", MaxSteps)
	}
	for i, s := range steps {
		path := fmt.Sprintf("%ssteps[%d]", at, i)
		if err := ranged(path+".minutes", s.Minutes, 0, MaxMinutes, "give bench minutes"); err != nil {
			return err
		}
		if err := c.step(path, s, depth); err != nil {
			return err
		}
	}
	for i, e := range ends {
		if err := c.end(fmt.Sprintf("%sends[%d]", at, i), e); err != nil {
			return err
		}
	}
	return nil
}

func (c *counted) step(path string, s Step, depth int) error {
	switch do := s.Do.(type) {
	case Saw:
		return checkCut(path+".saw", do.View, do.Line, do.Left, do.Right)
	case Split:
		return checkCut(path+".split", do.View, do.Line, do.Left, do.Right)
	case Trim:
		return do.check(path + ".trim")
	case Grind:
		path += ".grind"
		if !slices.Contains([]Kind{Colour, Potch, Rock, Matrix}, do.What) {
			return invalid(path+".what", quoted(do.What), "it is colour, potch, host rock or matrix that is ground away")
		}
		if err := fromSide(path, do.View); err != nil {
			return err
		}
		return ranged(path+".thickness_um", do.ThicknessUm, 1, MaxLengthUm, "say how much is ground away")
	case Look:
		return c.look(path+".look", do, depth)
	}
	return invalid(path, fmt.Sprintf("%T", s.Do), "a step saws, splits, trims, grinds or looks")
}

func (c *counted) look(path string, l Look, depth int) error {
	if depth >= MaxNested {
		return invalid(path, depth+1, "looks stand at most %d deep in each other", MaxNested)
	}
	if !slices.Contains([]LookKind{Facing, Window, TrialCut}, l.Kind) {
		return invalid(path+".kind", quoted(l.Kind), "a look is %q, %q or %q", Facing, Window, TrialCut)
	}
	if l.OffUm != 0 {
		if err := fromSide(path, l.View); err != nil {
			return err
		}
	}
	if err := ranged(path+".off_um", l.OffUm, 0, MaxLengthUm, "say how much is ground away to see, 0 for none"); err != nil {
		return err
	}
	if n := len(l.Outcomes); n < 1 || n > MaxOutcomes {
		return invalid(path+".outcomes", n, "a look has 1 to %d outcomes", MaxOutcomes)
	}
	names, sum := map[string]string{}, int64(0)
	for i, o := range l.Outcomes {
		at := fmt.Sprintf("%s.outcomes[%d]", path, i)
		if err := named(at+".name", o.Name, at, names); err != nil {
			return err
		}
		if err := ranged(at+".chance_bp", o.ChanceBp, 0, 10_000, "a chance is in basis points, 7000 for seven in ten"); err != nil {
			return err
		}
		sum += o.ChanceBp
		if n := len(o.Features); n > MaxFeatures {
			return invalid(at+".features", n, "an outcome has at most %d", MaxFeatures)
		}
		for _, f := range o.Features {
			c.points += len(f.Points)
		}
		if c.points > MaxPoints {
			return invalid(at+".features", c.points, "the features of all outcomes have at most %d points", MaxPoints)
		}
		if err := c.way(at+".", o.Steps, o.Ends, depth+1); err != nil {
			return err
		}
	}
	if sum != 10_000 {
		return invalid(path+".outcomes", fmt.Sprintf("%d basis points", sum), "the chances of all outcomes add to 10000; give the rest to one more outcome")
	}
	return nil
}

func fromSide(path string, v View) error {
	if v != Face && v != Back {
		return invalid(path+".view", quoted(v), "it is ground off the face or the back")
	}
	return nil
}

func checkCut(path string, v View, l Line, left, right []string) error {
	if !slices.Contains([]View{Face, Back, Section}, v) {
		return invalid(path+".view", quoted(v), "a cut is drawn in face, back or section")
	}
	if _, err := plane.CheckLine(nm(l.A), nm(l.B)); err != nil {
		return shape(path+".line", "", err)
	}
	for _, side := range []struct {
		name  string
		parts []string
	}{{"left", left}, {"right", right}} {
		if len(side.parts) == 0 {
			return invalid(path+"."+side.name, "", "name what lies on that side of the cut")
		}
		if err := checkNames(path+"."+side.name, side.parts); err != nil {
			return err
		}
	}
	return nil
}

func checkNames(path string, names []string) error {
	for i, name := range names {
		if name == "" || len(name) > maxName {
			return invalid(fmt.Sprintf("%s[%d]", path, i), quoted(name), "a part's name has 1 to %d bytes", maxName)
		}
	}
	return nil
}

func (t Trim) check(path string) error {
	if t.View != Face && t.View != Back {
		return invalid(path+".view", quoted(t.View), "a part is trimmed as seen from face or back")
	}
	if n := len(t.Keep); n < 1 || n > MaxStones {
		return invalid(path+".keep", n, "a trim leaves 1 to %d parts", MaxStones)
	}
	for i, k := range t.Keep {
		at := fmt.Sprintf("%s.keep[%d]", path, i)
		if err := checkNames(at+".part", []string{k.Part}); err != nil {
			return err
		}
		if (len(k.Ring) == 0) == (k.Stone == "") {
			return invalid(at, "", "give a ring or the name of a planned stone, one of them")
		}
		if err := ranged(at+".allow_um", k.AllowUm, 0, MaxLengthUm, "say what is left round the stone to grind"); err != nil {
			return err
		}
	}
	return nil
}

func (c *counted) end(path string, e End) error {
	if !slices.Contains([]EndKind{Stones, OffCut, Shelf, Specimen, Slice, Waste}, e.Kind) {
		return invalid(path+".kind", quoted(e.Kind), "an end is stones, off-cut, shelf, specimen, slice or waste")
	}
	switch {
	case e.Kind == Stones && len(e.Stones) == 0:
		return invalid(path+".stones", 0, "say which stones, or choose another end")
	case e.Kind != Stones && len(e.Stones) > 0:
		return invalid(path+".stones", len(e.Stones), "a part that ends as %s gives no stones", e.Kind)
	case e.Kind == Stones && e.Class != "":
		return invalid(path+".class", quoted(e.Class), "each stone has a class of its own")
	case e.Kind == Waste && e.Class != "", e.Kind == Shelf && e.Class != "":
		return invalid(path+".class", quoted(e.Class), "%s isn't sold; choose another end to give it a class", e.Kind)
	}
	if c.stones += len(e.Stones); c.stones > MaxStones {
		return invalid(path+".stones", c.stones, "a plan has at most %d stones, those of all outcomes counted", MaxStones)
	}
	for i, s := range e.Stones {
		if err := s.check(fmt.Sprintf("%s.stones[%d]", path, i)); err != nil {
			return err
		}
	}
	return nil
}

func (s Stone) check(path string) error {
	if s.Name == "" || len(s.Name) > maxName {
		return invalid(path+".name", quoted(s.Name), "a name has 1 to %d bytes", maxName)
	}
	if !slices.Contains([]Shape{Oval, Round, Pear, Marquise, Cushion, Rectangle, Triangle, Freeform}, s.Shape) {
		return invalid(path+".shape", quoted(s.Shape), "an outline is oval, round, pear, marquise, cushion, rectangle, triangle or freeform")
	}
	const longest = MaxLengthUm / 2
	for _, l := range [...]struct {
		name         string
		um, from, to int64
		hint         string
	}{
		{"length_um", s.LengthUm, 100, longest, "give the finished length"},
		{"width_um", s.WidthUm, 100, longest, "give the finished width"},
		{"depth_um", s.DepthUm, 1, longest, "give the finished depth, backing and dome included"},
		{"dome_um", s.DomeUm, 0, s.DepthUm, "the dome is part of the depth; 0 for flat"},
		{"turn_mdeg", s.TurnMdeg, -360_000, 360_000, "a turn is at most once round"},
		{"tilt_mdeg", s.TiltMdeg, -60_000, 60_000, "a base that is steeper than 60° is planned from another section"},
		{"chance_bp", s.ChanceBp, 1, 10_000, "a chance is in basis points, 10000 where it is sure"},
		{"minutes", s.Minutes, 0, MaxMinutes, "give bench minutes"},
	} {
		if l.um < l.from || l.um > l.to {
			return ranged(path+"."+l.name, l.um, l.from, l.to, l.hint)
		}
	}
	if s.SGMilli != 0 {
		if err := ranged(path+".sg_milli", s.SGMilli, MinSGMilli, MaxSGMilli, "give it in thousandths, 0 to weigh it by its layers"); err != nil {
			return err
		}
	}
	switch {
	case s.Shape == Round && s.LengthUm != s.WidthUm:
		return invalid(path+".width_um", s.WidthUm, "a round stone is as wide as it is long, %d", s.LengthUm)
	case s.View != Face && s.View != Back:
		return invalid(path+".view", quoted(s.View), "a stone's face looks to the piece's face or back")
	case !slices.Contains([]Surface{Clean, RockInFace, PotchInFace, Hollow}, s.Surface):
		return invalid(path+".surface", quoted(s.Surface), "it is clean (empty), %q, %q or %q", RockInFace, PotchInFace, Hollow)
	case !s.At.inRange():
		return invalid(path+".at", s.At, "a point is at most %v from the origin", measure.Length(MaxLengthUm))
	case (s.Shape == Freeform) != (len(s.Ring) > 0):
		return invalid(path+".ring", len(s.Ring), "a freeform has its ring, the others have none")
	case s.Shape == Freeform:
		if _, err := ring(path+".ring", s.Ring); err != nil {
			return err
		}
	}
	return nil
}
