package tablestest

import (
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/stage"
)

var parcelStates = map[typev1.ParcelState]string{
	typev1.ParcelState_PARCEL_STATE_DRAFT: "draft", typev1.ParcelState_PARCEL_STATE_DISCARDED: "discarded",
	typev1.ParcelState_PARCEL_STATE_LISTED: "listed", typev1.ParcelState_PARCEL_STATE_UNDER_OFFER: "under offer",
	typev1.ParcelState_PARCEL_STATE_AGREED: "agreed", typev1.ParcelState_PARCEL_STATE_HANDED_OVER: "handed over",
	typev1.ParcelState_PARCEL_STATE_WITHDRAWN: "withdrawn", typev1.ParcelState_PARCEL_STATE_COMING_BACK: "coming back",
	typev1.ParcelState_PARCEL_STATE_FALLEN_THROUGH: "fallen through", typev1.ParcelState_PARCEL_STATE_CLOSED: "closed",
}

func saveDraft(w *World, r rough, id string) (rough, error) {
	got, err := w.Miner.Miner().SaveDraft(w.Ctx(), &minerv1.SaveDraftRequest{RequestId: command.NewID(), ParcelId: id, Draft: &minerv1.Draft{
		Label: "P1", Agreement: atPrice(roughPrice), Pieces: []*minerv1.DraftLine{{Label: "1", Seen: "a green bar", Photos: []*typev1.Photo{cooptest.Photo()}}},
	}})
	return of(r, got.GetParcel()), err
}

var discardDraft = said(func(w *World, r rough) error {
	_, err := w.Miner.Miner().DiscardDraft(w.Ctx(), &minerv1.DiscardDraftRequest{RequestId: command.NewID(), ParcelId: r.parcel})
	return err
})

// doneWith is a parcel that is paid, with nothing of it in work.
func doneWith(from func(*World) rough) func(*World) rough {
	return after(after(from, payAll), said(func(w *World, r rough) error {
		for piece, part := range map[string]string{r.piece: "1", r.group: "2"} {
			if _, err := w.Cutter.Cutter().PlacePart(w.Ctx(), &cutterv1.PlacePartRequest{RequestId: command.NewID(), PieceId: piece, Part: part, Fate: typev1.Fate_FATE_SHELF}); err != nil {
				return err
			}
		}
		return nil
	}))
}

func parcelTrial() Trial {
	publishDraft := said(func(w *World, r rough) error {
		l := roughListing()
		l.DraftId = r.parcel
		_, err := w.Miner.Miner().PublishParcel(w.Ctx(), l)
		return err
	})
	closing := said(func(w *World, r rough) error {
		_, err := w.Cutter.Cutter().CloseParcel(w.Ctx(), &cutterv1.CloseParcelRequest{RequestId: command.NewID(), ParcelId: r.parcel})
		return err
	})
	sellerOpens := said(func(w *World, r rough) error {
		_, err := w.Miner.Miner().OpenLine(w.Ctx(), &minerv1.OpenLineRequest{RequestId: command.NewID(), ParcelId: r.parcel, PieceId: r.group, Pieces: takenOut, Left: cooptest.Grams(18_000_000)})
		return err
	})
	buyerOpens := said(func(w *World, r rough) error {
		_, err := w.Cutter.Cutter().OpenLine(w.Ctx(), &cutterv1.OpenLineRequest{RequestId: command.NewID(), ParcelId: r.parcel, PieceId: r.group, Pieces: takenOut, Left: cooptest.Grams(18_000_000)})
		return err
	})
	drafted := func(w *World) rough {
		r, err := saveDraft(w, noRough(w), "")
		w.Must(err)
		return r
	}
	agreed := after(bidFor, acceptOffer)
	held := after(after(agreed, handOver), receiveRough)
	back := after(held, callOffMisdescribed)
	there := []string{"draft", "listed", "under offer", "agreed", "handed over", "closed", "withdrawn", "coming back", "fallen through", "discarded"}
	return Thing[rough]{
		Table: parcel.Table,
		In: map[string][]Recipe[rough]{
			stage.None:    {{Make: noRough}},
			"draft":       {{Make: drafted}},
			"discarded":   {{Make: after(drafted, discardDraft)}},
			"listed":      {{Make: roughListed}, {Name: "from a draft", Make: func(w *World) rough { r := after(drafted, publishDraft)(w); return of(r, w.parcel(r)) }}},
			"under offer": {{Name: "one", Make: bidFor}, {Name: "two", Make: bidTwice}, {Name: "countered", Make: answered}},
			"agreed": {
				{Name: "no word", Make: agreed},
				{Name: "seller's word", Make: after(agreed, handOver)},
				{Name: "buyer's word", Make: after(agreed, receiveRough)},
				{Name: "overdue", Make: after(agreed, monthLater)},
			},
			"handed over": {{Name: "uncut", Make: held}, {Name: "overdue", Make: after(held, monthLater)}, {Name: "done with", Make: doneWith(held)}},
			"closed":      {{Make: after(doneWith(held), closing)}},
			"withdrawn":   {{Make: after(bidFor, withdrawRough)}},
			"coming back": {{Name: "no word", Make: back}, {Name: "seller's word", Make: after(back, takeBack)}, {Name: "buyer's word", Make: after(back, giveBack)}},
			"fallen through": {
				{Name: "before the handover", Make: after(agreed, callOffMisdescribed)}, {Name: "given back", Make: after(after(back, giveBack), takeBack)},
			},
		},
		Do: map[string][]Call[rough]{
			"MinerService/SaveDraft": {
				{Name: "new", Fresh: true, Do: func(w *World, r rough) (rough, error) { return saveDraft(w, r, "") }},
				{Name: "again", In: there, Do: func(w *World, r rough) (rough, error) { _, err := saveDraft(w, r, r.parcel); return r, err }},
			},
			"MinerService/PublishParcel":            {{Name: "new", Fresh: true, Do: publishRough}, {Name: "a draft", In: there, Do: publishDraft}},
			"MinerService/DiscardDraft":             {{Do: discardDraft}},
			"MinerService/RepriceParcel":            {{Do: reprice}},
			"MinerService/WithdrawParcel":           {{Do: withdrawRough}},
			"MinerService/RelistParcel":             {{Do: relist}},
			"MinerService/DeclineOffer":             {{With: []string{"one", "two"}, Do: declineOffer}},
			"MinerService/CounterOffer":             {{With: []string{"one", "two"}, Do: counterOffer}},
			"MinerService/AcceptOffer":              {{With: []string{"one", "two"}, Do: acceptOffer}},
			"MinerService/HandOverParcel":           {{Do: handOver}},
			"MinerService/CallOffUnpaidDeal":        {{With: []string{"overdue"}, Do: callOffUnpaid}},
			"MinerService/TakeBackParcel":           {{Do: takeBack}},
			"MinerService/OpenLine":                 {{Do: sellerOpens}},
			"CutterService/MakeOffer":               {{Do: makeOffer}},
			"CutterService/WithdrawOffer":           {{With: []string{"one", "two"}, Do: withdrawOffer}},
			"CutterService/AcceptCounterOffer":      {{With: []string{"countered"}, Do: acceptCounter}},
			"CutterService/TakeParcel":              {{Do: takeRough}},
			"CutterService/ReceiveParcel":           {{Do: receiveRough}},
			"CutterService/CallOffMisdescribedDeal": {{Do: callOffMisdescribed}},
			"CutterService/GiveBackParcel":          {{Do: giveBack}},
			"CutterService/CloseParcel":             {{With: []string{"done with"}, Do: closing}},
			"CutterService/OpenLine":                {{With: []string{"uncut", "done with"}, Do: buyerOpens}},
			Time:                                    {{Do: hoursLater}},
		},
		State: func(w *World, r rough) string { return parcelStates[w.parcel(r).GetState()] },
	}
}

var offerStates = map[typev1.OfferState]string{
	typev1.OfferState_OFFER_STATE_OPEN: "open", typev1.OfferState_OFFER_STATE_ACCEPTED: "accepted", typev1.OfferState_OFFER_STATE_CLOSED: "closed",
	typev1.OfferState_OFFER_STATE_ENDED: "ended", typev1.OfferState_OFFER_STATE_WITHDRAWN: "withdrawn", typev1.OfferState_OFFER_STATE_DECLINED: "declined",
	typev1.OfferState_OFFER_STATE_COUNTERED: "countered",
}

func (w *World) offerStage(r rough, id string) string {
	got, err := w.Miner.Miner().ListOffers(w.Ctx(), &minerv1.ListOffersRequest{ParcelId: r.parcel})
	if w.none(err) {
		return stage.None
	}
	for _, o := range got.GetOffers() {
		if o.GetId() == id {
			return offerStates[o.GetState()]
		}
	}
	return stage.None
}

func offerTrial() Trial {
	return Thing[rough]{
		Table: parcel.OfferTable,
		In: map[string][]Recipe[rough]{
			stage.None: {{Make: noRough}},
			"open":     {{Make: bidFor}}, "accepted": {{Make: after(bidFor, acceptOffer)}}, "countered": {{Make: answered}},
			"declined": {{Make: after(bidFor, declineOffer)}}, "withdrawn": {{Make: after(bidFor, withdrawOffer)}}, "ended": {{Make: after(bidFor, hoursLater)}},
			"closed": {
				{Name: "as another took it", Make: after(bidFor, anotherTakes)}, {Name: "as it was withdrawn", Make: after(bidFor, withdrawRough)},
			},
		},
		Do: map[string][]Call[rough]{
			"CutterService/MakeOffer":     {{Fresh: true, Do: func(w *World, _ rough) (rough, error) { return makeOffer(w, roughListed(w)) }}},
			"CutterService/WithdrawOffer": {{Do: withdrawOffer}},
			"CutterService/TakeParcel":    {{Do: anotherTakes}},
			"MinerService/AcceptOffer":    {{Do: acceptOffer}},
			"MinerService/CounterOffer":   {{Do: counterOffer}},
			"MinerService/DeclineOffer":   {{Do: declineOffer}},
			Time:                          {{Do: hoursLater}},
		},
		State: func(w *World, r rough) string { return w.offerStage(r, r.offer) },
	}
}

func counterTrial() Trial {
	return Thing[rough]{
		Table: parcel.CounterTable,
		In: map[string][]Recipe[rough]{
			stage.None: {{Make: noRough}},
			"open":     {{Make: answered}}, "accepted": {{Make: after(answered, acceptCounter)}}, "declined": {{Make: after(answered, declineCounter)}},
			"withdrawn": {{Make: after(answered, withdrawCounter)}}, "ended": {{Make: after(answered, hoursLater)}}, "closed": {{Make: after(answered, anotherTakes)}},
		},
		Do: map[string][]Call[rough]{
			"MinerService/CounterOffer":         {{Fresh: true, Do: func(w *World, _ rough) (rough, error) { return counterOffer(w, bidFor(w)) }}},
			"MinerService/WithdrawCounterOffer": {{Do: withdrawCounter}},
			"CutterService/AcceptCounterOffer":  {{Do: acceptCounter}},
			"CutterService/DeclineCounterOffer": {{Do: declineCounter}},
			"CutterService/TakeParcel":          {{Do: anotherTakes}},
			Time:                                {{Do: hoursLater}},
		},
		State: func(w *World, r rough) string { return w.offerStage(r, r.counter) },
	}
}
