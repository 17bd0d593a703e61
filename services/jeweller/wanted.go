package jeweller

import (
	"context"

	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/wanted"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	wantedv1 "seamshare.example/proto/gen/seamshare/event/wanted/v1"
)

// PostWanted implements jewellerv1.JewellerServiceServer.
func (s *Server) PostWanted(ctx context.Context, req *jewellerv1.PostWantedRequest) (*jewellerv1.PostWantedResponse, error) {
	me, id := access.Caller(ctx).Member, command.NewID()
	note, position, err := s.note(ctx, req, id, req.GetWish(), func(n wanted.State, w *wantedv1.Wish) (*wantedv1.Event, error) {
		return n.Post(id, me, w, req.GetShowsName())
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.PostWantedResponse{Wanted: note, Position: position}, nil
}

// ChangeWanted implements jewellerv1.JewellerServiceServer.
func (s *Server) ChangeWanted(ctx context.Context, req *jewellerv1.ChangeWantedRequest) (*jewellerv1.ChangeWantedResponse, error) {
	me := access.Caller(ctx).Member
	note, position, err := s.note(ctx, req, req.GetWantedId(), req.GetWish(), func(n wanted.State, w *wantedv1.Wish) (*wantedv1.Event, error) {
		return n.Change(me, w, req.GetShowsName())
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ChangeWantedResponse{Wanted: note, Position: position}, nil
}

// CloseWanted implements jewellerv1.JewellerServiceServer.
func (s *Server) CloseWanted(ctx context.Context, req *jewellerv1.CloseWantedRequest) (*jewellerv1.CloseWantedResponse, error) {
	me := access.Caller(ctx).Member
	note, position, err := s.note(ctx, req, req.GetWantedId(), nil, func(n wanted.State, _ *wantedv1.Wish) (*wantedv1.Event, error) {
		return n.Close(me)
	})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.CloseWantedResponse{Wanted: note, Position: position}, nil
}

// note runs a command on one of the caller's notes.
func (s *Server) note(ctx context.Context, req command.Request, id string, wish *typev1.Wish, decide func(wanted.State, *wantedv1.Wish) (*wantedv1.Event, error)) (*typev1.Wanted, uint64, error) {
	var unreadable rule.All
	w := wire.ReadWish(&unreadable, wish)
	did, err := command.Run(ctx, s.node, req, stream.Wanted, func(tx *eventstore.Tx) (*command.Thing[wanted.State], error) {
		n, err := command.Open(tx, stream.Wanted, id)
		if err != nil {
			return nil, err
		}
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		event, err := decide(n.State, w)
		if err != nil {
			return nil, err
		}
		n.Record(event)
		return n, nil
	})
	if err != nil {
		return nil, 0, err
	}
	return wire.Wanted(did.State, true, ""), uint64(did.Position), nil
}

// ListWanted implements jewellerv1.JewellerServiceServer.
func (s *Server) ListWanted(ctx context.Context, req *jewellerv1.ListWantedRequest) (*jewellerv1.ListWantedResponse, error) {
	me, v := access.Caller(ctx).Member, view.Selling{}
	notes, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.WantedBy(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Wanted, error) {
			n, _, err := eventstore.Load(q, stream.Wanted, id)
			return wire.Wanted(n, true, ""), err
		})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ListWantedResponse{Wanted: notes, NextPageToken: next, Position: position}, nil
}
