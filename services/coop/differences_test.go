package coop_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

// of finds the open exception of a thing.
func of(t *testing.T, by cooptest.Person, thing string) *coopv1.Exception {
	t.Helper()
	all := exceptions(t, by, false)
	i := slices.IndexFunc(all, func(e *coopv1.Exception) bool { return e.GetThing() == thing })
	if i < 0 {
		return nil
	}
	return all[i]
}

// TestDifferencesOnTheWay: what is weighed as it goes out or comes is held against what
// it should be; a difference is an exception with both sides' words, until the stock
// keeper corrects what was read wrong. Common practice, no source.
func TestDifferencesOnTheWay(t *testing.T) {
	d := openDesks(t)
	ctx, must := t.Context(), must(t)
	keeper := d.Add(t, d.Desk.Member, stockKeeper)
	correct := func(record uint64, stoneID string, w *typev1.Weighing) error {
		_, err := keeper.Coop().CorrectMass(ctx, &coopv1.CorrectMassRequest{
			RequestId: command.NewID(), Corrects: record, StoneId: stoneID, Weighing: w, Reason: "the pan was on the scale",
		})
		return err
	}
	t.Run("rough that goes out for a viewing", func(t *testing.T) {
		listed, err := d.ninth.Miner().PublishParcel(ctx, publishing(outright(38000)))
		if err != nil {
			t.Fatal(err)
		}
		id, total := listed.GetParcel().GetId(), listed.GetParcel().GetTotal()
		asked, err := d.wetWheel.Cutter().AskViewing(ctx, &cutterv1.AskViewingRequest{RequestId: command.NewID(), ParcelId: id, At: time.Now().Add(time.Hour).UTC().Format(time.RFC3339)})
		if err != nil {
			t.Fatal(err)
		}
		viewing := asked.GetViewing().GetId()
		must(d.ninth.Miner().AgreeViewing(ctx, &minerv1.AgreeViewingRequest{RequestId: command.NewID(), ParcelId: id, ViewingId: viewing}))
		less := &typev1.Weighing{MassUg: total.GetMassUg() - 500_000, DivisionUg: total.GetDivisionUg()}
		started, err := d.ninth.Miner().StartViewing(ctx, &minerv1.StartViewingRequest{RequestId: command.NewID(), ParcelId: id, ViewingId: viewing, Count: 1, Total: less})
		if err != nil {
			t.Fatal(err)
		}
		if v := started.GetViewing(); v.GetOutDifferenceUg() != 500_000 || !v.GetOutBeyondTolerance() {
			t.Errorf("the viewing says %v", v)
		}
		if e := of(t, keeper, "parcel/"+id); e == nil || !strings.Contains(e.GetWhat(), "0.5") {
			t.Fatalf("the exception is %v", e)
		}
		if err := correct(started.GetPosition(), "", total); err != nil {
			t.Fatal(err)
		}
		if e := of(t, keeper, "parcel/"+id); e != nil {
			t.Errorf("corrected, and there is still %v", e)
		}
		got, err := d.ninth.Miner().ListViewings(ctx, &minerv1.ListViewingsRequest{})
		if err != nil || got.GetViewings()[0].GetOutBeyondTolerance() || got.GetViewings()[0].GetTotalOut().GetMassUg() != total.GetMassUg() {
			t.Errorf("corrected, the viewing says %v, %v", got, err)
		}
		if err := correct(started.GetPosition(), "", less); err != nil {
			t.Fatal(err)
		}
		if e := of(t, keeper, "parcel/"+id); e == nil {
			t.Error("corrected back, and there is no exception")
		}
	})
	t.Run("a stone that is sent, and comes", func(t *testing.T) {
		p := d.Cut(t, d.billycart, d.wetWheel, 74000)
		st := p.Stones[0]
		order := d.Order(t, d.other, st)
		must(d.desk1.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: order.GetId(), Amount: order.GetTotal(), Reference: "bank"}))
		heavier := &typev1.Weighing{MassUg: st.GetWeighing().GetMassUg() + 20_000, DivisionUg: st.GetWeighing().GetDivisionUg()}
		measured := func(w *typev1.Weighing) []*typev1.Measured {
			return []*typev1.Measured{{StoneId: st.GetId(), Weighing: w, Size: st.GetSize(), Photo: cooptest.Photo()}}
		}
		sent, err := d.wetWheel.Cutter().DispatchOrder(ctx, &cutterv1.DispatchOrderRequest{RequestId: command.NewID(), OrderId: order.GetId(), Carrier: "by hand", Reference: "1", Stones: measured(heavier)})
		if err != nil {
			t.Fatal(err)
		}
		if l := sent.GetSale().GetLines()[0]; !l.GetSentMassDiffers() || l.GetSentSizeDiffers() {
			t.Errorf("the sale says %v", l)
		}
		e := of(t, keeper, "stone/"+st.GetId())
		if e == nil || !strings.Contains(e.GetWhat(), "3.14 ct") || !strings.Contains(e.GetWhat(), "3.04 ct") {
			t.Fatalf("the exception hasn't both sides' words: %v", e)
		}
		if err := correct(sent.GetPosition(), st.GetId(), st.GetWeighing()); err != nil {
			t.Fatal(err)
		}
		if e := of(t, keeper, "stone/"+st.GetId()); e != nil {
			t.Errorf("corrected, and there is still %v", e)
		}
		got, err := d.wetWheel.Cutter().GetSale(ctx, &cutterv1.GetSaleRequest{OrderId: order.GetId()})
		if err != nil || got.GetSale().GetLines()[0].GetSentMassDiffers() {
			t.Errorf("corrected, the sale says %v, %v", got, err)
		}
		tradetest.Refused(t, correct(sent.GetPosition(), st.GetId(), st.GetWeighing()), codes.FailedPrecondition, "SAME_AS_RECORDED")
		tradetest.Refused(t, correct(sent.GetPosition(), "", heavier), codes.FailedPrecondition, "NOTHING_TO_CORRECT")
		came, err := d.other.Jeweller().ReceiveOrder(ctx, &jewellerv1.ReceiveOrderRequest{RequestId: command.NewID(), OrderId: order.GetId(), Stones: measured(heavier)})
		if err != nil {
			t.Fatal(err)
		}
		if e := of(t, keeper, "stone/"+st.GetId()); e == nil || !strings.Contains(e.GetWhat(), "3.14 ct") || !strings.Contains(e.GetWhat(), "its cutter, who sent it") {
			t.Fatalf("as it came: %v", e)
		}
		if err := correct(came.GetPosition(), st.GetId(), st.GetWeighing()); err != nil {
			t.Fatal(err)
		}
		if e := of(t, keeper, "stone/"+st.GetId()); e != nil {
			t.Errorf("corrected as it came, and there is still %v", e)
		}
		t.Run("what was delivered is in no safe", func(t *testing.T) {
			thing := "stone/" + st.GetId()
			_, err := keeper.Coop().MoveStock(ctx, &coopv1.MoveStockRequest{RequestId: command.NewID(), Thing: thing, HolderId: d.Desk.Member, Place: "safe"})
			tradetest.Refused(t, err, codes.FailedPrecondition, "STONE_SOLD")
			_, err = keeper.Coop().CountStock(ctx, &coopv1.CountStockRequest{RequestId: command.NewID(), Place: "safe", Found: []*coopv1.CountedThing{{Thing: thing}}})
			tradetest.Refused(t, err, codes.FailedPrecondition, "STONE_SOLD")
		})
	})
	t.Run("what left the safe isn't missing there", func(t *testing.T) {
		p := d.Cut(t, d.billycart, d.wetWheel, 74000, 42000)
		for _, st := range p.Stones {
			must(keeper.Coop().MoveStock(ctx, &coopv1.MoveStockRequest{RequestId: command.NewID(), Thing: "stone/" + st.GetId(), HolderId: d.Desk.Member, Place: "shelf"}))
		}
		order := d.Order(t, d.other, p.Stones[0])
		must(d.desk1.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: order.GetId(), Amount: order.GetTotal(), Reference: "bank"}))
		must(d.wetWheel.Cutter().DispatchOrder(ctx, &cutterv1.DispatchOrderRequest{
			RequestId: command.NewID(), OrderId: order.GetId(), Carrier: "by hand", Reference: "1",
			Stones: []*typev1.Measured{{StoneId: p.Stones[0].GetId(), Weighing: p.Stones[0].GetWeighing(), Size: p.Stones[0].GetSize(), Photo: cooptest.Photo()}},
		}))
		counted, err := keeper.Coop().CountStock(ctx, &coopv1.CountStockRequest{RequestId: command.NewID(), Place: "shelf", Found: []*coopv1.CountedThing{{Thing: "stone/" + p.Stones[1].GetId()}}})
		if err != nil || len(counted.GetCount().GetMissing()) != 0 {
			t.Errorf("got %v, %v", counted, err)
		}
	})
}

// TestTokensOnlyWhereThereIsMore: a list that passes over much fills its pages, and its
// last has no token.
func TestTokensOnlyWhereThereIsMore(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	keeper := d.Add(t, d.Desk.Member, stockKeeper)
	d.Cut(t, d.billycart, d.wetWheel, 74000, 42000, 9500)
	for _, size := range []int32{1, 2, 3, 5, 200} {
		for token, pages := "", 0; ; pages++ {
			got, err := keeper.Coop().ListCustody(ctx, &coopv1.ListCustodyRequest{PageSize: size, PageToken: token})
			if err != nil {
				t.Fatal(err)
			}
			token = got.GetNextPageToken()
			if n := len(got.GetCustody()); n == 0 || token != "" && n != int(size) {
				t.Errorf("pages of %d: page %d has %d rows, and the token %q", size, pages+1, n, token)
			}
			if token == "" {
				break
			}
		}
	}
	got, err := d.audit.Coop().ListExceptions(ctx, &coopv1.ListExceptionsRequest{})
	if err != nil || len(got.GetExceptions()) != 0 || got.GetNextPageToken() != "" {
		t.Errorf("nothing is wrong, and the list says %v, %v", got, err)
	}
}

// TestNamesAreGivenOnce: a field and a miner's claim on it have names of their own.
func TestNamesAreGivenOnce(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	field := func(name string) error {
		_, err := d.Desk.Coop().RecordField(ctx, &coopv1.RecordFieldRequest{RequestId: command.NewID(), Name: name, Country: "ironstone country"})
		return err
	}
	if err := field("Sparrowpan Flat"); err != nil {
		t.Fatal(err)
	}
	tradetest.Refused(t, field("sparrowpan  flat"), codes.AlreadyExists, "NAME_TAKEN")
	claim := func(by cooptest.Person, name string) (string, error) {
		got, err := by.Miner().RecordClaim(ctx, &minerv1.RecordClaimRequest{RequestId: command.NewID(), FieldId: d.FieldID, Name: name})
		return got.GetClaim().GetId(), err
	}
	id, err := claim(d.billycart, "Claim 9")
	if err != nil {
		t.Fatal(err)
	}
	_, err = claim(d.billycart, "CLAIM 9")
	tradetest.Refused(t, err, codes.AlreadyExists, "NAME_TAKEN")
	if _, err := claim(d.ninth, "Claim 9"); err != nil {
		t.Errorf("another miner's: %v", err)
	}
	if _, err := d.billycart.Miner().CloseClaim(ctx, &minerv1.CloseClaimRequest{RequestId: command.NewID(), ClaimId: id, Why: "worked out"}); err != nil {
		t.Fatal(err)
	}
	if _, err := claim(d.billycart, "Claim 9"); err != nil {
		t.Errorf("in place of one that was closed: %v", err)
	}
}

// TestHistoryForCorrections: who corrects money sees the records of money, who corrects
// masses those of masses, and neither the words of others.
func TestHistoryForCorrections(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	keeper := d.Add(t, d.Desk.Member, stockKeeper)
	p := d.Cut(t, d.billycart, d.wetWheel, 74000)
	order := d.Order(t, d.other, p.Stones[0])
	if _, err := d.desk1.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: order.GetId(), Amount: cooptest.AUD(5000), Reference: "bank"}); err != nil {
		t.Fatal(err)
	}
	see := func(by cooptest.Person, thing string) (events []string) {
		t.Helper()
		got, err := by.Coop().GetHistory(ctx, &coopv1.GetHistoryRequest{Thing: thing})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range got.GetRecords() {
			events = append(events, r.GetEvent())
			if r.GetPublicJson()+r.GetPrivateJson() != "" {
				t.Errorf("%s shows its words", r.GetEvent())
			}
			if money := by.Person == d.desk1.Person; (r.GetAmount() != nil) != money || len(r.GetMasses()) > 0 == money {
				t.Errorf("%s shows %v and %v", r.GetEvent(), r.GetAmount(), r.GetMasses())
			}
		}
		return events
	}
	if got := see(d.desk1, "order/"+order.GetId()); !slices.Equal(got, []string{"order.v1.Placed", "order.v1.Paid"}) {
		t.Errorf("the bookkeeper sees of an order %v", got)
	}
	if got := see(keeper, "order/"+order.GetId()); len(got) != 0 {
		t.Errorf("the stock keeper sees of an order %v", got)
	}
	if got := see(keeper, "stone/"+p.Stones[0].GetId()); !slices.Equal(got, []string{"stone.v1.Finished"}) {
		t.Errorf("the stock keeper sees of a stone %v", got)
	}
	if got := see(keeper, "piece/"+p.Stones[0].GetPieceId()); len(got) < 2 || got[0] != "piece.v1.Described" || got[1] != "piece.v1.Worked" {
		t.Errorf("the stock keeper sees of a piece %v", got)
	}
	if got := see(d.desk1, "piece/"+p.Stones[0].GetPieceId()); len(got) != 0 {
		t.Errorf("the bookkeeper sees of a piece %v", got)
	}
}
