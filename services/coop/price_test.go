package coop_test

import (
	"testing"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/stream"
	"seamshare.example/services/tradetest"
)

func (d desks) correct(t *testing.T, position uint64, minor int64) (*coopv1.Correction, error) {
	t.Helper()
	got, err := d.desk1.Coop().CorrectAmount(t.Context(), &coopv1.CorrectAmountRequest{RequestId: command.NewID(), Corrects: position, Amount: cooptest.AUD(minor), Reason: "typed wrong for Fernhook"})
	return got.GetCorrection(), err
}

// priceBack: the cutter gets the price back, then two parts to the miner's one.
func priceBack(price int64) *typev1.Agreement {
	a := outright(price)
	a.Tiers = []*typev1.Tier{
		{Form: &typev1.Tier_Recoup{Recoup: &typev1.Recoup{Party: "cutter", Target: &typev1.Recoup_PriceMultiple{PriceMultiple: &typev1.Fraction{Numerator: 1, Denominator: 1}}}}},
		{Form: &typev1.Tier_Split{Split: &typev1.Split{Ratios: []*typev1.Ratio{{Party: "cutter", Weight: 2}, {Party: "miner", Weight: 1}}}}},
	}
	return a
}

func TestCorrectedPurchasePrice(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	p := d.CutUnder(t, d.billycart, d.wetWheel, priceBack(160000), 200000)
	deal := d.at(t, "parcel/"+p.ID, "parcel.v1.DealMade")
	t.Run("OK: before anything is paid; what was a multiple of the price still is", func(t *testing.T) {
		if _, err := d.correct(t, deal, 150000); err != nil {
			t.Fatal(err)
		}
		if s := d.statement(t, p); minor(s.GetOpen()[0].GetAmount()) != 150000 {
			t.Errorf("got %v", s)
		}
		_, err := d.desk1.Coop().RecordParcelPayment(ctx, &coopv1.RecordParcelPaymentRequest{RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(150001), Reference: "bank"})
		tradetest.Refused(t, err, codes.FailedPrecondition, "ABOVE_WHAT_IS_OWED")
	})
	d.pay(t, p, 150000)
	d.sell(t, p)
	// 188000 net: 150000 back, then 38000 by 2 : 1. The price less 3 % is the miner's.
	if s := d.statement(t, p); shareOf(s, "miner") != 145500+12667 || shareOf(s, "cutter") != 150000+25333 {
		t.Errorf("got %v", s)
	}
	t.Run("refused: less than is paid, nothing, and what the books say", func(t *testing.T) {
		_, err := d.correct(t, deal, 149999)
		tradetest.Refused(t, err, codes.FailedPrecondition, "ABOVE_WHAT_IS_OWED", "amount")
		_, err = d.correct(t, deal, 0)
		tradetest.Refused(t, err, codes.InvalidArgument, "AMOUNT_INVALID", "amount")
		_, err = d.correct(t, deal, 150000)
		tradetest.Refused(t, err, codes.FailedPrecondition, "SAME_AS_RECORDED")
	})
	t.Run("OK: after payments; the shares move by the difference", func(t *testing.T) {
		if _, err := d.correct(t, deal, 170000); err != nil {
			t.Fatal(err)
		}
		s := d.statement(t, p)
		if shareOf(s, "miner") != 145500+6000 || shareOf(s, "cutter") != 170000+12000 {
			t.Errorf("got %v", s)
		}
		if got, err := d.wetWheel.Cutter().GetParcel(ctx, &cutterv1.GetParcelRequest{ParcelId: p.ID}); err != nil || minor(got.GetParcel().GetAgreement().GetPrice()) != 170000 {
			t.Errorf("got %v, %v", got, err)
		}
	})
	d.recomputes(t)
	t.Run("OK: statements list what moved them, to a party its own and no words", func(t *testing.T) {
		if c := d.statement(t, p).GetCorrections(); len(c) != 2 || c[0].GetReason() == "" || len(c[0].GetMoved()) != 0 || len(c[1].GetMoved()) != 2 {
			t.Errorf("the desk is shown %v", c)
		}
		miners, err := d.billycart.Miner().GetShare(ctx, &minerv1.GetShareRequest{ParcelId: p.ID})
		if err != nil {
			t.Fatal(err)
		}
		c := miners.GetStatement().GetCorrections()
		if len(c) != 1 || c[0].GetCorrects() != deal || c[0].GetWhat() != "price" || c[0].GetReason() != "" || len(c[0].GetMoved()) != 1 || minor(c[0].GetMoved()[0].GetAmount()) != 6000-12667 {
			t.Errorf("the miner is shown %v", c)
		}
		cutters, err := d.wetWheel.Cutter().GetShare(ctx, &cutterv1.GetShareRequest{ParcelId: p.ID})
		if c := cutters.GetStatement().GetCorrections(); err != nil || len(c) != 1 || minor(c[0].GetMoved()[0].GetAmount()) != 182000-175333 {
			t.Errorf("the cutter is shown %v, %v", c, err)
		}
	})
	run, err := prepare(ctx, d.desk1)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := approve(ctx, d.desk2, run); err != nil {
		t.Fatal(err)
	}
	t.Run("OK: after a payout a second person decides", func(t *testing.T) {
		waits, err := d.correct(t, deal, 160000)
		if err != nil || waits.GetStage() != "waits for a second person" {
			t.Fatalf("got %v, %v", waits, err)
		}
		if s := d.statement(t, p); shareOf(s, "miner") != 151500 {
			t.Errorf("it moved money already: %v", s)
		}
		if _, err := d.desk2.Coop().ConfirmCorrection(ctx, &coopv1.ConfirmCorrectionRequest{RequestId: command.NewID(), CorrectionId: waits.GetId()}); err != nil {
			t.Fatal(err)
		}
		if s := d.statement(t, p); shareOf(s, "miner") != 145500+9333 {
			t.Errorf("got %v", s)
		}
	})
	d.recomputes(t)
	rowsAgreeWithStreams(t, people{House: d.House}, p.ID)
}

// TestTitleFollowsPayment: where the title moves when the price is paid, a correction
// moves it to where it belongs.
func TestTitleFollowsPayment(t *testing.T) {
	d := openDesks(t)
	agreement := outright(160000)
	agreement.Title = typev1.Title_TITLE_WHEN_PAID
	p := d.CutUnder(t, d.billycart, d.wetWheel, agreement, 74000)
	is := func(t *testing.T, member string) {
		t.Helper()
		q, err := d.Node.Query(t.Context(), 0)
		if err != nil {
			t.Fatal(err)
		}
		defer q.Close()
		if lot, _, err := eventstore.Load(q, stream.Parcel, p.ID); err != nil || lot.Owner != member {
			t.Errorf("the title is %s's, %v; want %s", lot.Owner, err, member)
		}
	}
	correct := func(t *testing.T, position uint64, minor int64) {
		t.Helper()
		if _, err := d.correct(t, position, minor); err != nil {
			t.Fatal(err)
		}
	}
	d.pay(t, p, 160000)
	paid, deal := d.at(t, "parcel/"+p.ID, "parcel.v1.Paid"), d.at(t, "parcel/"+p.ID, "parcel.v1.DealMade")
	is(t, d.wetWheel.Member)
	t.Run("back to the seller: less was paid than recorded", func(t *testing.T) {
		correct(t, paid, 100000)
		is(t, d.billycart.Member)
	})
	t.Run("to the buyer: the rest comes in", func(t *testing.T) {
		d.pay(t, p, 60000)
		is(t, d.wetWheel.Member)
	})
	t.Run("back and forth with the price", func(t *testing.T) {
		correct(t, deal, 170000)
		is(t, d.billycart.Member)
		correct(t, deal, 160000)
		is(t, d.wetWheel.Member)
	})
	t.Run("to the buyer: a receipt too little recorded is put right", func(t *testing.T) {
		correct(t, paid, 90000)
		is(t, d.billycart.Member)
		correct(t, paid, 100000)
		is(t, d.wetWheel.Member)
	})
}
