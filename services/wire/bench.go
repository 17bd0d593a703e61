package wire

import (
	"fmt"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/promise"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	promisev1 "seamshare.example/proto/gen/seamshare/event/promise/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// BenchPiece shows a piece to the cutter whose it is: with what that member learnt and
// expects of it, and until when each part rests.
func BenchPiece(s piece.State, member string, rest time.Duration) *typev1.Piece {
	p := untagged(s)
	for i, part := range s.Parts {
		shown := p.Parts[i]
		noted := part.Of(member)
		shown.WaitsFor, shown.Grade, shown.Class = noted.Waits, grade(noted.Grade.GetGrade()), noted.Grade.GetClass()
		shown.LotId, shown.NewPieceId = part.LotID, part.NewID
		shown.LastStep, shown.Tray, shown.Dop = typev1.Step(part.Step), noted.Tray, noted.Dop
		if part.Shaped() {
			at := time.UnixMicro(part.ShapedUs).UTC()
			shown.ShapedAt, shown.RestsUntil = at.Format(time.RFC3339), at.Add(rest).Format(time.RFC3339)
		}
	}
	own := s.Of(member)
	for _, st := range own.Studies {
		p.Studies = append(p.Studies, study(st))
	}
	if chosen, ok := own.Chosen(); ok {
		p.ChosenPlanId = chosen.ID
	}
	p.Minutes = uint32(min(own.Minutes, 1<<32-1))
	p.Etag = etag(p, 0)
	return p
}

// study shows a study without its drawing.
func study(st *piecev1.Studied) *typev1.Study {
	out := &typev1.Study{
		Id: st.GetPrivate().GetStudyId(), Size: Size(st.GetPublic().GetSize()), Photos: photos(st.GetPublic().GetPhotos()),
		Seen: st.GetPrivate().GetSeen(), Note: st.GetPrivate().GetNote(),
	}
	if d := st.GetPrivate().GetDrawing(); d != nil {
		out.Drawn, out.DrawnUg, out.ErrorBp = true, st.GetPrivate().GetDrawnUg(), saw.ErrorBp(st.GetPrivate().GetDrawnUg(), d.GetMassUg())
		out.LookAgain = saw.LookAgain(out.ErrorBp)
	}
	return out
}

// DrawnStudy shows a study with its drawing.
func DrawnStudy(st *piecev1.Studied) *typev1.Study {
	out := study(st)
	if d := st.GetPrivate().GetDrawing(); d != nil {
		out.Drawing = Drawing(piece.Drawing(d))
	}
	return out
}

// mixed shows which parts a part may be.
func mixed(candidates []*piecev1.Candidate) (out []*typev1.MixedPart) {
	for _, c := range candidates {
		out = append(out, &typev1.MixedPart{PieceId: c.GetPieceId(), Label: c.GetLabel(), Part: c.GetPart()})
	}
	return out
}

func photos(in []*eventv1.Photo) (out []*typev1.Photo) {
	for _, p := range in {
		out = append(out, PhotoOf(p))
	}
	return out
}

// PhotoOf shows what is said of a photo; nil for none.
func PhotoOf(p *eventv1.Photo) *typev1.Photo {
	if p == nil {
		return nil
	}
	return &typev1.Photo{Sha256: p.GetSha256(), MediaType: p.GetMediaType(), Light: p.GetLight(), Wet: p.GetWet()}
}

// PhotoIn reads what is said of a photo; nil for none.
func PhotoIn(p *typev1.Photo) *eventv1.Photo {
	if p == nil {
		return nil
	}
	return &eventv1.Photo{Sha256: p.GetSha256(), MediaType: p.GetMediaType(), Light: p.GetLight(), Wet: p.GetWet()}
}

// PhotosIn reads what is said of photos.
func PhotosIn(in []*typev1.Photo) (out []*eventv1.Photo) {
	for _, p := range in {
		out = append(out, PhotoIn(p))
	}
	return out
}

// Moment reads a moment that a request names; the zero time where it is empty, or can't
// be read, which is noted.
func Moment(broken *rule.All, field, text string) time.Time {
	if text == "" {
		return time.Time{}
	}
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil || at.Year() < 1 || at.Year() > 9999 {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: field, Value: fmt.Sprintf("%q", text),
			Rule: "it must be a moment as RFC 3339 writes it", Hint: "write it as 2026-11-25T17:00:00Z",
		})
		return time.Time{}
	}
	return at.UTC().Truncate(time.Microsecond)
}

// Plan shows a plan with all its revisions, without what was measured.
func Plan(p piece.Plan) *typev1.Plan {
	out := &typev1.Plan{Id: p.ID, State: typev1.PlanState(p.Stage), Reason: p.Reason}
	for _, r := range p.Revisions {
		out.Revisions = append(out.Revisions, revision(r))
	}
	out.Etag = etag(out, 0)
	return out
}

// MeasuredPlan shows a revision with what was measured.
func MeasuredPlan(r piece.Revision) *typev1.PlanRevision {
	out := revision(r)
	if cut := r.Plan.GetCut(); cut != nil {
		out.Plan.Cut, out.Plan.Prices, out.Plan.StudyId = CutPlan(piece.Cut(cut)), PriceList(piece.Prices(r.Plan.GetPrices())), r.Plan.GetStudyId()
	}
	return out
}

func revision(r piece.Revision) *typev1.PlanRevision {
	draft := &typev1.PlanDraft{Label: r.Plan.GetLabel(), Steps: r.Plan.GetSteps(), Minutes: r.Plan.GetMinutes(), Reason: r.Plan.GetReason()}
	for _, st := range r.Plan.GetStones() {
		draft.Stones = append(draft.Stones, &typev1.PlannedStone{
			Label: st.GetLabel(), Outline: typev1.Outline(st.GetOutline()), Size: Size(st.GetSize()), Grade: grade(st.GetGrade()),
			ChanceBp: st.GetChanceBp(), Market: st.GetMarket(), Worth: MoneyOf(st.GetWorth()), MassUg: st.GetMassUg(),
		})
	}
	return &typev1.PlanRevision{Plan: draft, Why: r.Why, Measured: r.Plan.GetCut() != nil, Infeasible: r.Plan.GetInfeasible()}
}

// ReadPlan reads a plan.
func ReadPlan(broken *rule.All, field string, d *typev1.PlanDraft) *piecev1.Plan {
	out := &piecev1.Plan{Label: d.GetLabel(), Steps: d.GetSteps(), Minutes: d.GetMinutes(), Reason: d.GetReason()}
	for i, st := range d.GetStones() {
		out.Stones = append(out.Stones, &piecev1.PlannedStone{
			Label: st.GetLabel(), Outline: stonev1.Outline(st.GetOutline()), Size: ReadSize(st.GetSize()), Grade: ReadGrade(st.GetGrade()),
			ChanceBp: st.GetChanceBp(), Market: st.GetMarket(), MassUg: st.GetMassUg(),
			Worth: Amount(broken, fmt.Sprintf("%s.stones[%d].worth", field, i), st.GetWorth()),
		})
	}
	return out
}

// Lot shows a counted lot; what it was made of only to its cutter.
func Lot(s lot.State, viewer string) *typev1.Lot {
	f := s.Facts
	out := &typev1.Lot{
		Id: f.GetLotId(), Label: f.GetLabel(), State: typev1.LotState(s.Stage), CutterId: f.GetCutterId(), Kind: typev1.Kind(f.GetKind()),
		Treatment: typev1.Treatment(f.GetTreatment()), Count: s.Count, Weighing: Weighing(s.Weighing), Carat: Carat(s.Weighing.GetMassUg()),
		Remarks: s.Remarks, MadeCount: f.GetCount(), MadeWeighing: Weighing(f.GetWeighing()),
	}
	if s.Stage == lot.OnSale {
		out.Unit, out.Price = typev1.Unit(s.Unit), MoneyOf(s.Price)
	}
	if viewer == f.GetCutterId() {
		out.ParcelId, out.UnexplainedUg = f.GetParcelId(), s.UnexplainedUg
		for _, src := range f.GetSources() {
			out.Sources = append(out.Sources, &typev1.LotSource{
				PieceId: src.GetPieceId(), Part: src.GetPart(), StoneId: src.GetStoneId(), Count: src.GetCount(), Weighing: Weighing(src.GetWeighing()),
			})
		}
	}
	out.Etag = etag(out, 0)
	return out
}

// Promise shows a promise to its cutter or its jeweller.
func Promise(s promise.State, now time.Time) *typev1.Promise {
	out := &typev1.Promise{
		Id: s.ID, State: typev1.PromiseState(s.Stage), CutterId: s.Cutter, JewellerId: s.Jeweller, DueAt: s.DueAt.Format(time.RFC3339Nano),
		Note: s.Note, Why: s.Why, StoneIds: s.StoneIDs, OrderId: s.OrderID,
	}
	for _, item := range s.Items {
		out.Items = append(out.Items, &typev1.PromisedStone{
			Outline: typev1.Outline(item.GetOutline()), Size: Size(item.GetSize()), ToleranceUm: item.GetToleranceUm(),
			Kind: typev1.Kind(item.GetKind()), Like: item.GetLike(), Price: MoneyOf(item.GetPrice()),
		})
	}
	out.Etag = etag(out, 0)
	out.Overdue = s.Overdue(now) // time changes it, nobody's deed
	return out
}

// ReadPromised reads the stones of a promise.
func ReadPromised(broken *rule.All, field string, in []*typev1.PromisedStone) (out []*promisev1.Item) {
	for i, item := range in {
		out = append(out, &promisev1.Item{
			Outline: stonev1.Outline(item.GetOutline()), Size: ReadSize(item.GetSize()), ToleranceUm: item.GetToleranceUm(),
			Kind: eventv1.Kind(item.GetKind()), Like: item.GetLike(), Price: Amount(broken, fmt.Sprintf("%s[%d].price", field, i), item.GetPrice()),
		})
	}
	return out
}
