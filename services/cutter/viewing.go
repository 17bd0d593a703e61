package cutter

import (
	"context"
	"fmt"
	"strconv"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// viewed shows a viewing as a command left it.
func viewed(did command.Did[parcel.State], id string) (*typev1.Viewing, error) {
	v, ok := did.State.Viewing(id)
	if !ok {
		return nil, fmt.Errorf("parcel %s has lost viewing %s", did.ID, id)
	}
	return wire.Viewing(did.ID, v), nil
}

// AskViewing implements cutterv1.CutterServiceServer.
func (s *Server) AskViewing(ctx context.Context, req *cutterv1.AskViewingRequest) (*cutterv1.AskViewingResponse, error) {
	var unreadable rule.All
	ask := parcel.Viewing{
		ID: command.NewID(), Viewer: access.Caller(ctx).Member, At: wire.Moment(&unreadable, "at", req.GetAt()), Rub: req.GetRub(), Asked: req.GetNote(),
	}
	did, err := s.onMarket(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) (*parcelv1.Event, error) {
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		asked, err := lot.State.AskViewing(ask, tx.Now())
		if err := broken.Merge("", err); err != nil {
			return nil, err
		}
		tx.Made(ask.ID)
		return asked, broken.Err()
	})
	if err != nil {
		return nil, err
	}
	viewing, err := viewed(did, did.Made[0])
	return &cutterv1.AskViewingResponse{Viewing: viewing, Position: uint64(did.Position)}, err
}

// CancelViewing implements cutterv1.CutterServiceServer.
func (s *Server) CancelViewing(ctx context.Context, req *cutterv1.CancelViewingRequest) (*cutterv1.CancelViewingResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onMarket(ctx, req, req.GetParcelId(), func(_ *eventstore.Tx, lot *command.Thing[parcel.State]) (*parcelv1.Event, error) {
		return lot.State.CallOffViewing(me, req.GetViewingId(), req.GetWhy())
	})
	if err != nil {
		return nil, err
	}
	viewing, err := viewed(did, req.GetViewingId())
	return &cutterv1.CancelViewingResponse{Viewing: viewing, Position: uint64(did.Position)}, err
}

// ListMyViewings implements cutterv1.CutterServiceServer.
func (s *Server) ListMyViewings(ctx context.Context, req *cutterv1.ListMyViewingsRequest) (*cutterv1.ListMyViewingsResponse, error) {
	me, v := access.Caller(ctx).Member, view.Parcels{}
	viewings, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]view.OfParcel, string, error) {
			return v.ViewingsBy(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, at view.OfParcel) (*typev1.Viewing, error) {
			p, _, err := eventstore.Load(q, stream.Parcel, at.ParcelID)
			if err != nil {
				return nil, err
			}
			found, _ := p.Viewing(at.ID)
			return wire.Viewing(p.ID, found), nil
		})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListMyViewingsResponse{Viewings: viewings, NextPageToken: next, Position: position}, nil
}

// NoteInspection implements cutterv1.CutterServiceServer.
func (s *Server) NoteInspection(ctx context.Context, req *cutterv1.NoteInspectionRequest) (*cutterv1.NoteInspectionResponse, error) {
	note := parcel.Note{By: access.Caller(ctx).Member, PieceID: req.GetPieceId(), Text: req.GetText()}
	did, err := s.onMarket(ctx, req, req.GetParcelId(), func(_ *eventstore.Tx, lot *command.Thing[parcel.State]) (*parcelv1.Event, error) {
		return lot.State.AddNote(note)
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.NoteInspectionResponse{Note: shownNote(note), Position: uint64(did.Position)}, nil
}

// ListMyNotes implements cutterv1.CutterServiceServer. A cutter keeps their notes of a
// parcel that went another way.
func (s *Server) ListMyNotes(ctx context.Context, req *cutterv1.ListMyNotesRequest) (*cutterv1.ListMyNotesResponse, error) {
	me := access.Caller(ctx).Member
	notes, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) (mine []parcel.Note, next string, err error) {
			p, _, err := eventstore.Load(q, stream.Parcel, req.GetParcelId())
			if err != nil {
				return nil, "", err
			}
			for _, n := range p.Notes {
				if n.By == me {
					mine = append(mine, n)
				}
			}
			if len(mine) == 0 {
				return nil, "", seen(p, me)
			}
			return notesAfter(mine, after, limit)
		},
		func(_ *eventstore.Query, n parcel.Note) (*cutterv1.InspectionNote, error) { return shownNote(n), nil })
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListMyNotesResponse{Notes: notes, NextPageToken: next, Position: position}, nil
}

// notesAfter is a page of notes; after counts those before it.
func notesAfter(notes []parcel.Note, after string, limit int) (page []parcel.Note, next string, err error) {
	skip := 0
	if after != "" {
		if skip, err = strconv.Atoi(after); err != nil {
			return nil, "", fmt.Errorf("couldn't go on after note %q: %w", after, err)
		}
	}
	notes = notes[min(skip, len(notes)):]
	if len(notes) > limit {
		return notes[:limit], strconv.Itoa(skip + limit), nil
	}
	return notes, "", nil
}

func shownNote(n parcel.Note) *cutterv1.InspectionNote {
	return &cutterv1.InspectionNote{PieceId: n.PieceID, Text: n.Text}
}
