package coop

import (
	"fmt"
	"slices"

	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/correction"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
)

// stoneSaid is the fact of what a stone is said to be, in the record of its finish or its
// last cut. It stays the same stone, where it stands.
func (w *wrong) stoneSaid(st stone.State, event *stonev1.Event) {
	w.saidBy = st.Facts.GetCutterId()
	w.was = correction.Facts{Stone: st.Said(event.GetRecut() != nil)}
	w.newestOf(func(e *correctionv1.Event) bool { return e.GetStoneCorrected() != nil || e.GetPieceCorrected() != nil })
	w.fit = func(right correction.Facts) (apply, error) {
		return w.puts(func(c correction.State, person string) *correctionv1.Event {
			return &correctionv1.Event{Event: &correctionv1.Event_StoneCorrected{StoneCorrected: &correctionv1.StoneCorrected{
				Public: &correctionv1.StoneCorrected_Public{CorrectionId: c.ID, Corrects: c.Corrects, Was: w.was.Stone, Right: right.Stone},
				Private: &correctionv1.StoneCorrected_Private{
					PersonId: person, Reason: c.Reason, JewellerId: st.With(w.tx.Now()), AtUs: w.tx.Now().UnixMicro(),
				},
			}}}
		}), nil
	}
}

// pieceSaid is the fact of what a piece is said to be, and which claim it comes from.
func (w *wrong) pieceSaid(described *piecev1.Described) error {
	f := follow{tx: w.tx, pieces: map[string]*followed{}}
	rough, err := f.piece(w.id)
	if err != nil {
		return err
	}
	of, _, err := eventstore.Load(w.tx, stream.Parcel, rough.now.ParcelID)
	if err != nil {
		return err
	}
	w.saidBy = of.Seller
	w.was = correction.Facts{Piece: &correction.Piece{Kind: rough.now.Kind, ClaimID: rough.now.ClaimID}}
	w.newestOf(func(e *correctionv1.Event) bool { return e.GetPieceCorrected() != nil })
	older := rough.now.OpenedFrom + rough.now.Origin.GetPieceId() // one of them at most
	w.fit = func(right correction.Facts) (apply, error) {
		if older != "" {
			return nil, rule.Broken{
				Reason: rule.NothingToCorrect, Field: "piece_id", Value: w.id, Rule: "kind and claim were said of what it was before, and are its as well",
				Hint: "whoever listed piece " + older + " corrects that one, and this one follows",
			}
		}
		from := command.Origin{ClaimID: right.Piece.ClaimID}
		if from.ClaimID != "" {
			claim, _, err := eventstore.Load(w.tx, stream.Claim, from.ClaimID)
			if err != nil {
				return nil, err
			}
			if err := claim.CameFrom(of.Seller, "claim_id", from.ClaimID); err != nil {
				return nil, err
			}
			if described.GetPrivate().GetClaimId() == "" {
				return nil, rule.Broken{
					Reason: rule.NothingToCorrect, Field: "claim_id", Value: from.ClaimID, Rule: "the piece was listed without its field, which stays so",
					Hint: "leave the claim out",
				}
			}
			from.FieldID = claim.FieldID
		}
		f := follow{tx: w.tx, pieces: map[string]*followed{}}
		if err := f.from(w.id, right.Piece.Kind, from); err != nil {
			return nil, err
		}
		return func(c correction.State, person string) int64 {
			f.record(w, c, person)
			return 0
		}, nil
	}
	return nil
}

// follow finds all that takes a piece's kind and claim over: pieces that were taken out of
// it, pieces of newer parcels that a part of it became, or may have become, and theirs.
type follow struct {
	tx     *eventstore.Tx
	pieces map[string]*followed
	order  []*followed // those that change
	names  map[string]string
}

// followed is a piece as it was said to be and as it is now.
type followed struct {
	was, now piece.State
	at       eventstore.Position // of its description
	stones   []followedStone
}

type followedStone struct{ id, jeweller string }

func (f *follow) piece(id string) (*followed, error) {
	if p := f.pieces[id]; p != nil {
		return p, nil
	}
	state, _, err := eventstore.Load(f.tx, stream.Piece, id)
	if err != nil {
		return nil, fmt.Errorf("couldn't load piece %s: %w", id, err)
	}
	p := &followed{was: state, now: state}
	f.pieces[id] = p
	return p, nil
}

func (f *follow) now(id string) (piece.State, error) {
	p, err := f.piece(id)
	if err != nil {
		return piece.State{}, err
	}
	return p.now, nil
}

// from says what a piece is now, and goes on to what took that over.
func (f *follow) from(id string, kind eventv1.Kind, origin command.Origin) error {
	var waiting []*followed
	change := func(p *followed, kind eventv1.Kind, o command.Origin) {
		if p.now.Kind == kind && p.now.ClaimID == o.ClaimID && p.now.FieldID == o.FieldID && slices.Equal(p.now.MayBeOf, o.MayBeOf) {
			return
		}
		p.now.Kind, p.now.ClaimID, p.now.FieldID, p.now.MayBeOf = kind, o.ClaimID, o.FieldID, o.MayBeOf
		if !slices.Contains(f.order, p) {
			f.order = append(f.order, p)
		}
		waiting = append(waiting, p)
	}
	first, err := f.piece(id)
	if err != nil {
		return err
	}
	change(first, kind, origin)
	for len(waiting) > 0 {
		p := waiting[0]
		waiting = waiting[1:]
		if err := f.next(p, change); err != nil {
			return err
		}
	}
	for _, p := range f.order {
		if err := f.concerned(p); err != nil {
			return err
		}
	}
	return nil
}

// next changes the pieces that took over directly what a piece was said to be. They were
// taken out of it, or out of the parts of its parcel.
func (f *follow) next(of *followed, change func(*followed, eventv1.Kind, command.Origin)) error {
	lot, _, err := eventstore.Load(f.tx, stream.Parcel, of.now.ParcelID)
	if err != nil {
		return err
	}
	for _, line := range lot.Lines {
		old, err := f.piece(line.PieceID)
		if err != nil {
			return err
		}
		if old.now.OpenedFrom == of.now.ID {
			change(old, of.now.Kind, command.Origin{ClaimID: of.now.ClaimID, FieldID: of.now.FieldID, MayBeOf: of.now.MayBeOf})
		}
		for _, part := range old.now.Parts {
			mayBe := old == of || slices.ContainsFunc(part.Mixed, func(c *piecev1.Candidate) bool { return c.GetPieceId() == of.now.ID })
			if part.NewID == "" || !mayBe {
				continue
			}
			fresh, err := f.piece(part.NewID)
			if err != nil {
				return err
			}
			o, err := command.WhereFrom(f.now, old.now, part.Name)
			if err != nil {
				return err
			}
			change(fresh, old.now.Kind, o)
		}
	}
	return nil
}

// concerned finds the record of a piece's description, and its stones with the jewellers
// who have them.
func (f *follow) concerned(p *followed) error {
	records, err := f.tx.Records(stream.Piece.Stream(p.now.ID))
	if err != nil {
		return err
	}
	p.at = records[0].Position
	for _, part := range p.now.Parts {
		if part.StoneID == "" {
			continue
		}
		st, _, err := eventstore.Load(f.tx, stream.Stone, part.StoneID)
		if err != nil {
			return fmt.Errorf("couldn't load stone %s: %w", part.StoneID, err)
		}
		p.stones = append(p.stones, followedStone{part.StoneID, st.With(f.tx.Now())})
	}
	return f.name(p.was.FieldID, p.now.FieldID)
}

func (f *follow) name(fields ...string) error {
	for _, id := range fields {
		field, _, err := eventstore.Load(f.tx, stream.Field, id)
		if err != nil {
			return err
		}
		if f.names == nil {
			f.names = map[string]string{}
		}
		f.names[id] = field.Name
	}
	return nil
}

func (f *follow) said(p piece.State) *correctionv1.PieceSaid {
	return &correctionv1.PieceSaid{Kind: p.Kind, FieldId: p.FieldID, FieldName: f.names[p.FieldID], MayBeOfFieldIds: p.MayBeOf}
}

// record puts the correction beside what each piece was said to be, and into the streams
// of its stones.
func (f *follow) record(w *wrong, c correction.State, person string) {
	for _, p := range f.order {
		event := func(jeweller string) *correctionv1.Event {
			return &correctionv1.Event{Event: &correctionv1.Event_PieceCorrected{PieceCorrected: &correctionv1.PieceCorrected{
				Public: &correctionv1.PieceCorrected_Public{
					CorrectionId: c.ID, Corrects: uint64(p.at), PieceId: p.now.ID, Was: f.said(p.was), Right: f.said(p.now),
				},
				Private: &correctionv1.PieceCorrected_Private{
					PersonId: person, Reason: c.Reason, WasClaimId: p.was.ClaimID, RightClaimId: p.now.ClaimID, JewellerId: jeweller, AtUs: f.tx.Now().UnixMicro(),
				},
			}}}
		}
		w.putBeside(stream.Piece.Stream(p.now.ID), p.at, event(""))
		for _, st := range p.stones {
			w.putBeside(stream.Stone.Stream(st.id), p.at, event(st.jeweller))
		}
	}
}
