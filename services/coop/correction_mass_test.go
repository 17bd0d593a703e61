package coop_test

import (
	"fmt"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
	"seamshare.example/services/view"
)

// bench is a parcel of one piece of 20 g, sawn into 1A, a stone by now, and 1B of 10 g; and
// the stock keeper, who puts masses right.
type bench struct {
	desks
	keeper cooptest.Person
	parcel cooptest.Parcel
	piece  string
	t      *testing.T
}

func openBench(t *testing.T) bench {
	t.Helper()
	d := openDesks(t)
	b := bench{desks: d, keeper: d.Add(t, d.Desk.Member, stockKeeper), parcel: d.Cut(t, d.billycart, d.wetWheel, 74000), t: t}
	b.piece = b.parcel.Stones[0].GetPieceId()
	return b
}

// work does a step on 1B: out 0 was not weighed.
func (b bench) work(step typev1.Step, reason typev1.Reason, in, out int64) uint64 {
	b.t.Helper()
	req := &cutterv1.WorkPartRequest{RequestId: command.NewID(), PieceId: b.piece, Part: "1B", Step: step, Reason: reason, NotWeighed: out == 0}
	if in > 0 {
		req.MassIn = cooptest.Grams(in)
	}
	if out > 0 {
		req.PartsOut = []*cutterv1.PartOut{{Name: "1B", Weighing: cooptest.Grams(out)}}
	}
	got, err := b.wetWheel.Cutter().WorkPart(b.t.Context(), req)
	if err != nil {
		b.t.Fatal(err)
	}
	return got.GetPosition()
}

func (b bench) correct(change func(*coopv1.CorrectMassRequest)) (*coopv1.Correction, error) {
	req := &coopv1.CorrectMassRequest{RequestId: command.NewID(), Reason: "the pan was on the scale"}
	change(req)
	got, err := b.keeper.Coop().CorrectMass(b.t.Context(), req)
	return got.GetCorrection(), err
}

// part puts the mass of 1B right, as it came out of a step.
func (b bench) part(at uint64, ug int64) (*coopv1.Correction, error) {
	return b.correct(func(r *coopv1.CorrectMassRequest) { r.Corrects, r.Part, r.Weighing = at, "1B", cooptest.Grams(ug) })
}

func (b bench) must(_ any, err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

// closes is the parcel's balance, all of whose mass is accounted for.
func (b bench) closes() view.Yield {
	b.t.Helper()
	y := b.yield(b.t, b.parcel)
	if sum := y.FinishedUg + y.OffcutUg + y.UncutUg + y.LossUg + y.UnexplainedUg + y.MovedOnUg; sum != y.BoughtUg {
		b.t.Errorf("the masses add up to %d, not %d: %+v", sum, y.BoughtUg, y)
	}
	return y
}

func (b bench) count(thing, part string, w *typev1.Weighing) {
	b.t.Helper()
	b.must(b.keeper.Coop().MoveStock(b.t.Context(), &coopv1.MoveStockRequest{RequestId: command.NewID(), Thing: thing, HolderId: b.Desk.Member, Place: thing}))
	got, err := b.keeper.Coop().CountStock(b.t.Context(), &coopv1.CountStockRequest{
		RequestId: command.NewID(), Place: thing, Found: []*coopv1.CountedThing{{Thing: thing, Part: part, Weighing: w}},
	})
	b.must(got, err)
}

// TestCorrectedMassIsCarriedOn: what went on from a wrong mass without being weighed
// follows the right one, up to the first step that was weighed after.
func TestCorrectedMassIsCarriedOn(t *testing.T) {
	b := openBench(t)
	sawn := b.at(t, "piece/"+b.piece, "piece.v1.Worked")
	b.work(typev1.Step_STEP_DOP, 0, 0, 0) // not weighed
	b.must(b.part(sawn, 9_900_000))
	if y := b.closes(); y.UncutUg != 9_900_000 || y.UnexplainedUg != 0 {
		t.Fatalf("through a step that wasn't weighed: %+v", y)
	}
	ground := b.work(typev1.Step_STEP_GRIND, typev1.Reason_REASON_GROUND_OFF, 0, 9_000_000)
	was := b.closes()
	c, err := b.part(sawn, 9_950_000)
	b.must(c, err)
	if y := b.closes(); y.UncutUg != 9_000_000 || y.UnexplainedUg != 0 || y.LossUg != was.LossUg || lostBy(y, 1) != lostBy(was, 1)-50_000 || lostBy(y, 2) != lostBy(was, 2)+50_000 {
		t.Errorf("the grinding that went on from it took so much more: %+v, it was %+v", y, was)
	}
	if c.GetUnexplainedUg() != 0 {
		t.Errorf("nothing is unexplained, and the answer says %d", c.GetUnexplainedUg())
	}
	_, err = b.part(sawn, 8_999_000)
	tradetest.Refused(t, err, codes.InvalidArgument, "HEAVIER_THAN_BEFORE", "weighing.mass_ug")
	t.Run("a step that weighed it again before: the difference is unexplained, and so it says", func(t *testing.T) {
		b.work(typev1.Step_STEP_GRIND, typev1.Reason_REASON_GROUND_OFF, 9_010_000, 8_000_000)
		was := b.closes()
		c, err := b.part(ground, 9_005_000)
		b.must(c, err)
		if y := b.closes(); y.UncutUg != 8_000_000 || y.UnexplainedUg != was.UnexplainedUg+5_000 || c.GetUnexplainedUg() != 5_000 {
			t.Errorf("got %+v, it was %+v, the answer says %d", y, was, c.GetUnexplainedUg())
		}
	})
	t.Run("what went in is put right by itself", func(t *testing.T) {
		was, last := b.closes(), b.at(t, "piece/"+b.piece, "piece.v1.Worked")
		in := func(ug int64) error {
			_, err := b.correct(func(r *coopv1.CorrectMassRequest) {
				r.Corrects, r.Part, r.WentIn, r.Weighing = last, "1B", true, cooptest.Grams(ug)
			})
			return err
		}
		b.must(nil, in(9_005_000))
		if y := b.closes(); y.UnexplainedUg != was.UnexplainedUg+5_000 || lostBy(y, 2) != lostBy(was, 2)-5_000 {
			t.Errorf("got %+v, it was %+v", y, was)
		}
		tradetest.Refused(t, in(7_000_000), codes.InvalidArgument, "HEAVIER_THAN_BEFORE", "weighing.mass_ug")
		tradetest.Refused(t, in(500_000_000), codes.FailedPrecondition, "WEIGHINGS_DIFFER", "weighing.mass_ug")
		_, err := b.correct(func(r *coopv1.CorrectMassRequest) {
			r.Corrects, r.Part, r.WentIn, r.Weighing = sawn, "1", true, cooptest.Grams(19_000_000)
		})
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT") // it was not weighed again
	})
}

// TestCorrectionsTakeNoMassFromNowhere: where nothing was lost, no more came out than went
// in; and only into a step went anything.
func TestCorrectionsTakeNoMassFromNowhere(t *testing.T) {
	b := openBench(t)
	dop := b.work(typev1.Step_STEP_DOP, 0, 0, 10_000_000) // weighed, and nothing was lost
	_, err := b.part(dop, 1_000_000_000)
	tradetest.Refused(t, err, codes.InvalidArgument, "HEAVIER_THAN_BEFORE", "weighing.mass_ug")
	b.must(b.part(dop, 9_990_000))
	thing := "piece/" + b.piece
	b.count(thing, "1B", cooptest.Grams(9_980_000))
	_, err = b.correct(func(r *coopv1.CorrectMassRequest) {
		r.Corrects, r.Part, r.WentIn, r.Weighing = b.at(t, thing, "piece.v1.Counted"), "1B", true, cooptest.Grams(9_000_000)
	})
	tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT", "went_in")
	if y := b.closes(); y.UncutUg != 9_980_000 || y.UnexplainedUg != 20_000 {
		t.Errorf("got %+v", y)
	}
	t.Run("refused by its name: what says nothing of the record", func(t *testing.T) {
		id := b.parcel.Stones[0].GetId()
		for field, with := range map[string]func(*coopv1.CorrectMassRequest){
			"part":     func(r *coopv1.CorrectMassRequest) { r.Part = "no such part" },
			"went_in":  func(r *coopv1.CorrectMassRequest) { r.WentIn = true },
			"stone_id": func(r *coopv1.CorrectMassRequest) { r.StoneId = "another" },
		} {
			_, err := b.correct(func(r *coopv1.CorrectMassRequest) {
				r.Corrects, r.Weighing = b.at(t, "stone/"+id, "stone.v1.Finished"), &typev1.Weighing{MassUg: 604_000, DivisionUg: 2_000}
				with(r)
			})
			tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT", field)
		}
		_, err := b.part(b.at(t, thing, "piece.v1.Described"), 20_000_000)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT", "part")
	})
}

// TestCorrectionsOfCounts: what a stock count found is put right like any weighing, and
// the exception says what still differs.
func TestCorrectionsOfCounts(t *testing.T) {
	b := openBench(t)
	thing := "piece/" + b.piece
	b.count(thing, "1B", cooptest.Grams(9_800_000))
	counted := b.at(t, thing, "piece.v1.Counted")
	if e := of(t, b.keeper, thing); e == nil || !strings.Contains(e.GetWhat(), "0.2 g less") {
		t.Fatalf("got %v", e)
	}
	b.must(b.part(counted, 9_900_000))
	if y := b.closes(); y.UncutUg != 9_900_000 || y.UnexplainedUg != 100_000 {
		t.Errorf("got %+v", y)
	}
	if e := of(t, b.keeper, thing); e == nil || !strings.Contains(e.GetWhat(), "0.1 g less") {
		t.Errorf("got %v", e)
	}
	t.Run("what it was held against is put right: nothing differs any more", func(t *testing.T) {
		c, err := b.part(b.at(t, thing, "piece.v1.Worked"), 9_900_000)
		b.must(c, err)
		if y := b.closes(); y.UncutUg != 9_900_000 || y.UnexplainedUg != 0 || c.GetUnexplainedUg() != -100_000 {
			t.Errorf("got %+v, the answer says %d", y, c.GetUnexplainedUg())
		}
		if e := of(t, b.keeper, thing); e != nil {
			t.Errorf("there is still %v", e)
		}
	})
	t.Run("of a stone, by its own record", func(t *testing.T) {
		id := b.parcel.Stones[0].GetId()
		b.count("stone/"+id, "", &typev1.Weighing{MassUg: 590_000, DivisionUg: 2_000})
		_, err := b.part(b.at(t, thing, "piece.v1.Counted"), 604_000)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT", "corrects")
		if !strings.Contains(err.Error(), "stone/"+id) {
			t.Errorf("it doesn't say where the mass stands: %v", err)
		}
		b.must(b.correct(func(r *coopv1.CorrectMassRequest) {
			r.Corrects, r.Weighing = b.at(t, "stone/"+id, "stone.v1.Counted"), &typev1.Weighing{MassUg: 604_000, DivisionUg: 2_000}
		}))
		if y := b.closes(); y.FinishedUg != 604_000 || y.UnexplainedUg != 4_000 {
			t.Errorf("got %+v", y)
		}
		b.weighs(id, 604_000)
		if e := of(t, b.keeper, thing); e == nil || !strings.Contains(e.GetWhat(), "0.004 g less") {
			t.Errorf("got %v", e)
		}
	})
}

// weighs holds a stone's mass in the books, and what a filter finds it by.
func (b bench) weighs(id string, ug int64) {
	b.t.Helper()
	got, err := b.wetWheel.Cutter().GetStone(b.t.Context(), &cutterv1.GetStoneRequest{StoneId: id})
	b.must(got, err)
	if is := got.GetStone().GetWeighing().GetMassUg(); is != ug {
		b.t.Errorf("the stone weighs %d, want %d", is, ug)
	}
	if got.GetStone().GetState() != typev1.StoneState_STONE_STATE_ON_SALE {
		return
	}
	found, err := b.other.Jeweller().ListStock(b.t.Context(), &jewellerv1.ListStockRequest{Filter: &jewellerv1.StockFilter{MinMassUg: ug, MaxMassUg: ug}})
	b.must(found, err)
	if n := len(found.GetStones()); n != 1 {
		b.t.Errorf("%d stones are found that weigh so much, want 1", n)
	}
}

// TestCorrectionsOfRecuts: the mass and size of a stone that was cut again.
func TestCorrectionsOfRecuts(t *testing.T) {
	b := openBench(t)
	st := b.parcel.Stones[0]
	b.must(b.wetWheel.Cutter().TakeOffSale(t.Context(), &cutterv1.TakeOffSaleRequest{RequestId: command.NewID(), StoneId: st.GetId()}))
	recut := func(ug int64) {
		b.must(b.wetWheel.Cutter().RecutStone(t.Context(), &cutterv1.RecutStoneRequest{
			RequestId: command.NewID(), StoneId: st.GetId(), Weighing: &typev1.Weighing{MassUg: ug, DivisionUg: 2_000}, Size: st.GetSize(),
			Outline: st.GetOutline(), Reason: typev1.Reason_REASON_CHIPPED_EDGE, Why: "an edge chipped",
		}))
	}
	recut(570_000)
	first := b.at(t, "stone/"+st.GetId(), "stone.v1.Recut")
	mass := func(at uint64, ug int64) error {
		_, err := b.correct(func(r *coopv1.CorrectMassRequest) {
			r.Corrects, r.Weighing = at, &typev1.Weighing{MassUg: ug, DivisionUg: 2_000}
		})
		return err
	}
	b.must(nil, mass(first, 580_000))
	if y := b.closes(); y.FinishedUg != 580_000 || lostBy(y, chipped) != 28_000 || y.UnexplainedUg != 0 {
		t.Errorf("got %+v", y)
	}
	b.weighs(st.GetId(), 580_000)
	tradetest.Refused(t, mass(first, 610_000), codes.InvalidArgument, "HEAVIER_THAN_BEFORE", "weighing.mass_ug")
	t.Run("the first of two: the second lost so much more", func(t *testing.T) {
		recut(550_000)
		b.must(nil, mass(first, 590_000))
		if y := b.closes(); y.FinishedUg != 550_000 || lostBy(y, chipped) != 58_000 || y.UnexplainedUg != 0 {
			t.Errorf("got %+v", y)
		}
		b.weighs(st.GetId(), 550_000)
	})
	t.Run("its size", func(t *testing.T) {
		size := func(at uint64, um int64) {
			b.must(b.keeper.Coop().CorrectSize(t.Context(), &coopv1.CorrectSizeRequest{
				RequestId: command.NewID(), Corrects: at, Size: &typev1.Size{LengthUm: um, WidthUm: 9_000, DepthUm: 3_000}, Reason: "read the caliper wrong",
			}))
		}
		size(b.at(t, "stone/"+st.GetId(), "stone.v1.Recut"), 11_000)
		got, err := b.wetWheel.Cutter().GetStone(t.Context(), &cutterv1.GetStoneRequest{StoneId: st.GetId()})
		b.must(got, err)
		if got.GetStone().GetSize().GetLengthUm() != 11_000 {
			t.Errorf("it measures %v", got.GetStone().GetSize())
		}
		size(b.at(t, "stone/"+st.GetId(), "stone.v1.Finished"), 13_000)
		if got, err = b.wetWheel.Cutter().GetStone(t.Context(), &cutterv1.GetStoneRequest{StoneId: st.GetId()}); err != nil || got.GetStone().GetSize().GetLengthUm() != 11_000 {
			t.Errorf("cut again since, it measures %v, %v", got.GetStone().GetSize(), err)
		}
	})
}

// TestCorrectionsOfListings: a parcel's total is held against its pieces, and what was
// weighed at the handover against the right total.
func TestCorrectionsOfListings(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	b := bench{desks: d, keeper: d.Add(t, d.Desk.Member, stockKeeper), t: t}
	listed, err := d.ninth.Miner().PublishParcel(ctx, publishing(outright(38000)))
	b.must(listed, err)
	id, total := listed.GetParcel().GetId(), listed.GetParcel().GetTotal()
	pieceID := listed.GetParcel().GetLines()[0].GetPieceId()
	off := func(ug int64) *typev1.Weighing {
		return &typev1.Weighing{MassUg: total.GetMassUg() + ug, DivisionUg: total.GetDivisionUg()}
	}
	b.must(d.wetWheel.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: id}))
	b.must(d.ninth.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: id, Count: 1, Total: off(500_000)}))
	b.must(d.wetWheel.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: id, Count: 1, Total: off(400_000)}))
	says := func(t *testing.T, words string) {
		t.Helper()
		e := of(t, b.keeper, "parcel/"+id)
		if e.GetWhat() != words {
			t.Errorf("the exception says %q, want %q", e.GetWhat(), words)
		}
		got, err := d.wetWheel.Cutter().GetParcel(ctx, &cutterv1.GetParcelRequest{ParcelId: id})
		if err != nil || got.GetParcel().GetHandover().GetBeyondTolerance() != (words != "") {
			t.Errorf("the parcel says %v, %v", got.GetParcel().GetHandover(), err)
		}
	}
	says(t, "the buyer weighed 0.4 g more than the books say")
	word := d.at(t, "parcel/"+id, "parcel.v1.HandoverWeighed")
	t.Run("OK: the buyer's word at the handover", func(t *testing.T) {
		b.must(b.correct(func(r *coopv1.CorrectMassRequest) { r.Corrects, r.Weighing = word, off(500_000) }))
		says(t, "the buyer weighed 0.5 g more than the books say")
	})
	t.Run("refused: a total that the pieces don't add up to, and a total beside another record", func(t *testing.T) {
		_, err := b.correct(func(r *coopv1.CorrectMassRequest) {
			r.Corrects, r.Weighing = d.at(t, "parcel/"+id, "parcel.v1.Listed"), off(500_000)
		})
		tradetest.Refused(t, err, codes.InvalidArgument, "MASSES_DONT_ADD_UP", "total.mass_ug")
		_, err = b.correct(func(r *coopv1.CorrectMassRequest) { r.Corrects, r.Weighing, r.Total = word, off(1), off(1) })
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOTHING_TO_CORRECT", "total")
	})
	t.Run("OK: piece and total together; then nothing differs at the handover", func(t *testing.T) {
		b.must(b.correct(func(r *coopv1.CorrectMassRequest) {
			r.Corrects, r.Weighing, r.Total = d.at(t, "piece/"+pieceID, "piece.v1.Described"), off(500_000), off(500_000)
		}))
		says(t, "")
		got, err := d.ninth.Miner().GetParcel(ctx, &minerv1.GetParcelRequest{ParcelId: id})
		b.must(got, err)
		if p := got.GetParcel(); p.GetTotal().GetMassUg() != total.GetMassUg()+500_000 || p.GetLines()[0].GetWeighing().GetMassUg() != total.GetMassUg()+500_000 {
			t.Errorf("the listing says %v", p)
		}
	})
	t.Run("OK: the total alone, within what the scales allow", func(t *testing.T) {
		b.must(b.correct(func(r *coopv1.CorrectMassRequest) {
			r.Corrects, r.Weighing = d.at(t, "parcel/"+id, "parcel.v1.Listed"), off(500_000+total.GetDivisionUg())
		}))
		got, err := d.ninth.Miner().GetParcel(ctx, &minerv1.GetParcelRequest{ParcelId: id})
		if err != nil || got.GetParcel().GetTotal().GetMassUg() != total.GetMassUg()+500_000+total.GetDivisionUg() {
			t.Errorf("the listing says %v, %v", got, err)
		}
	})
}

// TestCorrectionsOfLots: a counted lot's mass as it was made and as it was counted; what is
// left since is so much more.
func TestCorrectionsOfLots(t *testing.T) {
	l := openLots(t)
	correct := func(event string, ug int64) (*coopv1.Correction, error) {
		got, err := l.keeper.Coop().CorrectMass(t.Context(), &coopv1.CorrectMassRequest{
			RequestId: command.NewID(), Corrects: l.desks.at(t, "lot/"+l.id, event), Weighing: cooptest.Grams(ug), Reason: "the pan was on the scale",
		})
		return got.GetCorrection(), err
	}
	is := func(t *testing.T, left, unexplained int64) {
		t.Helper()
		if s := l.show(); s.GetWeighing().GetMassUg() != left || s.GetUnexplainedUg() != unexplained {
			t.Errorf("%d is left and %d unexplained, want %d and %d", s.GetWeighing().GetMassUg(), s.GetUnexplainedUg(), left, unexplained)
		}
	}
	_, err := correct("lot.v1.Made", 21_000_000)
	tradetest.Refused(t, err, codes.InvalidArgument, "MASSES_DONT_ADD_UP", "weighing.mass_ug")
	if _, err := correct("lot.v1.Made", 20_010_000); err != nil {
		t.Fatal(err)
	}
	is(t, 20_010_000, 0)
	l.move("safe")
	if _, err := l.keeper.Coop().CountStock(t.Context(), &coopv1.CountStockRequest{
		RequestId: command.NewID(), Place: "safe", Found: []*coopv1.CountedThing{{Thing: "lot/" + l.id, Count: 2, Weighing: cooptest.Grams(19_000_000)}},
	}); err != nil {
		t.Fatal(err)
	}
	is(t, 19_000_000, 1_010_000)
	if c, err := correct("lot.v1.Made", 20_000_000); err != nil || c.GetUnexplainedUg() != -10_000 {
		t.Fatalf("got %v, %v", c, err)
	}
	is(t, 19_000_000, 1_000_000)
	if e := l.exception("count difference"); e == nil || !strings.Contains(e.GetWhat(), "weighs 1 g less") {
		t.Errorf("got %v", e)
	}
	l.order(1) // half of what the count found
	if _, err := correct("lot.v1.Counted", 20_000_000); err != nil {
		t.Fatal(err)
	}
	is(t, 10_500_000, 0)
	if e := l.exception("count difference"); e != nil {
		t.Errorf("there is still %v", e)
	}
	_, err = correct("lot.v1.Counted", 9_500_000)
	tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_SO_MANY", "weighing.mass_ug")
	t.Run("a slip is put right again, and no way round leads to less than was sold", func(t *testing.T) {
		for _, ug := range []int64{200_000_000, 20_000_000, 12_000_000} {
			if _, err := correct("lot.v1.Counted", ug); err != nil {
				t.Fatal(err)
			}
			is(t, ug-9_500_000, 20_000_000-ug)
		}
		_, err = correct("lot.v1.Counted", 9_500_000)
		tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_SO_MANY", "weighing.mass_ug")
		if _, err := correct("lot.v1.Counted", 20_000_000); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("sold out since: what more there was is unexplained", func(t *testing.T) {
		l.order(1)
		c, err := correct("lot.v1.Counted", 19_900_000)
		if err != nil || c.GetUnexplainedUg() != 0 { // less was missing at the count, and more as the last was sold
			t.Errorf("got %v, %v", c, err)
		}
	})
}

// TestCorrectionsOfRoughFromElsewhere: a piece that was a part of another, or was taken out
// of a group, weighs the same in both balances.
func TestCorrectionsOfRoughFromElsewhere(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	b := bench{desks: d, keeper: d.Add(t, d.Desk.Member, stockKeeper), t: t}
	both := d.Join(t, "Bench and Claim", cutter, miner)
	size := &typev1.Size{LengthUm: 30_000, WidthUm: 20_000, DepthUm: 9_000}
	described := func(pieceID string, ug, total int64) error {
		_, err := b.correct(func(r *coopv1.CorrectMassRequest) {
			r.Corrects, r.Weighing = d.at(t, "piece/"+pieceID, "piece.v1.Described"), cooptest.Grams(ug)
			if total > 0 {
				r.Total = cooptest.Grams(total)
			}
		})
		return err
	}
	balance := func(t *testing.T, parcelID string) view.Yield {
		t.Helper()
		b.parcel = cooptest.Parcel{ID: parcelID}
		return b.closes()
	}
	t.Run("an off-cut listed anew", func(t *testing.T) {
		old := d.CutUnder(t, d.billycart, both, outright(160000), 74000)
		d.pay(t, old, 160000)
		listed, err := both.Cutter().PublishRough(ctx, &cutterv1.PublishRoughRequest{
			RequestId: command.NewID(), Label: "P9", Total: cooptest.Grams(10_000_000), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: outright(9000),
			Lines: []*cutterv1.RoughLine{{PieceId: old.Stones[0].GetPieceId(), Part: "1B", Label: "a", Weighing: cooptest.Grams(10_000_000), Size: size}},
		})
		b.must(listed, err)
		id, pieceID := listed.GetParcel().GetId(), listed.GetParcel().GetLines()[0].GetPieceId()
		tradetest.Refused(t, described(pieceID, 9_900_000, 0), codes.InvalidArgument, "MASSES_DONT_ADD_UP", "total.mass_ug")
		tradetest.Refused(t, described(pieceID, 500_000_000, 500_000_000), codes.FailedPrecondition, "WEIGHINGS_DIFFER", "weighing.mass_ug")
		b.must(nil, described(pieceID, 9_900_000, 9_900_000))
		if y := balance(t, id); y.BoughtUg != 9_900_000 || y.UncutUg != 9_900_000 {
			t.Errorf("the new parcel has %+v", y)
		}
		if y := balance(t, old.ID); y.MovedOnUg != 9_900_000 || y.UnexplainedUg != 100_000 {
			t.Errorf("the old parcel has %+v", y)
		}
	})
	t.Run("a piece out of a group", func(t *testing.T) {
		listing := publishing(outright(38000))
		listing.Pieces[0].Count, listing.Pieces[0].Size = 5, nil
		listed, err := d.ninth.Miner().PublishParcel(ctx, listing)
		b.must(listed, err)
		id := listed.GetParcel().GetId()
		opened, err := d.ninth.Miner().OpenLine(ctx, &minerv1.OpenLineRequest{
			RequestId: command.NewID(), ParcelId: id, PieceId: listed.GetParcel().GetLines()[0].GetPieceId(), Left: cooptest.Grams(14_000_000),
			Pieces: []*typev1.TakenOut{{Label: "1a", Weighing: cooptest.Grams(6_000_000), Size: size}},
		})
		b.must(opened, err)
		group, piece := opened.GetParcel().GetLines()[0].GetPieceId(), opened.GetParcel().GetLines()[1].GetPieceId()
		left := d.at(t, "piece/"+group, "piece.v1.Opened")
		err = described(piece, 6_100_000, 0) // then more came out of the group than was in it
		tradetest.Refused(t, err, codes.FailedPrecondition, "WEIGHINGS_DIFFER", "weighing.mass_ug")
		if !strings.Contains(err.Error(), fmt.Sprintf("record %d first", left)) {
			t.Errorf("it doesn't say what must be corrected first: %v", err)
		}
		b.must(b.correct(func(r *coopv1.CorrectMassRequest) { r.Corrects, r.Weighing = left, cooptest.Grams(13_900_000) }))
		if y := balance(t, id); y.BoughtUg != 20_000_000 || y.UncutUg != 19_900_000 || y.UnexplainedUg != 100_000 {
			t.Errorf("got %+v", y)
		}
		b.must(nil, described(piece, 6_100_000, 0))
		if y := balance(t, id); y.BoughtUg != 20_000_000 || y.UncutUg != 20_000_000 || y.UnexplainedUg != 0 {
			t.Errorf("got %+v", y)
		}
		got, err := d.ninth.Miner().GetParcel(ctx, &minerv1.GetParcelRequest{ParcelId: id})
		b.must(got, err)
		if l := got.GetParcel().GetLines(); l[0].GetWeighing().GetMassUg() != 13_900_000 || l[1].GetWeighing().GetMassUg() != 6_100_000 {
			t.Errorf("the listing says %v", l)
		}
	})
}
