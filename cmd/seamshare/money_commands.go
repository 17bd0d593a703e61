package main

import (
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/amount"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// receipt are the flags that every record of money has.
type receipt struct{ reference, date string }

func (r *receipt) flags(c *cobra.Command) {
	c.Flags().StringVar(&r.reference, "reference", "", "the bank's or desk's reference")
	c.Flags().StringVar(&r.date, "date", "", "the day it counts for, as 2031-05-04; without it, today")
	need(c, "reference")
}

// sayRecord gives the number under which money is corrected, should it be wrong.
func sayRecord(w io.Writer, a interface{ GetPosition() uint64 }) {
	say(w, "Recorded as record %d.", a.GetPosition())
}

func (s *session) paymentCommand() *cobra.Command {
	var forParcel, forOrder, backForParcel receipt
	parcel := &cobra.Command{
		Use:   "parcel PARCEL AMOUNT --reference TEXT",
		Short: "Record purchase money from a cutter (bookkeeper)",
		Args:  exactly("PARCEL", "AMOUNT"),
		RunE: func(c *cobra.Command, args []string) error {
			paid, err := parseAmount(args[1])
			if err != nil {
				return wrongInput("AMOUNT", "", "%v", err)
			}
			a, err := command(c.Context(), s, func(q call) (*coopv1.RecordParcelPaymentResponse, error) {
				return coopv1.NewCoopServiceClient(q.conn).RecordParcelPayment(q.ctx, &coopv1.RecordParcelPaymentRequest{
					RequestId: q.requestID, ParcelId: args[0], Amount: paid, Reference: forParcel.reference, EffectiveDate: forParcel.date,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error {
				sayRecord(w, a)
				return printStatement(w, a.GetStatement())
			})
		},
	}
	forParcel.flags(parcel)
	order := &cobra.Command{
		Use:   "order ORDER AMOUNT --reference TEXT",
		Short: "Record money from a jeweller (bookkeeper)",
		Args:  exactly("ORDER", "AMOUNT"),
		RunE: func(c *cobra.Command, args []string) error {
			paid, err := parseAmount(args[1])
			if err != nil {
				return wrongInput("AMOUNT", "", "%v", err)
			}
			a, err := command(c.Context(), s, func(q call) (*coopv1.RecordOrderPaymentResponse, error) {
				return coopv1.NewCoopServiceClient(q.conn).RecordOrderPayment(q.ctx, &coopv1.RecordOrderPaymentRequest{
					RequestId: q.requestID, OrderId: args[0], Amount: paid, Reference: forOrder.reference, EffectiveDate: forOrder.date,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error {
				sayRecord(w, a)
				say(w, "For order %s: paid %s, open %s.", a.GetOrderId(), amount.Text(a.GetPaid()), amount.Text(a.GetOpen()))
				return nil
			})
		},
	}
	forOrder.flags(order)
	back := &cobra.Command{
		Use:   "back PARCEL AMOUNT --reference TEXT",
		Short: "Record that a fallen deal's money went back (bookkeeper)",
		Long: `Records purchase money that was paid back to the cutter after a deal fell through.
` + adviserLine,
		Example: `  seamshare payment back PARCEL "250.00 AUD" --reference "bank 81-2"`,
		Args:    exactly("PARCEL", "AMOUNT"),
		RunE: func(c *cobra.Command, args []string) error {
			paid, err := parseAmount(args[1])
			if err != nil {
				return wrongInput("AMOUNT", "", "%v", err)
			}
			return deskCommand(c, s, func(d desk) (*coopv1.RecordParcelRefundResponse, error) {
				return d.RecordParcelRefund(d.ctx, &coopv1.RecordParcelRefundRequest{
					RequestId: d.requestID, ParcelId: args[0], Amount: paid, Reference: backForParcel.reference, EffectiveDate: backForParcel.date,
				})
			}, func(w io.Writer, a *coopv1.RecordParcelRefundResponse) error {
				sayRecord(w, a)
				return printStatement(w, a.GetStatement())
			})
		},
	}
	backForParcel.flags(back)
	return group("payment", "Money that came in, or went back (bookkeeper)", parcel, order, back)
}

func (s *session) costCommand() *cobra.Command {
	var r receipt
	addCost := &cobra.Command{
		Use:   "add PARCEL KIND AMOUNT --reference TEXT",
		Short: "Record what the co-op paid for a parcel to an outsider (desk)",
		Args:  exactly("PARCEL", "KIND", "AMOUNT"),
		RunE: func(c *cobra.Command, args []string) error {
			paid, err := parseAmount(args[2])
			if err != nil {
				return wrongInput("AMOUNT", "", "%v", err)
			}
			a, err := command(c.Context(), s, func(q call) (*coopv1.RecordCostResponse, error) {
				return coopv1.NewCoopServiceClient(q.conn).RecordCost(q.ctx, &coopv1.RecordCostRequest{
					RequestId: q.requestID, ParcelId: args[0], Kind: args[1], Amount: paid, Reference: r.reference, EffectiveDate: r.date,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error {
				sayRecord(w, a)
				return printStatement(w, a.GetStatement())
			})
		},
	}
	r.flags(addCost)
	return group("cost", "Costs that the co-op laid out (bookkeeper)", addCost)
}

func (s *session) refundCommand() *cobra.Command {
	var r receipt
	c := &cobra.Command{
		Use:   "refund ORDER STONE AMOUNT --reference TEXT",
		Short: "Record that a returned stone's money was paid back (bookkeeper)",
		Args:  exactly("ORDER", "STONE", "AMOUNT"),
		RunE: func(c *cobra.Command, args []string) error {
			paid, err := parseAmount(args[2])
			if err != nil {
				return wrongInput("AMOUNT", "", "%v", err)
			}
			a, err := command(c.Context(), s, func(q call) (*coopv1.RecordRefundResponse, error) {
				return coopv1.NewCoopServiceClient(q.conn).RecordRefund(q.ctx, &coopv1.RecordRefundRequest{
					RequestId: q.requestID, OrderId: args[0], StoneId: args[1], Amount: paid, Reference: r.reference, EffectiveDate: r.date,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error {
				sayRecord(w, a)
				say(w, "For order %s there is now %s, refunds taken off.", a.GetOrderId(), amount.Text(a.GetPaid()))
				return nil
			})
		},
	}
	r.flags(c)
	return c
}

func (s *session) yieldCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "yield PARCEL",
		Short: "Account for all of a parcel's mass (cutter)",
		Args:  exactly("PARCEL"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := query(c.Context(), s, func(q call) (*cutterv1.GetYieldResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).GetYield(q.ctx, &cutterv1.GetYieldRequest{ParcelId: args[0]})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printYield(w, a.GetYield()) })
		},
	}
}

func (s *session) shareCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "share PARCEL",
		Short: "Show what a parcel's money came to, to whom and why",
		Long: `Shows what a parcel's money came to and why, tier by tier: your own share as miner
or cutter, all of them at the co-op's desk.`,
		Args: exactly("PARCEL"),
	}
	var as typev1.Role
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, args []string) error {
		a, err := query(c.Context(), s, func(q call) (*coopv1.GetSharesResponse, error) {
			role, err := s.role(q, as)
			if err != nil {
				return nil, err
			}
			switch role {
			case typev1.Role_ROLE_MINER:
				a, err := minerv1.NewMinerServiceClient(q.conn).GetShare(q.ctx, &minerv1.GetShareRequest{ParcelId: args[0]})
				return &coopv1.GetSharesResponse{Statement: a.GetStatement()}, err
			case typev1.Role_ROLE_CUTTER:
				a, err := cutterv1.NewCutterServiceClient(q.conn).GetShare(q.ctx, &cutterv1.GetShareRequest{ParcelId: args[0]})
				return &coopv1.GetSharesResponse{Statement: a.GetStatement()}, err
			}
			return coopv1.NewCoopServiceClient(q.conn).GetShares(q.ctx, &coopv1.GetSharesRequest{ParcelId: args[0]})
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error { return printStatement(w, a.GetStatement()) })
	}
	return c
}

func (s *session) balancesCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "balances",
		Short: "Show the co-op's accounts over all parcels (desk)",
		Args:  exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			a, err := query(c.Context(), s, func(q call) (*coopv1.GetBalancesResponse, error) {
				return coopv1.NewCoopServiceClient(q.conn).GetBalances(q.ctx, &coopv1.GetBalancesRequest{})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error { return printBalances(w, a, nameOnly) })
		},
	}
}
