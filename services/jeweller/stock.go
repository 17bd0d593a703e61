package jeweller

import (
	"context"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// ListStock implements jewellerv1.JewellerServiceServer.
func (s *Server) ListStock(ctx context.Context, req *jewellerv1.ListStockRequest) (*jewellerv1.ListStockResponse, error) {
	me, v := access.Caller(ctx).Member, view.Stones{}
	filter, err := readFilter(req.GetOutline(), req.GetFilter(), me)
	if err != nil {
		return nil, err
	}
	stones, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			filter.NowUs = q.Now().UnixMicro()
			return v.Stock(q.View(v.Name()), filter, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Stone, error) {
			st, _, err := eventstore.Load(q, stream.Stone, id)
			return wire.StockStone(st, me, q.Now()), err
		})
	if err != nil {
		return nil, err
	}
	return &jewellerv1.ListStockResponse{Stones: stones, NextPageToken: next, Position: position}, nil
}

func readFilter(outline typev1.Outline, f *jewellerv1.StockFilter, me string) (view.Filter, error) {
	var broken rule.All
	least, most := wire.Amount(&broken, "filter.min_price", f.GetMinPrice()), wire.Amount(&broken, "filter.max_price", f.GetMaxPrice())
	currency := least.GetCurrency()
	if currency == "" {
		currency = most.GetCurrency()
	}
	if most != nil {
		broken.Currency("filter.max_price", most, currency)
	}
	if err := broken.Err(); err != nil {
		return view.Filter{}, err
	}
	filter := view.Filter{
		Outline: stonev1.Outline(outline), Kind: eventv1.Kind(f.GetKind()), MinTone: f.GetMinBodyTone(), MaxTone: f.GetMaxBodyTone(),
		Pattern: stonev1.Pattern(f.GetPattern()), Transparency: stonev1.Transparency(f.GetTransparency()), Brightness: stonev1.Brightness(f.GetBrightness()),
		Colours: f.GetColours(), Currency: currency, MinPrice: least.GetMinor(), MaxPrice: most.GetMinor(),
		MinMassUg: f.GetMinMassUg(), MaxMassUg: f.GetMaxMassUg(), MinLengthUm: f.GetMinLengthUm(), MaxLengthUm: f.GetMaxLengthUm(),
		MinWidthUm: f.GetMinWidthUm(), MaxWidthUm: f.GetMaxWidthUm(), MaxDepthUm: f.GetMaxDepthUm(), Composite: stonev1.Composite(f.GetComposite()),
		Treatment: eventv1.Treatment(f.GetTreatment()), Hydrophane: stonev1.Hydrophane(f.GetHydrophane()), SetKind: stonev1.SetKind(f.GetSetKind()),
	}
	if f.GetAvailable() {
		filter.AvailableTo = me
	}
	return filter, nil
}

// GetStone implements jewellerv1.JewellerServiceServer.
func (s *Server) GetStone(ctx context.Context, req *jewellerv1.GetStoneRequest) (*jewellerv1.GetStoneResponse, error) {
	me, out := access.Caller(ctx).Member, &jewellerv1.GetStoneResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		st, _, err := eventstore.Load(q, stream.Stone, req.GetStoneId())
		if err != nil {
			return err
		}
		if !st.SeenBy(me) {
			return rule.NotThere("stone_id", "stone on sale or")
		}
		out.Stone = wire.StockStone(st, me, q.Now())
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}
