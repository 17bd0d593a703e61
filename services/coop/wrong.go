package coop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
)

// wrong is a record that shall be corrected, and what of it is right so far: the record
// itself, or the newest correction of it.
type wrong struct {
	record  eventstore.Record
	was     correction.Facts
	parcels []string // whose money would move; none for masses and sizes
	version uint64   // of the record's stream when this was read
	over    bool     // it is of a deal that fell through, whose parcel is on the market again or sold anew

	costKind string         // of a cost
	refund   bool           // money that was paid back
	refunded string         // the stone or lot that it was for; empty: it was of a deal
	price    bool           // the price of a deal
	pieceID  string         // of a mass or size
	part     string         // of a mass after a bench step or of a stone
	lossUg   int64          // what the step lost, of which a difference is taken
	reason   piecev1.Reason // of that loss
	sent     *sent          // of a mass as it went out or came
}

// sent is the mass of what was weighed as it went out or came, which isn't the thing's own in the books: rough of a
// viewing, or a stone of an order.
type sent struct {
	viewingID   string
	arrived     bool
	before      *eventv1.Weighing // what it should be
	count       int64             // stones fewer than should be there
	sizeDiffers bool
}

// errMoved: the thing changed between the look at it and the decision.
var errMoved = errors.New("the thing changed meanwhile")

// tries bounds how often a correction looks again at a thing that keeps changing.
const tries = 10

// withWrong reads the record that shall be corrected, which a decision can't, and
// decides; where the thing changed between the two, both are done again.
func (s *Server) withWrong(ctx context.Context, req command.Request, position uint64, right correction.Facts, decide func(*eventstore.Tx, wrong) (*command.Thing[correction.State], error)) (did command.Did[correction.State], err error) {
	for range tries {
		var w wrong
		if w, err = s.look(ctx, req.GetMinPosition(), position, right); err != nil {
			return did, err
		}
		did, err = command.Run(ctx, s.node, req, stream.Correction, func(tx *eventstore.Tx) (*command.Thing[correction.State], error) {
			version, err := w.atTip(tx)
			if err != nil {
				return nil, err
			}
			if version != w.version {
				return nil, errMoved
			}
			return decide(tx, w)
		})
		if !errors.Is(err, errMoved) {
			return did, err
		}
	}
	return did, rule.Broken{Reason: rule.CorrectedSince, Field: "corrects", Value: fmt.Sprint(position), Rule: "what this is about keeps changing", Hint: "try again in a moment"}
}

// atTip is the version of the record's stream at the tip.
func (w wrong) atTip(tx *eventstore.Tx) (version uint64, err error) {
	kind, id, _ := strings.Cut(string(w.record.Stream), "/")
	switch kind {
	case stream.Parcel.Name:
		_, version, err = eventstore.Load(tx, stream.Parcel, id)
	case stream.Order.Name:
		_, version, err = eventstore.Load(tx, stream.Order, id)
	case stream.Piece.Name:
		_, version, err = eventstore.Load(tx, stream.Piece, id)
	case stream.Stone.Name:
		_, version, err = eventstore.Load(tx, stream.Stone, id)
	default:
		version = w.version // nothing of it can be corrected, which the rule says
	}
	return version, err
}

func (s *Server) look(ctx context.Context, min, position uint64, right correction.Facts) (w wrong, err error) {
	_, err = query.At(ctx, s.node, min, func(q *eventstore.Query) error {
		if position < 1 || eventstore.Position(position) > q.Position() {
			return rule.Broken{Reason: rule.NothingToCorrect, Field: "corrects", Value: fmt.Sprint(position), Rule: "the log has no such position yet", Hint: "take the position from the thing's history"}
		}
		if w.record, err = q.RecordAt(eventstore.Position(position)); err != nil {
			return err
		}
		if err := w.read(q, right); err != nil {
			return err
		}
		records, err := q.Records(w.record.Stream)
		if err != nil {
			return err
		}
		w.version = uint64(len(records))
		w.follow(records, right)
		return nil
	})
	return w, err
}

// read takes the fact that right replaces out of the record. Where it holds none, was
// stays empty, which the correction's own rule refuses.
func (w *wrong) read(q *eventstore.Query, right correction.Facts) error {
	switch event := w.record.Event.(type) {
	case *parcelv1.Event:
		if e := event.GetPaid(); e != nil {
			w.was.Amount, w.parcels = e.GetPrivate().GetAmount(), []string{e.GetPublic().GetParcelId()}
		}
		if e := event.GetPurchaseRefunded(); e != nil && right.StoneID == "" {
			w.was.Amount, w.parcels, w.refund = e.GetPrivate().GetAmount(), []string{e.GetPublic().GetParcelId()}, true
		}
		if e := event.GetDealMade(); e != nil && right.StoneID == "" {
			w.was.Amount, w.parcels, w.price = e.GetPrivate().GetAgreement().GetPrice(), []string{e.GetPublic().GetParcelId()}, true
		}
		if e := event.GetCostRecorded(); e != nil {
			w.was.Amount, w.parcels, w.costKind = e.GetPrivate().GetAmount(), []string{e.GetPublic().GetParcelId()}, e.GetPrivate().GetKind()
		}
		return w.readViewing(q, event)
	case *orderv1.Event:
		return w.readOrder(q, event, right)
	case *piecev1.Event:
		w.readPiece(event, right)
	case *stonev1.Event:
		return w.readStone(q, event)
	}
	return nil
}

// readViewing takes what was weighed as rough went out for a viewing, or came back.
func (w *wrong) readViewing(q *eventstore.Query, event *parcelv1.Event) error {
	started, ended := event.GetViewingStarted().GetPrivate(), event.GetViewingEnded().GetPrivate()
	if started == nil && ended == nil {
		return nil
	}
	lot, _, err := eventstore.Load(q, stream.Parcel, strings.TrimPrefix(string(w.record.Stream), "parcel/"))
	if err != nil {
		return err
	}
	if started != nil {
		listed := &eventv1.Weighing{MassUg: started.GetTotal().GetMassUg() + started.GetDifferenceUg(), DivisionUg: lot.Total.GetDivisionUg()}
		w.was.Weighing, w.sent = started.GetTotal(), &sent{viewingID: started.GetViewingId(), before: listed, count: started.GetCountDifference()}
		return nil
	}
	v, _ := lot.Viewing(ended.GetViewingId())
	w.was.Weighing, w.sent = ended.GetTotal(), &sent{viewingID: v.ID, arrived: true, before: v.Out.Total, count: ended.GetCountDifference()}
	return nil
}

// readSent takes what a stone weighed as it was sent or came.
func (w *wrong) readSent(stones []*orderv1.MeasuredStone, arrived bool, right correction.Facts) {
	for _, m := range stones {
		if right.Weighing != nil && m.GetStoneId() == right.StoneID {
			w.was.Weighing, w.was.StoneID = m.GetMeasured().GetWeighing(), right.StoneID
			w.sent = &sent{arrived: arrived, before: m.GetBefore().GetWeighing(), sizeDiffers: m.GetSizeDiffers()}
		}
	}
}

func (w *wrong) readOrder(q *eventstore.Query, event *orderv1.Event, right correction.Facts) error {
	id := strings.TrimPrefix(string(w.record.Stream), "order/")
	o, _, err := eventstore.Load(q, stream.Order, id)
	if err != nil {
		return err
	}
	if e := event.GetRefunded(); e != nil && right.StoneID == "" {
		id := e.GetPublic().GetStoneId() + e.GetPublic().GetLotId()
		l, _ := o.Line(id)
		w.was.Amount, w.parcels, w.refund, w.refunded = e.GetPrivate().GetAmount(), []string{l.ParcelID}, true, id
		return nil
	}
	for _, l := range o.Lines {
		if (right.StoneID == "" || right.StoneID == l.ID()) && !slices.Contains(w.parcels, l.ParcelID) {
			w.parcels = append(w.parcels, l.ParcelID)
		}
	}
	if e := event.GetPaid(); e != nil && right.StoneID == "" {
		w.was.Amount = e.GetPrivate().GetAmount()
	}
	w.readSent(event.GetDispatched().GetPrivate().GetStones(), false, right)
	w.readSent(event.GetReceived().GetPrivate().GetStones(), true, right)
	for _, l := range event.GetPlaced().GetPrivate().GetLines() {
		if right.StoneID != "" && (l.GetStoneId() == right.StoneID || l.GetLotId() == right.StoneID) {
			w.was.Amount = &eventv1.Amount{Currency: event.GetPlaced().GetPrivate().GetCurrency(), Minor: l.GetPriceMinor()}
		}
	}
	return nil
}

func (w *wrong) readPiece(event *piecev1.Event, right correction.Facts) {
	if e := event.GetDescribed().GetPublic(); e != nil && right.Part == "" {
		w.pieceID, w.was.Weighing, w.was.Size = e.GetPieceId(), e.GetWeighing(), e.GetSize()
	}
	e := event.GetWorked().GetPublic()
	for _, p := range e.GetPartsOut() {
		if p.GetName() == right.Part {
			w.pieceID, w.part, w.was.Weighing = e.GetPieceId(), p.GetName(), p.GetWeighing()
			w.lossUg, w.reason = e.GetLossUg(), e.GetReason()
		}
	}
}

func (w *wrong) readStone(q *eventstore.Query, event *stonev1.Event) error {
	e := event.GetFinished().GetPublic()
	if e == nil {
		return nil
	}
	w.pieceID, w.part, w.was.Weighing, w.was.Size = e.GetPieceId(), e.GetPart(), e.GetWeighing(), e.GetSize()
	records, err := q.Records(stream.Piece.Stream(e.GetPieceId()))
	if err != nil {
		return err
	}
	for _, r := range records {
		piece, _ := r.Event.(*piecev1.Event)
		if f := piece.GetFinished().GetPublic(); f.GetStoneId() == e.GetStoneId() {
			w.lossUg, w.reason = f.GetLossUg(), piecev1.Reason_REASON_GROUND_OFF
		}
	}
	return nil
}

// follow takes the corrections of the record that came before into account.
func (w *wrong) follow(records []eventstore.Record, right correction.Facts) {
	for _, r := range records {
		if lot, _ := r.Event.(*parcelv1.Event); r.Position > w.record.Position && (lot.GetRelisted() != nil || lot.GetDealMade() != nil) {
			w.over = true
		}
		if r.Corrects != w.record.Position {
			continue
		}
		event, _ := r.Event.(*correctionv1.Event)
		switch e := event.GetEvent().(type) {
		case *correctionv1.Event_ReceiptCorrected:
			w.was.Amount = e.ReceiptCorrected.GetPrivate().GetRight()
		case *correctionv1.Event_RefundCorrected:
			w.was.Amount = e.RefundCorrected.GetPrivate().GetRight()
		case *correctionv1.Event_CostCorrected:
			w.was.Amount = e.CostCorrected.GetPrivate().GetRight()
		case *correctionv1.Event_PriceCorrected:
			if p := e.PriceCorrected.GetPrivate(); p.GetStoneId() == right.StoneID {
				w.was.Amount = p.GetRight()
			}
		case *correctionv1.Event_MassCorrected:
			if p := e.MassCorrected.GetPublic(); p.GetPart() == w.part {
				w.lossUg -= p.GetRight().GetMassUg() - p.GetWas().GetMassUg()
				w.was.Weighing = p.GetRight()
			}
		case *correctionv1.Event_SentMassCorrected:
			if p := e.SentMassCorrected.GetPrivate(); p.GetStoneId() == right.StoneID {
				w.was.Weighing = p.GetRight()
			}
		case *correctionv1.Event_SizeCorrected:
			w.was.Size = e.SizeCorrected.GetPublic().GetRight()
		}
	}
	// Only what is to be corrected counts.
	switch {
	case right.Amount != nil:
		w.was = correction.Facts{Amount: w.was.Amount, StoneID: right.StoneID}
	case right.Weighing != nil:
		w.was = correction.Facts{Weighing: w.was.Weighing, Part: w.part, StoneID: right.StoneID}
	default:
		w.was = correction.Facts{Size: w.was.Size}
	}
}

// apply records what a correction changes, and gives what of it is unexplained mass now.
// person is who asked for it.
type apply func(c correction.State, person string) (unexplainedUg int64)

// fits refuses a right fact that the thing can't have, by the thing's own rules, and
// gives what it changes.
func (w wrong) fits(tx *eventstore.Tx, right correction.Facts) (apply, error) {
	kind, id, _ := strings.Cut(string(w.record.Stream), "/")
	switch {
	case right.Amount != nil && kind == stream.Parcel.Name:
		return w.fitsParcel(tx, id, right)
	case right.Amount != nil && kind == stream.Order.Name:
		return w.fitsOrder(tx, id, right)
	case w.sent != nil:
		return w.fitsSent(tx, kind, right), nil
	case right.Weighing != nil:
		return w.fitsMass(tx, kind, id, right)
	}
	return func(c correction.State, person string) int64 {
		w.put(tx, w.record.Stream, sizeCorrected(c, w, right, person))
		return 0
	}, nil
}

func (w wrong) put(tx *eventstore.Tx, s eventstore.Stream, event proto.Message) {
	options := []eventstore.RecordOption{eventstore.Correcting(w.record.Position)}
	if day := w.record.EffectiveDate; day != "" {
		options = append(options, eventstore.EffectiveOn(day))
	}
	tx.Record(s, event, options...)
}

func (w wrong) fitsParcel(tx *eventstore.Tx, id string, right correction.Facts) (apply, error) {
	if w.over {
		return nil, rule.Broken{
			Reason: rule.NothingToCorrect, Field: "corrects", Value: fmt.Sprint(w.record.Position),
			Rule: "it is of a deal that fell through and is over; its money went back, and its costs stayed with the co-op", Hint: "leave it as it is",
		}
	}
	if w.costKind != "" {
		return func(c correction.State, person string) int64 {
			w.put(tx, w.record.Stream, &correctionv1.Event{Event: &correctionv1.Event_CostCorrected{CostCorrected: &correctionv1.CostCorrected{
				Public:  &correctionv1.CostCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects},
				Private: &correctionv1.CostCorrected_Private{PersonId: person, Reason: c.Reason, Kind: w.costKind, Was: w.was.Amount, Right: right.Amount},
			}}})
			return 0
		}, nil
	}
	lot, _, err := eventstore.Load(tx, stream.Parcel, id)
	if err != nil {
		return nil, err
	}
	if w.price {
		agreement, err := lot.CorrectPrice(right.Amount)
		if err != nil {
			return nil, err
		}
		return func(c correction.State, person string) int64 {
			w.putParcel(tx, lot, &correctionv1.Event{Event: &correctionv1.Event_PriceCorrected{PriceCorrected: &correctionv1.PriceCorrected{
				Public:  &correctionv1.PriceCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects},
				Private: &correctionv1.PriceCorrected_Private{PersonId: person, Reason: c.Reason, Was: w.was.Amount, Right: right.Amount, Agreement: agreement},
			}}})
			return 0
		}, nil
	}
	if w.refund {
		if err := lot.CorrectRefund(w.was.Amount.GetMinor(), right.Amount.GetMinor()); err != nil {
			return nil, err
		}
		return func(c correction.State, person string) int64 {
			w.put(tx, w.record.Stream, w.paidBack(c, right, person))
			return 0
		}, nil
	}
	if err := lot.CorrectPaid(w.was.Amount.GetMinor(), right.Amount.GetMinor()); err != nil {
		return nil, err
	}
	return func(c correction.State, person string) int64 {
		w.putParcel(tx, lot, w.receipt(c, right, person))
		return 0
	}, nil
}

// putParcel records a correction of a parcel's money, and where the title is with it.
func (w wrong) putParcel(tx *eventstore.Tx, lot parcel.State, event *correctionv1.Event) {
	w.put(tx, w.record.Stream, event)
	for _, moved := range parcel.EvolveCorrection(lot, event).TitleAsPaid() {
		tx.Record(w.record.Stream, moved)
	}
}

func (w wrong) receipt(c correction.State, right correction.Facts, person string) *correctionv1.Event {
	return &correctionv1.Event{Event: &correctionv1.Event_ReceiptCorrected{ReceiptCorrected: &correctionv1.ReceiptCorrected{
		Public:  &correctionv1.ReceiptCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects},
		Private: &correctionv1.ReceiptCorrected_Private{PersonId: person, Reason: c.Reason, Was: w.was.Amount, Right: right.Amount},
	}}}
}

func (w wrong) paidBack(c correction.State, right correction.Facts, person string) *correctionv1.Event {
	return &correctionv1.Event{Event: &correctionv1.Event_RefundCorrected{RefundCorrected: &correctionv1.RefundCorrected{
		Public:  &correctionv1.RefundCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects},
		Private: &correctionv1.RefundCorrected_Private{PersonId: person, Reason: c.Reason, Was: w.was.Amount, Right: right.Amount, LineId: w.refunded},
	}}}
}

func (w wrong) fitsOrder(tx *eventstore.Tx, id string, right correction.Facts) (apply, error) {
	o, _, err := eventstore.Load(tx, stream.Order, id)
	if err != nil {
		return nil, err
	}
	if w.refund {
		if err := o.CorrectRefund(w.refunded, w.was.Amount.GetMinor(), right.Amount.GetMinor()); err != nil {
			return nil, err
		}
		return func(c correction.State, person string) int64 {
			w.put(tx, w.record.Stream, w.paidBack(c, right, person))
			return 0
		}, nil
	}
	if right.StoneID == "" {
		if err := o.CorrectPaid(w.was.Amount.GetMinor(), right.Amount.GetMinor()); err != nil {
			return nil, err
		}
		return func(c correction.State, person string) int64 {
			w.put(tx, w.record.Stream, w.receipt(c, right, person))
			return 0
		}, nil
	}
	if err := o.CorrectPrice(right.StoneID, right.Amount.GetMinor()); err != nil {
		return nil, err
	}
	return func(c correction.State, person string) int64 {
		w.put(tx, w.record.Stream, &correctionv1.Event{Event: &correctionv1.Event_PriceCorrected{PriceCorrected: &correctionv1.PriceCorrected{
			Public:  &correctionv1.PriceCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects},
			Private: &correctionv1.PriceCorrected_Private{PersonId: person, Reason: c.Reason, StoneId: right.StoneID, Was: w.was.Amount, Right: right.Amount},
		}}})
		return 0
	}, nil
}

// fitsSent changes what was weighed on the way, and nothing of the thing itself: two
// weighings of one thing are both right, or one of them is looked into.
func (w wrong) fitsSent(tx *eventstore.Tx, kind string, right correction.Facts) apply {
	_, differs := parcel.Apart(w.sent.before, right.Weighing)
	if kind == stream.Order.Name {
		differs = stone.Differs(&eventv1.Measured{Weighing: w.sent.before}, &eventv1.Measured{Weighing: right.Weighing}).Mass
	}
	return func(c correction.State, person string) int64 {
		w.put(tx, w.record.Stream, &correctionv1.Event{Event: &correctionv1.Event_SentMassCorrected{SentMassCorrected: &correctionv1.SentMassCorrected{
			Public: &correctionv1.SentMassCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects},
			Private: &correctionv1.SentMassCorrected_Private{
				PersonId: person, Reason: c.Reason, ViewingId: w.sent.viewingID, StoneId: right.StoneID, Arrived: w.sent.arrived,
				Was: w.was.Weighing, Right: right.Weighing, Before: w.sent.before, CountDifference: w.sent.count,
				MassDiffers: differs, SizeDiffers: w.sent.sizeDiffers,
			},
		}}})
		return 0
	}
}

// fitsMass changes the piece's mass balance, and the stone or the parcel's line that
// holds the mass too.
func (w wrong) fitsMass(tx *eventstore.Tx, kind, id string, right correction.Facts) (apply, error) {
	more := right.Weighing.GetMassUg() - w.was.Weighing.GetMassUg()
	if w.part != "" && more > w.lossUg {
		return nil, rule.Broken{
			Reason: rule.HeavierThanBefore, Field: "weighing.mass_ug", Value: measure.Mass(right.Weighing.GetMassUg()).GramsAndCarats(),
			Rule: fmt.Sprintf("with it more would have come out than went in; %s was lost there", measure.Mass(w.lossUg)), Hint: "correct what went in first",
		}
	}
	rough, _, err := eventstore.Load(tx, stream.Piece, w.pieceID)
	if err != nil {
		return nil, err
	}
	return func(c correction.State, person string) int64 {
		public := &correctionv1.MassCorrected_Public{
			CorrectionId: c.ID, Corrects: c.Corrects, Part: w.part, Was: w.was.Weighing, Right: right.Weighing, PieceId: w.pieceID, LossReason: w.reason,
		}
		also := stream.Parcel.Stream(rough.ParcelID)
		if kind == stream.Stone.Name {
			public.StoneId, also = id, w.record.Stream
		}
		name := cmp.Or(w.part, rough.Label)
		now, there := rough.Part(name)
		public.WeighedSince = !there || now.StoneID != public.GetStoneId() || now.Weighing.GetMassUg() != w.was.Weighing.GetMassUg()
		event := &correctionv1.Event{Event: &correctionv1.Event_MassCorrected{MassCorrected: &correctionv1.MassCorrected{
			Public: public, Private: &correctionv1.MassCorrected_Private{PersonId: person, Reason: c.Reason},
		}}}
		w.put(tx, stream.Piece.Stream(w.pieceID), event)
		if w.part == "" || kind == stream.Stone.Name {
			w.put(tx, also, event)
		}
		if public.GetWeighedSince() {
			return more
		}
		return 0
	}, nil
}

func sizeCorrected(c correction.State, w wrong, right correction.Facts, person string) *correctionv1.Event {
	return &correctionv1.Event{Event: &correctionv1.Event_SizeCorrected{SizeCorrected: &correctionv1.SizeCorrected{
		Public:  &correctionv1.SizeCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects, Was: w.was.Size, Right: right.Size},
		Private: &correctionv1.SizeCorrected_Private{PersonId: person, Reason: c.Reason},
	}}}
}
