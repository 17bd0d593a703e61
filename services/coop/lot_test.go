package coop_test

import (
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore/merkle"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

// lots is a parcel of the demo's first with a counted lot of its off-cuts, two of 10 g
// each, on sale at 10.00 a piece.
type lots struct {
	desks
	keeper cooptest.Person
	parcel cooptest.Parcel
	id     string
	at     *testing.T
}

func openLots(t *testing.T) lots {
	t.Helper()
	d := openDesks(t)
	l := lots{desks: d, keeper: d.Add(t, d.Desk.Member, stockKeeper), parcel: d.Cut(t, d.billycart, d.wetWheel, 74000, 42000), at: t}
	made, err := d.wetWheel.Cutter().MakeLot(t.Context(), &cutterv1.MakeLotRequest{
		RequestId: command.NewID(), Label: "low end", Weighing: cooptest.Grams(20_000_000), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
		Sources: []*typev1.LotSource{l.offcut(0, 10_000_000), l.offcut(1, 10_000_000)},
	})
	l.must(err)
	l.id = made.GetLot().GetId()
	_, err = d.wetWheel.Cutter().PutLotOnSale(t.Context(), &cutterv1.PutLotOnSaleRequest{RequestId: command.NewID(), LotId: l.id, Unit: typev1.Unit_UNIT_PIECE, Price: cooptest.AUD(1000)})
	l.must(err)
	return l
}

func (l lots) must(err error) {
	l.at.Helper()
	if err != nil {
		l.at.Fatal(err)
	}
}

func (l lots) offcut(i int, ug int64) *typev1.LotSource {
	return &typev1.LotSource{PieceId: l.parcel.Stones[i].GetPieceId(), Part: string(rune('1'+i)) + "B", Count: 1, Weighing: cooptest.Grams(ug)}
}

func (l lots) order(count uint32) *jewellerv1.Order {
	l.at.Helper()
	got, err := l.other.Jeweller().PlaceOrder(l.at.Context(), &jewellerv1.PlaceOrderRequest{RequestId: command.NewID(), Lots: []*jewellerv1.LotItem{
		{LotId: l.id, Count: count, Unit: typev1.Unit_UNIT_PIECE, Price: cooptest.AUD(1000)},
	}})
	l.must(err)
	return got.GetOrder()
}

func (l lots) back(o *jewellerv1.Order, count uint32, ug int64) {
	l.at.Helper()
	_, err := l.wetWheel.Cutter().AcceptLotReturn(l.at.Context(), &cutterv1.AcceptLotReturnRequest{
		RequestId: command.NewID(), OrderId: o.GetId(), LotId: l.id, Count: count, Weighing: cooptest.Grams(ug), Why: "too pale",
	})
	l.must(err)
}

func (l lots) unmake(weighed ...*typev1.LotSource) (*typev1.Lot, error) {
	got, err := l.wetWheel.Cutter().UnmakeLot(l.at.Context(), &cutterv1.UnmakeLotRequest{RequestId: command.NewID(), LotId: l.id, Why: "sorted anew", Weighed: weighed})
	return got.GetLot(), err
}

func (l lots) show() *typev1.Lot {
	l.at.Helper()
	got, err := l.wetWheel.Cutter().GetLot(l.at.Context(), &cutterv1.GetLotRequest{LotId: l.id})
	l.must(err)
	return got.GetLot()
}

func (l lots) exception(kind string) *coopv1.Exception {
	l.at.Helper()
	for _, e := range exceptions(l.at, l.keeper, false) {
		if e.GetKind() == kind && e.GetThing() == "lot/"+l.id {
			return e
		}
	}
	return nil
}

func (l lots) custody() string {
	l.at.Helper()
	got, err := l.keeper.Coop().ListCustody(l.at.Context(), &coopv1.ListCustodyRequest{PageSize: 200})
	l.must(err)
	for token := ""; ; token = got.GetNextPageToken() {
		if token != "" {
			got, err = l.keeper.Coop().ListCustody(l.at.Context(), &coopv1.ListCustodyRequest{PageSize: 200, PageToken: token})
			l.must(err)
		}
		for _, c := range got.GetCustody() {
			if c.GetThing() == "lot/"+l.id {
				return c.GetHolderId() + " " + c.GetPlace()
			}
		}
		if got.GetNextPageToken() == "" {
			return "nobody"
		}
	}
}

func (l lots) move(place string) {
	l.at.Helper()
	_, err := l.keeper.Coop().MoveStock(l.at.Context(), &coopv1.MoveStockRequest{RequestId: command.NewID(), Thing: "lot/" + l.id, HolderId: l.Desk.Member, Place: place})
	l.must(err)
}

// TestUnmakeLighterLot: what came back lighter isn't hidden as the lot is unmade.
func TestUnmakeLighterLot(t *testing.T) {
	l := openLots(t)
	l.back(l.order(2), 2, 19_000_000)
	e := l.exception("unexplained mass")
	if e == nil || len(e.GetMemberIds()) != 1 || e.GetMemberIds()[0] != l.wetWheel.Member {
		t.Fatalf("a lot that is 1 g lighter is no exception: %v", e)
	}
	_, err := l.unmake()
	tradetest.Refused(t, err, codes.InvalidArgument, "MASSES_DONT_ADD_UP", "weighed")
	_, err = l.unmake(l.offcut(0, 9_900_000))
	tradetest.Refused(t, err, codes.InvalidArgument, "MASSES_DONT_ADD_UP", "weighed")
	if y := l.yield(t, l.parcel); y.UnexplainedUg != 0 || y.MovedOnUg != 20_000_000 {
		t.Errorf("a refusal changed the yield: %+v", y)
	}
	if _, err := l.unmake(l.offcut(0, 9_000_000)); err != nil {
		t.Fatal(err)
	}
	if y := l.yield(t, l.parcel); y.UnexplainedUg != 1_000_000 || y.MovedOnUg != 0 || y.BoughtUg != y.FinishedUg+y.OffcutUg+y.UncutUg+y.LossUg+y.UnexplainedUg {
		t.Errorf("got %+v", y)
	}
	if e := l.exception("unexplained mass"); e != nil {
		t.Errorf("an unmade lot is still an exception, beside its parcel's: %v", e)
	}
	if n := kinds(exceptions(t, l.keeper, false)); n["unexplained mass"] != 1 || n["count difference"] != 1 {
		t.Errorf("got %v", n)
	}
}

// TestMoneyOfUnmadeLot: what is still to be paid back for a lot's portions stays in the
// records' sums when what went into the lot is no longer part of it.
func TestMoneyOfUnmadeLot(t *testing.T) {
	owed := func(l lots, count uint32, ug int64) {
		t.Helper()
		o := l.order(count)
		_, err := l.desk1.Coop().RecordOrderPayment(t.Context(), &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: o.GetId(), Amount: cooptest.AUD(40), Reference: "transfer"})
		l.must(err)
		l.back(o, count, ug)
		_, err = l.unmake()
		l.must(err)
		l.recomputes(t)
	}
	t.Run("OK: of off-cuts", func(t *testing.T) { owed(openLots(t), 2, 20_000_000) })
	t.Run("OK: of a stone", func(t *testing.T) {
		l := openLots(t)
		s := l.parcel.Stones[0]
		_, err := l.wetWheel.Cutter().TakeOffSale(t.Context(), &cutterv1.TakeOffSaleRequest{RequestId: command.NewID(), StoneId: s.GetId()})
		l.must(err)
		made, err := l.wetWheel.Cutter().MakeLot(t.Context(), &cutterv1.MakeLotRequest{
			RequestId: command.NewID(), Label: "low end", Weighing: s.GetWeighing(), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
			Sources: []*typev1.LotSource{{StoneId: s.GetId(), Count: 1}},
		})
		l.must(err)
		l.id = made.GetLot().GetId()
		_, err = l.wetWheel.Cutter().PutLotOnSale(t.Context(), &cutterv1.PutLotOnSaleRequest{RequestId: command.NewID(), LotId: l.id, Unit: typev1.Unit_UNIT_PIECE, Price: cooptest.AUD(1000)})
		l.must(err)
		owed(l, 1, s.GetWeighing().GetMassUg())
	})
}

// TestCloseLotException: what follows from a lot's sums is looked into as a parcel's is.
func TestCloseLotException(t *testing.T) {
	l := openLots(t)
	l.back(l.order(2), 2, 19_000_000)
	e := l.exception("unexplained mass")
	_, err := l.keeper.Coop().CloseException(t.Context(), &coopv1.CloseExceptionRequest{RequestId: command.NewID(), ExceptionId: e.GetId(), Note: "they had lain in water"})
	l.must(err)
	if left := l.exception("unexplained mass"); left != nil {
		t.Errorf("left %v", left)
	}
}

// TestCountLot: a stock count weighs and counts what is left of a lot.
func TestCountLot(t *testing.T) {
	l := openLots(t)
	l.move("safe")
	count := func(n uint32, w *typev1.Weighing) (*coopv1.StockCount, error) {
		got, err := l.keeper.Coop().CountStock(t.Context(), &coopv1.CountStockRequest{
			RequestId: command.NewID(), Place: "safe", Found: []*coopv1.CountedThing{{Thing: "lot/" + l.id, Count: n, Weighing: w}},
		})
		return got.GetCount(), err
	}
	t.Run("OK: as the books say, no word of it", func(t *testing.T) {
		got, err := count(0, cooptest.Grams(20_000_000))
		if err != nil || len(got.GetDifferences()) != 0 || l.exception("count difference") != nil {
			t.Errorf("got %v, %v", got, err)
		}
	})
	t.Run("OK: one is missing, and it is so much lighter", func(t *testing.T) {
		got, err := count(1, cooptest.Grams(9_990_000))
		if err != nil || len(got.GetDifferences()) != 1 {
			t.Fatalf("got %v, %v", got, err)
		}
		if d := got.GetDifferences()[0]; d.GetExpectedCount() != 2 || d.GetFoundCount() != 1 || d.GetExpectedUg() != 20_000_000 || d.GetFoundUg() != 9_990_000 {
			t.Errorf("got %v", d)
		}
		if s := l.show(); s.GetCount() != 1 || s.GetWeighing().GetMassUg() != 9_990_000 || s.GetUnexplainedUg() != 10_010_000 {
			t.Errorf("got %v", s)
		}
		e := l.exception("count difference")
		if e == nil || len(e.GetMemberIds()) != 2 || !strings.Contains(e.GetWhat(), "counts 1 where the books say 2") || l.exception("unexplained mass") == nil {
			t.Errorf("got %v", exceptions(t, l.keeper, false))
		}
	})
	t.Run("refused: unmade while one is missing", func(t *testing.T) {
		_, err := l.unmake()
		tradetest.Refused(t, err, codes.FailedPrecondition, "COUNT_DIFFERS", "lot_id")
	})
	t.Run("refused: counted and not weighed; a count of what isn't a lot", func(t *testing.T) {
		_, err := count(1, nil)
		tradetest.Refused(t, err, codes.InvalidArgument, "MASS_INVALID", "found[0].weighing.mass_ug")
		_, err = l.keeper.Coop().CountStock(t.Context(), &coopv1.CountStockRequest{
			RequestId: command.NewID(), Place: "safe", Found: []*coopv1.CountedThing{{Thing: "stone/" + l.parcel.Stones[0].GetId(), Count: 1}},
		})
		tradetest.Refused(t, err, codes.InvalidArgument, "FIELD_INVALID", "found[0].count")
	})
	t.Run("OK: what is sold out is nowhere, and missed by no count", func(t *testing.T) {
		l.order(1)
		_, err := count(1, cooptest.Grams(9_990_000))
		tradetest.Refused(t, err, codes.FailedPrecondition, "LOT_NOT_FOR_SALE", "found[0].lot_id")
		_, err = l.keeper.Coop().MoveStock(t.Context(), &coopv1.MoveStockRequest{
			RequestId: command.NewID(), Thing: "stone/" + l.parcel.Stones[0].GetId(), HolderId: l.Desk.Member, Place: "safe",
		})
		l.must(err)
		got, err := l.keeper.Coop().CountStock(t.Context(), &coopv1.CountStockRequest{
			RequestId: command.NewID(), Place: "safe", Found: []*coopv1.CountedThing{{Thing: "stone/" + l.parcel.Stones[0].GetId()}},
		})
		if err != nil || len(got.GetCount().GetMissing()) != 0 {
			t.Errorf("got %v, %v", got, err)
		}
	})
}

// TestWhereReturnedLotIs: a portion that comes back to a lot of which nothing was left is
// with its cutter, wherever the lot was before.
func TestWhereReturnedLotIs(t *testing.T) {
	l := openLots(t)
	l.move("safe")
	one := l.order(1)
	if got := l.custody(); got != l.Desk.Member+" safe" {
		t.Errorf("a part of it is sold, and it is with %s", got)
	}
	l.back(one, 1, 10_000_000)
	if got := l.custody(); got != l.Desk.Member+" safe" {
		t.Errorf("a portion came back to the rest, which is with %s", got)
	}
	all := l.order(2)
	if got := l.custody(); got != "nobody" {
		t.Errorf("all is sold, and it is with %s", got)
	}
	l.back(all, 2, 20_000_000)
	if got := l.custody(); got != l.wetWheel.Member+" " || l.show().GetState() != typev1.LotState_LOT_STATE_IN_STOCK {
		t.Errorf("all came back, and it is with %s: %v", got, l.show())
	}
	l.move("safe")
	if got := l.custody(); got != l.Desk.Member+" safe" {
		t.Errorf("it was moved since, and it is with %s", got)
	}
	_, err := l.keeper.Coop().MoveStock(t.Context(), &coopv1.MoveStockRequest{RequestId: command.NewID(), Thing: "lot/" + l.id, HolderId: l.Desk.Member, Place: "safe"})
	tradetest.Refused(t, err, codes.FailedPrecondition, "ALREADY_THERE", "place")
}

// TestSalesOfLots: who shares in the money sees each portion's price, and no buyer.
func TestSalesOfLots(t *testing.T) {
	l := openLots(t)
	steps := func() (portions []*typev1.ShareStep) {
		t.Helper()
		got, err := l.billycart.Miner().GetShare(t.Context(), &minerv1.GetShareRequest{ParcelId: l.parcel.ID})
		l.must(err)
		for _, s := range got.GetStatement().GetSteps() {
			if strings.HasPrefix(s.GetWhy(), "Lot ") {
				portions = append(portions, s)
			}
			if strings.Contains(s.GetWhy(), l.other.Member) || strings.Contains(s.GetWhy(), "Fernhook") {
				t.Errorf("it names the buyer: %v", s)
			}
		}
		return portions
	}
	if got := steps(); len(got) != 0 {
		t.Errorf("got %v before anything was sold", got)
	}
	called, kept := l.order(1), l.order(1)
	_, err := l.other.Jeweller().CancelOrder(t.Context(), &jewellerv1.CancelOrderRequest{RequestId: command.NewID(), OrderId: called.GetId(), Why: "too many"})
	l.must(err)
	_, err = l.desk1.Coop().RecordOrderPayment(t.Context(), &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: kept.GetId(), Amount: cooptest.AUD(1000), Reference: "bank"})
	l.must(err)
	if got := steps(); len(got) != 1 || minor(got[0].GetAmount()) != 1000 || got[0].GetWhy() != "Lot low end, 1 of it: 10.00 AUD received of its price of 10.00 AUD." {
		t.Errorf("got %v", got)
	}
	l.back(kept, 1, 10_000_000)
	if _, err := l.unmake(); err != nil {
		t.Fatal(err)
	}
	if got := steps(); len(got) != 1 || !strings.Contains(got[0].GetWhy(), "it came back, and the money was not paid back yet") {
		t.Errorf("it came back, and its lot was unmade: %v", got)
	}
}

// TestLotChain: a lot shows the origins of all that went into it, to whom it concerns.
func TestLotChain(t *testing.T) {
	l := openLots(t)
	trace := func(who cooptest.Person) (*coopv1.GetLotChainResponse, error) {
		return who.Coop().GetLotChain(t.Context(), &coopv1.GetLotChainRequest{LotId: l.id})
	}
	got, err := trace(l.other)
	l.must(err)
	about := func(thing string) (n int) {
		for _, link := range got.GetLinks() {
			if link.GetAbout() == thing {
				n++
			}
		}
		return n
	}
	for thing, want := range map[string]int{
		"field/" + l.FieldID: 1, "parcel/" + l.parcel.ID: 2, "lot/" + l.id: 1,
		"piece/" + l.parcel.Stones[0].GetPieceId(): 3, "piece/" + l.parcel.Stones[1].GetPieceId(): 3, // described, sawn, into the lot
		"stone/" + l.parcel.Stones[0].GetId(): 0,
	} {
		if n := about(thing); n != want {
			t.Errorf("%d links about %s, want %d: %v", n, thing, want, got.GetLinks())
		}
	}
	if last := got.GetLinks()[len(got.GetLinks())-1]; last.GetWhat() != "Counted lot low end, 2 of it, 20.00 g together, made of 2 parts and stones of one parcel; a portion may hold any of them" {
		t.Errorf("it ends with %q", last.GetWhat())
	}
	t.Run("OK: its file checks without the server", func(t *testing.T) {
		verifier, err := note.NewVerifier(got.GetVerifierKey())
		l.must(err)
		chain, err := merkle.ParseChain(got.GetFile(), verifier)
		if err != nil || chain.Subject != "lot/"+l.id || len(chain.Leaves) != len(got.GetLinks()) {
			t.Errorf("got %v, %v", chain, err)
		}
	})
	t.Run("whom it concerns: its parcel's two sides, the desk, who has a portion", func(t *testing.T) {
		stranger := l.Join(t, "Marrow Goldwork", jeweller)
		l.order(2)
		for _, who := range []cooptest.Person{l.billycart, l.wetWheel, l.audit, l.other} {
			if _, err := trace(who); err != nil {
				t.Error(err)
			}
		}
		for _, who := range []cooptest.Person{l.ninth, l.twoDops, stranger} {
			_, err := trace(who)
			tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
		}
	})
}

// TestLotOfStone: a stone in a lot brings its own way with it, and nothing of after.
func TestLotOfStone(t *testing.T) {
	d := openDesks(t)
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	s := p.Stones[0]
	_, err := d.wetWheel.Cutter().TakeOffSale(t.Context(), &cutterv1.TakeOffSaleRequest{RequestId: command.NewID(), StoneId: s.GetId()})
	if err != nil {
		t.Fatal(err)
	}
	made, err := d.wetWheel.Cutter().MakeLot(t.Context(), &cutterv1.MakeLotRequest{
		RequestId: command.NewID(), Label: "low end", Weighing: s.GetWeighing(), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN,
		Sources: []*typev1.LotSource{{StoneId: s.GetId(), Count: 1}},
	})
	if err != nil {
		t.Fatal(err)
	}
	got, err := d.wetWheel.Coop().GetLotChain(t.Context(), &coopv1.GetLotChainRequest{LotId: made.GetLot().GetId()})
	if err != nil {
		t.Fatal(err)
	}
	var words []string
	for _, link := range got.GetLinks() {
		if link.GetAbout() == "stone/"+s.GetId() {
			words = append(words, link.GetWhat())
		}
	}
	if len(words) == 0 || !slices.Contains(words, "Went into a counted lot, in which no stone has a name of its own") || !strings.HasPrefix(words[0], "Finished from part 1A") {
		t.Errorf("got %v", got.GetLinks())
	}
}

// bought is a parcel of such pieces of 10 g each, in the cutter's hands, and a lot of all
// of them.
func (d desks) bought(t *testing.T, pieces ...*minerv1.NewPiece) (*typev1.Lot, error) {
	t.Helper()
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	req := publishing(halves())
	req.Pieces, req.Total = pieces, cooptest.Grams(int64(len(pieces))*10_000_000)
	for i, p := range pieces {
		p.Label, p.Weighing, p.Size = string(rune('1'+i)), cooptest.Grams(10_000_000), &typev1.Size{LengthUm: 30_000, WidthUm: 20_000, DepthUm: 9_000}
	}
	listed, err := d.billycart.Miner().PublishParcel(ctx, req)
	must(err)
	p, n := listed.GetParcel(), uint32(len(pieces))
	_, err = d.wetWheel.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: p.GetId()})
	must(err)
	_, err = d.billycart.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: p.GetId(), Count: n, Total: req.GetTotal()})
	must(err)
	_, err = d.wetWheel.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: p.GetId(), Count: n, Total: req.GetTotal()})
	must(err)
	lot := &cutterv1.MakeLotRequest{RequestId: command.NewID(), Label: "low end", Weighing: req.GetTotal(), Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN}
	for i, l := range p.GetLines() {
		lot.Sources = append(lot.Sources, &typev1.LotSource{PieceId: l.GetPieceId(), Part: pieces[i].GetLabel(), Count: 1, Weighing: cooptest.Grams(10_000_000)})
	}
	made, err := d.wetWheel.Cutter().MakeLot(ctx, lot)
	return made.GetLot(), err
}

// TestLotOfOneKind: kinds are sold apart.
func TestLotOfOneKind(t *testing.T) {
	d := openDesks(t)
	_, err := d.bought(t, &minerv1.NewPiece{Kind: typev1.Kind_KIND_BOULDER}, &minerv1.NewPiece{Kind: typev1.Kind_KIND_MATRIX})
	tradetest.Refused(t, err, codes.FailedPrecondition, "NOT_ONE_KIND", "sources[1].piece_id")
}

// TestLotOfTwoFields: a lot of a parcel that mixes fields shows each of them, and which
// piece's field isn't shown.
func TestLotOfTwoFields(t *testing.T) {
	d := openDesks(t)
	claim := func(field, name string) string {
		t.Helper()
		got, err := d.billycart.Miner().RecordClaim(t.Context(), &minerv1.RecordClaimRequest{RequestId: command.NewID(), FieldId: field, Name: name})
		if err != nil {
			t.Fatal(err)
		}
		return got.GetClaim().GetId()
	}
	other, err := d.Desk.Coop().RecordField(t.Context(), &coopv1.RecordFieldRequest{RequestId: command.NewID(), Name: "Long Gully", Country: "clay country"})
	if err != nil {
		t.Fatal(err)
	}
	const kind = typev1.Kind_KIND_BOULDER
	made, err := d.bought(t, &minerv1.NewPiece{Kind: kind, ClaimId: claim(d.FieldID, "Claim 4")}, &minerv1.NewPiece{Kind: kind, ClaimId: claim(other.GetField().GetId(), "Claim 2")}, &minerv1.NewPiece{Kind: kind})
	if err != nil {
		t.Fatal(err)
	}
	got, err := d.wetWheel.Coop().GetLotChain(t.Context(), &coopv1.GetLotChainRequest{LotId: made.GetId()})
	if err != nil {
		t.Fatal(err)
	}
	says := map[string]int{}
	for _, link := range got.GetLinks() {
		says[link.GetWhat()]++
	}
	for _, want := range []string{"The field: Ashbarrel Rise, ironstone country", "The field: Long Gully, clay country", "Piece 3, 10.00 g; its field is not shown"} {
		if says[want] != 1 {
			t.Errorf("%q stands %d times in %v", want, says[want], got.GetLinks())
		}
	}
}
