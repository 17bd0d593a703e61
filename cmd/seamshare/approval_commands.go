package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

func (s *session) approvalCommand() *cobra.Command {
	c := group("approval", "Stones out on approval or consignment (jeweller, cutter)",
		s.approvalAskCommand(), s.approvalWithdrawCommand(), s.approvalSendCommand(), s.approvalDeclineCommand(),
		s.approvalExtendCommand(), s.approvalBuyCommand(), s.approvalTakeBackCommand(), s.approvalLossCommand(),
		s.approvalListCommand(), s.approvalShowCommand())
	c.Long = `On approval stones are with a jeweller for days, to be looked at and shown to one
customer; on consignment for months, to be offered for sale. The jeweller asks, the
cutter sends: measured and photographed out and back, with a day they are due, with
who bears loss and breakage in setting, and within the limit that the co-op has set
for what one jeweller has out.`
	return c
}

func (s *session) approvalAskCommand() *cobra.Command {
	kind := typev1.GoodsKind_GOODS_KIND_APPROVAL
	var due, note string
	var loss, breakage typev1.Bearer
	c := &cobra.Command{
		Use:   "ask STONE… [--kind WORD] [--for TIME] [--loss WORD] …",
		Short: "Ask a cutter to send you stones (jeweller)",
		Long: `Asks a cutter to send you stones of theirs on approval, or with --kind consignment
for longer. It reserves nothing: who wants to be sure holds the stones too. They go
out at no more than the prices asked now, and for no longer than you say. Loss and
breakage in setting are the cutter's to bear unless you offer to: then you owe the
price of a stone that you say is lost or broke, or that isn't back in time.`,
		Example: `  seamshare approval ask STONE-1 STONE-2 --for "10 days" --loss jeweller
  seamshare approval ask STONE --kind consignment --for "3 months"`,
		Args: atLeastOne("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.AskForApprovalResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).AskForApproval(q.ctx, &jewellerv1.AskForApprovalRequest{
					RequestId: q.requestID, Kind: kind, StoneIds: args, DueAt: due, Note: note, Loss: loss, Breakage: breakage,
				})
			}, func(w io.Writer, a *jewellerv1.AskForApprovalResponse) error {
				return printApproval(w, a.GetApproval())
			})
		},
	}
	wordFlag(c, &kind, "kind", "approval unless you say otherwise")
	endsFlag(c, &due, "for", "until when: days or months, or a time", "as late as the co-op allows")
	wordFlag(c, &loss, "loss", "who is to bear it if a stone is lost: the cutter unless you say otherwise")
	wordFlag(c, &breakage, "breakage", "who is to bear it if one breaks in setting: likewise")
	c.Flags().StringVar(&note, "note", "", "what you say to it")
	return c
}

func (s *session) approvalWithdrawCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "withdraw APPROVAL",
		Short:   "Take your wish back while nothing is sent (jeweller)",
		Example: "  seamshare approval withdraw APPROVAL",
		Args:    exactly("APPROVAL"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.WithdrawApprovalResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).WithdrawApproval(q.ctx, &jewellerv1.WithdrawApprovalRequest{RequestId: q.requestID, ApprovalId: args[0]})
			}, func(w io.Writer, a *jewellerv1.WithdrawApprovalResponse) error {
				return printApproval(w, a.GetApproval())
			})
		},
	}
}

func (s *session) approvalSendCommand() *cobra.Command {
	var m measurings
	var due, carrier, reference string
	var loss, breakage typev1.Bearer
	c := &cobra.Command{
		Use:   "send APPROVAL --stone \"STONE=MASS,SIZE,PHOTO\"… …",
		Short: "Send what was asked for, measured and photographed (cutter)",
		Long: `Sends all stones that were asked for, each weighed, measured and photographed, so that
another stone that comes back shows. They are out at the prices asked now, which are
no higher than when the jeweller asked. Say who bears it if one is lost, and if one
breaks in setting: the jeweller only where they offered it, and who does owes its price
from then on.`,
		Example: `  seamshare approval send APPROVAL \
    --stone "STONE=3.04 ct, 12x9x3.0 mm, 1.jpg" --light "daylight, overcast" \
    --loss jeweller --breakage cutter --carrier "by hand" --reference "box 2"`,
		Args: exactly("APPROVAL"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.SendOnApprovalResponse, error) {
				stones, err := s.measured(q, m)
				if err != nil {
					return nil, err
				}
				return cutterv1.NewCutterServiceClient(q.conn).SendOnApproval(q.ctx, &cutterv1.SendOnApprovalRequest{
					RequestId: q.requestID, ApprovalId: args[0], Stones: stones, DueAt: due, Loss: loss, Breakage: breakage, Carrier: carrier, Reference: reference,
				})
			}, func(w io.Writer, a *cutterv1.SendOnApprovalResponse) error { return printApproval(w, a.GetApproval()) })
		},
	}
	m.flags(c, "a stone as it leaves")
	endsFlag(c, &due, "for", "until when: days or months, or a time", "as was asked")
	wordFlag(c, &loss, "loss", "who bears it if a stone is lost")
	wordFlag(c, &breakage, "breakage", "who bears it if one breaks in setting")
	need(c, "stone", "loss", "breakage")
	carrierFlags(c, &carrier, &reference)
	return c
}

func (s *session) approvalDeclineCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "decline APPROVAL --why TEXT",
		Short:   "Say no to what was asked for (cutter)",
		Example: `  seamshare approval decline APPROVAL --why "the stone is promised"`,
		Args:    exactly("APPROVAL"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.DeclineApprovalResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).DeclineApproval(q.ctx, &cutterv1.DeclineApprovalRequest{RequestId: q.requestID, ApprovalId: args[0], Why: why})
			}, func(w io.Writer, a *cutterv1.DeclineApprovalResponse) error { return printApproval(w, a.GetApproval()) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "why not")
	need(c, "why")
	return c
}

func (s *session) approvalExtendCommand() *cobra.Command {
	var due string
	c := &cobra.Command{
		Use:     "extend APPROVAL --for TIME",
		Short:   "Give more time while stones are out (cutter)",
		Example: `  seamshare approval extend APPROVAL --for "7 days"`,
		Args:    exactly("APPROVAL"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.ExtendApprovalResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).ExtendApproval(q.ctx, &cutterv1.ExtendApprovalRequest{RequestId: q.requestID, ApprovalId: args[0], DueAt: due})
			}, func(w io.Writer, a *cutterv1.ExtendApprovalResponse) error { return printApproval(w, a.GetApproval()) })
		},
	}
	c.Flags().Var(&parsed[string]{into: &due, parse: parseEnds, again: parseEndsAgain, kind: "time"}, "for", "until when from now: days or months, or a time")
	need(c, "for")
	return c
}

func (s *session) approvalBuyCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "buy APPROVAL STONE…",
		Short: "Buy stones that are out with you (jeweller)",
		Long: `Buys stones that are out with you, at the prices they went out with: an order that
needs no sending. What is left of a pair or suite is bought as a whole; the rest of
the goods stays out.`,
		Example: "  seamshare approval buy APPROVAL STONE",
		Args:    atLeastOne("APPROVAL", "STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.BuyFromApprovalResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).BuyFromApproval(q.ctx, &jewellerv1.BuyFromApprovalRequest{RequestId: q.requestID, ApprovalId: args[0], StoneIds: args[1:]})
			}, func(w io.Writer, a *jewellerv1.BuyFromApprovalResponse) error {
				return printApproval(w, a.GetApproval())
			})
		},
	}
}

func (s *session) approvalTakeBackCommand() *cobra.Command {
	var m measurings
	var note string
	c := &cobra.Command{
		Use:   "take-back APPROVAL \"STONE=MASS,SIZE,PHOTO\"",
		Short: "Take a stone back, measured and photographed again (cutter)",
		Long: `Takes back a stone that was out, weighed, measured and photographed again. Where that
isn't what went out, the record says so: it may be another stone, or hurt.`,
		Example: `  seamshare approval take-back APPROVAL \
    "STONE=3.04 ct, 12x9x3.0 mm, back.jpg" --light "daylight, overcast"`,
		Args: exactly("APPROVAL", "STONE=MASS,SIZE,PHOTO"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.TakeBackFromApprovalResponse, error) {
				stone, err := s.measuredOne(q, m, "STONE=MASS,SIZE,PHOTO", args[1])
				if err != nil {
					return nil, err
				}
				return cutterv1.NewCutterServiceClient(q.conn).TakeBackFromApproval(q.ctx, &cutterv1.TakeBackFromApprovalRequest{RequestId: q.requestID, ApprovalId: args[0], Stone: stone, Note: note})
			}, func(w io.Writer, a *cutterv1.TakeBackFromApprovalResponse) error {
				return printApproval(w, a.GetApproval())
			})
		},
	}
	scaleFlag(c, &m.scale, "0.01 ct")
	m.photographs.flags(c)
	c.Flags().StringVar(&note, "note", "", "what you say to it")
	return c
}

func (s *session) approvalLossCommand() *cobra.Command {
	var broken bool
	var how string
	var as typev1.Role
	c := &cobra.Command{
		Use:   "loss APPROVAL STONE --how TEXT [--broken]",
		Short: "Say that a stone that is out is lost or broke (jeweller, cutter)",
		Long: `Says that a stone that is out is lost, or with --broken that it broke. Who bears it was
agreed when it went out: a jeweller who does owes its price from now on, as an order;
where the cutter does, nobody owes anything. At the jeweller's cost the cutter says it
only when the time is over and the stone isn't back.`,
		Example: `  seamshare approval loss APPROVAL STONE --how "cracked in the bezel" --broken`,
		Args:    exactly("APPROVAL", "STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.ReportLossResponse, error) {
				role, err := s.role(q, as)
				if err != nil {
					return nil, asFailure(err)
				}
				if role == typev1.Role_ROLE_CUTTER {
					a, err := cutterv1.NewCutterServiceClient(q.conn).RecordApprovalLoss(q.ctx, &cutterv1.RecordApprovalLossRequest{
						RequestId: q.requestID, ApprovalId: args[0], StoneId: args[1], Broken: broken, How: how,
					})
					return &jewellerv1.ReportLossResponse{Approval: a.GetApproval(), Position: a.GetPosition()}, err
				}
				return jewellerv1.NewJewellerServiceClient(q.conn).ReportLoss(q.ctx, &jewellerv1.ReportLossRequest{
					RequestId: q.requestID, ApprovalId: args[0], StoneId: args[1], Broken: broken, How: how,
				})
			}, func(w io.Writer, a *jewellerv1.ReportLossResponse) error { return printApproval(w, a.GetApproval()) })
		},
	}
	c.Flags().BoolVar(&broken, "broken", false, "it broke; without it, it is lost")
	c.Flags().StringVar(&how, "how", "", "how that came")
	asFlag(c, &as)
	need(c, "how")
	return c
}

func (s *session) approvalShowCommand() *cobra.Command {
	var as typev1.Role
	c := &cobra.Command{
		Use:     "show APPROVAL",
		Short:   "Look at goods out or asked for (jeweller, cutter)",
		Example: "  seamshare approval show APPROVAL",
		Args:    exactly("APPROVAL"),
		RunE: func(c *cobra.Command, args []string) error {
			return look(c, s, func(q call) (*jewellerv1.GetApprovalResponse, error) {
				role, err := s.role(q, as)
				if err != nil {
					return nil, err
				}
				if role == typev1.Role_ROLE_CUTTER {
					a, err := cutterv1.NewCutterServiceClient(q.conn).GetApproval(q.ctx, &cutterv1.GetApprovalRequest{ApprovalId: args[0]})
					return &jewellerv1.GetApprovalResponse{Approval: a.GetApproval(), Position: a.GetPosition()}, err
				}
				return jewellerv1.NewJewellerServiceClient(q.conn).GetApproval(q.ctx, &jewellerv1.GetApprovalRequest{ApprovalId: args[0]})
			}, func(w io.Writer, a *jewellerv1.GetApprovalResponse) error { return printApproval(w, a.GetApproval()) })
		},
	}
	asFlag(c, &as)
	return c
}

func (s *session) approvalListCommand() *cobra.Command {
	var as typev1.Role
	c := &cobra.Command{
		Use:     "list",
		Short:   "List goods out or asked for, oldest first (jeweller, cutter)",
		Example: "  seamshare approval list",
		Args:    exactly(),
	}
	p := pageFlags(c)
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return look(c, s, func(q call) (*jewellerv1.ListApprovalsResponse, error) {
			role, err := s.role(q, as)
			if err != nil {
				return nil, err
			}
			if role == typev1.Role_ROLE_CUTTER {
				a, err := cutterv1.NewCutterServiceClient(q.conn).ListApprovals(q.ctx, &cutterv1.ListApprovalsRequest{PageSize: p.rows, PageToken: p.token})
				return &jewellerv1.ListApprovalsResponse{Approvals: a.GetApprovals(), NextPageToken: a.GetNextPageToken(), Position: a.GetPosition()}, err
			}
			return jewellerv1.NewJewellerServiceClient(q.conn).ListApprovals(q.ctx, &jewellerv1.ListApprovalsRequest{PageSize: p.rows, PageToken: p.token})
		}, func(w io.Writer, a *jewellerv1.ListApprovalsResponse) error {
			t := table.New(text("approval"), wrapped("what"), text("state"), text("due"))
			for _, x := range a.GetApprovals() {
				t.Row(x.GetId(), fmt.Sprintf("%s of %d", word(x.GetKind()), len(x.GetLines())), word(x.GetState()), x.GetDueAt())
			}
			return printList(w, t, len(a.GetApprovals()), "Nothing is out or asked for.", a.GetNextPageToken())
		})
	}
	return c
}

func printApproval(w io.Writer, a *typev1.Approval) error {
	say(w, "%s %s: %s, due %s", title(word(a.GetKind())), a.GetId(), word(a.GetState()), a.GetDueAt())
	for _, f := range []struct{ name, value string }{
		{"jeweller", a.GetJewellerId()},
		{"cutter", a.GetCutterId()},
		{"loss is borne by the", word(a.GetLoss())},
		{"breakage in setting is borne by the", word(a.GetBreakage())},
		{"carrier", sentence(a.GetCarrier(), a.GetReference())},
		{"note", a.GetNote()},
		{"declined", a.GetWhy()},
	} {
		if f.value != "" {
			sayLong(w, "  %s: %s", f.name, plain(f.value))
		}
	}
	t := table.New(text("stone"), wrapped("stands"), right("price"))
	for _, l := range a.GetLines() {
		stands := word(l.GetState())
		if stands == "" {
			stands = "not sent"
		}
		said := []string{stands}
		if l.GetMassDiffers() {
			said = append(said, "came back with another mass")
		}
		if l.GetSizeDiffers() {
			said = append(said, "came back with another size")
		}
		if l.GetHow() != "" {
			said = append(said, l.GetHow())
		}
		if l.GetOrderId() != "" {
			said = append(said, "order "+l.GetOrderId())
		}
		t.Row(l.GetStoneId(), sentence(said...), amount.Text(l.GetPrice()))
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	for _, l := range a.GetLines() {
		if l.GetOut() != nil {
			sayLong(w, "  %s went out as %s", l.GetStoneId(), measuredWords(l.GetOut()))
		}
		if l.GetBack() != nil {
			sayLong(w, "  %s came back as %s", l.GetStoneId(), measuredWords(l.GetBack()))
		}
	}
	return nil
}
