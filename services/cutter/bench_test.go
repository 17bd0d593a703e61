package cutter_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/stream"
	"seamshare.example/services/tradetest"
	"seamshare.example/services/view"
)

// chain is what a stone's chain says, line by line.
func (d *trade) chain(t *testing.T, stoneID string) (words []string) {
	t.Helper()
	q, err := d.Node.Query(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer q.Close()
	links, err := view.Chain(q, stoneID)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range links {
		words = append(words, l.What)
	}
	return words
}

func says(words []string, parts ...string) bool {
	return slices.ContainsFunc(words, func(line string) bool {
		return !slices.ContainsFunc(parts, func(p string) bool { return !strings.Contains(line, p) })
	})
}

func (d *trade) ago(hours int) string {
	return time.Now().Add(-time.Duration(hours) * time.Hour).Format(time.RFC3339)
}

func TestRest(t *testing.T) {
	d := open(t)
	piece := d.inHand(t, outright).GetLines()[0].GetPieceId()
	shape := &cutterv1.WorkPartRequest{PieceId: piece, Part: "1", Step: typev1.Step_STEP_SHAPE, NotWeighed: true, DoneAt: d.ago(41), Dop: "7", Minutes: 40}
	got := d.work(t, shape)
	if p := got.GetParts()[0]; p.GetShapedAt() == "" || p.GetRestsUntil() <= p.GetShapedAt() || got.GetMinutes() != 40 {
		t.Errorf("got %v", got)
	}
	t.Run("refused: polished and finished after 41 h without a word, and at a moment to come", func(t *testing.T) {
		_, err := d.cutters.WorkPart(d.wetWheel, &cutterv1.WorkPartRequest{RequestId: d.id(), PieceId: piece, Part: "1", Step: typev1.Step_STEP_POLISH, NotWeighed: true})
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_RESTED", "why_early")
		finish := d.finish(piece, "1")
		finish.WhyEarly = ""
		_, err = d.cutters.FinishStone(d.wetWheel, finish)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_RESTED", "why_early")
		finish.DoneAt = time.Now().Add(time.Hour).Format(time.RFC3339)
		_, err = d.cutters.FinishStone(d.wetWheel, finish)
		tradetest.Refused(t, err, codes.InvalidArgument, "TIME_INVALID", "done_at")
	})
	t.Run("OK: with the reason; the chain tells strangers how long, not why", func(t *testing.T) {
		finish := d.finish(piece, "1")
		finish.WhyEarly = "asked for by the carrier's day"
		done, err := d.cutters.FinishStone(d.wetWheel, finish)
		if err != nil {
			t.Fatal(err)
		}
		words := d.chain(t, done.GetStone().GetId())
		if !says(words, "rested 41 h", "less than is set") || says(words, "carrier") {
			t.Errorf("got %q", words)
		}
	})
}

func TestSecondPerson(t *testing.T) {
	d := open(t)
	stone := d.cut(t, d.inHand(t, outright).GetLines()[0].GetPieceId())
	t.Run("refused: a check that finds it wanting, all at once", func(t *testing.T) {
		req := d.checking(stone)
		req.BackFlat, req.CornerRadiusUm = false, 100
		_, err := d.cutters.CheckStone(d.wetWheel, req)
		tradetest.Refused(t, err, codes.InvalidArgument, "CHECK_FAILED", "back_flat", "corner_radius_um")
	})
	if _, err := d.cutters.CheckStone(d.wetWheel, d.checking(stone)); err != nil {
		t.Fatal(err)
	}
	t.Run("refused: confirmed by who checked; to another cutter the stone isn't there", func(t *testing.T) {
		_, err := d.cutters.ConfirmStone(d.wetWheel, &cutterv1.ConfirmStoneRequest{RequestId: d.id(), StoneId: stone.GetId()})
		tradetest.Refused(t, err, codes.PermissionDenied, "SECOND_PERSON_NEEDED", "stone_id")
		_, others := d.cutters.ConfirmStone(d.twoDops, &cutterv1.ConfirmStoneRequest{RequestId: d.id(), StoneId: stone.GetId()})
		_, none := d.cutters.ConfirmStone(d.twoDops, &cutterv1.ConfirmStoneRequest{RequestId: d.id(), StoneId: "none"})
		tradetest.Refused(t, others, codes.NotFound, "NOT_FOUND", "stone_id")
		if others.Error() != none.Error() {
			t.Errorf("%q is not %q", others, none)
		}
	})
	t.Run("refused: put on sale before", func(t *testing.T) {
		_, err := d.cutters.PutStoneOnSale(d.wetWheel, &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: stone.GetId(), Price: aud(740)})
		tradetest.Refused(t, err, codes.FailedPrecondition, "STONE_NOT_CHECKED", "stone_id")
	})
	t.Run("OK: cut again, it is the same stone, unchecked, and its piece has the loss", func(t *testing.T) {
		checked := d.check(t, stone)
		got, err := d.cutters.RecutStone(d.wetWheel, &cutterv1.RecutStoneRequest{
			RequestId: d.id(), StoneId: stone.GetId(), Weighing: &typev1.Weighing{MassUg: 570_000, DivisionUg: 2_000}, Size: mm(11, 9, 3),
			Outline: typev1.Outline_OUTLINE_OVAL, Reason: typev1.Reason_REASON_CHIPPED_EDGE, Why: "a chip at the girdle",
		})
		if err != nil {
			t.Fatal(err)
		}
		s := got.GetStone()
		if checked.GetCheck() != typev1.CheckState_CHECK_STATE_CONFIRMED || s.GetCheck() != 0 || s.GetId() != stone.GetId() || s.GetRecuts() != 1 || s.GetCarat() != "2.85" {
			t.Errorf("got %v", s)
		}
		y, err := d.cutters.GetYield(d.wetWheel, &cutterv1.GetYieldRequest{ParcelId: stone.GetParcelId()})
		if err != nil {
			t.Fatal(err)
		}
		closes(t, y.GetYield())
		if y.GetYield().GetFinishedUg() != 570_000 || !slices.ContainsFunc(y.GetYield().GetLosses(), func(l *typev1.Loss) bool {
			return l.GetReason() == typev1.Reason_REASON_CHIPPED_EDGE && l.GetMassUg() == 38_000
		}) {
			t.Errorf("got %v", y)
		}
		if words := d.chain(t, stone.GetId()); !says(words, "papers from before are void") || !says(words, "A second person confirmed") {
			t.Errorf("got %q", words)
		}
	})
}

// closes fails unless a yield accounts for all mass.
func closes(t *testing.T, y *cutterv1.Yield) {
	t.Helper()
	sum := y.GetFinishedUg() + y.GetOffcutUg() + y.GetUncutUg() + y.GetLossUg() + y.GetUnexplainedUg() + y.GetMovedOnUg()
	if sum != y.GetBoughtUg() {
		t.Errorf("%d of %d is accounted for: %v", sum, y.GetBoughtUg(), y)
	}
}

func TestMixUp(t *testing.T) {
	d := open(t)
	p := d.inHand(t, outright)
	one, chips := p.GetLines()[0].GetPieceId(), p.GetLines()[1].GetPieceId()
	other := d.inHand(t, outright).GetLines()[0].GetPieceId()
	parts := func(ids ...string) (out []*cutterv1.BatchPart) {
		for i, id := range ids {
			out = append(out, &cutterv1.BatchPart{PieceId: id, Part: []string{"1", "2"}[i]})
		}
		return out
	}
	t.Run("refused: between parcels, and of a part that isn't there", func(t *testing.T) {
		_, err := d.cutters.ReportMixUp(d.wetWheel, &cutterv1.ReportMixUpRequest{RequestId: d.id(), Parts: []*cutterv1.BatchPart{{PieceId: one, Part: "1"}, {PieceId: other, Part: "1"}}, Note: "x"})
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_ONE_PARCEL", "parts")
		_, err = d.cutters.ReportMixUp(d.wetWheel, &cutterv1.ReportMixUpRequest{RequestId: d.id(), Parts: []*cutterv1.BatchPart{{PieceId: one, Part: "9"}, {PieceId: chips, Part: "2"}}, Note: "x"})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "part")
	})
	t.Run("OK: a batch is looked at again, and what was mixed up stays so in each chain", func(t *testing.T) {
		if _, err := d.cutters.LookAgain(d.wetWheel, &cutterv1.LookAgainRequest{RequestId: d.id(), Parts: parts(one, chips)}); err != nil {
			t.Fatal(err)
		}
		req := &cutterv1.ReportMixUpRequest{RequestId: d.id(), Parts: parts(one, chips), Note: "the trays fell"}
		got, err := d.cutters.ReportMixUp(d.wetWheel, req)
		if err != nil || len(got.GetPieces()) != 2 || len(got.GetPieces()[1].GetParts()[0].GetMayBe()) != 2 {
			t.Fatalf("got %v, %v", got, err)
		}
		if again, err := d.cutters.ReportMixUp(d.wetWheel, req); err != nil || !proto.Equal(got, again) {
			t.Errorf("first %v, again %v, %v", got, again, err)
		}
		stone := d.cut(t, one)
		if words := d.chain(t, stone.GetId()); !says(words, "one of part 1 of piece 1, part 2 of piece 2") || !says(words, "Piece 2,") || says(words, "trays") {
			t.Errorf("got %q", words)
		}
	})
}

func TestPlannedAgainstActual(t *testing.T) {
	d := open(t)
	p := d.inHand(t, outright)
	piece := p.GetLines()[0].GetPieceId()
	draft := &typev1.PlanDraft{Label: "an oval and a freeform", Minutes: 300, Reason: "the bright zone", Stones: []*typev1.PlannedStone{
		{Label: "a", Outline: typev1.Outline_OUTLINE_OVAL, Size: mm(12, 9, 3), ChanceBp: 10_000, Worth: aud(740), MassUg: 610_000},
		{Label: "b", Outline: typev1.Outline_OUTLINE_FREEFORM, Size: mm(15, 8, 3), ChanceBp: 5_000, Worth: aud(420), MassUg: 660_000},
	}}
	made, err := d.cutters.MakePlan(d.wetWheel, &cutterv1.MakePlanRequest{RequestId: d.id(), PieceId: piece, Plan: draft})
	if err != nil {
		t.Fatal(err)
	}
	t.Run("refused: another cutter sees no plan; a worth in another currency", func(t *testing.T) {
		_, err := d.cutters.ListPlans(d.twoDops, &cutterv1.ListPlansRequest{PieceId: piece})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "piece_id")
		wrong := proto.CloneOf(draft)
		wrong.Stones[1].Worth.CurrencyCode = "EUR"
		_, err = d.cutters.MakePlan(d.wetWheel, &cutterv1.MakePlanRequest{RequestId: d.id(), PieceId: piece, Plan: wrong})
		tradetest.Refused(t, err, codes.InvalidArgument, "CURRENCY_DIFFERS", "plan.stones[1].worth.currency_code")
	})
	if _, err := d.cutters.ChoosePlan(d.wetWheel, &cutterv1.ChoosePlanRequest{RequestId: d.id(), PieceId: piece, PlanId: made.GetPlan().GetId(), Reason: "it pays"}); err != nil {
		t.Fatal(err)
	}
	stone := d.check(t, d.cut(t, piece))
	if _, err := d.cutters.PutStoneOnSale(d.wetWheel, &cutterv1.PutStoneOnSaleRequest{RequestId: d.id(), StoneId: stone.GetId(), Price: aud(700)}); err != nil {
		t.Fatal(err)
	}
	got, err := d.cutters.GetYield(d.wetWheel, &cutterv1.GetYieldRequest{ParcelId: p.GetId()})
	if err != nil {
		t.Fatal(err)
	}
	closes(t, got.GetYield())
	want := &cutterv1.PlannedActual{
		PieceId: piece, Label: "1", PlanId: made.GetPlan().GetId(), Revisions: 1, PlannedStones: 2, Stones: 1, ExpectedBp: 15_000,
		PlannedUg: 1_270_000, FinishedUg: 608_000, PlannedMinutes: 300, ExpectedWorth: aud(950), Worth: aud(700),
	}
	if y := got.GetYield(); len(y.GetPlanned()) != 1 || !proto.Equal(y.GetPlanned()[0], want) || !proto.Equal(y.GetAsked(), aud(700)) {
		t.Errorf("got %v", y)
	}
}

// TestRoughInWhichOthersShare: rough is sold on only by who owns it alone. Whatever form
// the miner's part has, it stays with its parcel, so that the miner can't be passed by.
func TestRoughInWhichOthersShare(t *testing.T) {
	d := open(t)
	both := d.Join(t, "bothends", memberv1.Role_ROLE_MINER, memberv1.Role_ROLE_CUTTER)
	d.wetWheel = both
	anew := func(p *typev1.Parcel) (*typev1.Parcel, error) {
		got, err := d.cutters.PublishRough(both, &cutterv1.PublishRoughRequest{
			RequestId: d.id(), Label: "P9", Total: mg(34_200), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: outright,
			Lines: []*cutterv1.RoughLine{{PieceId: p.GetLines()[0].GetPieceId(), Part: "1", Label: "a", Weighing: mg(34_200), Size: mm(46, 31, 14)}},
		})
		return got.GetParcel(), err
	}
	paid := func(t *testing.T, p *typev1.Parcel) {
		t.Helper()
		if _, err := d.Node.Decide(t.Context(), eventstore.Request{}, func(tx *eventstore.Tx) error {
			lot, err := command.Open(tx, stream.Parcel, p.GetId())
			if err != nil {
				return err
			}
			events, err := lot.State.Pay(&eventv1.Amount{Currency: "AUD", Minor: 160_000}, "bank")
			for _, e := range events {
				lot.Record(e)
			}
			return err
		}); err != nil {
			t.Fatal(err)
		}
	}
	placed := agreement(0, &typev1.Ratio{Party: "miner", Weight: 1}, &typev1.Ratio{Party: "cutter", Weight: 1})
	placedForNothing := agreement(0, &typev1.Ratio{Party: "cutter", Weight: 1})
	recouped := agreement(1600, &typev1.Ratio{Party: "cutter", Weight: 1})
	recouped.Tiers = append([]*typev1.Tier{{Form: &typev1.Tier_Recoup{Recoup: &typev1.Recoup{Party: "miner", Target: &typev1.Recoup_Amount{Amount: aud(100)}}}}}, recouped.Tiers...)
	later := agreement(1600, &typev1.Ratio{Party: "cutter", Weight: 1}, &typev1.Ratio{Party: "miner", Weight: 1})
	ceiling := proto.CloneOf(outright.Tiers[0])
	ceiling.GetSplit().Ceiling = aud(5000)
	later.Tiers = append([]*typev1.Tier{ceiling}, later.Tiers...)
	unpaid := proto.CloneOf(outright)
	unpaid.Title = typev1.Title_TITLE_WHEN_PAID
	for name, terms := range map[string]*typev1.Agreement{
		"placed under shares":                             placed,
		"placed, all proceeds the cutter's":               placedForNothing,
		"bought, the miner gets an amount of the sales":   recouped,
		"bought, the miner shares in what is above 50.00": later,
		"bought, the title moves when it is paid":         unpaid,
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			p := d.inHand(t, terms)
			_, err := anew(p)
			tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_YOURS_TO_SELL")
			if terms.GetPrice().GetUnits() == 0 {
				return
			}
			paid(t, p)
			if _, err = anew(p); terms == unpaid {
				if err != nil {
					t.Errorf("it is paid and the cutter's own: %v", err)
				}
				return
			}
			tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_YOURS_TO_SELL")
		})
	}
	t.Run("OK: sold on twice, a stone's chain shows every parcel its rough lay in, and the field's word", func(t *testing.T) {
		first, err := anew(d.inHand(t, outright))
		if err != nil {
			t.Fatal(err)
		}
		wetWheel := d.Join(t, "wetwheeltoo", memberv1.Role_ROLE_MINER, memberv1.Role_ROLE_CUTTER)
		handOver := func(id string, from, to context.Context) {
			t.Helper()
			if _, err := d.cutters.TakeParcel(to, &cutterv1.TakeParcelRequest{RequestId: d.id(), ParcelId: id}); err != nil {
				t.Fatal(err)
			}
			if _, err := d.miners.HandOverParcel(from, &minerv1.HandOverParcelRequest{RequestId: d.id(), ParcelId: id, Count: 1, Total: mg(34_200)}); err != nil {
				t.Fatal(err)
			}
			if _, err := d.cutters.ReceiveParcel(to, &cutterv1.ReceiveParcelRequest{RequestId: d.id(), ParcelId: id, Count: 1, Total: mg(34_200)}); err != nil {
				t.Fatal(err)
			}
		}
		handOver(first.GetId(), both, wetWheel)
		got, err := d.cutters.PublishRough(wetWheel, &cutterv1.PublishRoughRequest{
			RequestId: d.id(), Label: "P10", Total: mg(34_200), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: outright,
			Lines: []*cutterv1.RoughLine{{PieceId: first.GetLines()[0].GetPieceId(), Part: "a", Label: "b", Weighing: mg(34_200), Size: mm(46, 31, 14)}},
		})
		if err != nil {
			t.Fatal(err)
		}
		handOver(got.GetParcel().GetId(), wetWheel, d.twoDops)
		done, err := d.cutters.FinishStone(d.twoDops, d.finish(got.GetParcel().GetLines()[0].GetPieceId(), "b"))
		if err != nil {
			t.Fatal(err)
		}
		words := d.chain(t, done.GetStone().GetId())
		for _, parcel := range []string{"P1", "P9", "P10"} {
			if !says(words, "Parcel "+parcel+" listed") {
				t.Errorf("%s is missing of %q", parcel, words)
			}
		}
		for _, piece := range []string{"1", "a", "b"} {
			if !says(words, "Piece "+piece+",") {
				t.Errorf("piece %s is missing of %q", piece, words)
			}
		}
	})
}

func TestRoughAnew(t *testing.T) {
	d := open(t)
	both := d.Join(t, "bothends", memberv1.Role_ROLE_MINER, memberv1.Role_ROLE_CUTTER)
	wetWheel := d.wetWheel
	d.wetWheel = both
	first, second := d.inHand(t, outright), d.inHand(t, outright)
	line := func(p *typev1.Parcel, label string, mass int64) *cutterv1.RoughLine {
		return &cutterv1.RoughLine{PieceId: p.GetLines()[0].GetPieceId(), Part: "1", Label: label, Weighing: mg(mass), Size: mm(46, 31, 14)}
	}
	req := &cutterv1.PublishRoughRequest{
		RequestId: d.id(), Label: "P9", Total: mg(68_390), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: outright,
		Lines: []*cutterv1.RoughLine{line(first, "a", 34_190), line(second, "b", 34_200)},
	}
	t.Run("refused: rough in which the miner shares, and another's", func(t *testing.T) {
		shared := d.inHand(t, halves)
		wrong := proto.CloneOf(req)
		wrong.RequestId, wrong.Lines[0] = d.id(), line(shared, "a", 34_190)
		_, err := d.cutters.PublishRough(both, wrong)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_YOURS_TO_SELL")
		wrong.RequestId = d.id()
		_, err = d.cutters.PublishRough(d.twoDops, wrong)
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
	})
	listed, err := d.cutters.PublishRough(both, req)
	if err != nil {
		t.Fatal(err)
	}
	p := listed.GetParcel()
	t.Run("OK: no mass is in two balances", func(t *testing.T) {
		for _, of := range []*typev1.Parcel{first, second} {
			y, err := d.cutters.GetYield(both, &cutterv1.GetYieldRequest{ParcelId: of.GetId()})
			if err != nil {
				t.Fatal(err)
			}
			closes(t, y.GetYield())
			if of == first && (y.GetYield().GetMovedOnUg() != 34_190_000 || y.GetYield().GetUnexplainedUg() != 10_000) {
				t.Errorf("got %v", y)
			}
		}
	})
	t.Run("OK: a stone of the new parcel shows where its rough lay before", func(t *testing.T) {
		if _, err := d.cutters.TakeParcel(wetWheel, &cutterv1.TakeParcelRequest{RequestId: d.id(), ParcelId: p.GetId()}); err != nil {
			t.Fatal(err)
		}
		if _, err := d.miners.HandOverParcel(both, &minerv1.HandOverParcelRequest{RequestId: d.id(), ParcelId: p.GetId(), Count: 2, Total: mg(68_390)}); err != nil {
			t.Fatal(err)
		}
		if _, err := d.cutters.ReceiveParcel(wetWheel, &cutterv1.ReceiveParcelRequest{RequestId: d.id(), ParcelId: p.GetId(), Count: 2, Total: mg(68_390)}); err != nil {
			t.Fatal(err)
		}
		done, err := d.cutters.FinishStone(wetWheel, d.finish(p.GetLines()[0].GetPieceId(), "a"))
		if err != nil {
			t.Fatal(err)
		}
		words := d.chain(t, done.GetStone().GetId())
		if !says(words, "Parcel P1 listed") || !says(words, "Parcel P9 listed") || !says(words, "Part 1", "went into a new parcel") || !says(words, "Piece 1,") || !says(words, "Piece a,", "listed anew") {
			t.Errorf("got %q", words)
		}
	})
	t.Run("refused: taken back once it is sold", func(t *testing.T) {
		_, err := d.cutters.TakeRoughBack(both, &cutterv1.TakeRoughBackRequest{RequestId: d.id(), ParcelId: p.GetId()})
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_OFF_MARKET", "parcel_id")
	})
}
