package wholetest_test

import (
	"strings"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/view"
)

// roundabout is a trade whose stones come to their field by all the ways there are: out of
// a counted group, out of rough that another cutter listed anew, and out of a mix-up.
func (w *walk) roundabout() {
	// Rough is listed anew only where nobody else shares in what it brings.
	outright := &typev1.Agreement{Price: cooptest.AUD(38_000), Tiers: []*typev1.Tier{{Form: &typev1.Tier_Split{Split: &typev1.Split{Ratios: []*typev1.Ratio{{Party: "cutter", Weight: 1}}}}}}}
	size := &typev1.Size{LengthUm: 30_000, WidthUm: 20_000, DepthUm: 9_000}
	traded := func(parcel string, from, to cooptest.Person, count uint32, ug int64) {
		_, err := to.Cutter().TakeParcel(w.Ctx(), &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: parcel})
		w.Must(err)
		_, err = from.Miner().HandOverParcel(w.Ctx(), &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: parcel, Count: count, Total: cooptest.Grams(ug)})
		w.Must(err)
		_, err = to.Cutter().ReceiveParcel(w.Ctx(), &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: parcel, Count: count, Total: cooptest.Grams(ug)})
		w.Must(err)
	}
	finish := func(who cooptest.Person, piece, part string) {
		_, err := who.Cutter().FinishStone(w.Ctx(), &cutterv1.FinishStoneRequest{
			RequestId: command.NewID(), PieceId: piece, Part: part, Label: "stone " + part, Weighing: &typev1.Weighing{MassUg: 608_000, DivisionUg: 2_000},
			Size: &typev1.Size{LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000}, Outline: typev1.Outline_OUTLINE_OVAL, Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
			Hydrophane: typev1.Hydrophane_HYDROPHANE_NO, Composite: typev1.Composite_COMPOSITE_NONE, WhyEarly: "shaped before it came here",
		})
		w.Must(err)
	}
	claim, err := w.Miner.Miner().RecordClaim(w.Ctx(), &minerv1.RecordClaimRequest{RequestId: command.NewID(), FieldId: w.FieldID, Name: "Claim " + command.NewID()})
	w.Must(err)
	listed, err := w.Miner.Miner().PublishParcel(w.Ctx(), &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true,
		Agreement: outright, Total: cooptest.Grams(30_000_000), Pieces: []*minerv1.NewPiece{{
			Label: "1", Weighing: cooptest.Grams(30_000_000), Kind: typev1.Kind_KIND_MATRIX, Count: 3, ClaimId: claim.GetClaim().GetId(),
		}},
	})
	w.Must(err)
	parcel, group := listed.GetParcel().GetId(), listed.GetParcel().GetLines()[0].GetPieceId()
	traded(parcel, w.Miner, w.Cutter, 3, 30_000_000)
	_, err = w.Books.Coop().RecordParcelPayment(w.Ctx(), &coopv1.RecordParcelPaymentRequest{RequestId: command.NewID(), ParcelId: parcel, Amount: cooptest.AUD(38_000), Reference: "transfer"})
	w.Must(err)
	opened, err := w.Cutter.Cutter().OpenLine(w.Ctx(), &cutterv1.OpenLineRequest{RequestId: command.NewID(), ParcelId: parcel, PieceId: group, Pieces: []*typev1.TakenOut{
		{Label: "1a", Weighing: cooptest.Grams(10_000_000), Size: size}, {Label: "1b", Weighing: cooptest.Grams(10_000_000), Size: size}, {Label: "1c", Weighing: cooptest.Grams(10_000_000), Size: size},
	}})
	w.Must(err)
	pieces := map[string]string{}
	lines := opened.GetParcel().GetLines()
	for i, l := range lines[len(lines)-3:] {
		pieces["1"+string(rune('a'+i))] = l.GetPieceId()
	}
	_, err = w.Cutter.Cutter().ReportMixUp(w.Ctx(), &cutterv1.ReportMixUpRequest{RequestId: command.NewID(), Note: "fell off the bench", Parts: []*cutterv1.BatchPart{
		{PieceId: pieces["1a"], Part: "1a"}, {PieceId: pieces["1b"], Part: "1b"},
	}})
	w.Must(err)
	finish(w.Cutter, pieces["1a"], "1a")
	last := []string{"1b", "1c"}[w.random.IntN(2)] // which was mixed up, or not
	anew, err := w.Cutter.Cutter().PublishRough(w.Ctx(), &cutterv1.PublishRoughRequest{
		RequestId: command.NewID(), Label: "P2", Total: cooptest.Grams(10_000_000), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true,
		Agreement: outright, Lines: []*cutterv1.RoughLine{{PieceId: pieces[last], Part: last, Label: "1", Weighing: cooptest.Grams(10_000_000), Size: size}},
	})
	w.Must(err)
	traded(anew.GetParcel().GetId(), w.Cutter, w.OtherCutter, 1, 10_000_000)
	finish(w.OtherCutter, anew.GetParcel().GetLines()[0].GetPieceId(), "1")
}

// ways are how chains came to their fields.
type ways struct{ straight, group, older, mixUp, hidden int }

func (n *ways) count(links []view.Link) {
	var group, older, mixUp, hidden bool
	for _, l := range links {
		group = group || strings.Contains(l.What, "taken out of a counted lot")
		older = older || strings.Contains(l.What, "of an older parcel")
		mixUp = mixUp || strings.Contains(l.What, "was mixed up")
		hidden = hidden || strings.Contains(l.What, "field is not shown")
	}
	for way, went := range map[*int]bool{&n.straight: !group && !older && !mixUp && !hidden, &n.group: group, &n.older: older, &n.mixUp: mixUp, &n.hidden: hidden} {
		if went {
			*way++
		}
	}
}
