// Package miner is the gRPC service of those who dig: claims, parcels, offers,
// handovers, and the share afterwards.
package miner

import (
	"context"

	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/page"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// Server implements minerv1.MinerServiceServer.
type Server struct {
	minerv1.UnimplementedMinerServiceServer
	node  *eventstore.Node
	lists query.Lists
}

// New makes the service of a node.
func New(node *eventstore.Node, tokens page.Token) *Server {
	return &Server{node: node, lists: query.Lists{Node: node, Tokens: tokens}}
}

// GetParcel implements minerv1.MinerServiceServer.
func (s *Server) GetParcel(ctx context.Context, req *minerv1.GetParcelRequest) (*minerv1.GetParcelResponse, error) {
	out := &minerv1.GetParcelResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) (err error) {
		out.Parcel, err = show(q, access.Caller(ctx).Member, req.GetParcelId())
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListParcels implements minerv1.MinerServiceServer.
func (s *Server) ListParcels(ctx context.Context, req *minerv1.ListParcelsRequest) (*minerv1.ListParcelsResponse, error) {
	me, v := access.Caller(ctx).Member, view.Parcels{}
	parcels, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.BySeller(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Parcel, error) { return show(q, me, id) })
	if err != nil {
		return nil, err
	}
	return &minerv1.ListParcelsResponse{Parcels: parcels, NextPageToken: next, Position: position}, nil
}

// ListOffers implements minerv1.MinerServiceServer.
func (s *Server) ListOffers(ctx context.Context, req *minerv1.ListOffersRequest) (*minerv1.ListOffersResponse, error) {
	out := &minerv1.ListOffersResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, _, err := own(q, access.Caller(ctx).Member, req.GetParcelId())
		if err != nil {
			return err
		}
		for _, o := range p.Offers {
			out.Offers = append(out.Offers, wire.Offer(p, o, q.Now()))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListPieces implements minerv1.MinerServiceServer.
func (s *Server) ListPieces(ctx context.Context, req *minerv1.ListPiecesRequest) (*minerv1.ListPiecesResponse, error) {
	me := access.Caller(ctx).Member
	pieces, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			p, _, err := own(q, me, req.GetParcelId())
			if err != nil {
				return nil, "", err
			}
			ids, next := p.PiecesAfter(after, limit)
			return ids, next, nil
		},
		func(q *eventstore.Query, id string) (*typev1.Piece, error) {
			p, _, err := eventstore.Load(q, stream.Piece, id)
			return wire.ListedPiece(p), err
		})
	if err != nil {
		return nil, err
	}
	return &minerv1.ListPiecesResponse{Pieces: pieces, NextPageToken: next, Position: position}, nil
}

// own is a parcel that the member listed, or a draft of theirs.
func own(l eventstore.Loader, seller, id string) (parcel.State, uint64, error) {
	p, version, err := eventstore.Load(l, stream.Parcel, id)
	if err == nil && (p.ID == "" || p.Seller != seller) {
		err = rule.NotThere("parcel_id", "parcel")
	}
	return p, version, err
}

func show(q *eventstore.Query, seller, id string) (*typev1.Parcel, error) {
	p, version, err := own(q, seller, id)
	if err != nil {
		return nil, err
	}
	return wire.Parcel(p, version, seller, q.Now()), nil
}

// onLot runs a command on one of the caller's own parcels; the answer's state is as it
// was right after.
func (s *Server) onLot(ctx context.Context, req command.Request, id string, decide func(*eventstore.Tx, *command.Thing[parcel.State]) error) (command.Did[parcel.State], error) {
	return command.Run(ctx, s.node, req, stream.Parcel, func(tx *eventstore.Tx) (*command.Thing[parcel.State], error) {
		lot, err := s.ownLot(tx, access.Caller(ctx).Member, id)
		if err != nil {
			return nil, err
		}
		return lot, decide(tx, lot)
	})
}

// recorded makes a decision's event the lot's next record.
func recorded(lot *command.Thing[parcel.State], event *parcelv1.Event, err error) error {
	if err == nil {
		lot.Record(event)
	}
	return err
}

// allRecorded is recorded for decisions that say several things.
func allRecorded(lot *command.Thing[parcel.State], events []*parcelv1.Event, err error) error {
	if err != nil {
		return err
	}
	for _, event := range events {
		lot.Record(event)
	}
	return nil
}
