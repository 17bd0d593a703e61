package coop

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/stream"
)

func (w *wrong) ofParcel(event *parcelv1.Event, right correction.Facts) error {
	lot, _, err := eventstore.Load(w.tx, stream.Parcel, w.id)
	switch {
	case err != nil:
		return err
	case right.Weighing != nil:
		w.ofRough(lot, event)
		return nil
	case right.Amount == nil || right.StoneID != "":
		return nil
	}
	w.parcels = []string{w.id}
	switch e := event.GetEvent().(type) {
	case *parcelv1.Event_Paid:
		w.amount(e.Paid.GetPrivate().GetAmount(), "", func(right *eventv1.Amount) (apply, error) {
			return w.putsOnParcel(lot, w.receipt), lot.CorrectPaid(w.was.Amount.GetMinor(), right.GetMinor())
		})
	case *parcelv1.Event_PurchaseRefunded:
		w.amount(e.PurchaseRefunded.GetPrivate().GetAmount(), "", func(right *eventv1.Amount) (apply, error) {
			return w.puts(w.paidBack("")), lot.CorrectRefund(w.was.Amount.GetMinor(), right.GetMinor())
		})
	case *parcelv1.Event_DealMade:
		w.amount(e.DealMade.GetPrivate().GetAgreement().GetPrice(), "", func(right *eventv1.Amount) (apply, error) {
			agreement, err := lot.CorrectPrice(right)
			return w.putsOnParcel(lot, w.price("", agreement)), err
		})
	case *parcelv1.Event_CostRecorded:
		w.amount(e.CostRecorded.GetPrivate().GetAmount(), "", func(*eventv1.Amount) (apply, error) {
			return w.puts(w.cost(e.CostRecorded.GetPrivate().GetKind())), nil
		})
	}
	return nil
}

// amount is a fact of money; fit gives what the right one changes.
func (w *wrong) amount(recorded *eventv1.Amount, stoneID string, fit func(right *eventv1.Amount) (apply, error)) {
	w.was = correction.Facts{Amount: recorded, StoneID: stoneID}
	for _, event := range w.corrected() {
		switch e := event.GetEvent().(type) {
		case *correctionv1.Event_ReceiptCorrected:
			w.was.Amount = e.ReceiptCorrected.GetPrivate().GetRight()
		case *correctionv1.Event_RefundCorrected:
			w.was.Amount = e.RefundCorrected.GetPrivate().GetRight()
		case *correctionv1.Event_CostCorrected:
			w.was.Amount = e.CostCorrected.GetPrivate().GetRight()
		case *correctionv1.Event_PriceCorrected:
			if p := e.PriceCorrected.GetPrivate(); p.GetStoneId() == stoneID {
				w.was.Amount = p.GetRight()
			}
		}
	}
	w.newestOf(func(e *correctionv1.Event) bool { return e.GetPriceCorrected().GetPrivate().GetStoneId() == stoneID })
	w.fit = func(right correction.Facts) (apply, error) {
		over := func(event proto.Message) bool {
			lot, _ := event.(*parcelv1.Event)
			return lot.GetRelisted() != nil || lot.GetDealMade() != nil
		}
		if w.since(over) {
			return nil, rule.Broken{
				Reason: rule.NothingToCorrect, Field: "corrects", Value: fmt.Sprint(w.record.Position),
				Rule: "it is of a deal that fell through and is over; its money went back, and its costs stayed with the co-op", Hint: "leave it as it is",
			}
		}
		return fit(right.Amount)
	}
}

// putsOnParcel records a correction of a parcel's money, and where the title is with it.
func (w *wrong) putsOnParcel(lot parcel.State, event func(correction.State, string) *correctionv1.Event) apply {
	return func(c correction.State, person string) int64 {
		e := event(c, person)
		w.put(w.record.Stream, e)
		for _, moved := range parcel.EvolveCorrection(lot, e).TitleAsPaid() {
			w.tx.Record(w.record.Stream, moved)
		}
		return 0
	}
}

func (w *wrong) receipt(c correction.State, person string) *correctionv1.Event {
	return &correctionv1.Event{Event: &correctionv1.Event_ReceiptCorrected{ReceiptCorrected: &correctionv1.ReceiptCorrected{
		Public:  &correctionv1.ReceiptCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects},
		Private: &correctionv1.ReceiptCorrected_Private{PersonId: person, Reason: c.Reason, Was: w.was.Amount, Right: c.Facts.Amount},
	}}}
}

func (w *wrong) paidBack(line string) func(correction.State, string) *correctionv1.Event {
	return func(c correction.State, person string) *correctionv1.Event {
		return &correctionv1.Event{Event: &correctionv1.Event_RefundCorrected{RefundCorrected: &correctionv1.RefundCorrected{
			Public:  &correctionv1.RefundCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects},
			Private: &correctionv1.RefundCorrected_Private{PersonId: person, Reason: c.Reason, Was: w.was.Amount, Right: c.Facts.Amount, LineId: line},
		}}}
	}
}

func (w *wrong) cost(kind string) func(correction.State, string) *correctionv1.Event {
	return func(c correction.State, person string) *correctionv1.Event {
		return &correctionv1.Event{Event: &correctionv1.Event_CostCorrected{CostCorrected: &correctionv1.CostCorrected{
			Public:  &correctionv1.CostCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects},
			Private: &correctionv1.CostCorrected_Private{PersonId: person, Reason: c.Reason, Kind: kind, Was: w.was.Amount, Right: c.Facts.Amount},
		}}}
	}
}

func (w *wrong) price(stoneID string, agreement *parcelv1.Agreement) func(correction.State, string) *correctionv1.Event {
	return func(c correction.State, person string) *correctionv1.Event {
		return &correctionv1.Event{Event: &correctionv1.Event_PriceCorrected{PriceCorrected: &correctionv1.PriceCorrected{
			Public:  &correctionv1.PriceCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects},
			Private: &correctionv1.PriceCorrected_Private{PersonId: person, Reason: c.Reason, StoneId: stoneID, Was: w.was.Amount, Right: c.Facts.Amount, Agreement: agreement},
		}}}
	}
}

func (w *wrong) ofOrder(event *orderv1.Event, right correction.Facts) error {
	o, _, err := eventstore.Load(w.tx, stream.Order, w.id)
	switch {
	case err != nil:
		return err
	case right.Weighing != nil:
		w.ofSent(event.GetDispatched().GetPrivate().GetStones(), false, right)
		w.ofSent(event.GetReceived().GetPrivate().GetStones(), true, right)
	case right.Amount != nil:
		w.ofOrderMoney(o, event, right.StoneID)
	}
	return nil
}

func (w *wrong) ofOrderMoney(o order.State, event *orderv1.Event, stoneID string) {
	for _, l := range o.Lines {
		if (stoneID == "" || stoneID == l.ID()) && !slices.Contains(w.parcels, l.ParcelID) {
			w.parcels = append(w.parcels, l.ParcelID)
		}
	}
	switch e := event.GetEvent().(type) {
	case *orderv1.Event_Paid:
		if stoneID == "" {
			w.amount(e.Paid.GetPrivate().GetAmount(), "", func(right *eventv1.Amount) (apply, error) {
				return w.puts(w.receipt), o.CorrectPaid(w.was.Amount.GetMinor(), right.GetMinor())
			})
		}
	case *orderv1.Event_Refunded:
		if stoneID == "" {
			line := e.Refunded.GetPublic().GetStoneId() + e.Refunded.GetPublic().GetLotId()
			l, _ := o.Line(line)
			w.parcels = []string{l.ParcelID}
			w.amount(e.Refunded.GetPrivate().GetAmount(), "", func(right *eventv1.Amount) (apply, error) {
				return w.puts(w.paidBack(line)), o.CorrectRefund(line, w.was.Amount.GetMinor(), right.GetMinor())
			})
		}
	case *orderv1.Event_Placed:
		for _, l := range e.Placed.GetPrivate().GetLines() {
			if stoneID != "" && l.GetStoneId()+l.GetLotId() == stoneID {
				w.amount(&eventv1.Amount{Currency: e.Placed.GetPrivate().GetCurrency(), Minor: l.GetPriceMinor()}, stoneID, func(right *eventv1.Amount) (apply, error) {
					return w.puts(w.price(stoneID, nil)), o.CorrectPrice(stoneID, right.GetMinor())
				})
			}
		}
	}
}
