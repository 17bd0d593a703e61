package coop

import (
	"context"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"
)

// ListAllParcels implements coopv1.CoopServiceServer.
func (s *Server) ListAllParcels(ctx context.Context, req *coopv1.ListAllParcelsRequest) (*coopv1.ListAllParcelsResponse, error) {
	rows, next, position, err := query.List(ctx, s.lists, req, registered("parcel"), func(q *eventstore.Query, id string) (*coopv1.AuditRow, error) {
		lot, _, err := eventstore.Load(q, stream.Parcel, id)
		return &coopv1.AuditRow{
			Thing: "parcel/" + id, Label: lot.Label, Stage: lot.Stage(q.Now()).String(), MemberIds: present(lot.Seller, lot.Deal.Buyer), Amount: wire.MoneyOf(lot.Asking),
		}, err
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListAllParcelsResponse{Rows: rows, NextPageToken: next, Position: position}, nil
}

// ListAllPieces implements coopv1.CoopServiceServer.
func (s *Server) ListAllPieces(ctx context.Context, req *coopv1.ListAllPiecesRequest) (*coopv1.ListAllPiecesResponse, error) {
	rows, next, position, err := query.List(ctx, s.lists, req, registered("piece"), func(q *eventstore.Query, id string) (*coopv1.AuditRow, error) {
		rough, _, err := eventstore.Load(q, stream.Piece, id)
		if err != nil {
			return nil, err
		}
		lot, _, err := eventstore.Load(q, stream.Parcel, rough.ParcelID)
		return &coopv1.AuditRow{Thing: "piece/" + id, Label: lot.Label + "-" + rough.Label, MemberIds: present(lot.Seller, lot.Deal.Buyer)}, err
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListAllPiecesResponse{Rows: rows, NextPageToken: next, Position: position}, nil
}

// ListAllStones implements coopv1.CoopServiceServer.
func (s *Server) ListAllStones(ctx context.Context, req *coopv1.ListAllStonesRequest) (*coopv1.ListAllStonesResponse, error) {
	rows, next, position, err := query.List(ctx, s.lists, req, registered("stone"), func(q *eventstore.Query, id string) (*coopv1.AuditRow, error) {
		st, _, err := eventstore.Load(q, stream.Stone, id)
		return &coopv1.AuditRow{
			Thing: "stone/" + id, Label: st.Facts.GetLabel(), Stage: stoneWords[st.Stage], MemberIds: present(st.Facts.GetCutterId(), st.Buyer), Amount: wire.MoneyOf(st.Price),
		}, err
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListAllStonesResponse{Rows: rows, NextPageToken: next, Position: position}, nil
}

// stoneWords say where a stone stands.
var stoneWords = map[stone.Stage]string{
	stone.InStock: "in stock", stone.OnSale: "on sale", stone.Sold: "sold", stone.AtJeweller: "out with a jeweller",
	stone.Lost: "lost", stone.Broken: "broken", stone.InLot: "in a counted lot",
}

// ListAllOrders implements coopv1.CoopServiceServer.
func (s *Server) ListAllOrders(ctx context.Context, req *coopv1.ListAllOrdersRequest) (*coopv1.ListAllOrdersResponse, error) {
	rows, next, position, err := query.List(ctx, s.lists, req, registered("order"), func(q *eventstore.Query, id string) (*coopv1.AuditRow, error) {
		o, _, err := eventstore.Load(q, stream.Order, id)
		members := []string{o.Buyer}
		for _, l := range o.Lines {
			if members[len(members)-1] != l.Seller {
				members = append(members, l.Seller)
			}
		}
		return &coopv1.AuditRow{Thing: "order/" + id, MemberIds: members, Amount: wire.Money(o.Currency, o.Total())}, err
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListAllOrdersResponse{Rows: rows, NextPageToken: next, Position: position}, nil
}

// maxHistory bounds what GetHistory answers.
const maxHistory = 1000

// GetHistory implements coopv1.CoopServiceServer. Keys stay out as bytes of no use; what
// is personal is sealed in the records already.
func (s *Server) GetHistory(ctx context.Context, req *coopv1.GetHistoryRequest) (*coopv1.GetHistoryResponse, error) {
	out := &coopv1.GetHistoryResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		records, err := q.Records(eventstore.Stream(req.GetThing()))
		if err != nil {
			return err
		}
		if len(records) == 0 {
			return rule.NotThere("thing", "thing")
		}
		for _, r := range records[:min(len(records), maxHistory)] {
			whole, err := q.RecordAt(r.Position) // with who decided it, which a stream doesn't hold
			if err != nil {
				return err
			}
			shown, err := shownRecord(whole)
			if err != nil {
				return err
			}
			out.Records = append(out.Records, shown)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

func shownRecord(r eventstore.Record) (*coopv1.HistoryRecord, error) {
	out := &coopv1.HistoryRecord{
		Position: uint64(r.Position), At: r.DecidedAt.Format(time.RFC3339), MemberId: r.Member, PersonId: r.Person, Corrects: uint64(r.Corrects),
	}
	m := r.Event.ProtoReflect()
	set := m.WhichOneof(m.Descriptor().Oneofs().Get(0))
	out.Event = strings.TrimPrefix(string(set.Message().FullName()), "seamshare.event.")
	inner := m.Get(set).Message()
	part := func(name protoreflect.Name) (string, error) {
		text, err := protojson.Marshal(inner.Get(set.Message().Fields().ByName(name)).Message().Interface())
		return string(text), err
	}
	var err error
	if out.PublicJson, err = part("public"); err != nil {
		return nil, err
	}
	out.PrivateJson, err = part("private")
	return out, err
}
