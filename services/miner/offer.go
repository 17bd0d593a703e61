package miner

import (
	"context"
	"fmt"
	"slices"

	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/share"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

func unchanged(tx *eventstore.Tx, lot *command.Thing[parcel.State], me, seen string) error {
	return wire.Unchanged(seen, func() *typev1.Parcel { return wire.Parcel(lot.State, lot.Version, me, tx.Now()) })
}

// offered shows an offer as a command left it.
func offered(did command.Did[parcel.State], id string) (*typev1.Offer, error) {
	o, ok := did.State.Offer(id)
	if !ok {
		return nil, fmt.Errorf("parcel %s has lost offer %s", did.ID, id)
	}
	return wire.Offer(did.State, o, did.At), nil
}

// DeclineOffer implements minerv1.MinerServiceServer.
func (s *Server) DeclineOffer(ctx context.Context, req *minerv1.DeclineOfferRequest) (*minerv1.DeclineOfferResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		declined, err := lot.State.DeclineOffer(me, req.GetOfferId(), req.GetWhy(), tx.Now())
		return recorded(lot, declined, err)
	})
	if err != nil {
		return nil, err
	}
	offer, err := offered(did, req.GetOfferId())
	return &minerv1.DeclineOfferResponse{Offer: offer, Position: uint64(did.Position)}, err
}

// CounterOffer implements minerv1.MinerServiceServer.
func (s *Server) CounterOffer(ctx context.Context, req *minerv1.CounterOfferRequest) (*minerv1.CounterOfferResponse, error) {
	var unreadable rule.All
	me := access.Caller(ctx).Member
	bid := parcel.Bid{
		ID: command.NewID(), Agreement: wire.ReadAgreement(&unreadable, "agreement", req.GetAgreement()),
		EndsAt: wire.Moment(&unreadable, "ends_at", req.GetEndsAt()),
	}
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		if err := named(tx, &broken, bid.Agreement); err != nil {
			return err
		}
		under, err := command.Under(tx, s.node.Coop(), lot.State)
		if err != nil {
			return err
		}
		countered, err := under.Counter(me, req.GetOfferId(), bid, tx.Now())
		if err := recordedUnless(broken, lot, countered, err); err != nil {
			return err
		}
		tx.Made(bid.ID)
		return nil
	})
	if err != nil {
		return nil, err
	}
	offer, err := offered(did, did.Made[0])
	return &minerv1.CounterOfferResponse{Offer: offer, Position: uint64(did.Position)}, err
}

// WithdrawCounterOffer implements minerv1.MinerServiceServer.
func (s *Server) WithdrawCounterOffer(ctx context.Context, req *minerv1.WithdrawCounterOfferRequest) (*minerv1.WithdrawCounterOfferResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		withdrawn, err := lot.State.WithdrawOffer(me, req.GetOfferId(), tx.Now())
		return recorded(lot, withdrawn, err)
	})
	if err != nil {
		return nil, err
	}
	offer, err := offered(did, req.GetOfferId())
	return &minerv1.WithdrawCounterOfferResponse{Offer: offer, Position: uint64(did.Position)}, err
}

// ListAllOffers implements minerv1.MinerServiceServer.
func (s *Server) ListAllOffers(ctx context.Context, req *minerv1.ListAllOffersRequest) (*minerv1.ListAllOffersResponse, error) {
	me, v := access.Caller(ctx).Member, view.Parcels{}
	offers, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]view.OfParcel, string, error) {
			return v.OffersTo(q.View(v.Name()), me, after, limit)
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
	return &minerv1.ListAllOffersResponse{Offers: offers, NextPageToken: next, Position: position}, nil
}

// PreviewOffer implements minerv1.MinerServiceServer. It reckons with the arithmetic of
// the books, on totals that the caller assumes.
func (s *Server) PreviewOffer(ctx context.Context, req *minerv1.PreviewOfferRequest) (*minerv1.PreviewOfferResponse, error) {
	out := &minerv1.PreviewOfferResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		p, _, err := own(q, access.Caller(ctx).Member, req.GetParcelId())
		if err == nil && !p.Shown() {
			err = rule.NotThere("parcel_id", "parcel")
		}
		if err != nil {
			return err
		}
		agreement := p.Proposed
		if id := req.GetOfferId(); id != "" {
			o, ok := p.Offer(id)
			if !ok {
				return rule.NotThere("offer_id", "offer for this parcel")
			}
			agreement = o.Agreement
		}
		var broken rule.All
		sales := wire.Amount(&broken, "assumed_sales", req.GetAssumedSales())
		if sales != nil {
			broken.Amount("assumed_sales", sales)
			broken.Currency("assumed_sales", sales, p.Currency())
		}
		costs := p.Costs
		if len(req.GetAssumedCosts()) > 0 {
			costs = assumed(&broken, agreement, req.GetAssumedCosts())
		}
		if err := broken.Err(); err != nil {
			return err
		}
		out.Preview, err = preview(agreement, sales.GetMinor(), int64(max(req.GetAssumedStones(), 1)), costs)
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// assumed reads costs that the caller assumes, each of a kind that the agreement names.
func assumed(broken *rule.All, agreement *parcelv1.Agreement, named []*minerv1.AssumedCost) map[string]int64 {
	costs := map[string]int64{}
	for i, c := range named {
		at := fmt.Sprintf("assumed_costs[%d]", i)
		if _, twice := costs[c.GetKind()]; twice {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: at + ".kind", Value: c.GetKind(), Rule: "a kind of cost is named once", Hint: "give the sum of them"})
		}
		if !slices.Contains(agreement.GetCostKinds(), c.GetKind()) {
			broken.Add(rule.Broken{
				Reason: rule.CostNotAgreed, Field: at + ".kind", Value: fmt.Sprintf("%q", c.GetKind()),
				Rule: fmt.Sprintf("the agreement lets recoup %q", agreement.GetCostKinds()), Hint: "use one of these",
			})
		}
		amount := wire.Amount(broken, at+".amount", c.GetAmount())
		if amount != nil {
			broken.Amount(at+".amount", amount)
			broken.Currency(at+".amount", amount, agreement.GetPrice().GetCurrency())
		}
		costs[c.GetKind()] = amount.GetMinor()
	}
	return costs
}

// preview is what an agreement brings each party when its price is paid, the co-op laid
// out the costs, and stones sell for sales together, each at the same price; the first
// takes what doesn't divide. Costs of kinds that the agreement doesn't name stay with
// the co-op.
func preview(agreement *parcelv1.Agreement, sales, stones int64, costs map[string]int64) (*minerv1.Preview, error) {
	terms := parcel.Terms(agreement)
	levy, err := terms.ParcelLevy.OfPayment(terms.Price, terms.Price)
	if err != nil {
		return nil, err
	}
	totals := share.Totals{Parcel: share.Received{Amount: terms.Price, Levies: levy}, Sales: share.Received{Amount: sales}, Costs: map[string]int64{}}
	for _, kind := range terms.CostKinds {
		totals.Costs[kind] = costs[kind]
	}
	each, rest := sales/stones, sales%stones
	first, err := terms.SaleLevy.OfPayment(each+rest, each+rest)
	if err != nil {
		return nil, err
	}
	other, err := terms.SaleLevy.OfPayment(each, each)
	if err != nil {
		return nil, err
	}
	totals.Sales.Levies = first + other*(stones-1)
	shares, err := share.Entitlement(terms, totals)
	if err != nil {
		return nil, fmt.Errorf("couldn't reckon an offer: %w", err)
	}
	lines, err := share.Explain(terms, totals)
	if err != nil {
		return nil, fmt.Errorf("couldn't explain an offer: %w", err)
	}
	out := &minerv1.Preview{
		AssumedSales: wire.Money(terms.Currency, sales), Price: wire.Money(terms.Currency, terms.Price), Levies: wire.Money(terms.Currency, shares.Levies),
		Costs: wire.Money(terms.Currency, shares.Costs),
	}
	for _, p := range shares.Parties {
		out.Shares = append(out.Shares, &minerv1.PreviewShare{Party: p.Party, Amount: wire.Money(terms.Currency, p.Total())})
	}
	for _, l := range lines {
		out.Steps = append(out.Steps, wire.ShareStep(terms.Currency, l))
	}
	return out, nil
}
