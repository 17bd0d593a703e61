package search

import (
	"fmt"
	"slices"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/saw"
)

// Task is what to plan: a piece, what may be made of it, and what work costs.
type Task struct {
	Study    saw.Study
	Prices   saw.Prices
	Blade    saw.Blade // it is sawn with
	Settings saw.Settings
	Wants    []Want

	SawMinutes int64 // of each cut

	// Rest is what becomes of parts without a stone: shelf, waste, or sold by the gram as off-cut, specimen or
	// slice, with a class and market. The zero value is the shelf.
	Rest saw.End
}

// Want is a kind of stone that may be planned.
type Want struct {
	// Pattern is all of a stone but its name and place. Its length and width are the proportions where Sizes is empty.
	Pattern saw.Stone
	Sizes   []Size // as stones are calibrated; empty: any length
	// FromUm and ToUm bound any length, both inclusive; ToUm 0: no upper bound.
	FromUm, ToUm int64
	// Together: it comes only as a set of so many from one piece, 2 or 3; 0: alone.
	Together int
	// StepUm is by how much at least each of a set is shorter than the one before, and where any length goes
	// exactly; 0: equal.
	StepUm int64
}

// Size is that of a calibrated stone.
type Size struct{ LengthUm, WidthUm int64 }

// String is the size as it is written on paper.
func (s Size) String() string {
	return measure.Length(s.LengthUm).String() + " × " + measure.Length(s.WidthUm).String()
}

// MaxWants bounds a task.
const MaxWants = 100

func (t Task) check() error {
	if n := len(t.Wants); n < 1 || n > MaxWants {
		return &saw.Invalid{Path: "wants", Value: fmt.Sprintf("a list of %d", n), Rule: fmt.Sprintf("say what may be made of the piece: 1 to %d kinds of stones", MaxWants)}
	}
	if t.SawMinutes < 0 || t.SawMinutes > saw.MaxMinutes {
		return &saw.Invalid{Path: "saw_minutes", Value: fmt.Sprint(t.SawMinutes), Rule: fmt.Sprintf("give bench minutes, 0 to %d", saw.MaxMinutes)}
	}
	for i, w := range t.Wants {
		path := fmt.Sprintf("wants[%d]", i)
		bad := func(field string, value any, rule string) error {
			return &saw.Invalid{Path: path + field, Value: fmt.Sprint(value), Rule: rule}
		}
		switch {
		case w.Together != 0 && w.Together != 2 && w.Together != 3:
			return bad(".together", w.Together, "a set has 2 or 3 stones; 0 for stones that come alone")
		case w.StepUm < 0 || w.StepUm > saw.MaxLengthUm:
			return bad(".step_um", w.StepUm, "say by how much each of a set is shorter, 0 for equal ones")
		case w.FromUm < 0 || w.ToUm < 0 || w.ToUm > 0 && w.ToUm < w.FromUm:
			return bad(".to_um", w.ToUm, "the longest is no shorter than the shortest; 0 for no bound")
		case len(w.Sizes) == 0 && (w.Pattern.LengthUm <= 0 || w.Pattern.WidthUm <= 0):
			return bad(".pattern.length_um", w.Pattern.LengthUm, "give sizes, or a length and width as proportions")
		case w.Pattern.View != saw.Face && w.Pattern.View != saw.Back:
			return bad(".pattern.view", w.Pattern.View, "a stone's face looks to the piece's face or back")
		}
		for j, s := range w.Sizes {
			if s.LengthUm < shortest || s.WidthUm < shortest || s.LengthUm > saw.MaxLengthUm/2 || s.WidthUm > saw.MaxLengthUm/2 {
				return bad(fmt.Sprintf(".sizes[%d]", j), s, fmt.Sprintf("its length and width are %s to %s each", measure.Length(shortest), measure.Length(saw.MaxLengthUm/2)))
			}
			if w.Pattern.Shape == saw.Round && s.LengthUm != s.WidthUm {
				return bad(fmt.Sprintf(".sizes[%d]", j), s, "a round stone is as wide as it is long")
			}
		}
	}
	switch t.Rest.Kind {
	case "", saw.Shelf, saw.Waste, saw.OffCut, saw.Specimen, saw.Slice:
	default:
		return &saw.Invalid{Path: "rest.kind", Value: string(t.Rest.Kind), Rule: "parts without a stone go to the shelf, to waste, or are sold by the gram"}
	}
	for _, m := range t.Prices.Markets {
		for _, p := range m.Prices {
			if t.Rest.Class != "" && m.Name == t.Rest.Market && p.Class == t.Rest.Class && p.Per != saw.PerGram {
				return &saw.Invalid{Path: "rest.class", Value: t.Rest.Class, Rule: "what is left over is priced by the gram"}
			}
		}
	}
	return nil
}

// In is the task with only the wants of one market.
func (t Task) In(market string) Task {
	t.Wants = slices.DeleteFunc(slices.Clone(t.Wants), func(w Want) bool { return w.Pattern.Market != market })
	return t
}

// Calibrated are sizes that fit stock settings: a trade habit, listed nowhere as a rule (common practice, no source).
func Calibrated(shape saw.Shape) []Size {
	var out []Size
	for _, mm := range map[saw.Shape][][2]int64{
		saw.Oval:      {{5, 3}, {6, 4}, {7, 5}, {8, 6}, {9, 7}, {10, 8}, {11, 9}, {12, 10}, {14, 10}, {14, 12}, {16, 12}, {18, 13}, {20, 15}, {22, 16}, {25, 18}, {30, 22}, {40, 30}},
		saw.Round:     {{3, 3}, {4, 4}, {5, 5}, {6, 6}, {7, 7}, {8, 8}, {9, 9}, {10, 10}, {12, 12}, {13, 13}, {14, 14}, {15, 15}, {16, 16}, {18, 18}, {20, 20}, {25, 25}, {30, 30}},
		saw.Pear:      {{6, 4}, {7, 5}, {8, 5}, {9, 6}, {10, 7}, {12, 8}, {13, 9}, {15, 10}, {18, 13}},
		saw.Cushion:   {{4, 4}, {5, 5}, {6, 6}, {7, 7}, {8, 8}, {10, 10}},
		saw.Rectangle: {{7, 5}, {8, 6}, {9, 7}, {10, 8}, {12, 10}, {14, 12}},
	}[shape] {
		out = append(out, Size{mm[0] * 1_000, mm[1] * 1_000})
	}
	return out
}

// worth is what a stone is expected to bring, net of levy, selling and the bench, in minor units. Where it isn't
// sold by its mass it is what the evaluation says, but for rounding.
func (p *planner) worth(w *want, s Size) float64 {
	price, ok := p.price(w.Pattern.Market, w.Pattern.Class, s.LengthUm)
	if !ok {
		return -p.minute * float64(w.Pattern.Minutes)
	}
	return w.net(p, price, s)
}

func (w *want) net(p *planner, price saw.Price, s Size) float64 {
	gross := float64(price.Minor)
	area := w.unit * float64(s.LengthUm) * float64(s.WidthUm)
	switch price.Per {
	case saw.PerFaceMm2:
		gross *= area / 1e6
	case saw.PerCarat:
		gross *= area * w.perArea / 200_000
	case saw.PerGram:
		gross *= area * w.perArea / 1e6
	}
	keep := 1 - float64(p.Settings.LevyBp)/10_000
	return float64(w.Pattern.ChanceBp)/10_000*(gross*keep-float64(p.Settings.SellingMinor)) - p.minute*float64(w.Pattern.Minutes)
}

// price is the first of a market that fits.
func (p *planner) price(market, class string, lengthUm int64) (saw.Price, bool) {
	for _, price := range p.list[market] {
		if price.Class == class && price.FromUm <= lengthUm && (price.ToUm == 0 || lengthUm < price.ToUm) {
			return price, true
		}
	}
	return saw.Price{}, false
}

// Common are wants that suit a study: of each bar and each zone that has a class, for each market that pays for it,
// calibrated ovals and rounds, and of any length ovals and pears. Stones of a thin bar are as deep as it and the
// backing that is asked for; where a bar is thick enough they are of one material. Their chance and minutes are the
// cutter's to say.
func Common(study saw.Study, prices saw.Prices, settings saw.Settings, chanceBp, minutes int64) (out []Want) {
	const solid = 3_000 // µm of colour from where on a stone needs no backing
	type bar struct {
		name, class  string
		thick, above int64
		sg           int64
	}
	var bars []bar
	above := int64(0)
	for _, l := range study.Layers {
		if l.Kind == saw.Colour || l.Kind == saw.Matrix {
			bars = append(bars, bar{l.Name, l.Class, l.ThicknessUm, above, l.SGMilli})
		}
		above += l.ThicknessUm
	}
	deepest := study.ThicknessUm
	for _, p := range study.Profile {
		deepest = max(deepest, -p.Y)
	}
	for _, f := range study.Features {
		if f.View == saw.Section && (f.Kind == saw.Seam || f.Kind == saw.Colour || f.Kind == saw.Matrix) {
			low, high := f.Points[0].Y, f.Points[0].Y
			for _, p := range f.Points {
				low, high = min(low, p.Y), max(high, p.Y)
			}
			thick := f.ThicknessUm
			if f.Kind != saw.Seam {
				thick = high - low
			}
			bars = append(bars, bar{f.Name, f.Class, thick, -(low + high) / 2, f.SGMilli})
		}
	}
	add := func(b bar, zone, class string) {
		pattern := saw.Stone{View: saw.Face, Zone: zone, Bar: b.name, Class: class, ChanceBp: chanceBp, Minutes: minutes}
		if b.above > deepest/2 {
			pattern.View = saw.Back
		}
		pattern.DomeUm = b.thick * 4 / 5
		pattern.DepthUm = b.thick + max(settings.BackingUm, 2*settings.BevelUm)
		if b.thick >= solid && b.above == 0 {
			pattern.Bar, pattern.SGMilli = "", b.sg
			pattern.DepthUm, pattern.DomeUm = min(b.thick, 4_000), min(b.thick, 4_000)/2
		}
		for _, m := range prices.Markets {
			if !slices.ContainsFunc(m.Prices, func(p saw.Price) bool { return p.Class == class && p.Per != saw.PerGram }) {
				continue
			}
			for _, shape := range []saw.Shape{saw.Oval, saw.Round, saw.Pear} {
				w := Want{Pattern: pattern, FromUm: 3_000}
				w.Pattern.Shape, w.Pattern.Market = shape, m.Name
				w.Pattern.LengthUm, w.Pattern.WidthUm = 4, 3
				if shape == saw.Round {
					w.Pattern.WidthUm = 4
				}
				if out = append(out, w); shape != saw.Pear {
					w.Sizes = Calibrated(shape)
					out = append(out, w)
				}
			}
		}
	}
	for _, b := range bars {
		if b.class != "" {
			add(b, "", b.class)
		}
	}
	for _, f := range study.Features {
		if f.View != saw.Section && f.Kind == saw.Colour && f.Class != "" && len(bars) > 0 {
			add(bars[0], f.Name, f.Class)
		}
	}
	return out[:min(len(out), MaxWants)]
}
