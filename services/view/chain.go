package view

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/parcel"
)

// ErrNoStone: the log knows of no such stone.
var ErrNoStone = errors.New("there is no such stone")

// History reads whole streams: an eventstore.Query.
type History interface {
	Records(stream eventstore.Stream) ([]eventstore.Record, error)
}

// Link is one record of a stone's chain. Its words say nothing that is not in the
// record's public part.
type Link struct {
	Position eventstore.Position
	About    eventstore.Stream
	What     string
}

// Chain walks a stone back to its field: the field, the parcel as listed
// and handed over, the piece, those bench steps that led to the stone's own part, and
// what became of the stone, in the order of the log. It has no rows: the streams are
// the chain. The claim stays out of it, since it is one miner's and would tell their
// parcels apart from all others. Where the seller didn't show the field, the link of the piece says so.
//
// The error is ErrNoStone where the stone was never finished.
func Chain(q History, stoneID string) ([]Link, error) {
	c := chain{history: q, mixUps: map[string]bool{}}
	finished, err := c.stone(stoneID)
	if err != nil {
		return nil, err
	}
	if err := c.part(walk{pieceID: finished.GetPieceId(), part: finished.GetPart(), stoneID: finished.GetStoneId(), upTo: math.MaxUint64}); err != nil {
		return nil, err
	}
	if err := c.parcel(finished.GetParcelId()); err != nil {
		return nil, err
	}
	return c.inOrder()
}

// ErrNoLot: the log knows of no such lot.
var ErrNoLot = errors.New("there is no such lot")

// LotChain walks a counted lot back to the fields of all that went into it: the lot as it
// was made and counted since, each part and stone on its way into it, and where each came
// from, as Chain does. Nobody knows which of it a portion holds, so a portion's origin is
// all of these. Who bought what is no part of it.
//
// The error is ErrNoLot where the lot was never made.
func LotChain(q History, lotID string) ([]Link, error) {
	c := chain{history: q}
	records, err := c.records("lot", lotID)
	if err != nil {
		return nil, err
	}
	var made *lotv1.Made_Public
	var at eventstore.Position
	for _, rec := range records {
		event, _ := rec.Event.(*lotv1.Event)
		if p := event.GetMade().GetPublic(); p != nil {
			made, at = p, rec.Position
		}
		if Words(event) != "" {
			c.add(rec)
		}
	}
	if made == nil {
		return nil, ErrNoLot
	}
	for _, src := range made.GetSources() {
		c.mixUps = map[string]bool{}
		if src.GetStoneId() != "" {
			if err := c.stoneInto(src.GetStoneId(), at); err != nil {
				return nil, err
			}
		}
		if err := c.part(walk{pieceID: src.GetPieceId(), part: src.GetPart(), stoneID: src.GetStoneId(), lotID: lotID, upTo: at}); err != nil {
			return nil, err
		}
	}
	if err := c.parcel(made.GetParcelId()); err != nil {
		return nil, err
	}
	return c.inOrder()
}

// stoneInto adds what became of a stone until it went into a lot; that it was sold before
// and came back is told without its order.
func (c *chain) stoneInto(id string, upTo eventstore.Position) error {
	records, err := c.records("stone", id)
	if err != nil {
		return err
	}
	for _, rec := range records {
		if event, _ := rec.Event.(*stonev1.Event); rec.Position < upTo && Words(event) != "" {
			c.add(rec)
		}
	}
	return nil
}

// inOrder adds the corrections of what was walked, and gives it all in the order of the log.
func (c *chain) inOrder() ([]Link, error) {
	if err := c.corrections(); err != nil {
		return nil, err
	}
	slices.SortFunc(c.links, func(a, b Link) int { return cmp.Compare(a.Position, b.Position) })
	return slices.CompactFunc(c.links, func(a, b Link) bool { return a.Position == b.Position }), nil
}

type chain struct {
	history History
	links   []Link
	mixUps  map[string]bool // those whose candidates were walked
}

func (c *chain) add(rec eventstore.Record) {
	c.links = append(c.links, Link{rec.Position, rec.Stream, Words(rec.Event)})
}

func (c *chain) records(kind, id string) ([]eventstore.Record, error) {
	records, err := c.history.Records(eventstore.Stream(kind + "/" + id))
	if err != nil {
		return nil, fmt.Errorf("couldn't read the chain at %s %s: %w", kind, id, err)
	}
	return records, nil
}

// broken: a link names something of which the log has no record.
func broken(kind, id string) error {
	return fmt.Errorf("the chain breaks off at %s %s: %w", kind, id, eventstore.ErrCorrupt)
}

// stone adds what became of the stone, and returns how it was finished.
func (c *chain) stone(id string) (*stonev1.Finished_Public, error) {
	records, err := c.records("stone", id)
	if err != nil {
		return nil, err
	}
	var finished *stonev1.Finished_Public
	for _, rec := range records {
		event, _ := rec.Event.(*stonev1.Event)
		switch e := event.GetEvent().(type) {
		case *stonev1.Event_Finished:
			finished = e.Finished.GetPublic()
			c.add(rec)
		case *stonev1.Event_Sold:
			c.add(rec)
			if err := c.order(e.Sold.GetPublic().GetOrderId()); err != nil {
				return nil, err
			}
		default:
			if event != nil && Words(event) != "" {
				c.add(rec)
			}
		}
	}
	if finished == nil {
		return nil, ErrNoStone
	}
	return finished, nil
}

func (c *chain) order(id string) error {
	records, err := c.records("order", id)
	if err != nil {
		return err
	}
	for _, rec := range records {
		event, _ := rec.Event.(*orderv1.Event)
		if placed := event.GetPlaced(); placed != nil {
			c.add(rec)
			return nil
		}
	}
	return broken("order", id)
}

// walk is a part to walk back from, and when: what was done to it from upTo on is no
// matter. What it became is a stone, a piece of a newer parcel, one of a lot, or one of a
// mix-up.
type walk struct {
	pieceID, part, stoneID, newID, lotID string
	upTo                                 eventstore.Position
}

// part walks back from a part to the piece as it was described, and on into the older
// parcel where a cutter had listed it anew, to its field. Where it was mixed up with
// others, it may be any of them: each is walked back too.
func (c *chain) part(w walk) error {
	records, err := c.records("piece", w.pieceID)
	if err != nil {
		return err
	}
	cutter, err := c.cutter(records)
	if err != nil {
		return err
	}
	part, stoneID, newID := w.part, w.stoneID, w.newID
	found := stoneID == ""
	for _, rec := range slices.Backward(records) {
		if rec.Position >= w.upTo {
			continue
		}
		event, _ := rec.Event.(*piecev1.Event)
		switch e := event.GetEvent().(type) {
		case *piecev1.Event_Finished:
			p := e.Finished.GetPublic()
			if p.GetStoneId() == stoneID && stoneID != "" {
				part, found = p.GetPart(), true
				c.add(rec)
			}
		case *piecev1.Event_Recut:
			if e.Recut.GetPublic().GetStoneId() == stoneID && stoneID != "" {
				c.add(rec)
			}
		case *piecev1.Event_MovedOn:
			p := e.MovedOn.GetPublic()
			if newID != "" && p.GetNewPieceId() == newID || w.lotID != "" && p.GetLotId() == w.lotID && p.GetPart() == part {
				c.add(rec)
			}
		case *piecev1.Event_MixedUp:
			if p := e.MixedUp.GetPublic(); p.GetPart() == part && !c.mixUps[p.GetMixId()] {
				c.add(rec)
				if err := c.candidates(p, rec.Position); err != nil {
					return err
				}
			}
		case *piecev1.Event_DecisionRecorded:
			p := e.DecisionRecorded.GetPublic()
			if found && p.GetInclusion() && p.GetPart() == part && e.DecisionRecorded.GetPrivate().GetMemberId() == cutter {
				c.add(rec)
			}
		case *piecev1.Event_Worked:
			p := e.Worked.GetPublic()
			if found && slices.ContainsFunc(p.GetPartsOut(), func(out *piecev1.Part) bool { return out.GetName() == part }) {
				part = p.GetPart()
				c.add(rec)
			}
		case *piecev1.Event_Described:
			p := e.Described.GetPublic()
			if !found || part != p.GetLabel() {
				return broken("part", part+" of piece "+p.GetPieceId())
			}
			c.add(rec)
			return c.before(p, fieldOf(records), w.upTo)
		}
	}
	return broken("piece", w.pieceID)
}

// cutter is who has the deal for a piece's parcel. What a buyer decided whose deal fell through before the first cut
// came to nothing.
func (c *chain) cutter(piece []eventstore.Record) (string, error) {
	if len(piece) == 0 {
		return "", nil
	}
	first, _ := piece[0].Event.(*piecev1.Event)
	records, err := c.records("parcel", first.GetDescribed().GetPublic().GetParcelId())
	var lot parcel.State
	for _, rec := range records {
		if event, ok := rec.Event.(*parcelv1.Event); ok {
			lot = parcel.Evolve(lot, event)
		}
	}
	return lot.Deal.Buyer, err
}

// before goes on from a piece that was something else before: a part of an older piece,
// or one of a counted group. It ends at the field.
func (c *chain) before(p *piecev1.Described_Public, fieldID string, upTo eventstore.Position) error {
	if p.GetOpenedFrom() != "" {
		return c.group(p, upTo)
	}
	o := p.GetOrigin()
	if o == nil {
		return c.field(fieldID)
	}
	if err := c.parcel(o.GetParcelId()); err != nil {
		return err
	}
	return c.part(walk{pieceID: o.GetPieceId(), part: o.GetPart(), newID: p.GetPieceId(), upTo: upTo})
}

// fieldOf is the field that a piece comes from, as is right now; empty: it isn't shown.
func fieldOf(piece []eventstore.Record) (id string) {
	for _, rec := range piece {
		switch event := rec.Event.(type) {
		case *piecev1.Event:
			if p := event.GetDescribed().GetPublic(); p != nil {
				id = p.GetFieldId()
			}
		case *correctionv1.Event:
			if p := event.GetPieceCorrected().GetPublic(); p != nil {
				id = p.GetRight().GetFieldId()
			}
		}
	}
	return id
}

// group adds the counted lot that a piece was taken out of, and how it was.
func (c *chain) group(p *piecev1.Described_Public, upTo eventstore.Position) error {
	records, err := c.records("piece", p.GetOpenedFrom())
	if err != nil {
		return err
	}
	if len(records) == 0 {
		return broken("piece", p.GetOpenedFrom())
	}
	first, _ := records[0].Event.(*piecev1.Event)
	c.add(records[0])
	lot, err := c.records("parcel", p.GetParcelId())
	if err != nil {
		return err
	}
	for _, rec := range lot {
		event, _ := rec.Event.(*parcelv1.Event)
		if slices.ContainsFunc(event.GetLineOpened().GetPublic().GetPieces(), func(o *parcelv1.OpenedPiece) bool { return o.GetPieceId() == p.GetPieceId() }) {
			c.add(rec)
			return c.before(first.GetDescribed().GetPublic(), fieldOf(records), upTo)
		}
	}
	return broken("piece", p.GetPieceId())
}

// candidates walks back from each part that one of a mix-up may be, as it was then. The
// part itself is walked by who found it in the mix-up.
func (c *chain) candidates(m *piecev1.MixedUp_Public, at eventstore.Position) error {
	c.mixUps[m.GetMixId()] = true
	for _, may := range m.GetCandidates() {
		if may.GetPieceId() == m.GetPieceId() && may.GetPart() == m.GetPart() {
			continue
		}
		if err := c.part(walk{pieceID: may.GetPieceId(), part: may.GetPart(), upTo: at}); err != nil {
			return err
		}
	}
	return nil
}

func (c *chain) parcel(id string) error {
	records, err := c.records("parcel", id)
	if err != nil {
		return err
	}
	listed := false
	for _, rec := range records {
		event, _ := rec.Event.(*parcelv1.Event)
		switch event.GetEvent().(type) {
		case *parcelv1.Event_Listed:
			listed = true
			c.add(rec)
		case *parcelv1.Event_HandedOver, *parcelv1.Event_FellThrough, *parcelv1.Event_HandedBack:
			c.add(rec)
		}
	}
	if !listed {
		return broken("parcel", id)
	}
	return nil
}

// field adds the field, where the seller showed it.
func (c *chain) field(id string) error {
	if id == "" {
		return nil
	}
	records, err := c.records("field", id)
	if err != nil {
		return err
	}
	for _, rec := range records {
		event, _ := rec.Event.(*memberv1.Event)
		if event.GetFieldRecorded() != nil {
			c.add(rec)
			return nil
		}
	}
	return broken("field", id)
}
