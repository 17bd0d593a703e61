package miner

import (
	"context"

	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/wire"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// named is an agreement as a request names it; nil where it names none. What can't be
// read, and parties that don't trade here, are noted.
func named(tx *eventstore.Tx, broken *rule.All, agreement *parcelv1.Agreement) error {
	if agreement == nil {
		return nil
	}
	return command.CheckParties(tx, broken, "agreement", agreement)
}

// RepriceParcel implements minerv1.MinerServiceServer.
func (s *Server) RepriceParcel(ctx context.Context, req *minerv1.RepriceParcelRequest) (*minerv1.RepriceParcelResponse, error) {
	var unreadable rule.All
	me, agreement := access.Caller(ctx).Member, wire.ReadAgreement(&unreadable, "agreement", req.GetAgreement())
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		if err := unchanged(tx, lot, me, req.GetEtag()); err != nil {
			return err
		}
		if err := named(tx, &broken, agreement); err != nil {
			return err
		}
		under, err := command.Under(tx, s.node.Coop(), lot.State)
		if err != nil {
			return err
		}
		repriced, err := under.Reprice(me, agreement, req.GetOpenAtAsking())
		return recordedUnless(broken, lot, repriced, err)
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.RepriceParcelResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// WithdrawParcel implements minerv1.MinerServiceServer.
func (s *Server) WithdrawParcel(ctx context.Context, req *minerv1.WithdrawParcelRequest) (*minerv1.WithdrawParcelResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		if err := unchanged(tx, lot, me, req.GetEtag()); err != nil {
			return err
		}
		withdrawn, err := lot.State.Withdraw(me, req.GetWhy())
		return recorded(lot, withdrawn, err)
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.WithdrawParcelResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// RelistParcel implements minerv1.MinerServiceServer.
func (s *Server) RelistParcel(ctx context.Context, req *minerv1.RelistParcelRequest) (*minerv1.RelistParcelResponse, error) {
	var unreadable rule.All
	me := access.Caller(ctx).Member
	var agreement *parcelv1.Agreement
	if req.GetAgreement() != nil {
		agreement = wire.ReadAgreement(&unreadable, "agreement", req.GetAgreement())
	}
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		if err := named(tx, &broken, agreement); err != nil {
			return err
		}
		under, err := command.Under(tx, s.node.Coop(), lot.State)
		if err != nil {
			return err
		}
		relisted, err := under.Relist(me, agreement, req.GetOpenAtAsking(), tx.Now())
		return recordedUnless(broken, lot, relisted, err)
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.RelistParcelResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// OpenLine implements minerv1.MinerServiceServer.
func (s *Server) OpenLine(ctx context.Context, req *minerv1.OpenLineRequest) (*minerv1.OpenLineResponse, error) {
	me := access.Caller(ctx).Member
	opening := command.Opening{
		PieceID: req.GetPieceId(), Pieces: wire.TakenOut(req.GetPieces(), command.NewID), Left: wire.ReadWeighing(req.GetLeft()),
	}
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		return command.OpenLine(tx, me, lot, opening)
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.OpenLineResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// CallOffUnpaidDeal implements minerv1.MinerServiceServer.
func (s *Server) CallOffUnpaidDeal(ctx context.Context, req *minerv1.CallOffUnpaidDealRequest) (*minerv1.CallOffUnpaidDealResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(tx *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		cut, err := command.Cut(tx, lot.State)
		if err != nil {
			return err
		}
		fell, err := lot.State.CallOff(me, parcelv1.FallReason_FALL_REASON_UNPAID, req.GetWhy(), cut, tx.Now())
		return allRecorded(lot, fell, err)
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.CallOffUnpaidDealResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// TakeBackParcel implements minerv1.MinerServiceServer.
func (s *Server) TakeBackParcel(ctx context.Context, req *minerv1.TakeBackParcelRequest) (*minerv1.TakeBackParcelResponse, error) {
	me := access.Caller(ctx).Member
	did, err := s.onLot(ctx, req, req.GetParcelId(), func(_ *eventstore.Tx, lot *command.Thing[parcel.State]) error {
		words, err := lot.State.GiveBack(me, parcel.Word{Count: req.GetCount(), Total: wire.ReadWeighing(req.GetTotal()), Note: req.GetNote()})
		return allRecorded(lot, words, err)
	})
	if err != nil {
		return nil, err
	}
	return &minerv1.TakeBackParcelResponse{Parcel: shown(did, me), Position: uint64(did.Position)}, nil
}

// recordedUnless is recorded, unless something of the request is broken besides.
func recordedUnless(broken rule.All, lot *command.Thing[parcel.State], event *parcelv1.Event, err error) error {
	if err := broken.Merge("", err); err != nil {
		return err
	}
	return recorded(lot, event, broken.Err())
}
