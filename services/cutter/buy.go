package cutter

import (
	"context"
	"fmt"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"
)

// MakeOffer implements cutterv1.CutterServiceServer.
func (s *Server) MakeOffer(ctx context.Context, req *cutterv1.MakeOfferRequest) (*cutterv1.MakeOfferResponse, error) {
	var unreadable rule.All
	bid := parcel.Bid{ID: command.NewID(), Buyer: access.Caller(ctx).Member}
	bid.Agreement = wire.ReadAgreement(&unreadable, "agreement", req.GetAgreement())
	bid.EndsAt = wire.Moment(&unreadable, "ends_at", req.GetEndsAt())
	did, err := command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		lot, err := s.visible(tx, bid.Buyer, req.GetParcelId())
		if err != nil {
			return nil, err
		}
		if err := command.CheckParties(tx, &broken, "agreement", bid.Agreement); err != nil {
			return nil, err
		}
		under, err := command.Under(tx, s.node.Coop(), lot.State)
		if err != nil {
			return nil, err
		}
		made, err := under.MakeOffer(bid, tx.Now())
		if err := broken.Merge("", err); err != nil {
			return nil, err
		}
		if err := broken.Err(); err != nil {
			return nil, err
		}
		tx.Made(bid.ID)
		lot.Record(made)
		return lot, nil
	})
	if err != nil {
		return nil, err
	}
	offer, ok := did.State.Offer(did.Made[0])
	if !ok {
		return nil, fmt.Errorf("parcel %s has lost offer %s", did.ID, did.Made[0])
	}
	return &cutterv1.MakeOfferResponse{Offer: wire.Offer(did.State, offer, did.At), Position: uint64(did.Position)}, nil
}

// TakeParcel implements cutterv1.CutterServiceServer.
func (s *Server) TakeParcel(ctx context.Context, req *cutterv1.TakeParcelRequest) (*cutterv1.TakeParcelResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		lot, err := s.visible(tx, me, req.GetParcelId())
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
		deal, err := under.Take(me, tx.Now())
		if err != nil {
			return nil, err
		}
		lot.Record(deal)
		return lot, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.TakeParcelResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// ReceiveParcel implements cutterv1.CutterServiceServer.
func (s *Server) ReceiveParcel(ctx context.Context, req *cutterv1.ReceiveParcelRequest) (*cutterv1.ReceiveParcelResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		lot, err := mine(tx, me, req.GetParcelId())
		if err != nil {
			return nil, err
		}
		words, err := lot.State.Handover(me, parcel.Word{Count: req.GetCount(), Total: wire.ReadWeighing(req.GetTotal()), Note: req.GetNote()})
		if err != nil {
			return nil, err
		}
		for _, word := range words {
			lot.Record(word)
		}
		return lot, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ReceiveParcelResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// visible is a parcel that any cutter can see or could have seen: one that went to
// another is refused by its own rule, which says so.
func (s *Server) visible(tx *eventstore.Tx, me, id string) (*command.Thing[parcel.State], error) {
	lot, err := command.Open(tx, stream.Parcel, id)
	if err == nil && !lot.State.Shown() {
		err = rule.NotThere("parcel_id", "parcel on the market or")
	}
	return lot, err
}

func shown(did command.Did[parcel.State], me string) *typev1.Parcel {
	return wire.Parcel(did.State, did.Version, me, did.At)
}

// mine is a parcel that the member has, or had, a deal for: what is still to be done
// about it is the parcel's own rule.
func mine(tx *eventstore.Tx, me, id string) (*command.Thing[parcel.State], error) {
	lot, err := command.Open(tx, stream.Parcel, id)
	if err == nil && (!lot.State.Shown() || lot.State.LastDeal().Buyer != me) {
		err = rule.NotThere("parcel_id", "parcel")
	}
	return lot, err
}
