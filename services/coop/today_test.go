package coop_test

import (
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop"
	"seamshare.example/services/coop/cooptest"
)

// days is a trade whose members look at their day between its steps.
type days struct {
	desks
	second, keeper, marrow cooptest.Person
}

// sees holds the kinds of a person's day to those that are wanted, in any order.
func (d days) sees(t *testing.T, who cooptest.Person, when string, want ...string) []*coopv1.TodayItem {
	t.Helper()
	today, err := who.Coop().Today(t.Context(), &coopv1.TodayRequest{})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, item := range today.GetItems() {
		if !slices.Contains(got, item.GetKind()) {
			got = append(got, item.GetKind())
		}
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("%s: got %q, want %q", when, got, want)
	}
	return today.GetItems()
}

func openDays(t *testing.T) days {
	t.Helper()
	d := openDesks(t)
	return days{
		desks: d, second: d.Add(t, d.wetWheel.Member, cutter), keeper: d.Add(t, d.Desk.Member, typev1.Role_ROLE_STOCK_KEEPER),
		marrow: d.Join(t, "Marrow & Pin Jewellers", jeweller),
	}
}

func (d days) at(after time.Duration) string {
	return d.clock.read().Add(after).Format(time.RFC3339)
}

// list puts one piece on the market.
func (d days) list(t *testing.T) (parcelID, pieceID string) {
	t.Helper()
	listed, err := d.billycart.Miner().PublishParcel(t.Context(), &minerv1.PublishParcelRequest{
		RequestId: command.NewID(), Label: "P1", Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, OpenAtAsking: true, Agreement: halves(), Total: cooptest.Grams(20_000_000),
		Pieces: []*minerv1.NewPiece{{Label: "1", Weighing: cooptest.Grams(20_000_000), Size: &typev1.Size{LengthUm: 40_000, WidthUm: 30_000, DepthUm: 12_000}, Kind: typev1.Kind_KIND_BOULDER}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return listed.GetParcel().GetId(), listed.GetParcel().GetLines()[0].GetPieceId()
}

func must(t *testing.T) func(proto.Message, error) {
	return func(_ proto.Message, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
}

func TestTodayOfADeal(t *testing.T) {
	d := openDays(t)
	ctx, must := t.Context(), must(t)
	parcelID, _ := d.list(t)
	d.sees(t, d.billycart, "listed")
	asked, err := d.wetWheel.Cutter().AskViewing(ctx, &cutterv1.AskViewingRequest{RequestId: command.NewID(), ParcelId: parcelID, At: d.at(time.Hour)})
	if err != nil {
		t.Fatal(err)
	}
	viewing := asked.GetViewing().GetId()
	if items := d.sees(t, d.billycart, "a viewing is asked for", coop.ViewingsAsked); items[0].GetDue() != d.at(time.Hour) || items[0].GetThing() != "parcel/"+parcelID {
		t.Errorf("got %v", items)
	}
	must(d.billycart.Miner().AgreeViewing(ctx, &minerv1.AgreeViewingRequest{RequestId: command.NewID(), ParcelId: parcelID, ViewingId: viewing}))
	d.sees(t, d.billycart, "it is agreed", coop.ViewingsAgreed)
	d.sees(t, d.wetWheel, "it is agreed", coop.ViewingsAgreed)
	must(d.billycart.Miner().StartViewing(ctx, &minerv1.StartViewingRequest{RequestId: command.NewID(), ParcelId: parcelID, ViewingId: viewing, Count: 1, Total: cooptest.Grams(20_000_000)}))
	d.sees(t, d.billycart, "it is under way", coop.ViewingsOut)
	d.sees(t, d.twoDops, "another cutter")
	must(d.billycart.Miner().EndViewing(ctx, &minerv1.EndViewingRequest{RequestId: command.NewID(), ParcelId: parcelID, ViewingId: viewing, Count: 1, Total: cooptest.Grams(20_000_000), Light: "daylight"}))
	d.sees(t, d.billycart, "it is over")

	agreement := outright(38000)
	offered, err := d.wetWheel.Cutter().MakeOffer(ctx, &cutterv1.MakeOfferRequest{RequestId: command.NewID(), ParcelId: parcelID, Agreement: agreement, EndsAt: d.at(24 * time.Hour)})
	if err != nil {
		t.Fatal(err)
	}
	d.sees(t, d.billycart, "an offer is open", coop.OffersWaiting)
	d.sees(t, d.wetWheel, "their own offer")
	countered, err := d.billycart.Miner().CounterOffer(ctx, &minerv1.CounterOfferRequest{RequestId: command.NewID(), ParcelId: parcelID, OfferId: offered.GetOffer().GetId(), Agreement: outright(40000), EndsAt: d.at(24 * time.Hour)})
	if err != nil {
		t.Fatal(err)
	}
	d.sees(t, d.billycart, "countered")
	d.sees(t, d.wetWheel, "countered", coop.CountersWaiting)
	must(d.wetWheel.Cutter().AcceptCounterOffer(ctx, &cutterv1.AcceptCounterOfferRequest{RequestId: command.NewID(), ParcelId: parcelID, OfferId: countered.GetOffer().GetId()}))
	d.sees(t, d.billycart, "a deal", coop.ToWeigh, coop.DealsUnpaid)
	d.sees(t, d.wetWheel, "a deal", coop.ToWeigh, coop.PurchasesUnpaid)
	d.sees(t, d.desk1, "a deal")
	must(d.billycart.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: parcelID, Count: 1, Total: cooptest.Grams(20_000_000)}))
	d.sees(t, d.billycart, "one side weighed", coop.DealsUnpaid)
	d.sees(t, d.wetWheel, "one side weighed", coop.ToWeigh, coop.PurchasesUnpaid)
	must(d.wetWheel.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: parcelID, Count: 1, Total: cooptest.Grams(20_000_000)}))
	d.sees(t, d.wetWheel, "handed over", coop.PurchasesUnpaid)
	d.clock.move(60 * 24 * time.Hour)
	d.sees(t, d.desk1, "the day to pay is over", coop.PurchasesOverdue)
	must(d.desk1.Coop().RecordParcelPayment(ctx, &coopv1.RecordParcelPaymentRequest{RequestId: command.NewID(), ParcelId: parcelID, Amount: cooptest.AUD(30000), Reference: "bank"}))
	d.sees(t, d.billycart, "paid in part", coop.DealsUnpaid, coop.ShareEarned)
	must(d.wetWheel.Cutter().CallOffMisdescribedDeal(ctx, &cutterv1.CallOffMisdescribedDealRequest{RequestId: command.NewID(), ParcelId: parcelID, Why: "glued"}))
	d.sees(t, d.billycart, "fallen through", coop.GoingBack)
	d.sees(t, d.wetWheel, "fallen through", coop.GoingBack)
	d.sees(t, d.desk1, "fallen through", coop.RefundsDue)
	d.sees(t, d.desk2, "an approver")
}

func TestTodayAtTheBench(t *testing.T) {
	d := openDays(t)
	ctx, must := t.Context(), must(t)
	parcelID, pieceID := d.list(t)
	must(d.wetWheel.Cutter().TakeParcel(ctx, &cutterv1.TakeParcelRequest{RequestId: command.NewID(), ParcelId: parcelID}))
	must(d.billycart.Miner().HandOverParcel(ctx, &minerv1.HandOverParcelRequest{RequestId: command.NewID(), ParcelId: parcelID, Count: 1, Total: cooptest.Grams(20_000_000)}))
	must(d.wetWheel.Cutter().ReceiveParcel(ctx, &cutterv1.ReceiveParcelRequest{RequestId: command.NewID(), ParcelId: parcelID, Count: 1, Total: cooptest.Grams(20_000_000)}))
	must(d.wetWheel.Cutter().WorkPart(ctx, &cutterv1.WorkPartRequest{
		RequestId: command.NewID(), PieceId: pieceID, Part: "1", Step: typev1.Step_STEP_SAW, Reason: typev1.Reason_REASON_KERF, How: "in the section",
		PartsOut: []*cutterv1.PartOut{{Name: "1A", Weighing: cooptest.Grams(9_000_000)}, {Name: "1B", Weighing: cooptest.Grams(10_000_000)}},
	}))
	d.sees(t, d.wetWheel, "sawn")
	must(d.wetWheel.Cutter().AwaitDecision(ctx, &cutterv1.AwaitDecisionRequest{RequestId: command.NewID(), PieceId: pieceID, Part: "1B", Reason: "one stone or two"}))
	d.sees(t, d.wetWheel, "a part waits", coop.PartsWaiting)
	must(d.wetWheel.Cutter().Decide(ctx, &cutterv1.DecideRequest{RequestId: command.NewID(), PieceId: pieceID, Part: "1B", Decision: "one"}))
	must(d.wetWheel.Cutter().WorkPart(ctx, &cutterv1.WorkPartRequest{
		RequestId: command.NewID(), PieceId: pieceID, Part: "1A", Step: typev1.Step_STEP_SHAPE, Reason: typev1.Reason_REASON_GROUND_OFF,
		PartsOut: []*cutterv1.PartOut{{Name: "1A", Weighing: cooptest.Grams(8_000_000)}},
	}))
	d.sees(t, d.wetWheel, "shaped, and rests")
	d.clock.move(72*time.Hour - time.Second)
	d.sees(t, d.wetWheel, "a second before")
	d.clock.move(time.Second)
	d.sees(t, d.wetWheel, "rested", coop.RestOver)
	must(d.wetWheel.Cutter().WorkPart(ctx, &cutterv1.WorkPartRequest{RequestId: command.NewID(), PieceId: pieceID, Part: "1A", Step: typev1.Step_STEP_SAND, NotWeighed: true}))
	d.sees(t, d.wetWheel, "worked on since")
	finished, err := d.wetWheel.Cutter().FinishStone(ctx, &cutterv1.FinishStoneRequest{
		RequestId: command.NewID(), PieceId: pieceID, Part: "1A", Label: "A", Weighing: &typev1.Weighing{MassUg: 608_000, DivisionUg: 2_000},
		Size: &typev1.Size{LengthUm: 12_000, WidthUm: 9_000, DepthUm: 3_000}, Outline: typev1.Outline_OUTLINE_OVAL,
		Treatment: typev1.Treatment_TREATMENT_NONE_KNOWN, Hydrophane: typev1.Hydrophane_HYDROPHANE_NO, Composite: typev1.Composite_COMPOSITE_NONE,
	})
	if err != nil {
		t.Fatal(err)
	}
	st := finished.GetStone()
	if items := d.sees(t, d.wetWheel, "finished", coop.StonesToCheck); items[0].GetWhat() != "A, 3.04 ct" || items[0].GetThing() != "stone/"+st.GetId() {
		t.Errorf("got %v", items)
	}
	d.sees(t, d.keeper, "finished, and no claim was shown", coop.OpenExceptions)
	must(d.wetWheel.Cutter().CheckStone(ctx, &cutterv1.CheckStoneRequest{
		RequestId: command.NewID(), StoneId: st.GetId(), BackFlat: true, WallEven: true, BevelClears: true, Candled: true, Weighing: st.GetWeighing(), Size: st.GetSize(), Photo: cooptest.Photo(),
	}))
	d.sees(t, d.wetWheel, "checked by themselves")
	d.sees(t, d.second, "checked by another", coop.StonesToConfirm)
	d.sees(t, d.keeper, "checked by another", coop.StonesToConfirm, coop.OpenExceptions)
	d.sees(t, d.audit, "checked", coop.OpenExceptions)
	must(d.keeper.Cutter().ConfirmStone(ctx, &cutterv1.ConfirmStoneRequest{RequestId: command.NewID(), StoneId: st.GetId()}))
	d.sees(t, d.second, "confirmed")
}

func TestTodayOfSelling(t *testing.T) {
	d := openDays(t)
	ctx, must := t.Context(), must(t)
	p := d.CutUnder(t, d.billycart, d.wetWheel, halves(), 10000, 20000, 30000, 40000)
	sent := func(stones ...*typev1.Stone) (all []*typev1.Measured) {
		for _, s := range stones {
			all = append(all, &typev1.Measured{StoneId: s.GetId(), Weighing: s.GetWeighing(), Size: s.GetSize(), Photo: cooptest.Photo()})
		}
		return all
	}
	must(d.marrow.Jeweller().HoldStones(ctx, &jewellerv1.HoldStonesRequest{RequestId: command.NewID(), StoneIds: []string{p.Stones[3].GetId()}, EndsAt: d.at(time.Hour)}))
	if items := d.sees(t, d.marrow, "a hold", coop.HoldsEnding); items[0].GetDue() != d.at(time.Hour) {
		t.Errorf("got %v", items)
	}
	d.clock.move(time.Hour)
	d.sees(t, d.marrow, "the hold ended")

	asked, err := d.marrow.Jeweller().AskForApproval(ctx, &jewellerv1.AskForApprovalRequest{RequestId: command.NewID(), Kind: typev1.GoodsKind_GOODS_KIND_APPROVAL, StoneIds: []string{p.Stones[2].GetId()}, DueAt: d.at(24 * time.Hour), Loss: typev1.Bearer_BEARER_JEWELLER})
	if err != nil {
		t.Fatal(err)
	}
	d.sees(t, d.wetWheel, "asked for on approval", coop.ApprovalsAsked)
	must(d.wetWheel.Cutter().SendOnApproval(ctx, &cutterv1.SendOnApprovalRequest{
		RequestId: command.NewID(), ApprovalId: asked.GetApproval().GetId(), Stones: sent(p.Stones[2]),
		Loss: typev1.Bearer_BEARER_JEWELLER, Breakage: typev1.Bearer_BEARER_CUTTER, Carrier: "by hand", Reference: "1",
	}))
	d.sees(t, d.marrow, "out on approval", coop.GoodsDue)
	d.sees(t, d.wetWheel, "out on approval")
	d.clock.move(24 * time.Hour)
	d.sees(t, d.marrow, "overdue", coop.GoodsDue)
	d.sees(t, d.wetWheel, "overdue", coop.GoodsOverdue)
	d.sees(t, d.audit, "overdue", coop.OpenExceptions)
	must(d.wetWheel.Cutter().TakeBackFromApproval(ctx, &cutterv1.TakeBackFromApprovalRequest{RequestId: command.NewID(), ApprovalId: asked.GetApproval().GetId(), Stone: sent(p.Stones[2])[0]}))
	d.sees(t, d.wetWheel, "back")

	placed := cooptest.OrderOf(p.Stones[:2]...)
	placed.Deposit = cooptest.AUD(5000)
	order, err := d.marrow.Jeweller().PlaceOrder(ctx, placed)
	if err != nil {
		t.Fatal(err)
	}
	id := order.GetOrder().GetId()
	if items := d.sees(t, d.marrow, "ordered", coop.OrdersUnpaid); items[0].GetWhat() != "300.00 AUD open, 50.00 AUD of it first" {
		t.Errorf("got %v", items)
	}
	d.sees(t, d.wetWheel, "ordered, not paid")
	must(d.desk1.Coop().RecordOrderPayment(ctx, &coopv1.RecordOrderPaymentRequest{RequestId: command.NewID(), OrderId: id, Amount: cooptest.AUD(5000), Reference: "bank"}))
	d.sees(t, d.wetWheel, "the deposit is in", coop.OrdersToSend, coop.ShareEarned)
	must(d.wetWheel.Cutter().DispatchOrder(ctx, &cutterv1.DispatchOrderRequest{RequestId: command.NewID(), OrderId: id, Stones: sent(p.Stones[:2]...), Carrier: "by hand", Reference: "2"}))
	d.sees(t, d.wetWheel, "sent", coop.ShareEarned)
	d.sees(t, d.marrow, "sent", coop.OrdersUnpaid, coop.OrdersToReceive)
	must(d.marrow.Jeweller().ReceiveOrder(ctx, &jewellerv1.ReceiveOrderRequest{RequestId: command.NewID(), OrderId: id}))
	d.sees(t, d.marrow, "received", coop.OrdersUnpaid)
	must(d.marrow.Jeweller().ClaimDamage(ctx, &jewellerv1.ClaimDamageRequest{RequestId: command.NewID(), OrderId: id, StoneId: p.Stones[0].GetId(), Damage: typev1.Damage_DAMAGE_CRAZED, Words: "fine cracks"}))
	d.sees(t, d.wetWheel, "damage claimed", coop.ClaimsToAnswer, coop.ShareEarned)
	must(d.wetWheel.Cutter().AnswerDamageClaim(ctx, &cutterv1.AnswerDamageClaimRequest{
		RequestId: command.NewID(), OrderId: id, StoneId: p.Stones[0].GetId(), Answer: typev1.DamageAnswer_DAMAGE_ANSWER_TAKE_BACK, Words: "send it",
	}))
	d.sees(t, d.wetWheel, "taken back", coop.ReturnsComing, coop.ShareEarned)
	d.sees(t, d.marrow, "taken back", coop.ReturnsToSend, coop.OrdersUnpaid)
	must(d.wetWheel.Cutter().AcceptReturn(ctx, &cutterv1.AcceptReturnRequest{RequestId: command.NewID(), StoneId: p.Stones[0].GetId(), Why: "crazed", Weighing: p.Stones[0].GetWeighing(), Size: p.Stones[0].GetSize()}))
	d.sees(t, d.desk1, "it is back", coop.RefundsDue)
	d.sees(t, d.marrow, "it is back", coop.OrdersUnpaid)

	promised, err := d.wetWheel.Cutter().PromiseStones(ctx, &cutterv1.PromiseStonesRequest{
		RequestId: command.NewID(), JewellerId: d.other.Member, DueAt: d.at(720 * time.Hour),
		Items: []*typev1.PromisedStone{{Outline: typev1.Outline_OUTLINE_OVAL, Size: p.Stones[0].GetSize(), ToleranceUm: 200, Kind: typev1.Kind_KIND_BOULDER, Price: cooptest.AUD(24000)}},
	})
	if err != nil {
		t.Fatal(err)
	}
	d.sees(t, d.other, "promised", coop.PromisesToAnswer)
	must(d.other.Jeweller().AcceptPromise(ctx, &jewellerv1.AcceptPromiseRequest{RequestId: command.NewID(), PromiseId: promised.GetPromise().GetId()}))
	d.sees(t, d.other, "accepted")
	d.sees(t, d.wetWheel, "accepted", coop.PromisesDue)
	must(d.wetWheel.Cutter().WithdrawPromise(ctx, &cutterv1.WithdrawPromiseRequest{RequestId: command.NewID(), PromiseId: promised.GetPromise().GetId(), Why: "the stone cracked"}))
	d.sees(t, d.wetWheel, "not kept")
	d.sees(t, d.other, "not kept", coop.PromisesNotKept)
}

func TestTodayOfTheDesks(t *testing.T) {
	d := openDays(t)
	ctx, must := t.Context(), must(t)
	p := d.CutUnder(t, d.billycart, d.wetWheel, halves(), 10000)
	d.sell(t, p)
	d.sees(t, d.billycart, "sold", coop.ShareEarned)
	run, err := prepare(ctx, d.desk1)
	if err != nil {
		t.Fatal(err)
	}
	d.sees(t, d.billycart, "in a run", coop.ShareInRun)
	d.sees(t, d.desk1, "who prepared it")
	d.sees(t, d.desk2, "a second person", coop.RunsToApprove)
	if _, err := approve(ctx, d.desk2, run); err != nil {
		t.Fatal(err)
	}
	d.sees(t, d.desk1, "at the bank", coop.RunsAtBank)
	d.sees(t, d.desk2, "at the bank")
	key := cooptest.Key(t)
	me, err := d.wetWheel.Access().WhoAmI(ctx, &coopv1.WhoAmIRequest{})
	if err != nil {
		t.Fatal(err)
	}
	person, err := d.Desk.Coop().GetPerson(ctx, &coopv1.GetPersonRequest{PersonId: me.GetPersonId()})
	if err != nil {
		t.Fatal(err)
	}
	must(d.Desk.Coop().AskKeyReplacement(ctx, &coopv1.AskKeyReplacementRequest{
		RequestId: command.NewID(), PersonId: me.GetPersonId(), KeyId: person.GetPerson().GetKeys()[0].GetId(), PublicKey: cooptest.Public(key), Reason: "lost with the phone",
	}))
	d.sees(t, d.desk2, "a key is lost", coop.KeysToConfirm)
	d.sees(t, d.Desk, "a key is lost", coop.KeysToConfirm)
}

// TestTodayIsInOrder: of one kind, what is due first comes first.
func TestTodayIsInOrder(t *testing.T) {
	d := openDays(t)
	ctx := t.Context()
	p := d.CutUnder(t, d.billycart, d.wetWheel, halves(), 10000, 20000, 30000)
	for i, hours := range []time.Duration{5, 2, 9} {
		if _, err := d.marrow.Jeweller().HoldStones(ctx, &jewellerv1.HoldStonesRequest{RequestId: command.NewID(), StoneIds: []string{p.Stones[i].GetId()}, EndsAt: d.at(hours * time.Hour)}); err != nil {
			t.Fatal(err)
		}
	}
	items := d.sees(t, d.marrow, "three holds", coop.HoldsEnding)
	if len(items) != 3 || items[0].GetDue() != d.at(2*time.Hour) || items[2].GetDue() != d.at(9*time.Hour) {
		t.Errorf("got %v", items)
	}
}
