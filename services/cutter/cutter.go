// Package cutter is the gRPC service of those who cut: they buy rough, work it at the
// bench, finish stones and sell them.
package cutter

import (
	"context"
	"runtime"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
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
)

// Server implements cutterv1.CutterServiceServer.
type Server struct {
	cutterv1.UnimplementedCutterServiceServer
	node     *eventstore.Node
	lists    query.Lists
	desks    chan struct{} // one taken while something is reckoned
	searches chan struct{} // one taken while plans are searched
}

// New makes the service of a node.
func New(node *eventstore.Node, tokens page.Token) *Server {
	desks := max(1, runtime.GOMAXPROCS(0)-1)
	return &Server{
		node: node, lists: query.Lists{Node: node, Tokens: tokens},
		desks: make(chan struct{}, desks), searches: make(chan struct{}, 2*desks),
	}
}

// ListMarket implements cutterv1.CutterServiceServer.
func (s *Server) ListMarket(ctx context.Context, req *cutterv1.ListMarketRequest) (*cutterv1.ListMarketResponse, error) {
	me, v := access.Caller(ctx).Member, view.Parcels{}
	parcels, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.Market(q.View(v.Name()), after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Parcel, error) { return show(q, me, id) })
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListMarketResponse{Parcels: parcels, NextPageToken: next, Position: position}, nil
}

// ListParcels implements cutterv1.CutterServiceServer.
func (s *Server) ListParcels(ctx context.Context, req *cutterv1.ListParcelsRequest) (*cutterv1.ListParcelsResponse, error) {
	me, v := access.Caller(ctx).Member, view.Parcels{}
	parcels, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.ByBuyer(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Parcel, error) { return show(q, me, id) })
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListParcelsResponse{Parcels: parcels, NextPageToken: next, Position: position}, nil
}

// GetParcel implements cutterv1.CutterServiceServer.
func (s *Server) GetParcel(ctx context.Context, req *cutterv1.GetParcelRequest) (*cutterv1.GetParcelResponse, error) {
	out := &cutterv1.GetParcelResponse{}
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

// ListMyOffers implements cutterv1.CutterServiceServer. A buyer sees their offers also
// after the parcel went another way.
func (s *Server) ListMyOffers(ctx context.Context, req *cutterv1.ListMyOffersRequest) (*cutterv1.ListMyOffersResponse, error) {
	me, out := access.Caller(ctx).Member, &cutterv1.ListMyOffersResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, _, err := eventstore.Load(q, stream.Parcel, req.GetParcelId())
		if err != nil {
			return err
		}
		for _, o := range p.Offers {
			if o.Buyer == me {
				out.Offers = append(out.Offers, wire.Offer(p, o, q.Now()))
			}
		}
		if len(out.Offers) == 0 {
			return seen(p, me)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// GetShare implements cutterv1.CutterServiceServer.
func (s *Server) GetShare(ctx context.Context, req *cutterv1.GetShareRequest) (*cutterv1.GetShareResponse, error) {
	out := &cutterv1.GetShareResponse{}
	_, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, err := bought(q, access.Caller(ctx).Member, req.GetParcelId())
		if err != nil {
			return err
		}
		v := view.Shares{}
		statement, ok, err := v.Statement(q.View(v.Name()), p.ID)
		if err != nil {
			return err
		}
		if !ok { // the view is behind its own deal, which can't be
			return rule.NotThere("parcel_id", "parcel")
		}
		if out.Statement, err = wire.PartyStatement(statement, p.Deal.Agreement, q.Position(), parcel.Cutter); err != nil {
			return err
		}
		out.Statement.Corrections, err = wire.PartyCorrections(q, statement, parcel.Cutter)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// GetYield implements cutterv1.CutterServiceServer.
func (s *Server) GetYield(ctx context.Context, req *cutterv1.GetYieldRequest) (*cutterv1.GetYieldResponse, error) {
	out := &cutterv1.GetYieldResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, err := bought(q, access.Caller(ctx).Member, req.GetParcelId())
		if err != nil {
			return err
		}
		v := view.Yields{}
		y, ok, err := v.Yield(q.View(v.Name()), p.ID)
		if err != nil {
			return err
		}
		if !ok {
			return rule.NotThere("parcel_id", "parcel")
		}
		settings, err := command.Settings(q, s.node.Coop(), q.Now())
		if err != nil {
			return err
		}
		out.Yield, err = yieldOf(q, p, y, settings.ToleranceUg(y.BoughtUg))
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// seen refuses a parcel that is neither on the market nor the member's own, nor one
// whose deal with the member fell through.
func seen(p parcel.State, me string) error {
	if !p.Shown() || !p.OnMarket() && p.LastDeal().Buyer != me {
		return rule.NotThere("parcel_id", "parcel on the market or")
	}
	return nil
}

func show(q *eventstore.Query, me, id string) (*typev1.Parcel, error) {
	p, version, err := eventstore.Load(q, stream.Parcel, id)
	if err != nil {
		return nil, err
	}
	if err := seen(p, me); err != nil {
		return nil, err
	}
	return wire.Parcel(p, version, me, q.Now()), nil
}

// bought is a parcel that the member has a deal for.
func bought(l eventstore.Loader, me, id string) (parcel.State, error) {
	p, _, err := eventstore.Load(l, stream.Parcel, id)
	if err == nil && (p.ID == "" || p.Deal.Buyer != me) {
		err = rule.NotThere("parcel_id", "parcel")
	}
	return p, err
}
