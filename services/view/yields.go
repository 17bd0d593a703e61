package view

import (
	"fmt"
	"slices"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"

	"seamshare.example/eventstore"
)

// Yields is the mass balance of each parcel, from what the scales said:
//
//	bought = finished + off-cut + uncut + loss by reason + unexplained + moved on
//
// Moved on is rough that went into a new parcel or a counted lot: that one's balance
// begins with it, so that no mass is in two balances.
// Unexplained is what two weighings of the same part disagree by, never a plug: Apply
// refuses a step whose own masses don't add up.
//
//	parcel, parcel id → its pieces' ids
//	piece, piece id   → the piece's own balance
//
// A bench step writes one row, its piece's; a parcel's balance is their sum.
type Yields struct{}

// Name implements eventstore.View.
func (Yields) Name() string { return "yields" }

// Version implements eventstore.View.
func (Yields) Version() uint32 { return 1 }

// Yield is a parcel's mass balance, in micrograms.
type Yield struct {
	BoughtUg      int64
	FinishedUg    int64
	OffcutUg      int64
	UncutUg       int64 // untouched, on the shelf or in work
	LossUg        int64
	Losses        []Loss // LossUg by reason, in the order of the reasons
	UnexplainedUg int64
	MovedOnUg     int64 // in new parcels and counted lots, which account for it from then on
	Stones        int
}

// Loss is mass lost for one reason.
type Loss struct {
	Reason piecev1.Reason
	MassUg int64
}

// pieceBalance is the row of a piece.
type pieceBalance struct {
	bought      int64
	finished    int64
	unexplained int64
	stones      uint64
	opened      int64 // taken out of the group as pieces of their own
	losses      []Loss
	parts       []partMass // as they were last weighed, in the order they were made
}

type partMass struct {
	name   string
	massUg int64
	fate   piecev1.Fate
}

// Apply implements eventstore.View.
func (v Yields) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	switch event := rec.Event.(type) {
	case *parcelv1.Event:
		if e := event.GetListed(); e != nil {
			var pieces []string
			for _, l := range e.GetPublic().GetLines() {
				pieces = append(pieces, l.GetPieceId())
			}
			rows.Set(key("parcel", e.GetPublic().GetParcelId()), piecesRow(pieces))
		}
		if e := event.GetLineOpened(); e != nil {
			return v.lineOpened(rows, event, e.GetPublic())
		}
	case *piecev1.Event:
		return v.piece(rows, event)
	case *correctionv1.Event:
		return v.correct(rows, rec, event)
	}
	return nil
}

// lineOpened adds the pieces that were taken out of a group line to the parcel's.
func (v Yields) lineOpened(rows eventstore.Rows, event *parcelv1.Event, p *parcelv1.LineOpened_Public) error {
	value, err := rows.Get(key("parcel", p.GetParcelId()))
	if err != nil {
		return err
	}
	if value == nil {
		return unexpected(v.Name(), event, "parcel %s was never listed", p.GetParcelId())
	}
	pieces, err := readPieces(value)
	if err != nil {
		return err
	}
	for _, o := range p.GetPieces() {
		pieces = append(pieces, o.GetPieceId())
	}
	rows.Set(key("parcel", p.GetParcelId()), piecesRow(pieces))
	return nil
}

func (v Yields) piece(rows eventstore.Rows, event *piecev1.Event) error {
	if e := event.GetDescribed(); e != nil {
		p := e.GetPublic()
		massUg := p.GetWeighing().GetMassUg()
		b := pieceBalance{bought: massUg}
		b.parts = []partMass{{p.GetLabel(), massUg, piecev1.Fate_FATE_IN_WORK}}
		rows.Set(key("piece", p.GetPieceId()), b.row())
		return nil
	}
	id := pieceOf(event)
	if id == "" {
		return nil
	}
	value, err := rows.Get(key("piece", id))
	if err != nil {
		return err
	}
	if value == nil {
		return unexpected(v.Name(), event, "piece %s was never described", id)
	}
	b, err := readPieceBalance(value)
	if err != nil {
		return err
	}
	if problem := b.apply(event); problem != "" {
		return unexpected(v.Name(), event, "piece %s: %s", id, problem)
	}
	rows.Set(key("piece", id), b.row())
	return nil
}

// pieceOf is the piece that a bench event is about.
func pieceOf(event *piecev1.Event) string {
	switch e := event.Event.(type) {
	case *piecev1.Event_Worked:
		return e.Worked.GetPublic().GetPieceId()
	case *piecev1.Event_Placed:
		return e.Placed.GetPublic().GetPieceId()
	case *piecev1.Event_Finished:
		return e.Finished.GetPublic().GetPieceId()
	}
	return benchPieceOf(event)
}

// apply changes the balance by one bench event, or says what is wrong with it.
func (b *pieceBalance) apply(event *piecev1.Event) (problem string) {
	switch e := event.Event.(type) {
	case *piecev1.Event_Worked:
		p := e.Worked.GetPublic()
		if problem := b.take(p.GetPart(), p.GetMassIn().GetMassUg()); problem != "" {
			return problem
		}
		out := p.GetLossUg()
		for _, part := range p.GetPartsOut() {
			massUg := part.GetWeighing().GetMassUg()
			out += massUg
			if b.find(part.GetName()) >= 0 {
				return fmt.Sprintf("there is a part %q already", part.GetName())
			}
			b.parts = append(b.parts, partMass{part.GetName(), massUg, part.GetFate()})
		}
		if out != p.GetMassIn().GetMassUg() {
			return fmt.Sprintf("%d µg went in, %d came out", p.GetMassIn().GetMassUg(), out)
		}
		b.lose(p.GetReason(), p.GetLossUg())
	case *piecev1.Event_Placed:
		p := e.Placed.GetPublic()
		return b.place(p.GetPart(), p.GetFate())
	case *piecev1.Event_Finished:
		p := e.Finished.GetPublic()
		if problem := b.take(p.GetPart(), p.GetMassIn().GetMassUg()); problem != "" {
			return problem
		}
		if out := p.GetStone().GetMassUg() + p.GetLossUg(); out != p.GetMassIn().GetMassUg() {
			return fmt.Sprintf("%d µg went in, %d came out", p.GetMassIn().GetMassUg(), out)
		}
		b.finished += p.GetStone().GetMassUg()
		b.stones++
		b.lose(piecev1.Reason_REASON_GROUND_OFF, p.GetLossUg())
	default:
		return b.applyBench(event)
	}
	return ""
}

func (b *pieceBalance) find(part string) int {
	return slices.IndexFunc(b.parts, func(p partMass) bool { return p.name == part })
}

// take uses a part up; what it weighs now and did before may differ.
func (b *pieceBalance) take(part string, massUg int64) (problem string) {
	at := b.find(part)
	if at < 0 {
		return fmt.Sprintf("there is no part %q", part)
	}
	b.unexplained += b.parts[at].massUg - massUg
	b.parts = slices.Delete(b.parts, at, at+1)
	return ""
}

func (b *pieceBalance) lose(reason piecev1.Reason, massUg int64) {
	b.losses = addLoss(b.losses, Loss{reason, massUg})
}

func addLoss(losses []Loss, l Loss) []Loss {
	if l.MassUg == 0 {
		return losses
	}
	at, found := slices.BinarySearchFunc(losses, l, func(a, b Loss) int { return int(a.Reason) - int(b.Reason) })
	if found {
		losses[at].MassUg += l.MassUg
		return losses
	}
	return slices.Insert(losses, at, l)
}

func (b pieceBalance) row() []byte {
	r := row{}.int(b.bought).int(b.finished).int(b.unexplained).num(b.stones).int(b.opened).count(len(b.losses))
	for _, l := range b.losses {
		r = r.num(uint64(l.Reason)).int(l.MassUg)
	}
	r = r.count(len(b.parts))
	for _, p := range b.parts {
		r = r.text(p.name).int(p.massUg).num(uint64(p.fate))
	}
	return r
}

func readPieceBalance(value []byte) (pieceBalance, error) {
	f := read(value)
	b := pieceBalance{bought: f.int(), finished: f.int(), unexplained: f.int(), stones: f.num(), opened: f.int()}
	for range f.count() {
		b.losses = append(b.losses, Loss{piecev1.Reason(f.code()), f.int()})
	}
	for range f.count() {
		b.parts = append(b.parts, partMass{f.text(), f.int(), piecev1.Fate(f.code())})
	}
	return b, f.done("yields", "piece's balance")
}

func piecesRow(pieces []string) row { return row{}.texts(pieces) }

func readPieces(value []byte) ([]string, error) {
	f := read(value)
	pieces := f.texts()
	return pieces, f.done("yields", "parcel's list of pieces")
}

// Yield is the balance of a parcel; ok is false where there is no such parcel. It
// reads one row for each of the parcel's pieces.
func (Yields) Yield(r eventstore.Reader, parcelID string) (y Yield, ok bool, err error) {
	value, err := r.Get(key("parcel", parcelID))
	if err != nil || value == nil {
		return Yield{}, false, err
	}
	pieces, err := readPieces(value)
	if err != nil {
		return Yield{}, false, err
	}
	for _, piece := range pieces {
		value, err := r.Get(key("piece", piece))
		if err != nil {
			return Yield{}, false, err
		}
		b, err := readPieceBalance(value)
		if err != nil {
			return Yield{}, false, err
		}
		y.add(b)
	}
	return y, true, nil
}

func (y *Yield) add(b pieceBalance) {
	y.BoughtUg += b.bought - b.opened // what was taken out is bought by itself
	y.FinishedUg += b.finished
	y.UnexplainedUg += b.unexplained
	y.Stones += int(b.stones)
	for _, l := range b.losses {
		y.LossUg += l.MassUg
		y.Losses = addLoss(y.Losses, l)
	}
	for _, p := range b.parts {
		switch p.fate {
		case piecev1.Fate_FATE_OFFCUT:
			y.OffcutUg += p.massUg
		case fateMovedOn:
			y.MovedOnUg += p.massUg
		default:
			y.UncutUg += p.massUg
		}
	}
}
