// Package jeweller is the gRPC service of those who set stones: the stock, and orders.
package jeweller

import (
	"context"

	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/page"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// Server implements jewellerv1.JewellerServiceServer.
type Server struct {
	jewellerv1.UnimplementedJewellerServiceServer
	node  *eventstore.Node
	lists query.Lists
}

// New makes the service of a node.
func New(node *eventstore.Node, tokens page.Token) *Server {
	return &Server{node: node, lists: query.Lists{Node: node, Tokens: tokens}}
}

// GetOrder implements jewellerv1.JewellerServiceServer.
func (s *Server) GetOrder(ctx context.Context, req *jewellerv1.GetOrderRequest) (*jewellerv1.GetOrderResponse, error) {
	out := &jewellerv1.GetOrderResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		o, _, err := eventstore.Load(q, stream.Order, req.GetOrderId())
		if err != nil {
			return err
		}
		if o.ID == "" || o.Buyer != access.Caller(ctx).Member {
			return rule.NotThere("order_id", "order")
		}
		out.Order = wire.Order(o)
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListOrders implements jewellerv1.JewellerServiceServer.
func (s *Server) ListOrders(ctx context.Context, req *jewellerv1.ListOrdersRequest) (*jewellerv1.ListOrdersResponse, error) {
	me, v := access.Caller(ctx).Member, view.Orders{}
	orders, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.ByBuyer(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*jewellerv1.Order, error) {
			o, _, err := eventstore.Load(q, stream.Order, id)
			return wire.Order(o), err
		})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ListOrdersResponse{Orders: orders, NextPageToken: next, Position: position}, nil
}
