package wire

import (
	"fmt"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/search"
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

// Drawing shows a drawing.
func Drawing(s saw.Study) *typev1.Drawing {
	d := &typev1.Drawing{
		Name: s.Name, MassUg: s.MassUg, SgMilli: s.SGMilli, Outline: each(s.Outline, showPoint), ThicknessUm: s.ThicknessUm,
		Layers: each(s.Layers, showLayer), Profile: each(s.Profile, showPoint), Features: each(s.Features, showFeature),
		Underlays: each(s.Underlays, showUnderlay),
	}
	if s.Trace != (saw.Line{}) {
		d.Trace = showLine(s.Trace)
	}
	return d
}

func showPoint(p saw.Point) *typev1.Point { return &typev1.Point{XUm: p.X, YUm: p.Y} }

func showLine(l saw.Line) *typev1.Line {
	return &typev1.Line{A: showPoint(l.A), B: showPoint(l.B)}
}

func showLayer(l saw.Layer) *typev1.DrawnLayer {
	return &typev1.DrawnLayer{
		Name: l.Name, Kind: typev1.FeatureKind(piece.Kinds.Number(l.Kind)), ThicknessUm: l.ThicknessUm, SgMilli: l.SGMilli, Class: l.Class,
		Expected: l.Grade, Supposed: l.Supposed,
	}
}

func showFeature(f saw.Feature) *typev1.Feature {
	return &typev1.Feature{
		Name: f.Name, Kind: typev1.FeatureKind(piece.Kinds.Number(f.Kind)), View: typev1.View(piece.Views.Number(f.View)), Supposed: f.Supposed,
		Points: each(f.Points, showPoint), Closed: f.Closed, ThicknessUm: f.ThicknessUm, DepthUm: f.DepthUm, SgMilli: f.SGMilli,
		Class: f.Class, Expected: f.Grade,
	}
}

func showUnderlay(u saw.Underlay) *typev1.Underlay {
	return &typev1.Underlay{
		View: typev1.View(piece.Views.Number(u.View)), Sha256: u.SHA256[:], PixelA: &typev1.Pixel{X: u.PixelA.X, Y: u.PixelA.Y},
		PixelB: &typev1.Pixel{X: u.PixelB.X, Y: u.PixelB.Y}, DistanceUm: u.DistanceUm, At: showPoint(u.At), TurnMdeg: u.TurnMdeg,
	}
}

// ReadDrawing reads a drawing.
func ReadDrawing(d *typev1.Drawing) saw.Study {
	return saw.Study{
		Name: d.GetName(), MassUg: d.GetMassUg(), SGMilli: d.GetSgMilli(), Outline: each(d.GetOutline(), readPoint), ThicknessUm: d.GetThicknessUm(),
		Layers: each(d.GetLayers(), readLayer), Profile: each(d.GetProfile(), readPoint), Trace: readLine(d.GetTrace()),
		Features: each(d.GetFeatures(), readFeature), Underlays: each(d.GetUnderlays(), readUnderlay),
	}
}

func readPoint(p *typev1.Point) saw.Point { return saw.Point{X: p.GetXUm(), Y: p.GetYUm()} }

func readLine(l *typev1.Line) saw.Line {
	return saw.Line{A: readPoint(l.GetA()), B: readPoint(l.GetB())}
}

func readLayer(l *typev1.DrawnLayer) saw.Layer {
	return saw.Layer{
		Name: l.GetName(), Kind: piece.Kinds.Of(int32(l.GetKind())), ThicknessUm: l.GetThicknessUm(), SGMilli: l.GetSgMilli(), Class: l.GetClass(),
		Grade: l.GetExpected(), Supposed: l.GetSupposed(),
	}
}

func readFeature(f *typev1.Feature) saw.Feature {
	return saw.Feature{
		Name: f.GetName(), Kind: piece.Kinds.Of(int32(f.GetKind())), View: piece.Views.Of(int32(f.GetView())), Supposed: f.GetSupposed(),
		Points: each(f.GetPoints(), readPoint), Closed: f.GetClosed(), ThicknessUm: f.GetThicknessUm(), DepthUm: f.GetDepthUm(), SGMilli: f.GetSgMilli(),
		Class: f.GetClass(), Grade: f.GetExpected(),
	}
}

func readUnderlay(u *typev1.Underlay) saw.Underlay {
	out := saw.Underlay{
		View: piece.Views.Of(int32(u.GetView())), PixelA: saw.Pixel{X: u.GetPixelA().GetX(), Y: u.GetPixelA().GetY()},
		PixelB: saw.Pixel{X: u.GetPixelB().GetX(), Y: u.GetPixelB().GetY()}, DistanceUm: u.GetDistanceUm(), At: readPoint(u.GetAt()), TurnMdeg: u.GetTurnMdeg(),
	}
	copy(out.SHA256[:], u.GetSha256())
	return out
}

// CutPlan shows a cut plan.
func CutPlan(p saw.Plan) *typev1.CutPlan {
	return &typev1.CutPlan{
		Name: p.Name, Part: p.Part, Blades: each(p.Blades, Blade), Steps: each(p.Steps, showStep), Ends: each(p.Ends, showEnd),
		Settings: Settings(p.Settings),
	}
}

// Blade shows a blade.
func Blade(b saw.Blade) *typev1.Blade {
	return &typev1.Blade{Name: b.Name, KerfUm: b.KerfUm, ReachUm: b.ReachUm, WanderUm: b.WanderUm}
}

func showStep(s saw.Step) *typev1.CutStep {
	out := &typev1.CutStep{Part: s.Part, Minutes: s.Minutes, Note: s.Note}
	switch do := s.Do.(type) {
	case saw.Saw:
		out.Do = &typev1.CutStep_Saw{Saw: &typev1.SawCut{
			Blade: do.Blade, View: typev1.View(piece.Views.Number(do.View)), Line: showLine(do.Line), Left: do.Left, Right: do.Right,
		}}
	case saw.Split:
		out.Do = &typev1.CutStep_Split{Split: &typev1.SplitCut{
			View: typev1.View(piece.Views.Number(do.View)), Line: showLine(do.Line), Left: do.Left, Right: do.Right,
		}}
	case saw.Trim:
		out.Do = &typev1.CutStep_Trim{Trim: &typev1.TrimWork{View: typev1.View(piece.Views.Number(do.View)), Keep: each(do.Keep, showKept)}}
	case saw.Grind:
		out.Do = &typev1.CutStep_Grind{Grind: &typev1.GrindWork{
			View: typev1.View(piece.Views.Number(do.View)), ThicknessUm: do.ThicknessUm, What: typev1.FeatureKind(piece.Kinds.Number(do.What)),
		}}
	case saw.Look:
		out.Do = &typev1.CutStep_Look{Look: &typev1.LookWork{
			Kind: typev1.LookKind(piece.Looks.Number(do.Kind)), View: typev1.View(piece.Views.Number(do.View)), OffUm: do.OffUm, Outcomes: each(do.Outcomes, showOutcome),
		}}
	}
	return out
}

func showKept(k saw.Kept) *typev1.KeptPart {
	return &typev1.KeptPart{Part: k.Part, Ring: each(k.Ring, showPoint), Stone: k.Stone, AllowUm: k.AllowUm}
}

func showOutcome(o saw.Outcome) *typev1.LookOutcome {
	return &typev1.LookOutcome{
		Name: o.Name, ChanceBp: o.ChanceBp, Features: each(o.Features, showFeature), Steps: each(o.Steps, showStep), Ends: each(o.Ends, showEnd),
	}
}

func showEnd(e saw.End) *typev1.CutEnd {
	return &typev1.CutEnd{
		Part: e.Part, Kind: typev1.EndKind(piece.Ends.Number(e.Kind)), Stones: each(e.Stones, showStone), Class: e.Class, Market: e.Market,
	}
}

func showStone(s saw.Stone) *typev1.CutStone {
	return &typev1.CutStone{
		Name: s.Name, Shape: typev1.Outline(piece.Shapes.Number(s.Shape)), Ring: each(s.Ring, showPoint), LengthUm: s.LengthUm, WidthUm: s.WidthUm,
		DepthUm: s.DepthUm, DomeUm: s.DomeUm, SgMilli: s.SGMilli, View: typev1.View(piece.Views.Number(s.View)), At: showPoint(s.At), TurnMdeg: s.TurnMdeg,
		Zone: s.Zone, Bar: s.Bar, TiltMdeg: s.TiltMdeg, Surface: typev1.Surface(piece.Surfaces.Number(s.Surface)), Class: s.Class, Market: s.Market,
		ChanceBp: s.ChanceBp, Minutes: s.Minutes,
	}
}

// Settings shows a cutter's own rules and costs.
func Settings(s saw.Settings) *typev1.CutSettings {
	return &typev1.CutSettings{
		CrackUm: s.CrackUm, PotchUm: s.PotchUm, BackingUm: s.BackingUm, BevelUm: s.BevelUm, BetweenUm: s.BetweenUm, GripUm: s.GripUm,
		Currency: s.Currency, Hour: Money(s.Currency, s.HourMinor), LevyBp: s.LevyBp, Selling: Money(s.Currency, s.SellingMinor),
	}
}

func readSettings(broken *rule.All, field string, s *typev1.CutSettings) saw.Settings {
	return saw.Settings{
		CrackUm: s.GetCrackUm(), PotchUm: s.GetPotchUm(), BackingUm: s.GetBackingUm(), BevelUm: s.GetBevelUm(), BetweenUm: s.GetBetweenUm(),
		GripUm: s.GetGripUm(), Currency: s.GetCurrency(), LevyBp: s.GetLevyBp(), HourMinor: minor(broken, field+".hour", s.GetCurrency(), s.GetHour()),
		SellingMinor: minor(broken, field+".selling", s.GetCurrency(), s.GetSelling()),
	}
}

// ReadCutPlan reads a cut plan; money that can't be read, or is in another currency than the plan's, is noted.
func ReadCutPlan(broken *rule.All, field string, p *typev1.CutPlan) saw.Plan {
	return saw.Plan{
		Name: p.GetName(), Part: p.GetPart(), Blades: each(p.GetBlades(), readBlade), Steps: each(p.GetSteps(), readStep), Ends: each(p.GetEnds(), readEnd),
		Settings: readSettings(broken, field+".settings", p.GetSettings()),
	}
}

func readBlade(b *typev1.Blade) saw.Blade {
	return saw.Blade{Name: b.GetName(), KerfUm: b.GetKerfUm(), ReachUm: b.GetReachUm(), WanderUm: b.GetWanderUm()}
}

func readStep(s *typev1.CutStep) saw.Step {
	out := saw.Step{Part: s.GetPart(), Minutes: s.GetMinutes(), Note: s.GetNote()}
	switch do := s.GetDo().(type) {
	case *typev1.CutStep_Saw:
		w := do.Saw
		out.Do = saw.Saw{Blade: w.GetBlade(), View: piece.Views.Of(int32(w.GetView())), Line: readLine(w.GetLine()), Left: w.GetLeft(), Right: w.GetRight()}
	case *typev1.CutStep_Split:
		w := do.Split
		out.Do = saw.Split{View: piece.Views.Of(int32(w.GetView())), Line: readLine(w.GetLine()), Left: w.GetLeft(), Right: w.GetRight()}
	case *typev1.CutStep_Trim:
		out.Do = saw.Trim{View: piece.Views.Of(int32(do.Trim.GetView())), Keep: each(do.Trim.GetKeep(), readKept)}
	case *typev1.CutStep_Grind:
		w := do.Grind
		out.Do = saw.Grind{View: piece.Views.Of(int32(w.GetView())), ThicknessUm: w.GetThicknessUm(), What: piece.Kinds.Of(int32(w.GetWhat()))}
	case *typev1.CutStep_Look:
		w := do.Look
		out.Do = saw.Look{
			Kind: piece.Looks.Of(int32(w.GetKind())), View: piece.Views.Of(int32(w.GetView())), OffUm: w.GetOffUm(), Outcomes: each(w.GetOutcomes(), readOutcome),
		}
	}
	return out
}

func readKept(k *typev1.KeptPart) saw.Kept {
	return saw.Kept{Part: k.GetPart(), Ring: each(k.GetRing(), readPoint), Stone: k.GetStone(), AllowUm: k.GetAllowUm()}
}

func readOutcome(o *typev1.LookOutcome) saw.Outcome {
	return saw.Outcome{
		Name: o.GetName(), ChanceBp: o.GetChanceBp(), Features: each(o.GetFeatures(), readFeature), Steps: each(o.GetSteps(), readStep), Ends: each(o.GetEnds(), readEnd),
	}
}

func readEnd(e *typev1.CutEnd) saw.End {
	return saw.End{
		Part: e.GetPart(), Kind: piece.Ends.Of(int32(e.GetKind())), Stones: each(e.GetStones(), readPlannedStone), Class: e.GetClass(), Market: e.GetMarket(),
	}
}

func readPlannedStone(s *typev1.CutStone) saw.Stone {
	return saw.Stone{
		Name: s.GetName(), Shape: piece.Shapes.Of(int32(s.GetShape())), Ring: each(s.GetRing(), readPoint), LengthUm: s.GetLengthUm(), WidthUm: s.GetWidthUm(),
		DepthUm: s.GetDepthUm(), DomeUm: s.GetDomeUm(), SGMilli: s.GetSgMilli(), View: piece.Views.Of(int32(s.GetView())), At: readPoint(s.GetAt()), TurnMdeg: s.GetTurnMdeg(),
		Zone: s.GetZone(), Bar: s.GetBar(), TiltMdeg: s.GetTiltMdeg(), Surface: piece.Surfaces.Of(int32(s.GetSurface())), Class: s.GetClass(), Market: s.GetMarket(),
		ChanceBp: s.GetChanceBp(), Minutes: s.GetMinutes(),
	}
}

// PriceList shows prices.
func PriceList(p saw.Prices) *typev1.PriceList {
	return &typev1.PriceList{Currency: p.Currency, Markets: each(p.Markets, func(m saw.Market) *typev1.Market {
		return &typev1.Market{Name: m.Name, Prices: each(m.Prices, func(each saw.Price) *typev1.ClassPrice {
			return &typev1.ClassPrice{
				Class: each.Class, Per: typev1.PricedBy(piece.Pers.Number(each.Per)), FromUm: each.FromUm, ToUm: each.ToUm, Price: Money(p.Currency, each.Minor),
			}
		})}
	})}
}

// ReadPriceList reads prices; those that can't be read, or are in another currency than the
// list's, are noted.
func ReadPriceList(broken *rule.All, field string, p *typev1.PriceList) saw.Prices {
	out := saw.Prices{Currency: p.GetCurrency()}
	for i, m := range p.GetMarkets() {
		market := saw.Market{Name: m.GetName()}
		for j, price := range m.GetPrices() {
			market.Prices = append(market.Prices, saw.Price{
				Class: price.GetClass(), Per: piece.Pers.Of(int32(price.GetPer())), FromUm: price.GetFromUm(), ToUm: price.GetToUm(),
				Minor: minor(broken, fmt.Sprintf("%s.markets[%d].prices[%d].price", field, i, j), p.GetCurrency(), price.GetPrice()),
			})
		}
		out.Markets = append(out.Markets, market)
	}
	return out
}

// taskRequest is what a request for a search has.
type taskRequest interface {
	GetPrices() *typev1.PriceList
	GetBlade() *typev1.Blade
	GetSettings() *typev1.CutSettings
	GetWants() []*typev1.StoneWanted
	GetSawMinutes() int64
	GetRest() typev1.EndKind
	GetRestClass() string
	GetRestMarket() string
}

// ReadTask reads what to search plans for; its drawing is the piece's.
func ReadTask(broken *rule.All, req taskRequest) search.Task {
	return search.Task{
		Prices: ReadPriceList(broken, "prices", req.GetPrices()), Blade: readBlade(req.GetBlade()), Settings: readSettings(broken, "settings", req.GetSettings()),
		Wants: each(req.GetWants(), readWanted), SawMinutes: req.GetSawMinutes(),
		Rest: saw.End{Kind: piece.Ends.Of(int32(req.GetRest())), Class: req.GetRestClass(), Market: req.GetRestMarket()},
	}
}

func readWanted(w *typev1.StoneWanted) search.Want {
	return search.Want{
		Pattern: saw.Stone{
			Shape: piece.Shapes.Of(int32(w.GetShape())), Ring: each(w.GetRing(), readPoint), LengthUm: w.GetLengthUm(), WidthUm: w.GetWidthUm(), DepthUm: w.GetDepthUm(),
			DomeUm: w.GetDomeUm(), SGMilli: w.GetSgMilli(), View: piece.Views.Of(int32(w.GetView())), Zone: w.GetZone(), Bar: w.GetBar(), TiltMdeg: w.GetTiltMdeg(),
			Surface: piece.Surfaces.Of(int32(w.GetSurface())), Class: w.GetClass(), Market: w.GetMarket(), ChanceBp: w.GetChanceBp(), Minutes: w.GetMinutes(),
		},
		Sizes: each(w.GetSizes(), func(s *typev1.SizeWanted) search.Size {
			return search.Size{LengthUm: s.GetLengthUm(), WidthUm: s.GetWidthUm()}
		}),
		FromUm: w.GetFromUm(), ToUm: w.GetToUm(), Together: int(w.GetTogether()), StepUm: w.GetStepUm(),
	}
}

// WantedStone shows a kind of stone that a search may plan.
func WantedStone(w search.Want) *typev1.StoneWanted {
	s := w.Pattern
	return &typev1.StoneWanted{
		Shape: typev1.Outline(piece.Shapes.Number(s.Shape)), Ring: each(s.Ring, showPoint), LengthUm: s.LengthUm, WidthUm: s.WidthUm, DepthUm: s.DepthUm, DomeUm: s.DomeUm,
		SgMilli: s.SGMilli, View: typev1.View(piece.Views.Number(s.View)), Zone: s.Zone, Bar: s.Bar, TiltMdeg: s.TiltMdeg,
		Surface: typev1.Surface(piece.Surfaces.Number(s.Surface)), Class: s.Class, Market: s.Market, ChanceBp: s.ChanceBp, Minutes: s.Minutes,
		Sizes: each(w.Sizes, func(s search.Size) *typev1.SizeWanted {
			return &typev1.SizeWanted{LengthUm: s.LengthUm, WidthUm: s.WidthUm}
		}),
		FromUm: w.FromUm, ToUm: w.ToUm, Together: int32(w.Together), StepUm: w.StepUm,
	}
}

// SuggestedPlan shows a plan that a search found.
func SuggestedPlan(o search.Offer) *cutterv1.SuggestedPlan {
	return &cutterv1.SuggestedPlan{
		Words: o.Kind.String(), Cut: CutPlan(o.Plan), Result: CutResult(o.Result),
		Markets: each(o.Markets, func(m search.InMarket) *cutterv1.SuggestedMarket {
			out := &cutterv1.SuggestedMarket{Market: m.Market, Best: m.Best}
			if m.Stones > 0 {
				out.Expected = Money(m.Money.Currency, m.Money.Expected)
			}
			return out
		}),
	}
}

// SuggestEnd shows what a search came to.
func SuggestEnd(currency string, s search.Suggestion) *cutterv1.SuggestEnd {
	out := &cutterv1.SuggestEnd{Changes: uint32(s.Steps), Stopped: s.Stopped}
	if len(s.Offers) > 0 {
		out.Best = Money(currency, s.Best)
	}
	if s.Bound != search.Unbounded {
		out.Bound = Money(currency, s.Bound)
	}
	return out
}
