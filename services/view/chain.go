package view

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"

	"seamshare.example/eventstore"
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
	c := chain{history: q}
	finished, err := c.stone(stoneID)
	if err != nil {
		return nil, err
	}
	origin, err := c.piece(finished)
	if err != nil {
		return nil, err
	}
	if err := c.parcel(finished.GetParcelId()); err != nil {
		return nil, err
	}
	if err := c.field(origin); err != nil {
		return nil, err
	}
	slices.SortFunc(c.links, func(a, b Link) int { return cmp.Compare(a.Position, b.Position) })
	return c.links, nil
}

type chain struct {
	history History
	links   []Link
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
		case *stonev1.Event_Returned:
			c.add(rec)
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

// piece adds the piece and the steps that led to the stone's part, found backwards
// from the stone, and returns how the piece was described.
func (c *chain) piece(stone *stonev1.Finished_Public) (*piecev1.Described_Public, error) {
	records, err := c.records("piece", stone.GetPieceId())
	if err != nil {
		return nil, err
	}
	part, found := "", false
	for _, rec := range slices.Backward(records) {
		event, _ := rec.Event.(*piecev1.Event)
		switch e := event.GetEvent().(type) {
		case *piecev1.Event_Finished:
			p := e.Finished.GetPublic()
			if p.GetStoneId() == stone.GetStoneId() {
				part, found = p.GetPart(), true
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
				return nil, broken("part", part+" of piece "+p.GetPieceId())
			}
			c.add(rec)
			return p, nil
		}
	}
	return nil, broken("piece", stone.GetPieceId())
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
		case *parcelv1.Event_HandedOver:
			c.add(rec)
		}
	}
	if !listed {
		return broken("parcel", id)
	}
	return nil
}

// field adds the field, where the seller showed it.
func (c *chain) field(piece *piecev1.Described_Public) error {
	id := piece.GetFieldId()
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
