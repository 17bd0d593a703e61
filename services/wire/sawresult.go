package wire

import (
	"maps"
	"slices"

	"google.golang.org/genproto/googleapis/type/money"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/measure/plane"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/saw"
)

// lossReasons are what package saw calls the values of the enum, each at its number.
var lossReasons = piece.Words[saw.Reason]{"", saw.Kerf, saw.GroundOff, saw.TrimmedAway, saw.ThrownAway, saw.NotCut}

// CutResult shows what comes of a cut plan.
func CutResult(r saw.Result) *typev1.CutResult {
	show := resulted{r.Money.Currency}
	return &typev1.CutResult{
		DrawingName: r.Study, PlanName: r.Plan, MassUg: r.MassUg, ModelUg: r.ModelUg, ErrorBp: r.ErrorBp, LookAgain: saw.LookAgain(r.ErrorBp), Trunk: show.branch(r.Trunk),
		Infeasible: r.Infeasible, Money: show.money(r.Money), Totals: show.totals(r.Totals),
	}
}

// WithoutOutlines leaves out the outlines of parts and stones, which make most of a result.
func WithoutOutlines(b *typev1.CutBranch) {
	for _, p := range b.GetParts() {
		p.Face, p.Section, p.Layers = nil, nil, nil
	}
	for _, e := range b.GetEnds() {
		for _, s := range e.GetStones() {
			s.Outline, s.Section = nil, nil
		}
	}
	for _, l := range b.GetLooks() {
		for _, o := range l.GetOutcomes() {
			WithoutOutlines(o)
		}
	}
}

// resulted shows results in a currency.
type resulted struct{ currency string }

func (c resulted) amount(minor int64) *money.Money { return Money(c.currency, minor) }

func showRing(r plane.Ring) *typev1.FineRing {
	if len(r) == 0 {
		return nil
	}
	out := &typev1.FineRing{CornersNm: make([]int64, 0, 2*len(r))}
	for _, p := range r {
		out.CornersNm = append(out.CornersNm, p.X, p.Y)
	}
	return out
}

func (c resulted) branch(b saw.Branch) *typev1.CutBranch {
	return &typev1.CutBranch{
		BranchLabel: b.Path, Name: b.Name, ChanceBp: b.ChanceBp, InUg: b.InUg, Minutes: b.Minutes, Parts: each(b.Parts, showPart), Losses: each(b.Losses, showLoss),
		Ends: each(b.Ends, c.ended), Looks: each(b.Looks, c.looked), Findings: each(b.Findings, showFinding), Money: c.money(b.Money),
	}
}

func showPart(p saw.Part) *typev1.CutPart {
	return &typev1.CutPart{
		Name: p.Name, From: p.From, StepLabel: p.Step, Face: showRing(p.Face), Section: showRing(p.Section), Layers: each(p.Layers, showLayered),
		AreaUm2: p.AreaUm2, MassUg: p.MassUg, Unplaced: p.Unplaced,
	}
}

func showLayered(l saw.Layered) *typev1.CutLayer {
	return &typev1.CutLayer{Name: l.Name, Kind: typev1.FeatureKind(piece.Kinds.Number(l.Kind)), Rings: each(l.Rings, showRing)}
}

func showLoss(l saw.Loss) *typev1.CutLoss {
	return &typev1.CutLoss{
		Reason: typev1.LossReason(lossReasons.Number(l.Reason)), What: typev1.FeatureKind(piece.Kinds.Number(l.What)), Part: l.Part, AtLabel: l.Path,
		MassUg: l.MassUg, AreaUm2: l.AreaUm2,
	}
}

func (c resulted) ended(e saw.Ended) *typev1.CutEnded {
	return &typev1.CutEnded{
		Part: e.Part, Kind: typev1.EndKind(piece.Ends.Number(e.Kind)), AtLabel: e.Path, MassUg: e.MassUg, KeptUg: e.KeptUg, Worth: c.amount(e.Minor),
		Net: c.amount(e.NetMinor), Market: e.Market, Stones: each(e.Stones, c.stone),
	}
}

func (c resulted) stone(s saw.Planned) *typev1.CutStoneResult {
	return &typev1.CutStoneResult{
		Name: s.Name, AtLabel: s.Path, Fits: s.Fits, Outline: showRing(s.Outline), Section: showRing(s.Section), MassUg: s.MassUg, Carat: Carat(s.MassUg),
		AreaUm2: s.AreaUm2, ColourUm: s.ColourUm, BackingUm: s.BackingUm, ChanceBp: s.ChanceBp, Worth: c.amount(s.PriceMinor), Levy: c.amount(s.LevyMinor),
		Net: c.amount(s.NetMinor), Market: s.Market, Priced: s.Priced,
	}
}

func (c resulted) looked(l saw.Looked) *typev1.CutLooked {
	return &typev1.CutLooked{Part: l.Part, AtLabel: l.Path, MassUg: l.MassUg, Outcomes: each(l.Outcomes, c.branch)}
}

func showFinding(f saw.Finding) *typev1.CutFinding {
	return &typev1.CutFinding{
		RuleLabel: string(f.Rule), AtLabel: f.Path, Part: f.Part, StoneLabel: f.Stone, AgainstLabel: f.Against, View: typev1.View(piece.Views.Number(f.View)),
		Place: showPoint(f.At), ByUm: f.ByUm, Supposed: f.Supposed, Notice: f.Notice, Text: f.Text,
	}
}

func (c resulted) money(m saw.Money) *typev1.CutMoney {
	return &typev1.CutMoney{
		Expected: c.amount(m.Expected), Spread: c.amount(m.Spread), Best: c.amount(m.Best), Worst: c.amount(m.Worst), NothingPpm: m.NothingPpm,
		PerHour: c.amount(m.PerHour), Hours: c.amount(m.HoursMinor), MinutesMilli: m.MinutesMilli, Markets: each(m.Markets, func(m saw.MarketMoney) *typev1.CutMarket {
			return &typev1.CutMarket{Market: m.Market, Expected: c.amount(m.Expected), Stones: int32(m.Stones)}
		}),
	}
}

func (c resulted) totals(t saw.Totals) *typev1.CutTotals {
	out := &typev1.CutTotals{
		FinishedUg: t.FinishedUg, Carat: Carat(t.FinishedUg), OffCutUg: t.OffCutUg, ShelfUg: t.ShelfUg, SpecimenUg: t.SpecimenUg, SliceUg: t.SliceUg,
		Stones: int32(t.Stones), FaceUm2: t.FaceUm2, YieldBp: t.YieldBp,
	}
	for _, reason := range slices.Sorted(maps.Keys(t.LossUg)) {
		out.Losses = append(out.Losses, &typev1.CutLossTotal{Reason: typev1.LossReason(lossReasons.Number(reason)), MassUg: t.LossUg[reason]})
	}
	return out
}

// ReadCutResult reads what a server answered, so that it can be shown as if it had been reckoned here.
func ReadCutResult(r *typev1.CutResult) saw.Result {
	return saw.Result{
		Study: r.GetDrawingName(), Plan: r.GetPlanName(), MassUg: r.GetMassUg(), ModelUg: r.GetModelUg(), ErrorBp: r.GetErrorBp(), Trunk: readBranch(r.GetTrunk()),
		Infeasible: r.GetInfeasible(), Money: readMoney(r.GetMoney()), Totals: readTotals(r.GetTotals()),
	}
}

// readMinor reads an amount that this package showed.
func readMinor(m *money.Money) int64 {
	per := perUnit(m.GetCurrencyCode())
	return m.GetUnits()*per + int64(m.GetNanos())/(nanos/per)
}

func readRing(r *typev1.FineRing) plane.Ring {
	c := r.GetCornersNm()
	if len(c) < 2 {
		return nil
	}
	out := make(plane.Ring, len(c)/2)
	for i := range out {
		out[i] = plane.Point{X: c[2*i], Y: c[2*i+1]}
	}
	return out
}

func readBranch(b *typev1.CutBranch) saw.Branch {
	return saw.Branch{
		Path: b.GetBranchLabel(), Name: b.GetName(), ChanceBp: b.GetChanceBp(), InUg: b.GetInUg(), Minutes: b.GetMinutes(), Parts: each(b.GetParts(), readPart),
		Losses: each(b.GetLosses(), readLoss), Ends: each(b.GetEnds(), readEnded), Looks: each(b.GetLooks(), readLooked), Findings: each(b.GetFindings(), readFinding),
		Money: readMoney(b.GetMoney()),
	}
}

func readPart(p *typev1.CutPart) saw.Part {
	return saw.Part{
		Name: p.GetName(), From: p.GetFrom(), Step: p.GetStepLabel(), Face: readRing(p.GetFace()), Section: readRing(p.GetSection()),
		Layers: each(p.GetLayers(), func(l *typev1.CutLayer) saw.Layered {
			return saw.Layered{Name: l.GetName(), Kind: piece.Kinds.Of(int32(l.GetKind())), Rings: each(l.GetRings(), readRing)}
		}),
		AreaUm2: p.GetAreaUm2(), MassUg: p.GetMassUg(), Unplaced: p.GetUnplaced(),
	}
}

func readLoss(l *typev1.CutLoss) saw.Loss {
	return saw.Loss{
		Reason: lossReasons.Of(int32(l.GetReason())), What: piece.Kinds.Of(int32(l.GetWhat())), Part: l.GetPart(), Path: l.GetAtLabel(), MassUg: l.GetMassUg(),
		AreaUm2: l.GetAreaUm2(),
	}
}

func readEnded(e *typev1.CutEnded) saw.Ended {
	return saw.Ended{
		Part: e.GetPart(), Kind: piece.Ends.Of(int32(e.GetKind())), Path: e.GetAtLabel(), MassUg: e.GetMassUg(), KeptUg: e.GetKeptUg(), Minor: readMinor(e.GetWorth()),
		NetMinor: readMinor(e.GetNet()), Market: e.GetMarket(), Stones: each(e.GetStones(), readPlanned),
	}
}

func readPlanned(s *typev1.CutStoneResult) saw.Planned {
	return saw.Planned{
		Name: s.GetName(), Path: s.GetAtLabel(), Fits: s.GetFits(), Outline: readRing(s.GetOutline()), Section: readRing(s.GetSection()), MassUg: s.GetMassUg(),
		AreaUm2: s.GetAreaUm2(), ColourUm: s.GetColourUm(), BackingUm: s.GetBackingUm(), ChanceBp: s.GetChanceBp(), PriceMinor: readMinor(s.GetWorth()),
		LevyMinor: readMinor(s.GetLevy()), NetMinor: readMinor(s.GetNet()), Market: s.GetMarket(), Priced: s.GetPriced(),
	}
}

func readLooked(l *typev1.CutLooked) saw.Looked {
	return saw.Looked{Part: l.GetPart(), Path: l.GetAtLabel(), MassUg: l.GetMassUg(), Outcomes: each(l.GetOutcomes(), readBranch)}
}

func readFinding(f *typev1.CutFinding) saw.Finding {
	return saw.Finding{
		Rule: saw.Rule(f.GetRuleLabel()), Path: f.GetAtLabel(), Part: f.GetPart(), Stone: f.GetStoneLabel(), Against: f.GetAgainstLabel(), View: piece.Views.Of(int32(f.GetView())),
		At: readPoint(f.GetPlace()), ByUm: f.GetByUm(), Supposed: f.GetSupposed(), Notice: f.GetNotice(), Text: f.GetText(),
	}
}

func readMoney(m *typev1.CutMoney) saw.Money {
	return saw.Money{
		Currency: m.GetExpected().GetCurrencyCode(), Expected: readMinor(m.GetExpected()), Spread: readMinor(m.GetSpread()), Best: readMinor(m.GetBest()),
		Worst: readMinor(m.GetWorst()), NothingPpm: m.GetNothingPpm(), PerHour: readMinor(m.GetPerHour()), HoursMinor: readMinor(m.GetHours()), MinutesMilli: m.GetMinutesMilli(),
		Markets: each(m.GetMarkets(), func(m *typev1.CutMarket) saw.MarketMoney {
			return saw.MarketMoney{Market: m.GetMarket(), Expected: readMinor(m.GetExpected()), Stones: int(m.GetStones())}
		}),
	}
}

func readTotals(t *typev1.CutTotals) saw.Totals {
	out := saw.Totals{
		FinishedUg: t.GetFinishedUg(), OffCutUg: t.GetOffCutUg(), ShelfUg: t.GetShelfUg(), SpecimenUg: t.GetSpecimenUg(), SliceUg: t.GetSliceUg(),
		LossUg: map[saw.Reason]int64{}, Stones: int(t.GetStones()), FaceUm2: t.GetFaceUm2(), YieldBp: t.GetYieldBp(),
	}
	for _, l := range t.GetLosses() {
		out.LossUg[lossReasons.Of(int32(l.GetReason()))] = l.GetMassUg()
	}
	return out
}
