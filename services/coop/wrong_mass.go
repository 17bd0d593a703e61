package coop

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
)

// ofPiece is a mass in a piece's balance, or its size as listed.
func (w *wrong) ofPiece(event *piecev1.Event, right correction.Facts) error {
	if right.Piece != nil && event.GetDescribed() != nil {
		return w.pieceSaid(event.GetDescribed())
	}
	if right.Said() {
		return nil
	}
	if described := event.GetDescribed().GetPublic(); right.Size != nil {
		w.size(described.GetSize(), func(*eventv1.Size) bool { return false })
		return nil
	}
	if event.GetMovedOn() != nil {
		return nil // it is corrected as what it became, in the new parcel or the lot
	}
	if id := event.GetFinished().GetPublic().GetStoneId() + event.GetRecut().GetPublic().GetStoneId() + event.GetCounted().GetPublic().GetStoneId(); id != "" {
		return rule.Broken{
			Reason: rule.NothingToCorrect, Field: "corrects", Value: fmt.Sprint(w.record.Position),
			Rule: "the mass is the stone's, and stands in its own record", Hint: "take the record from the history of stone/" + id,
		}
	}
	return w.pieceMass(w.id, "", uint64(w.record.Position), right)
}

// ofStone is a mass of a stone, which stands in its piece's balance too, or its size.
func (w *wrong) ofStone(event *stonev1.Event, right correction.Facts) error {
	st, _, err := eventstore.Load(w.tx, stream.Stone, w.id)
	if err != nil {
		return err
	}
	if right.Stone != nil {
		w.stoneSaid(st, event)
		return nil
	}
	if right.Size != nil {
		w.size(sizeOf(event), func(was *eventv1.Size) bool { return !proto.Equal(st.Due.GetSize(), was) })
		return nil
	}
	h, err := pieceHistory(w.tx, st.Facts.GetPieceId())
	if err != nil {
		return err
	}
	if at := w.inPiece(h, event); at != 0 {
		return w.pieceMass(st.Facts.GetPieceId(), w.id, at, correction.Facts{Total: right.Total})
	}
	return nil
}

func sizeOf(event *stonev1.Event) *eventv1.Size {
	if p := event.GetRecut().GetPublic(); p != nil {
		return p.GetSize()
	}
	return event.GetFinished().GetPublic().GetSize()
}

// inPiece is the position of the record in the piece's stream that was made with this one
// of the stone's; 0: there is none. Both are as often, and in the same order.
func (w *wrong) inPiece(h piece.History, event *stonev1.Event) uint64 {
	n := 0 // how many such records of the stone there are, up to this one
	for _, r := range w.records {
		if e, _ := r.Event.(*stonev1.Event); r.Position <= w.record.Position && alike(e, event) {
			n++
		}
	}
	for _, r := range h {
		counted := r.Event.GetCounted()
		var is bool
		switch event.GetEvent().(type) {
		case *stonev1.Event_Finished:
			is = r.Event.GetFinished().GetPublic().GetStoneId() == w.id
		case *stonev1.Event_Recut:
			is = r.Event.GetRecut().GetPublic().GetStoneId() == w.id
		case *stonev1.Event_Counted: // beside them stand those of a stone that came back, which no count says
			p := event.GetCounted()
			is = counted.GetPublic().GetStoneId() == w.id && counted.GetPrivate().GetCountId() == p.GetPrivate().GetCountId() &&
				counted.GetPrivate().GetNote() == p.GetPrivate().GetNote() && proto.Equal(counted.GetPublic().GetWeighing(), p.GetPublic().GetWeighing())
		}
		if is {
			if n--; n == 0 {
				return r.Position
			}
		}
	}
	return 0
}

// alike tells whether two of a stone's records are told apart by their order alone.
func alike(a, b *stonev1.Event) bool {
	switch {
	case b.GetCounted() != nil:
		p, o := a.GetCounted(), b.GetCounted()
		return p.GetPrivate().GetCountId() == o.GetPrivate().GetCountId() && p.GetPrivate().GetNote() == o.GetPrivate().GetNote() &&
			proto.Equal(p.GetPublic().GetWeighing(), o.GetPublic().GetWeighing())
	case b.GetRecut() != nil:
		return a.GetRecut() != nil
	}
	return a.GetFinished() != nil && b.GetFinished() != nil
}

// size is the fact of a size; since tells whether the thing was found to measure
// otherwise since.
func (w *wrong) size(recorded *eventv1.Size, since func(was *eventv1.Size) bool) {
	w.was = correction.Facts{Size: recorded}
	for _, event := range w.corrected() {
		if p := event.GetSizeCorrected().GetPublic(); p != nil {
			w.was.Size = p.GetRight()
		}
	}
	w.fit = func(right correction.Facts) (apply, error) {
		return w.puts(func(c correction.State, person string) *correctionv1.Event {
			return &correctionv1.Event{Event: &correctionv1.Event_SizeCorrected{SizeCorrected: &correctionv1.SizeCorrected{
				Public:  &correctionv1.SizeCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects, Was: w.was.Size, Right: right.Size, MeasuredSince: since(w.was.Size)},
				Private: &correctionv1.SizeCorrected_Private{PersonId: person, Reason: c.Reason},
			}}}
		}), nil
	}
}

// pieceMass is the fact of a mass that was weighed at a record of a piece's stream. It
// changes the piece's balance, and the stone, the parcel's line or the older piece that
// hold the mass too.
func (w *wrong) pieceMass(pieceID, stoneID string, at uint64, right correction.Facts) error {
	h, err := pieceHistory(w.tx, pieceID)
	if err != nil {
		return err
	}
	m, ok := h.Mass(at, right.Part, right.WentIn)
	switch _, alone := h.Mass(at, "", false); {
	case !ok && right.WentIn:
		return notOf("went_in", "true", w.record.Position)
	case !ok && alone:
		return notOf("part", right.Part, w.record.Position)
	case !ok:
		return nil
	}
	rough, _, err := eventstore.Load(w.tx, stream.Piece, pieceID)
	if err != nil {
		return err
	}
	of, _, err := eventstore.Load(w.tx, stream.Parcel, rough.ParcelID)
	if err != nil {
		return err
	}
	listed := m.From.GetAccount() == correctionv1.Account_ACCOUNT_BOUGHT && slices.ContainsFunc(of.AsListed, func(l parcel.Line) bool { return l.PieceID == pieceID })
	event, _ := w.record.Event.(*piecev1.Event)
	inListing := event.GetDescribed() != nil || event.GetOpened() != nil && at == h.LastOpened()
	w.was = correction.Facts{Weighing: m.Weighing, Part: right.Part, WentIn: right.WentIn}
	if listed && right.Total != nil {
		w.was.Total = of.Total
	}
	w.fit = func(right correction.Facts) (apply, error) {
		corrected, err := h.Put(m, right.Weighing)
		if err != nil {
			return nil, err
		}
		corrected.PieceId, corrected.StoneId = pieceID, stoneID
		if listed {
			if err := of.CorrectListing(pieceID, right.Weighing, right.Total); err != nil {
				return nil, err
			}
		}
		older, err := w.before(rough, m, right.Weighing)
		if err != nil {
			return nil, err
		}
		total := func(correction.State, string) {}
		if listed && right.Total != nil {
			if total, err = w.total(of, right.Total); err != nil {
				return nil, err
			}
		}
		return func(c correction.State, person string) int64 {
			event := w.mass(c, person, right.Weighing, corrected)
			p := event.GetMassCorrected()
			now := append(slices.Clip(h), piece.Record{Correction: event})
			for _, e := range []*correctionv1.Entry{corrected.GetFrom(), corrected.GetTo()} {
				if ug, ok := now.Missing(e.GetRecord()); ok {
					p.Private.Differences = append(p.Private.Differences, &correctionv1.Difference{Record: e.GetRecord(), MissingUg: ug, BeyondTolerance: ug != 0})
				}
			}
			w.put(stream.Piece.Stream(pieceID), event)
			switch {
			case stoneID != "":
				w.put(stream.Stone.Stream(stoneID), event)
			case inListing:
				w.put(stream.Parcel.Stream(rough.ParcelID), event)
			}
			if older != nil {
				w.put(stream.Piece.Stream(older.GetPieceId()), w.mass(c, person, right.Weighing, older))
			}
			total(c, person)
			return unexplained(p.GetPublic())
		}, nil
	}
	return nil
}

// notOf refuses what was named of a record that holds nothing of it.
func notOf(field, value string, at eventstore.Position) error {
	return rule.Broken{
		Reason: rule.NothingToCorrect, Field: field, Value: value, Rule: fmt.Sprintf("record %d holds no such weighing", at),
		Hint: "look at the thing's history for what was weighed, and when",
	}
}

// mass is a corrected mass; p says whose, and between which accounts it moves.
func (w *wrong) mass(c correction.State, person string, right *eventv1.Weighing, p *correctionv1.MassCorrected_Public) *correctionv1.Event {
	p.CorrectionId, p.Corrects, p.Was, p.Right = c.ID, c.Corrects, w.was.Weighing, right
	return &correctionv1.Event{Event: &correctionv1.Event_MassCorrected{MassCorrected: &correctionv1.MassCorrected{
		Public: p, Private: &correctionv1.MassCorrected_Private{PersonId: person, Reason: c.Reason},
	}}}
}

// unexplained is what more is unexplained by a corrected mass.
func unexplained(p *correctionv1.MassCorrected_Public) (ug int64) {
	more := p.GetRight().GetMassUg() - p.GetWas().GetMassUg()
	if p.GetTo().GetAccount() == correctionv1.Account_ACCOUNT_UNEXPLAINED {
		ug += more
	}
	if p.GetFrom().GetAccount() == correctionv1.Account_ACCOUNT_UNEXPLAINED {
		ug -= more
	}
	return ug
}

// before is what changes in the balance that a piece as listed came out of: the older
// piece that it was a part of, or the group that it was taken out of. nil: none.
func (w *wrong) before(rough piece.State, m piece.Mass, right *eventv1.Weighing) (*correctionv1.MassCorrected_Public, error) {
	if m.From.GetAccount() != correctionv1.Account_ACCOUNT_BOUGHT {
		return nil, nil
	}
	if group := rough.OpenedFrom; group != "" {
		h, err := pieceHistory(w.tx, group)
		if err != nil {
			return nil, err
		}
		taken, err := h.PutTaken(m.Record, m.Weighing, right)
		if err != nil {
			return nil, err
		}
		taken.PieceId = group
		return taken, nil
	}
	if rough.Origin == nil {
		return nil, nil
	}
	old, part := rough.Origin.GetPieceId(), rough.Origin.GetPart()
	h, err := pieceHistory(w.tx, old)
	if err != nil {
		return nil, err
	}
	for _, r := range h {
		if r.Event.GetMovedOn().GetPublic().GetNewPieceId() != rough.ID {
			continue
		}
		moved, _ := h.Mass(r.Position, part, false)
		older, err := h.Put(moved, right)
		if err != nil {
			return nil, err
		}
		older.PieceId = old
		return older, nil
	}
	return nil, fmt.Errorf("%w: piece %s is a part of piece %s, which never moved on", eventstore.ErrCorrupt, rough.ID, old)
}

func pieceHistory(tx *eventstore.Tx, id string) (h piece.History, err error) {
	records, err := tx.Records(stream.Piece.Stream(id))
	for _, r := range records {
		event, _ := r.Event.(*piecev1.Event)
		c, _ := r.Event.(*correctionv1.Event)
		h = append(h, piece.Record{Position: uint64(r.Position), Event: event, Correction: c})
	}
	return h, err
}

// ofLot is the mass of a counted lot, as it was made or counted.
func (w *wrong) ofLot(right correction.Facts) {
	var h lot.History
	for _, r := range w.records {
		event, _ := r.Event.(*lotv1.Event)
		c, _ := r.Event.(*correctionv1.Event)
		h = append(h, lot.Record{Position: uint64(r.Position), Event: event, Correction: c})
	}
	at := uint64(w.record.Position)
	was, from, ok := h.Mass(at)
	if !ok || right.Weighing == nil {
		return
	}
	w.was = correction.Facts{Weighing: was}
	w.fit = func(right correction.Facts) (apply, error) {
		l, _, err := eventstore.Load(w.tx, stream.Lot, w.id)
		if err != nil {
			return nil, err
		}
		if from.GetAccount() == correctionv1.Account_ACCOUNT_BOUGHT {
			if err := l.CorrectMade(right.Weighing); err != nil {
				return nil, err
			}
		}
		to, err := h.Put(at, right.Weighing)
		if err != nil {
			return nil, err
		}
		return func(c correction.State, person string) int64 {
			event := w.mass(c, person, right.Weighing, &correctionv1.MassCorrected_Public{LotId: w.id, From: from, To: to})
			p := event.GetMassCorrected()
			now := append(slices.Clip(h), lot.Record{Correction: event})
			for _, e := range []*correctionv1.Entry{from, to} {
				if ug, fewer, expected, ok := now.Missing(e.GetRecord()); ok {
					p.Private.Differences = append(p.Private.Differences, &correctionv1.Difference{
						Record: e.GetRecord(), MissingUg: ug, CountDifference: fewer, ExpectedCount: expected, BeyondTolerance: ug != 0 || fewer != 0,
					})
				}
			}
			w.put(w.record.Stream, event)
			return unexplained(p.GetPublic())
		}, nil
	}
}

// ofRough is the total of a listing, or what a parcel weighed at its handover or a
// viewing.
func (w *wrong) ofRough(of parcel.State, event *parcelv1.Event) {
	switch e := event.GetEvent().(type) {
	case *parcelv1.Event_Listed:
		w.was = correction.Facts{Weighing: of.Total}
		w.fit = func(right correction.Facts) (apply, error) {
			if err := of.CorrectListing("", nil, right.Weighing); err != nil {
				return nil, err
			}
			total, err := w.total(of, right.Weighing)
			return func(c correction.State, person string) int64 {
				total(c, person)
				return 0
			}, err
		}
	case *parcelv1.Event_HandoverWeighed:
		w.ofHandover(of, e.HandoverWeighed)
	case *parcelv1.Event_ViewingStarted:
		p := e.ViewingStarted.GetPrivate()
		w.onTheWay(p.GetTotal(), &correctionv1.SentMassCorrected_Private{ViewingId: p.GetViewingId(), Before: of.Total, CountDifference: p.GetCountDifference()}, beyondScales)
	case *parcelv1.Event_ViewingEnded:
		p := e.ViewingEnded.GetPrivate()
		v, _ := of.Viewing(p.GetViewingId())
		w.onTheWay(p.GetTotal(), &correctionv1.SentMassCorrected_Private{ViewingId: v.ID, Arrived: true, Before: v.Out.Total, CountDifference: p.GetCountDifference()}, beyondScales)
	}
}

func beyondScales(before, right *eventv1.Weighing) bool {
	_, beyond := parcel.Apart(before, right)
	return beyond
}

// total gives how the right total of a listing is recorded: what was weighed for viewings
// and at the handover is held against it anew.
func (w *wrong) total(of parcel.State, right *eventv1.Weighing) (put func(correction.State, string), err error) {
	s := stream.Parcel.Stream(of.ID)
	records, err := w.tx.Records(s)
	if err != nil {
		return nil, err
	}
	return func(c correction.State, person string) {
		p := &correctionv1.MassCorrected_Private{PersonId: person, Reason: c.Reason}
		event := &correctionv1.Event{Event: &correctionv1.Event_MassCorrected{MassCorrected: &correctionv1.MassCorrected{
			Public: &correctionv1.MassCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects, Was: of.Total, Right: right}, Private: p,
		}}}
		now := parcel.EvolveCorrection(of, event)
		for _, r := range records {
			e, _ := r.Event.(*parcelv1.Event)
			if started := e.GetViewingStarted().GetPrivate(); started != nil {
				v, _ := now.Viewing(started.GetViewingId())
				d := difference(r.Position, v.OutDifference)
				d.Viewing = true
				p.Differences = append(p.Differences, d)
			}
		}
		if at := lastHandover(records); at != nil && now.Deal.Made() && now.HandedOver {
			p.Differences = append(p.Differences, difference(at.Position, now.Difference))
		}
		w.put(s, event)
	}, nil
}

func difference(at eventstore.Position, d parcel.Difference) *correctionv1.Difference {
	return &correctionv1.Difference{Record: uint64(at), MissingUg: d.Ug, CountDifference: d.Count, BeyondTolerance: d.Beyond}
}

// lastHandover is the last time that a parcel changed hands, there or back; nil: it
// didn't.
func lastHandover(records []eventstore.Record) *eventstore.Record {
	for i, r := range slices.Backward(records) {
		if e, _ := r.Event.(*parcelv1.Event); e.GetHandedOver() != nil || e.GetHandedBack() != nil {
			return &records[i]
		}
	}
	return nil
}

// ofHandover is one side's word at the handover, as long as it stands.
func (w *wrong) ofHandover(of parcel.State, said *parcelv1.HandoverWeighed) {
	side := said.GetPublic().GetSide()
	replaced := func(event proto.Message) bool {
		e, _ := event.(*parcelv1.Event)
		again := e.GetHandoverWeighed().GetPublic()
		return e.GetFellThrough() != nil || e.GetRelisted() != nil || again != nil && again.GetSide() == side
	}
	if w.since(replaced) {
		return // the newer word stands, or the deal is over
	}
	w.onTheWay(said.GetPublic().GetTotal(), &correctionv1.SentMassCorrected_Private{Side: side}, func(*eventv1.Weighing, *eventv1.Weighing) bool { return false })
	w.fit = func(right correction.Facts) (apply, error) {
		return w.puts(func(c correction.State, person string) *correctionv1.Event {
			event := w.sentMass(c, person, &correctionv1.SentMassCorrected_Private{Side: side})
			if at := lastHandover(w.records); at != nil && at.Position > w.record.Position {
				d := difference(at.Position, parcel.EvolveCorrection(of, event).Difference)
				back, _ := at.Event.(*parcelv1.Event)
				d.Back = back.GetHandedBack() != nil
				event.GetSentMassCorrected().Private.Handover = d
			}
			return event
		}), nil
	}
}

// ofSent is what a stone of an order weighed as it was sent or came.
func (w *wrong) ofSent(stones []*orderv1.MeasuredStone, arrived bool, right correction.Facts) {
	for _, m := range stones {
		if m.GetStoneId() == right.StoneID {
			w.onTheWay(m.GetMeasured().GetWeighing(), &correctionv1.SentMassCorrected_Private{
				StoneId: right.StoneID, Arrived: arrived, Before: m.GetBefore().GetWeighing(), SizeDiffers: m.GetSizeDiffers(),
			}, func(before, right *eventv1.Weighing) bool {
				return stone.Differs(&eventv1.Measured{Weighing: before}, &eventv1.Measured{Weighing: right}).Mass
			})
		}
	}
}

// onTheWay is the fact of a mass that was weighed as something went out or came, which
// isn't the thing's own in the books: two weighings of one thing are both right, or one of
// them is looked into. Its correction changes nothing but that.
func (w *wrong) onTheWay(recorded *eventv1.Weighing, p *correctionv1.SentMassCorrected_Private, differs func(before, right *eventv1.Weighing) bool) {
	w.was = correction.Facts{Weighing: recorded, StoneID: p.GetStoneId()}
	for _, event := range w.corrected() {
		if c := event.GetSentMassCorrected().GetPrivate(); c != nil && c.GetStoneId() == p.GetStoneId() {
			w.was.Weighing = c.GetRight()
		}
	}
	w.fit = func(right correction.Facts) (apply, error) {
		return w.puts(func(c correction.State, person string) *correctionv1.Event {
			p.MassDiffers = differs(p.GetBefore(), right.Weighing)
			return w.sentMass(c, person, p)
		}), nil
	}
}

func (w *wrong) sentMass(c correction.State, person string, p *correctionv1.SentMassCorrected_Private) *correctionv1.Event {
	p.PersonId, p.Reason, p.Was, p.Right = person, c.Reason, w.was.Weighing, c.Facts.Weighing
	return &correctionv1.Event{Event: &correctionv1.Event_SentMassCorrected{SentMassCorrected: &correctionv1.SentMassCorrected{
		Public: &correctionv1.SentMassCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects}, Private: p,
	}}}
}
