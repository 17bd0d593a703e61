package coop

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	correctionv1 "seamshare.example/proto/gen/seamshare/event/correction/v1"
	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
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
// is personal is sealed in the records already. A bookkeeper and a stock keeper get what
// they may have to correct, and its words stay with the auditor.
func (s *Server) GetHistory(ctx context.Context, req *coopv1.GetHistoryRequest) (*coopv1.GetHistoryResponse, error) {
	who := access.Caller(ctx)
	out := &coopv1.GetHistoryResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		person, _, err := eventstore.Load(q, stream.Person, who.Person)
		if err != nil {
			return err
		}
		own, _, err := eventstore.Load(q, stream.Member, who.Member)
		if err != nil {
			return err
		}
		all, money, masses := person.Has(own, memberv1.Role_ROLE_AUDITOR), person.Has(own, memberv1.Role_ROLE_BOOKKEEPER), person.Has(own, memberv1.Role_ROLE_STOCK_KEEPER)
		records, err := q.Records(eventstore.Stream(req.GetThing()))
		if err != nil {
			return err
		}
		if len(records) == 0 {
			return rule.NotThere("thing", "thing")
		}
		for _, r := range records {
			f := recordedIn(r.Event)
			if !all && !(money && f.amount != nil) && !(masses && (len(f.masses) > 0 || f.size != nil)) {
				continue
			}
			whole, err := q.RecordAt(r.Position) // with who decided it, which a stream doesn't hold
			if err != nil {
				return err
			}
			shown, err := shownRecord(whole, all)
			if err != nil {
				return err
			}
			if all || money {
				shown.Amount = wire.MoneyOf(f.amount)
			}
			if all || masses {
				shown.Masses, shown.Size = f.masses, wire.Size(f.size)
			}
			if out.Records = append(out.Records, shown); len(out.Records) == maxHistory {
				break
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// recorded is what of a record can be corrected: an amount, masses, a size.
type recorded struct {
	amount *eventv1.Amount
	masses []*coopv1.HistoryMass
	size   *eventv1.Size
}

func recordedIn(event proto.Message) (r recorded) {
	switch event := event.(type) {
	case *parcelv1.Event:
		r.amount = cmp.Or(event.GetPaid().GetPrivate().GetAmount(), event.GetCostRecorded().GetPrivate().GetAmount(), event.GetPurchaseRefunded().GetPrivate().GetAmount(),
			event.GetDealMade().GetPrivate().GetAgreement().GetPrice())
		r.weighed("", "", event.GetListed().GetPublic().GetTotal(), event.GetHandoverWeighed().GetPublic().GetTotal(),
			event.GetViewingStarted().GetPrivate().GetTotal(), event.GetViewingEnded().GetPrivate().GetTotal())
	case *orderv1.Event:
		r.amount = cmp.Or(event.GetPaid().GetPrivate().GetAmount(), event.GetRefunded().GetPrivate().GetAmount())
		if p := event.GetPlaced().GetPrivate(); p != nil {
			r.amount = &eventv1.Amount{Currency: p.GetCurrency()}
			for _, l := range p.GetLines() {
				r.amount.Minor += l.GetPriceMinor()
			}
		}
		for _, m := range slices.Concat(event.GetDispatched().GetPrivate().GetStones(), event.GetReceived().GetPrivate().GetStones()) {
			r.weighed("", m.GetStoneId(), m.GetMeasured().GetWeighing())
		}
	case *piecev1.Event:
		r.ofPiece(event)
	case *stonev1.Event:
		r.weighed("", "", event.GetFinished().GetPublic().GetWeighing(), event.GetRecut().GetPublic().GetWeighing(), event.GetCounted().GetPublic().GetWeighing())
		r.size = cmp.Or(event.GetFinished().GetPublic().GetSize(), event.GetRecut().GetPublic().GetSize())
	case *lotv1.Event:
		r.weighed("", "", event.GetMade().GetPublic().GetWeighing(), event.GetCounted().GetPublic().GetWeighing())
	case *correctionv1.Event:
		r.amount = cmp.Or(event.GetReceiptCorrected().GetPrivate().GetRight(), event.GetCostCorrected().GetPrivate().GetRight(), event.GetPriceCorrected().GetPrivate().GetRight(),
			event.GetRefundCorrected().GetPrivate().GetRight())
		r.weighed(event.GetMassCorrected().GetPublic().GetPart(), "", event.GetMassCorrected().GetPublic().GetRight())
		r.weighed("", event.GetSentMassCorrected().GetPrivate().GetStoneId(), event.GetSentMassCorrected().GetPrivate().GetRight())
		r.size = event.GetSizeCorrected().GetPublic().GetRight()
	}
	return r
}

// ofPiece are the masses of a piece's own parts; those of a stone stand with the stone.
func (r *recorded) ofPiece(event *piecev1.Event) {
	r.weighed("", "", event.GetDescribed().GetPublic().GetWeighing(), event.GetOpened().GetPublic().GetLeft())
	r.size = event.GetDescribed().GetPublic().GetSize()
	worked := event.GetWorked().GetPublic()
	if worked != nil && !worked.GetMassInNotWeighed() {
		r.masses = append(r.masses, &coopv1.HistoryMass{Part: worked.GetPart(), WentIn: true, Weighing: wire.Weighing(worked.GetMassIn())})
	}
	for _, part := range worked.GetPartsOut() {
		if !worked.GetNotWeighed() {
			r.weighed(part.GetName(), "", part.GetWeighing())
		}
	}
	if p := event.GetCounted().GetPublic(); p.GetStoneId() == "" {
		r.weighed(p.GetPart(), "", p.GetWeighing())
	}
}

// weighed adds masses that are there.
func (r *recorded) weighed(part, stoneID string, all ...*eventv1.Weighing) {
	for _, w := range all {
		if w != nil {
			r.masses = append(r.masses, &coopv1.HistoryMass{Part: part, StoneId: stoneID, Weighing: wire.Weighing(w)})
		}
	}
}

func shownRecord(r eventstore.Record, words bool) (*coopv1.HistoryRecord, error) {
	out := &coopv1.HistoryRecord{
		Position: uint64(r.Position), At: r.DecidedAt.Format(time.RFC3339), MemberId: r.Member, PersonId: r.Person, Corrects: uint64(r.Corrects),
	}
	m := r.Event.ProtoReflect()
	set := m.WhichOneof(m.Descriptor().Oneofs().Get(0))
	out.Event = strings.TrimPrefix(string(set.Message().FullName()), "seamshare.event.")
	if !words {
		return out, nil
	}
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
