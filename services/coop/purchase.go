package coop

import (
	"context"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"
)

// RecordParcelRefund implements coopv1.CoopServiceServer.
func (s *Server) RecordParcelRefund(ctx context.Context, req *coopv1.RecordParcelRefundRequest) (*coopv1.RecordParcelRefundResponse, error) {
	var unreadable rule.All
	amount := wire.Amount(&unreadable, "amount", req.GetAmount())
	did, err := money(ctx, s, req, stream.Parcel, req.GetParcelId(), req.GetEffectiveDate(), unreadable, func(lot *command.Thing[parcel.State], on eventstore.RecordOption) error {
		refunded, err := lot.State.Refund(amount, req.GetReference())
		if err == nil {
			lot.Record(refunded, on)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	statement, err := s.after(ctx, did)
	if err != nil {
		return nil, err
	}
	return &coopv1.RecordParcelRefundResponse{Statement: statement, Position: uint64(did.Position)}, nil
}
