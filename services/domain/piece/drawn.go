package piece

import (
	"seamshare.example/services/domain/saw"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// Words are what package saw calls the values of an enum, each at the enum's number; those of
// events and API agree.
type Words[W ~string] []W

// Of is the word for a number; empty for one that has none.
func (w Words[W]) Of(number int32) W {
	if number < 0 || int(number) >= len(w) {
		return ""
	}
	return w[number]
}

// Number is the number of a word; 0 for one that has none.
func (w Words[W]) Number(word W) int32 {
	for i := len(w) - 1; i > 0; i-- {
		if w[i] == word {
			return int32(i)
		}
	}
	return 0
}

// The words of drawings and cut plans.
var (
	Views    = Words[saw.View]{"", saw.Face, saw.Back, saw.Section}
	Kinds    = Words[saw.Kind]{"", saw.Colour, saw.Potch, saw.Rock, saw.Crack, saw.Matrix, saw.Seam}
	Looks    = Words[saw.LookKind]{"", saw.Facing, saw.Window, saw.TrialCut}
	Ends     = Words[saw.EndKind]{"", saw.Stones, saw.OffCut, saw.Shelf, saw.Specimen, saw.Slice, saw.Waste}
	Shapes   = Words[saw.Shape]{"", saw.Oval, saw.Round, saw.Pear, saw.Marquise, saw.Cushion, saw.Rectangle, saw.Triangle, saw.Freeform}
	Surfaces = Words[saw.Surface]{saw.Clean, saw.Clean, saw.RockInFace, saw.PotchInFace, saw.Hollow}
	Pers     = Words[saw.Per]{"", saw.PerFaceMm2, saw.PerCarat, saw.PerStone, saw.PerGram}
)

// each converts a list; none stays none.
func each[A, B any](in []A, convert func(A) B) []B {
	if len(in) == 0 {
		return nil
	}
	out := make([]B, len(in))
	for i, a := range in {
		out[i] = convert(a)
	}
	return out
}

// StoreDrawing is a drawing as it is stored.
func StoreDrawing(s saw.Study) *piecev1.Drawing {
	d := &piecev1.Drawing{
		Name: s.Name, MassUg: s.MassUg, SgMilli: s.SGMilli, Outline: each(s.Outline, storePoint), ThicknessUm: s.ThicknessUm,
		Layers: each(s.Layers, storeLayer), Profile: each(s.Profile, storePoint), Features: each(s.Features, storeFeature),
		Underlays: each(s.Underlays, storeUnderlay),
	}
	if s.Trace != (saw.Line{}) {
		d.Trace = storeLine(s.Trace)
	}
	return d
}

func storePoint(p saw.Point) *piecev1.Point { return &piecev1.Point{XUm: p.X, YUm: p.Y} }

func storeLine(l saw.Line) *piecev1.Line {
	return &piecev1.Line{A: storePoint(l.A), B: storePoint(l.B)}
}

func storeLayer(l saw.Layer) *piecev1.DrawnLayer {
	return &piecev1.DrawnLayer{
		Name: l.Name, Kind: piecev1.FeatureKind(Kinds.Number(l.Kind)), ThicknessUm: l.ThicknessUm, SgMilli: l.SGMilli, Class: l.Class,
		Expected: l.Grade, Supposed: l.Supposed,
	}
}

func storeFeature(f saw.Feature) *piecev1.Feature {
	return &piecev1.Feature{
		Name: f.Name, Kind: piecev1.FeatureKind(Kinds.Number(f.Kind)), View: piecev1.View(Views.Number(f.View)), Supposed: f.Supposed,
		Points: each(f.Points, storePoint), Closed: f.Closed, ThicknessUm: f.ThicknessUm, DepthUm: f.DepthUm, SgMilli: f.SGMilli,
		Class: f.Class, Expected: f.Grade,
	}
}

func storeUnderlay(u saw.Underlay) *piecev1.Underlay {
	return &piecev1.Underlay{
		View: piecev1.View(Views.Number(u.View)), Sha256: u.SHA256[:], PixelA: &piecev1.Pixel{X: u.PixelA.X, Y: u.PixelA.Y},
		PixelB: &piecev1.Pixel{X: u.PixelB.X, Y: u.PixelB.Y}, DistanceUm: u.DistanceUm, At: storePoint(u.At), TurnMdeg: u.TurnMdeg,
	}
}

// Drawing reads a stored drawing.
func Drawing(d *piecev1.Drawing) saw.Study {
	return saw.Study{
		Name: d.GetName(), MassUg: d.GetMassUg(), SGMilli: d.GetSgMilli(), Outline: each(d.GetOutline(), point), ThicknessUm: d.GetThicknessUm(),
		Layers: each(d.GetLayers(), layer), Profile: each(d.GetProfile(), point), Trace: line(d.GetTrace()),
		Features: each(d.GetFeatures(), feature), Underlays: each(d.GetUnderlays(), underlay),
	}
}

func point(p *piecev1.Point) saw.Point { return saw.Point{X: p.GetXUm(), Y: p.GetYUm()} }

func line(l *piecev1.Line) saw.Line { return saw.Line{A: point(l.GetA()), B: point(l.GetB())} }

func layer(l *piecev1.DrawnLayer) saw.Layer {
	return saw.Layer{
		Name: l.GetName(), Kind: Kinds.Of(int32(l.GetKind())), ThicknessUm: l.GetThicknessUm(), SGMilli: l.GetSgMilli(), Class: l.GetClass(),
		Grade: l.GetExpected(), Supposed: l.GetSupposed(),
	}
}

func feature(f *piecev1.Feature) saw.Feature {
	return saw.Feature{
		Name: f.GetName(), Kind: Kinds.Of(int32(f.GetKind())), View: Views.Of(int32(f.GetView())), Supposed: f.GetSupposed(),
		Points: each(f.GetPoints(), point), Closed: f.GetClosed(), ThicknessUm: f.GetThicknessUm(), DepthUm: f.GetDepthUm(), SGMilli: f.GetSgMilli(),
		Class: f.GetClass(), Grade: f.GetExpected(),
	}
}

func underlay(u *piecev1.Underlay) saw.Underlay {
	out := saw.Underlay{
		View: Views.Of(int32(u.GetView())), PixelA: saw.Pixel{X: u.GetPixelA().GetX(), Y: u.GetPixelA().GetY()},
		PixelB: saw.Pixel{X: u.GetPixelB().GetX(), Y: u.GetPixelB().GetY()}, DistanceUm: u.GetDistanceUm(), At: point(u.GetAt()), TurnMdeg: u.GetTurnMdeg(),
	}
	copy(out.SHA256[:], u.GetSha256())
	return out
}

// StoreCut is a cut plan as it is stored.
func StoreCut(p saw.Plan) *piecev1.CutPlan {
	s := p.Settings
	return &piecev1.CutPlan{
		Name: p.Name, Part: p.Part, Blades: each(p.Blades, storeBlade), Steps: each(p.Steps, storeStep), Ends: each(p.Ends, storeEnd),
		Settings: &piecev1.CutSettings{
			CrackUm: s.CrackUm, PotchUm: s.PotchUm, BackingUm: s.BackingUm, BevelUm: s.BevelUm, BetweenUm: s.BetweenUm, GripUm: s.GripUm,
			Currency: s.Currency, HourMinor: s.HourMinor, LevyBp: s.LevyBp, SellingMinor: s.SellingMinor,
		},
	}
}

func storeBlade(b saw.Blade) *piecev1.Blade {
	return &piecev1.Blade{Name: b.Name, KerfUm: b.KerfUm, ReachUm: b.ReachUm, WanderUm: b.WanderUm}
}

func storeStep(s saw.Step) *piecev1.CutStep {
	out := &piecev1.CutStep{Part: s.Part, Minutes: s.Minutes, Note: s.Note}
	switch do := s.Do.(type) {
	case saw.Saw:
		out.Do = &piecev1.CutStep_Saw{Saw: &piecev1.SawCut{
			Blade: do.Blade, View: piecev1.View(Views.Number(do.View)), Line: storeLine(do.Line), Left: do.Left, Right: do.Right,
		}}
	case saw.Split:
		out.Do = &piecev1.CutStep_Split{Split: &piecev1.SplitCut{
			View: piecev1.View(Views.Number(do.View)), Line: storeLine(do.Line), Left: do.Left, Right: do.Right,
		}}
	case saw.Trim:
		out.Do = &piecev1.CutStep_Trim{Trim: &piecev1.TrimWork{View: piecev1.View(Views.Number(do.View)), Keep: each(do.Keep, storeKept)}}
	case saw.Grind:
		out.Do = &piecev1.CutStep_Grind{Grind: &piecev1.GrindWork{
			View: piecev1.View(Views.Number(do.View)), ThicknessUm: do.ThicknessUm, What: piecev1.FeatureKind(Kinds.Number(do.What)),
		}}
	case saw.Look:
		out.Do = &piecev1.CutStep_Look{Look: &piecev1.LookWork{
			Kind: piecev1.LookKind(Looks.Number(do.Kind)), View: piecev1.View(Views.Number(do.View)), OffUm: do.OffUm, Outcomes: each(do.Outcomes, storeOutcome),
		}}
	}
	return out
}

func storeKept(k saw.Kept) *piecev1.KeptPart {
	return &piecev1.KeptPart{Part: k.Part, Ring: each(k.Ring, storePoint), Stone: k.Stone, AllowUm: k.AllowUm}
}

func storeOutcome(o saw.Outcome) *piecev1.LookOutcome {
	return &piecev1.LookOutcome{
		Name: o.Name, ChanceBp: o.ChanceBp, Features: each(o.Features, storeFeature), Steps: each(o.Steps, storeStep), Ends: each(o.Ends, storeEnd),
	}
}

func storeEnd(e saw.End) *piecev1.CutEnd {
	return &piecev1.CutEnd{
		Part: e.Part, Kind: piecev1.EndKind(Ends.Number(e.Kind)), Stones: each(e.Stones, storeStone), Class: e.Class, Market: e.Market,
	}
}

func storeStone(s saw.Stone) *piecev1.CutStone {
	return &piecev1.CutStone{
		Name: s.Name, Shape: stonev1.Outline(Shapes.Number(s.Shape)), Ring: each(s.Ring, storePoint), LengthUm: s.LengthUm, WidthUm: s.WidthUm,
		DepthUm: s.DepthUm, DomeUm: s.DomeUm, SgMilli: s.SGMilli, View: piecev1.View(Views.Number(s.View)), At: storePoint(s.At), TurnMdeg: s.TurnMdeg,
		Zone: s.Zone, Bar: s.Bar, TiltMdeg: s.TiltMdeg, Surface: piecev1.Surface(Surfaces.Number(s.Surface)), Class: s.Class, Market: s.Market,
		ChanceBp: s.ChanceBp, Minutes: s.Minutes,
	}
}

// Cut reads a stored cut plan.
func Cut(p *piecev1.CutPlan) saw.Plan {
	s := p.GetSettings()
	return saw.Plan{
		Name: p.GetName(), Part: p.GetPart(), Blades: each(p.GetBlades(), blade), Steps: each(p.GetSteps(), step), Ends: each(p.GetEnds(), end),
		Settings: saw.Settings{
			CrackUm: s.GetCrackUm(), PotchUm: s.GetPotchUm(), BackingUm: s.GetBackingUm(), BevelUm: s.GetBevelUm(), BetweenUm: s.GetBetweenUm(),
			GripUm: s.GetGripUm(), Currency: s.GetCurrency(), HourMinor: s.GetHourMinor(), LevyBp: s.GetLevyBp(), SellingMinor: s.GetSellingMinor(),
		},
	}
}

func blade(b *piecev1.Blade) saw.Blade {
	return saw.Blade{Name: b.GetName(), KerfUm: b.GetKerfUm(), ReachUm: b.GetReachUm(), WanderUm: b.GetWanderUm()}
}

func step(s *piecev1.CutStep) saw.Step {
	out := saw.Step{Part: s.GetPart(), Minutes: s.GetMinutes(), Note: s.GetNote()}
	switch do := s.GetDo().(type) {
	case *piecev1.CutStep_Saw:
		w := do.Saw
		out.Do = saw.Saw{Blade: w.GetBlade(), View: Views.Of(int32(w.GetView())), Line: line(w.GetLine()), Left: w.GetLeft(), Right: w.GetRight()}
	case *piecev1.CutStep_Split:
		w := do.Split
		out.Do = saw.Split{View: Views.Of(int32(w.GetView())), Line: line(w.GetLine()), Left: w.GetLeft(), Right: w.GetRight()}
	case *piecev1.CutStep_Trim:
		out.Do = saw.Trim{View: Views.Of(int32(do.Trim.GetView())), Keep: each(do.Trim.GetKeep(), kept)}
	case *piecev1.CutStep_Grind:
		w := do.Grind
		out.Do = saw.Grind{View: Views.Of(int32(w.GetView())), ThicknessUm: w.GetThicknessUm(), What: Kinds.Of(int32(w.GetWhat()))}
	case *piecev1.CutStep_Look:
		w := do.Look
		out.Do = saw.Look{
			Kind: Looks.Of(int32(w.GetKind())), View: Views.Of(int32(w.GetView())), OffUm: w.GetOffUm(), Outcomes: each(w.GetOutcomes(), outcome),
		}
	}
	return out
}

func kept(k *piecev1.KeptPart) saw.Kept {
	return saw.Kept{Part: k.GetPart(), Ring: each(k.GetRing(), point), Stone: k.GetStone(), AllowUm: k.GetAllowUm()}
}

func outcome(o *piecev1.LookOutcome) saw.Outcome {
	return saw.Outcome{
		Name: o.GetName(), ChanceBp: o.GetChanceBp(), Features: each(o.GetFeatures(), feature), Steps: each(o.GetSteps(), step), Ends: each(o.GetEnds(), end),
	}
}

func end(e *piecev1.CutEnd) saw.End {
	return saw.End{
		Part: e.GetPart(), Kind: Ends.Of(int32(e.GetKind())), Stones: each(e.GetStones(), plannedStone), Class: e.GetClass(), Market: e.GetMarket(),
	}
}

func plannedStone(s *piecev1.CutStone) saw.Stone {
	return saw.Stone{
		Name: s.GetName(), Shape: Shapes.Of(int32(s.GetShape())), Ring: each(s.GetRing(), point), LengthUm: s.GetLengthUm(), WidthUm: s.GetWidthUm(),
		DepthUm: s.GetDepthUm(), DomeUm: s.GetDomeUm(), SGMilli: s.GetSgMilli(), View: Views.Of(int32(s.GetView())), At: point(s.GetAt()), TurnMdeg: s.GetTurnMdeg(),
		Zone: s.GetZone(), Bar: s.GetBar(), TiltMdeg: s.GetTiltMdeg(), Surface: Surfaces.Of(int32(s.GetSurface())), Class: s.GetClass(), Market: s.GetMarket(),
		ChanceBp: s.GetChanceBp(), Minutes: s.GetMinutes(),
	}
}

// StorePrices are prices as they are stored.
func StorePrices(p saw.Prices) *piecev1.PriceList {
	return &piecev1.PriceList{Currency: p.Currency, Markets: each(p.Markets, func(m saw.Market) *piecev1.Market {
		return &piecev1.Market{Name: m.Name, Prices: each(m.Prices, func(p saw.Price) *piecev1.ClassPrice {
			return &piecev1.ClassPrice{Class: p.Class, Per: piecev1.PricedBy(Pers.Number(p.Per)), FromUm: p.FromUm, ToUm: p.ToUm, Minor: p.Minor}
		})}
	})}
}

// Prices reads stored prices.
func Prices(p *piecev1.PriceList) saw.Prices {
	return saw.Prices{Currency: p.GetCurrency(), Markets: each(p.GetMarkets(), func(m *piecev1.Market) saw.Market {
		return saw.Market{Name: m.GetName(), Prices: each(m.GetPrices(), func(p *piecev1.ClassPrice) saw.Price {
			return saw.Price{Class: p.GetClass(), Per: Pers.Of(int32(p.GetPer())), FromUm: p.GetFromUm(), ToUm: p.GetToUm(), Minor: p.GetMinor()}
		})}
	})}
}
