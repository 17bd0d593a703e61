package tablestest

import (
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"google.golang.org/protobuf/proto"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/stage"
)

// wantedRough is a parcel with one offer at a price, and one before that was answered.
func wantedRough(w *World) rough {
	r, err := makeOffer(w, answered(w))
	w.Must(err)
	return r
}

// wantedFree is such a parcel whose open offer is at no price.
func wantedFree(w *World) rough {
	r := answered(w)
	id, err := bid(w, w.Cutter, r, 0)
	w.Must(err)
	r.offer = id
	return r
}

func fellThrough(p *typev1.Parcel) bool {
	s := p.GetState()
	return s == typev1.ParcelState_PARCEL_STATE_FALLEN_THROUGH || s == typev1.ParcelState_PARCEL_STATE_COMING_BACK
}

func dealTrial() Trial {
	recordCost := said(func(w *World, r rough) error {
		_, err := w.Books.Coop().RecordCost(w.Ctx(), &coopv1.RecordCostRequest{RequestId: command.NewID(), ParcelId: r.parcel, Kind: "freight", Amount: cooptest.AUD(500), Reference: "carrier"})
		return err
	})
	refund := said(func(w *World, r rough) error {
		_, err := w.Books.Coop().RecordParcelRefund(w.Ctx(), &coopv1.RecordParcelRefundRequest{RequestId: command.NewID(), ParcelId: r.parcel, Amount: cooptest.AUD(roughPrice / 2), Reference: "bank"})
		return err
	})
	made := after(wantedRough, acceptOffer)
	paid := after(made, payAll)
	placed := after(wantedFree, acceptOffer)
	return Thing[rough]{
		Table: parcel.DealTable,
		In: map[string][]Recipe[rough]{
			stage.None:       {{Name: "wanted at a price", Make: wantedRough}, {Name: "wanted at none", Make: wantedFree}},
			"made":           {{Name: "fresh", Make: made}, {Name: "paid in part", Make: after(made, payPart)}, {Name: "overdue", Make: after(made, monthLater)}},
			"paid":           {{Make: paid}},
			"placed":         {{Make: placed}},
			"fallen through": {{Make: after(paid, callOffMisdescribed)}, {Name: "paid in part", Make: after(after(made, payPart), callOffMisdescribed)}},
		},
		Do: map[string][]Call[rough]{
			"MinerService/AcceptOffer":              {{Do: acceptOffer}},
			"MinerService/CallOffUnpaidDeal":        {{With: []string{"overdue"}, Do: callOffUnpaid}},
			"CutterService/AcceptCounterOffer":      {{Do: acceptCounter}},
			"CutterService/TakeParcel":              {{Do: takeRough}},
			"CutterService/CallOffMisdescribedDeal": {{Do: callOffMisdescribed}},
			"CoopService/RecordParcelPayment":       {{Name: "a part", With: []string{"fresh", "overdue"}, Do: payPart}, {Name: "the rest", With: []string{"paid in part"}, Do: payPart}},
			"CoopService/RecordCost":                {{Do: recordCost}},
			"CoopService/RecordParcelRefund":        {{Do: refund}},
		},
		State: func(w *World, r rough) string {
			p := w.parcel(r)
			price := p.GetAgreement().GetPrice()
			switch {
			case fellThrough(p):
				return "fallen through"
			case p.GetBuyerId() == "":
				return stage.None
			case price.GetUnits() == 0 && price.GetNanos() == 0:
				return "placed"
			case proto.Equal(p.GetPaid(), price):
				return "paid"
			}
			return "made"
		},
	}
}

func handoverTrial() Trial {
	awaited := after(roughListed, takeRough)
	done := after(after(awaited, handOver), receiveRough)
	back := after(done, callOffMisdescribed)
	return Thing[rough]{
		Table: parcel.HandoverTable,
		In: map[string][]Recipe[rough]{
			stage.None:              {{Make: roughListed}},
			"awaited":               {{Make: awaited}},
			"weighed by the seller": {{Make: after(awaited, handOver)}},
			"weighed by the buyer":  {{Make: after(awaited, receiveRough)}},
			"done":                  {{Make: done}},
			"going back":            {{Name: "no word", Make: back}, {Name: "seller's word", Make: after(back, takeBack)}, {Name: "buyer's word", Make: after(back, giveBack)}},
			"back":                  {{Make: after(after(back, takeBack), giveBack)}},
			"called off":            {{Make: after(after(awaited, receiveRough), callOffMisdescribed)}},
		},
		Do: map[string][]Call[rough]{
			"CutterService/TakeParcel":              {{Do: takeRough}},
			"CutterService/ReceiveParcel":           {{Do: receiveRough}},
			"CutterService/CallOffMisdescribedDeal": {{Do: callOffMisdescribed}},
			"CutterService/GiveBackParcel":          {{Do: giveBack}},
			"MinerService/HandOverParcel":           {{Do: handOver}},
			"MinerService/TakeBackParcel":           {{Do: takeBack}},
		},
		State: func(w *World, r rough) string {
			p := w.parcel(r)
			words := p.GetHandover()
			switch {
			case p.GetState() == typev1.ParcelState_PARCEL_STATE_COMING_BACK:
				return "going back"
			case fellThrough(p) && words != nil:
				return "back"
			case fellThrough(p):
				return "called off"
			case p.GetState() == typev1.ParcelState_PARCEL_STATE_HANDED_OVER:
				return "done"
			case p.GetBuyerId() == "":
				return stage.None
			case words.GetSeller() != nil:
				return "weighed by the seller"
			case words.GetBuyer() != nil:
				return "weighed by the buyer"
			}
			return "awaited"
		},
	}
}

func agreementTrial() Trial {
	fixed := after(bidFor, acceptOffer)
	return Thing[rough]{
		Table: parcel.AgreementTable,
		In: map[string][]Recipe[rough]{
			stage.None: {{Make: noRough}},
			"proposed": {{Make: bidFor}},
			"fixed":    {{Make: fixed}},
			"void":     {{Make: after(fixed, callOffMisdescribed)}},
		},
		Do: map[string][]Call[rough]{
			"MinerService/PublishParcel":            {{Fresh: true, Do: publishRough}},
			"MinerService/RepriceParcel":            {{Do: reprice}},
			"MinerService/AcceptOffer":              {{Do: acceptOffer}},
			"MinerService/RelistParcel":             {{Do: relist}},
			"CutterService/MakeOffer":               {{Do: makeOffer}},
			"CutterService/TakeParcel":              {{Do: takeRough}},
			"CutterService/CallOffMisdescribedDeal": {{Do: callOffMisdescribed}},
		},
		State: func(w *World, r rough) string {
			p := w.parcel(r)
			switch {
			case p == nil:
				return stage.None
			case fellThrough(p):
				return "void"
			case p.GetAgreement().GetTitle() == typev1.Title_TITLE_UNSPECIFIED:
				return "proposed"
			}
			return "fixed"
		},
	}
}
