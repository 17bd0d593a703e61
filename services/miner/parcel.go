package miner

import (
	"context"
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// PublishParcel implements minerv1.MinerServiceServer.
func (s *Server) PublishParcel(ctx context.Context, req *minerv1.PublishParcelRequest) (*minerv1.PublishParcelResponse, error) {
	me := access.Caller(ctx).Member
	listing, pieces, unreadable := read(req, me)
	draft := req.GetDraftId() != ""
	did, err := command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		lot, err := command.Open(tx, stream.Parcel, listing.ID)
		if err != nil {
			return nil, err
		}
		if draft && (lot.State.ID == "" || lot.State.Seller != me) {
			return nil, rule.NotThere("draft_id", "draft")
		}
		if err := command.CheckParties(tx, &broken, "agreement", listing.Agreement); err != nil {
			return nil, err
		}
		under, err := command.Under(tx, s.node.Coop(), lot.State)
		if err != nil {
			return nil, err
		}
		listed, err := under.List(listing)
		if err := broken.Merge("", err); err != nil {
			return nil, err
		}
		var described []*piecev1.Event
		for i, p := range pieces {
			at := fmt.Sprintf("pieces[%d]", i)
			// Copies: the events of an earlier run may be on their way to the log.
			facts := &piecev1.Described_Public{
				PieceId: p.PieceId, ParcelId: p.ParcelId, Label: p.Label, Weighing: p.Weighing, Size: p.Size,
				Kind: p.Kind, Count: p.Count, SmallestUm: p.SmallestUm, LargestUm: p.LargestUm, Photos: p.Photos,
			}
			line := req.GetPieces()[i]
			claimID := line.GetClaimId()
			if claimID != "" {
				claim, _, err := eventstore.Load(tx, stream.Claim, claimID)
				if err != nil {
					return nil, err
				}
				if err := broken.Merge("", claim.From(me, at+".claim_id", claimID)); err != nil {
					return nil, err
				}
				facts.FieldId = claim.FieldID
			}
			event, err := piece.State{}.Describe(facts, &piecev1.Described_Private{ClaimId: claimID, Seen: line.GetSeen()})
			if err := broken.Merge(at, err); err != nil {
				return nil, err
			}
			described = append(described, event)
		}
		if err := broken.Err(); err != nil {
			return nil, err
		}
		lot.Record(listed)
		for i, event := range described {
			tx.Record(stream.Piece.Stream(pieces[i].PieceId), event)
		}
		return lot, nil
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.PublishParcelResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// read makes a listing of a request, with ids for the parcel and its pieces. What
// can't be read is noted.
func read(req *minerv1.PublishParcelRequest, seller string) (parcel.Listing, []*piecev1.Described_Public, rule.All) {
	var unreadable rule.All
	id := req.GetDraftId()
	if id == "" {
		id = command.NewID()
	}
	listing := parcel.Listing{
		ID: id, Seller: seller, Label: req.GetLabel(),
		Total: wire.ReadWeighing(req.GetTotal()), Treatment: eventv1.Treatment(req.GetTreatment()),
		KeptWet: req.GetKeptWet(), Mined: req.GetMined(), Split: req.GetSplit(), Note: req.GetNote(), OpenAtAsking: req.GetOpenAtAsking(),
		Agreement: wire.ReadAgreement(&unreadable, "agreement", req.GetAgreement()),
	}
	pieces := make([]*piecev1.Described_Public, len(req.GetPieces()))
	for i, p := range req.GetPieces() {
		pieces[i] = &piecev1.Described_Public{
			PieceId: command.NewID(), ParcelId: listing.ID, Label: p.GetLabel(),
			Weighing: wire.ReadWeighing(p.GetWeighing()), Size: wire.ReadSize(p.GetSize()), Kind: eventv1.Kind(p.GetKind()),
			Count:      max(p.GetCount(), 1),
			SmallestUm: p.GetSmallestUm(), LargestUm: p.GetLargestUm(), Photos: wire.PhotosIn(p.GetPhotos()),
		}
		listing.Pieces = append(listing.Pieces, parcel.Piece{
			ID: pieces[i].PieceId, Label: p.GetLabel(), Weighing: pieces[i].Weighing, Count: pieces[i].Count,
		})
	}
	return listing, pieces, unreadable
}

// AcceptOffer implements minerv1.MinerServiceServer.
func (s *Server) AcceptOffer(ctx context.Context, req *minerv1.AcceptOfferRequest) (*minerv1.AcceptOfferResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		lot, err := s.ownLot(tx, me, req.GetParcelId())
		if err != nil {
			return nil, err
		}
		if err := wire.Unchanged(req.GetEtag(), func() *typev1.Parcel { return wire.Parcel(lot.State, lot.Version, me, tx.Now()) }); err != nil {
			return nil, err
		}
		under, err := command.Under(tx, s.node.Coop(), lot.State)
		if err != nil {
			return nil, err
		}
		deal, err := under.Accept(me, req.GetOfferId(), tx.Now())
		if err != nil {
			return nil, err
		}
		lot.Record(deal)
		return lot, nil
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.AcceptOfferResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// HandOverParcel implements minerv1.MinerServiceServer.
func (s *Server) HandOverParcel(ctx context.Context, req *minerv1.HandOverParcelRequest) (*minerv1.HandOverParcelResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(_ *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		words, err := lot.State.Handover(me, parcel.Word{Count: req.GetCount(), Total: wire.ReadWeighing(req.GetTotal()), Note: req.GetNote()})
		return allRecorded(lot, words, err)
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.HandOverParcelResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// ownLot is a parcel of the member's that was listed: a draft looks like none.
func (s *Server) ownLot(tx *eventstore.Tx, seller, id string) (*command.Thing[parcel.State], error) {
	lot, err := command.Open(tx, stream.Parcel, id)
	if err == nil && (!lot.State.Shown() || lot.State.Seller != seller) {
		err = rule.NotThere("parcel_id", "parcel")
	}
	return lot, err
}

func shown(did command.Did[parcel.State], viewer string) *typev1.Parcel {
	return wire.Parcel(did.State, did.Version, viewer, did.At)
}
