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
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// onMarket runs a command of one event on a parcel that any cutter can see or could have
// seen.
func (s *Server) onMarket(ctx context.Context, req command.Request, id string, decide func(*eventstore.Tx, *command.Thing[parcel.State]) (*parcelv1.Event, error)) (command.Did[parcel.State], error) {
	return command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		lot, err := s.visible(tx, access.Caller(ctx).Member, id)
		if err != nil {
			return nil, err
		}
		event, err := decide(tx, lot)
		if err != nil {
			return nil, err
		}
		lot.Record(event)
		return lot, nil
	})
}

// offered shows an offer as a command left it.
func offered(did command.Did[parcel.State], id string) (*typev1.Offer, error) {
	o, ok := did.State.Offer(id)
	if !ok {
		return nil, fmt.Errorf("parcel %s has lost offer %s", did.ID, id)
	}
	return wire.Offer(did.State, o, did.At), nil
}

// WithdrawOffer implements cutterv1.CutterServiceServer.
func (s *Server) WithdrawOffer(ctx context.Context, req *cutterv1.WithdrawOfferRequest) (*cutterv1.WithdrawOfferResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onMarket(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) (*parcelv1.Event, error) {
		return lot.State.WithdrawOffer(me, req.GetOfferId(), tx.Now())
	})
	if err != nil {
		return nil, err
	}
	offer, err := offered(did, req.GetOfferId())
	return &cutterv1.WithdrawOfferResponse{Offer: offer, Position: uint64(did.Position)}, err
}

// AcceptCounterOffer implements cutterv1.CutterServiceServer.
func (s *Server) AcceptCounterOffer(ctx context.Context, req *cutterv1.AcceptCounterOfferRequest) (*cutterv1.AcceptCounterOfferResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onMarket(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) (*parcelv1.Event, error) {
		if err := wire.Unchanged(req.GetEtag(), func() *typev1.Parcel { return wire.Parcel(lot.State, lot.Version, me, tx.Now()) }); err != nil {
			return nil, err
		}
		under, err := command.Under(tx, s.node.Coop(), lot.State)
		if err != nil {
			return nil, err
		}
		return under.AcceptCounter(me, req.GetOfferId(), tx.Now())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.AcceptCounterOfferResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// DeclineCounterOffer implements cutterv1.CutterServiceServer.
func (s *Server) DeclineCounterOffer(ctx context.Context, req *cutterv1.DeclineCounterOfferRequest) (*cutterv1.DeclineCounterOfferResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onMarket(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) (*parcelv1.Event, error) {
		return lot.State.DeclineOffer(me, req.GetOfferId(), req.GetWhy(), tx.Now())
	})
	if err != nil {
		return nil, err
	}
	offer, err := offered(did, req.GetOfferId())
	return &cutterv1.DeclineCounterOfferResponse{Offer: offer, Position: uint64(did.Position)}, err
}

// ListAllMyOffers implements cutterv1.CutterServiceServer.
func (s *Server) ListAllMyOffers(ctx context.Context, req *cutterv1.ListAllMyOffersRequest) (*cutterv1.ListAllMyOffersResponse, error) {
	me, v := access.Caller(ctx).Member, view.Parcels{}
	offers, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]view.OfParcel, string, error) {
			return v.OffersBy(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, at view.OfParcel) (*typev1.Offer, error) {
			p, _, err := eventstore.Load(q, stream.Parcel, at.ParcelID)
			if err != nil {
				return nil, err
			}
			o, _ := p.Offer(at.ID)
			return wire.Offer(p, o, q.Now()), nil
		})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListAllMyOffersResponse{Offers: offers, NextPageToken: next, Position: position}, nil
}
