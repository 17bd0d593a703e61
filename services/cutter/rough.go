package cutter

import (
	"context"
	"fmt"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// PublishRough implements cutterv1.CutterServiceServer. Each line becomes a piece of the
// new parcel that names the part it was; the old piece says where the part went.
func (s *Server) PublishRough(ctx context.Context, req *cutterv1.PublishRoughRequest) (*cutterv1.PublishRoughResponse, error) {
	me := access.Caller(ctx).Member
	var unreadable rule.All
	listing := parcel.Listing{
		ID: command.NewID(), Seller: me, Label: req.GetLabel(), Total: wire.ReadWeighing(req.GetTotal()),
		Treatment: eventv1.Treatment(req.GetTreatment()), KeptWet: req.GetKeptWet(), Note: req.GetNote(), OpenAtAsking: req.GetOpenAtAsking(),
		Agreement: wire.ReadAgreement(&unreadable, "agreement", req.GetAgreement()),
	}
	newIDs := make([]string, len(req.GetLines()))
	for i := range newIDs {
		newIDs[i] = command.NewID()
	}
	did, err := command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		fresh, err := command.Open(tx, stream.Parcel, listing.ID)
		if err != nil {
			return nil, err
		}
		if err := command.CheckParties(tx, &broken, "agreement", listing.Agreement); err != nil {
			return nil, err
		}
		listing := listing
		pieces := map[string]*command.Thing[piece.State]{}
		var described []*piecev1.Event
		for i, line := range req.GetLines() {
			facts, known, err := moveOn(tx, me, pieces, line, newIDs[i], listing.ID)
			if err == nil {
				var event *piecev1.Event
				listing.Pieces = append(listing.Pieces, parcel.Piece{ID: facts.PieceId, Label: facts.Label, Weighing: facts.Weighing, Count: facts.Count})
				event, err = piece.State{}.Describe(facts, known)
				described = append(described, event)
			}
			if err := broken.Merge(fmt.Sprintf("lines[%d]", i), err); err != nil {
				return nil, err
			}
		}
		if err := broken.Err(); err != nil {
			return nil, err
		}
		under, err := command.Under(tx, s.node.Coop(), fresh.State)
		if err != nil {
			return nil, err
		}
		listed, err := under.List(listing)
		if err != nil {
			return nil, err
		}
		fresh.Record(listed)
		for i, event := range described {
			tx.Record(stream.Piece.Stream(newIDs[i]), event)
		}
		return fresh, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.PublishRoughResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// moveOn takes a part out of its old parcel and says what piece it is in the new one, and
// what only those concerned may know of it.
func moveOn(tx *eventstore.Tx, me string, pieces map[string]*command.Thing[piece.State], line *cutterv1.RoughLine, newID, parcelID string) (facts *piecev1.Described_Public, known *piecev1.Described_Private, err error) {
	rough, ok := pieces[line.GetPieceId()]
	if !ok {
		var old parcel.State
		if rough, old, err = inHand(tx, me, line.GetPieceId()); err != nil {
			return nil, nil, err
		}
		if err := old.SoleCutters(me); err != nil {
			return nil, nil, err
		}
		pieces[rough.ID] = rough
	}
	moved, err := rough.State.MoveOn(piece.Move{
		Member: me, Part: line.GetPart(), Weighing: wire.ReadWeighing(line.GetWeighing()), ParcelID: parcelID, NewPieceID: newID,
	})
	if err != nil {
		return nil, nil, err
	}
	count := uint32(1)
	if line.GetPart() == rough.State.Label {
		count = rough.State.Count
	}
	rough.Record(moved)
	from, err := command.WhereFrom(command.Pieces(tx), rough.State, line.GetPart())
	if err != nil {
		return nil, nil, err
	}
	return &piecev1.Described_Public{
		PieceId: newID, ParcelId: parcelID, Label: line.GetLabel(), Weighing: wire.ReadWeighing(line.GetWeighing()), Size: wire.ReadSize(line.GetSize()),
		Kind: rough.State.Kind, Count: count, FieldId: from.FieldID, MayBeOfFieldIds: from.MayBeOf,
		Origin: &piecev1.Origin{PieceId: rough.ID, Part: line.GetPart(), ParcelId: rough.State.ParcelID},
	}, &piecev1.Described_Private{ClaimId: from.ClaimID, Seen: line.GetSeen()}, nil
}

// TakeRoughBack implements cutterv1.CutterServiceServer. The parcel is closed, so that it
// can't be listed again without its rough.
func (s *Server) TakeRoughBack(ctx context.Context, req *cutterv1.TakeRoughBackRequest) (*cutterv1.TakeRoughBackResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		lot, err := command.Open(tx, stream.Parcel, req.GetParcelId())
		if err != nil {
			return nil, err
		}
		apart, err := lot.State.TakeApart(me, tx.Now())
		if err != nil {
			return nil, err
		}
		pieces := map[string]*command.Thing[piece.State]{}
		for _, line := range lot.State.Lines {
			fresh, _, err := eventstore.Load(tx, stream.Piece, line.PieceID)
			if err != nil {
				return nil, err
			}
			if fresh.Origin == nil || fresh.OpenedUg > 0 {
				return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "parcel_id", Value: lot.ID, Rule: "only rough that was listed anew, and not parted since, goes back", Hint: "list the parcel again"}
			}
			if err := takePartBack(tx, me, pieces, fresh.Origin.GetPieceId(), fresh.Origin.GetPart()); err != nil {
				return nil, err
			}
		}
		lot.Record(apart)
		return lot, nil
	})
	if err != nil {
		return nil, err
	}
	out := &cutterv1.TakeRoughBackResponse{Position: uint64(did.Position)}
	_, err = query.At(ctx, s.node, uint64(did.Position), func(q *eventstore.Query) error {
		for _, line := range did.State.Lines {
			fresh, _, err := eventstore.Load(q, stream.Piece, line.PieceID)
			if err != nil {
				return err
			}
			out.Parts = append(out.Parts, &typev1.LotSource{
				PieceId: fresh.Origin.GetPieceId(), Part: fresh.Origin.GetPart(), Count: line.Count, Weighing: wire.Weighing(line.Weighing),
			})
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}
