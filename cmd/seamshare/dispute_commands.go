package main

import (
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/amount"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
)

func (s *session) disputeCommand() *cobra.Command {
	return group("dispute", "Amounts that members disagree about", s.disputeOpenCommand(), s.disputeShowCommand(), s.disputeListCommand(),
		s.disputeResolveCommand(), s.disputeWithdrawCommand())
}

// withDispute is an answer about a dispute.
type withDispute interface{ GetDispute() *coopv1.Dispute }

func printDisputeOf[T withDispute](w io.Writer, a T) error {
	printDispute(w, a.GetDispute())
	return nil
}

func printDispute(w io.Writer, d *coopv1.Dispute) {
	sayLong(w, "Dispute %s: %s, %s", d.GetId(), d.GetStage(), amount.Text(d.GetAmount()))
	sayLong(w, "  about %s", d.GetAbout())
	sayLong(w, "  opened by member %s: %s", d.GetOpenedByMemberId(), plain(d.GetReason()))
	sayLong(w, "  held of member %s", d.GetAgainstMemberId())
	switch d.GetStage() {
	case "resolved":
		found := "not upheld"
		if d.GetUpheld() {
			found = "upheld"
		}
		sayLong(w, "  %s: %s", found, plain(d.GetOutcome()))
	case "withdrawn":
		sayLong(w, "  withdrawn: %s", plain(d.GetOutcome()))
	}
}

func (s *session) disputeOpenCommand() *cobra.Command {
	var against, why string
	c := &cobra.Command{
		Use:   "open THING AMOUNT --why TEXT",
		Short: "Dispute an amount of another party to a parcel, stone or order",
		Long: `Disputes an amount of another party to a parcel, stone or order. THING is such as
parcel/ID, stone/ID or order/ID. That amount is held until the dispute ends;
everything else is paid as before. An approver who acts for neither side decides.`,
		Example: `  seamshare dispute open stone/ID "120.00 AUD" --against MEMBER \
    --why "chipped when it came"`,
		Args: exactly("THING", "AMOUNT"),
		RunE: func(c *cobra.Command, args []string) error {
			disputed, err := parseAmount(args[1])
			if err != nil {
				return wrongInput("AMOUNT", "", "%v", err)
			}
			return deskCommand(c, s, func(d desk) (*coopv1.OpenDisputeResponse, error) {
				return d.OpenDispute(d.ctx, &coopv1.OpenDisputeRequest{RequestId: d.requestID, About: args[0], AgainstMemberId: against, Amount: disputed, Reason: why})
			}, printDisputeOf)
		},
	}
	c.Flags().StringVar(&against, "against", "", "the `id` of the member whose amount is held; without it, the one other party")
	whyFlag(c, &why)
	return c
}

func (s *session) disputeShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show DISPUTE",
		Short:   "Show a dispute (its sides, desk)",
		Example: "  seamshare dispute show DISPUTE",
		Args:    exactly("DISPUTE"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskQuery(c, s, func(d desk) (*coopv1.GetDisputeResponse, error) {
				return d.GetDispute(d.ctx, &coopv1.GetDisputeRequest{DisputeId: args[0]})
			}, printDisputeOf)
		},
	}
}

func (s *session) disputeListCommand() *cobra.Command {
	return deskList(s, "list", "List your disputes, at the desk all, oldest first", func(d desk, p *page) (*coopv1.ListDisputesResponse, error) {
		return d.ListDisputes(d.ctx, &coopv1.ListDisputesRequest{PageSize: p.rows, PageToken: p.token})
	}, func(w io.Writer, a *coopv1.ListDisputesResponse) error {
		if len(a.GetDisputes()) == 0 {
			say(w, "No disputes.")
		}
		for _, d := range a.GetDisputes() {
			printDispute(w, d)
		}
		return nil
	})
}

func (s *session) disputeResolveCommand() *cobra.Command {
	var found string
	var upheld, not bool
	c := &cobra.Command{
		Use:   "resolve DISPUTE (--upheld | --not-upheld) --found TEXT",
		Short: "End a dispute with what was found (approver of neither side)",
		Long: `Ends a dispute with what was found, and lets go of the amount it held. It moves no
money: what follows is recorded as a refund or a correction. ` + adviserLine,
		Example: `  seamshare dispute resolve DISPUTE --not-upheld --found "photos show it whole"`,
		Args:    exactly("DISPUTE"),
		RunE: func(c *cobra.Command, args []string) error {
			if upheld == not {
				return wrongUsage("--upheld, --not-upheld", "say whether the member who opened it was right", "exactly one of the two is needed")
			}
			return deskCommand(c, s, func(d desk) (*coopv1.ResolveDisputeResponse, error) {
				return d.ResolveDispute(d.ctx, &coopv1.ResolveDisputeRequest{RequestId: d.requestID, DisputeId: args[0], Outcome: found, Upheld: upheld})
			}, printDisputeOf)
		},
	}
	c.Flags().StringVar(&found, "found", "", "what was found")
	c.Flags().BoolVar(&upheld, "upheld", false, "the member who opened it was right")
	c.Flags().BoolVar(&not, "not-upheld", false, "the member who opened it wasn't")
	need(c, "found")
	return c
}

func (s *session) disputeWithdrawCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "withdraw DISPUTE --why TEXT",
		Short:   "End a dispute that you opened",
		Example: `  seamshare dispute withdraw DISPUTE --why "we settled it between us"`,
		Args:    exactly("DISPUTE"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.WithdrawDisputeResponse, error) {
				return d.WithdrawDispute(d.ctx, &coopv1.WithdrawDisputeRequest{RequestId: d.requestID, DisputeId: args[0], Reason: why})
			}, printDisputeOf)
		},
	}
	whyFlag(c, &why)
	return c
}
