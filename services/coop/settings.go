package coop

import (
	"context"
	"fmt"
	"time"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"
)

// ChangeSettings implements coopv1.CoopServiceServer.
func (s *Server) ChangeSettings(ctx context.Context, req *coopv1.ChangeSettingsRequest) (*coopv1.ChangeSettingsResponse, error) {
	var unreadable rule.All
	settings := readSettings(&unreadable, req.GetSettings())
	var from time.Time
	if text := req.GetFrom(); text != "" {
		var err error
		if from, err = time.Parse(time.RFC3339, text); err != nil {
			unreadable.Add(rule.Broken{Reason: rule.TimeInvalid, Field: "from", Value: fmt.Sprintf("%q", text), Rule: "it must be a moment as RFC 3339 writes it", Hint: "write 2026-11-25T08:00:00Z, or leave it empty for now"})
		}
	}
	did, err := command.Run(ctx, s.node, req, stream.Coop, func(tx *eventstore.Tx) (*command.Thing[member.Coop], error) {
		c, err := command.Open(tx, stream.Coop, s.node.Coop())
		if err != nil {
			return nil, err
		}
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		if err := wire.Unchanged(req.GetEtag(), func() *coopv1.GetSettingsResponse { return allSettings(c.State) }); err != nil {
			return nil, err
		}
		holds := from
		if holds.IsZero() {
			holds = tx.Now()
		}
		changed, err := c.State.ChangeSettings(settings, holds, tx.Now(), req.GetReason())
		if err != nil {
			return nil, err
		}
		c.Record(changed)
		return c, nil
	})
	if err != nil {
		return nil, err
	}
	if from.IsZero() {
		from = did.At
	}
	return &coopv1.ChangeSettingsResponse{Settings: shownSettings(did.State.SettingsAt(from)), Position: uint64(did.Position)}, nil
}

// GetSettings implements coopv1.CoopServiceServer.
func (s *Server) GetSettings(ctx context.Context, req *coopv1.GetSettingsRequest) (*coopv1.GetSettingsResponse, error) {
	out := &coopv1.GetSettingsResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		c, _, err := eventstore.Load(q, stream.Coop, s.node.Coop())
		if err != nil {
			return err
		}
		out = allSettings(c)
		out.Settings = shownSettings(c.SettingsAt(q.Now()))
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// allSettings shows the first settings and all changes of them. Its etag is of these, so
// that no moment that comes changes it.
func allSettings(c member.Coop) *coopv1.GetSettingsResponse {
	out := &coopv1.GetSettingsResponse{Settings: shownSettings(c.First)}
	for _, d := range c.Changes {
		out.Changes = append(out.Changes, &coopv1.DatedSettings{From: d.From.Format(time.RFC3339), Settings: shownSettings(d.Settings)})
	}
	out.Etag = wire.Etag(out)
	return out
}

func shownSettings(s member.Settings) *coopv1.Settings {
	out := &coopv1.Settings{
		UnexplainedUgPer_100G: s.UnexplainedUgPer100g, ParcelLevyMinBp: s.ParcelLevyMinBP, SaleLevyMinBp: s.SaleLevyMinBP, WaitHours: s.WaitHours,
		ReturnDays: s.ReturnDays, ClaimDays: s.ClaimDays, HoldHours: s.HoldHours, HoldsAtOnce: s.HoldsAtOnce, ApprovalDays: s.ApprovalDays,
		ConsignmentDays: s.ConsignmentDays, PurchaseDueDays: s.PurchaseDueDays, BankCoolOffHours: s.BankCoolOffHours,
		CornerRadiusMinUm: s.CornerRadiusMinUm, Classes: s.Classes, SilicaLimit: s.SilicaLimit, SilicaLimitSource: s.SilicaLimitSource,
		PaymentDays: s.PaymentDays,
	}
	for _, l := range s.GoodsOutLimits {
		out.GoodsOutLimits = append(out.GoodsOutLimits, wire.Money(l.Currency, l.Minor))
	}
	return out
}

func readSettings(broken *rule.All, s *coopv1.Settings) member.Settings {
	out := member.Settings{
		UnexplainedUgPer100g: s.GetUnexplainedUgPer_100G(), ParcelLevyMinBP: s.GetParcelLevyMinBp(), SaleLevyMinBP: s.GetSaleLevyMinBp(),
		WaitHours: s.GetWaitHours(), ReturnDays: s.GetReturnDays(), ClaimDays: s.GetClaimDays(), HoldHours: s.GetHoldHours(), HoldsAtOnce: s.GetHoldsAtOnce(),
		ApprovalDays: s.GetApprovalDays(), ConsignmentDays: s.GetConsignmentDays(), PurchaseDueDays: s.GetPurchaseDueDays(),
		BankCoolOffHours: s.GetBankCoolOffHours(), CornerRadiusMinUm: s.GetCornerRadiusMinUm(), Classes: s.GetClasses(),
		SilicaLimit: s.GetSilicaLimit(), SilicaLimitSource: s.GetSilicaLimitSource(),
		PaymentDays: s.GetPaymentDays(),
	}
	for i, m := range s.GetGoodsOutLimits() {
		a := wire.Amount(broken, fmt.Sprintf("settings.goods_out_limits[%d]", i), m)
		out.GoodsOutLimits = append(out.GoodsOutLimits, member.Limit{Currency: a.GetCurrency(), Minor: a.GetMinor()})
	}
	return out
}
