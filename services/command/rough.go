package command

import (
	"fmt"
	"slices"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/stream"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// Opening is what a member takes out of a group line. Kind and claim are the group's.
type Opening struct {
	PieceID string
	Pieces  []*piecev1.Described // ids, labels, masses, sizes and what is seen
	Left    *eventv1.Weighing    // nil: nothing is left
}

// OpenLine opens a group line of a parcel and describes each piece that is taken out.
// It spans aggregates, and both who sells and who bought do it, so it stands here.
func OpenLine(tx *eventstore.Tx, member string, lot *Thing[parcel.State], o Opening) error {
	group, err := Open(tx, stream.Piece, o.PieceID)
	if err != nil {
		return err
	}
	opening := parcel.Opening{PieceID: o.PieceID, Left: o.Left}
	split := piece.Opening{Member: member, Count: uint32(len(o.Pieces)), Left: o.Left}
	for _, p := range o.Pieces {
		p := p.GetPublic()
		opening.Pieces = append(opening.Pieces, parcel.Piece{ID: p.GetPieceId(), Label: p.GetLabel(), Weighing: p.GetWeighing(), Count: 1})
		split.Taken = append(split.Taken, p.GetWeighing())
	}
	for _, line := range lot.State.Lines {
		p, _, err := eventstore.Load(tx, stream.Piece, line.PieceID)
		if err != nil {
			return fmt.Errorf("couldn't load piece %s: %w", line.PieceID, err)
		}
		opening.Taken = append(opening.Taken, p.Label)
	}
	opened, err := lot.State.OpenLine(member, opening, tx.Now())
	if err != nil {
		return err
	}
	parted, err := group.State.Open(split)
	if err != nil {
		return err
	}
	var broken rule.All
	described := make([]*piecev1.Event, len(o.Pieces))
	for i, p := range o.Pieces {
		g, seen, p := group.State, p.GetPrivate().GetSeen(), p.GetPublic()
		described[i], err = piece.State{}.Describe(&piecev1.Described_Public{
			PieceId: p.GetPieceId(), ParcelId: lot.ID, Label: p.GetLabel(), Weighing: p.GetWeighing(), Size: p.GetSize(), Count: 1,
			Kind: g.Kind, FieldId: g.FieldID, MayBeOfFieldIds: g.MayBeOf, OpenedFrom: g.ID,
		}, &piecev1.Described_Private{ClaimId: g.ClaimID, Seen: seen})
		if err := broken.Merge(fmt.Sprintf("pieces[%d]", i), err); err != nil {
			return err
		}
	}
	if err := broken.Err(); err != nil {
		return err
	}
	lot.Record(opened)
	group.Record(parted)
	for i, p := range o.Pieces {
		tx.Record(stream.Piece.Stream(p.GetPublic().GetPieceId()), described[i])
	}
	return nil
}

// Cut reports whether anything of a parcel was cut: then its deal can't fall through.
// A look that took nothing off is no cut.
func Cut(l eventstore.Loader, lot parcel.State) (bool, error) {
	for _, line := range lot.Lines {
		p, _, err := eventstore.Load(l, stream.Piece, line.PieceID)
		if err != nil {
			return false, fmt.Errorf("couldn't load piece %s: %w", line.PieceID, err)
		}
		if len(p.Losses) > 0 || len(p.Parts) > 1 {
			return true, nil
		}
		for _, part := range p.Parts {
			if part.Fate == piece.Stone || part.Fate == piece.MovedOn {
				return true, nil
			}
		}
	}
	return false, nil
}

// Origin is the claim and field that a part comes from; MayBeOf are its fields where
// nobody knows which.
type Origin struct {
	ClaimID, FieldID string
	MayBeOf          []string
}

// WhereFrom is where a part comes from: as its piece does, or, where it was mixed up, as
// any of those it may be; find finds their pieces.
func WhereFrom(find func(id string) (piece.State, error), rough piece.State, name string) (Origin, error) {
	from := Origin{ClaimID: rough.ClaimID, FieldID: rough.FieldID, MayBeOf: rough.MayBeOf}
	part, _ := rough.Part(name)
	if len(part.Mixed) == 0 {
		return from, nil
	}
	var fields []string
	for _, c := range part.Mixed {
		may, err := find(c.GetPieceId())
		if err != nil {
			return Origin{}, fmt.Errorf("couldn't load piece %s: %w", c.GetPieceId(), err)
		}
		if may.ClaimID != from.ClaimID {
			from.ClaimID = ""
		}
		if len(may.MayBeOf) > 0 {
			fields = append(fields, may.MayBeOf...)
		} else {
			fields = append(fields, may.FieldID)
		}
	}
	slices.Sort(fields)
	if fields = slices.Compact(fields); len(fields) > 1 {
		from.FieldID, from.MayBeOf = "", fields
	}
	return from, nil
}

// Pieces finds pieces by their ids, for WhereFrom.
func Pieces(l eventstore.Loader) func(id string) (piece.State, error) {
	return func(id string) (piece.State, error) {
		p, _, err := eventstore.Load(l, stream.Piece, id)
		return p, err
	}
}
