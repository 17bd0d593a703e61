package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
)

func (s *session) payoutCommand() *cobra.Command {
	return group("payout", "Payout runs: who is paid what they earned", s.payoutPrepareCommand(), s.payoutShowCommand(), s.payoutListCommand(),
		s.payoutApproveCommand(), s.payoutRejectCommand(), s.payoutSettleCommand(), s.payoutReturnCommand(), s.payoutCheckCommand())
}

func (s *session) payoutPrepareCommand() *cobra.Command {
	var currency, note string
	var asOf uint64
	var members []string
	var try bool
	c := &cobra.Command{
		Use:   "prepare --currency CODE",
		Short: "Prepare a run: what was earned and isn't paid yet (bookkeeper)",
		Long: `Prepares a run that pays members what they have earned as of a record of the log,
less what was paid, is in another live run or is held by a dispute. It pays nobody:
another person approves it, never the one who prepared it. ` + adviserLine,
		Example: "  seamshare payout prepare --currency AUD --note \"May\"\n  seamshare payout prepare --currency AUD --as-of 412 --pay MEMBER --try",
		Args:    exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.PreparePayoutRunResponse, error) {
				return d.PreparePayoutRun(d.ctx, &coopv1.PreparePayoutRunRequest{
					RequestId: d.requestID, Currency: currency, AsOf: asOf, MemberIds: members, Note: note, ValidateOnly: try,
				})
			}, func(w io.Writer, a *coopv1.PreparePayoutRunResponse) error {
				if try {
					say(w, "Tried only: nothing is recorded.")
				}
				return printRun(w, a.GetRun())
			})
		},
	}
	c.Flags().StringVar(&currency, "currency", "", "the ISO 4217 `code`, such as AUD")
	c.Flags().Uint64Var(&asOf, "as-of", 0, "the `record` up to which it counts; without it, all there are")
	c.Flags().StringSliceVar(&members, "pay", nil, "the `members` to pay, with commas; without it, all who are owed")
	c.Flags().StringVar(&note, "note", "", "what you say of it")
	c.Flags().BoolVar(&try, "try", false, "only show what the run would be")
	need(c, "currency")
	return c
}

// printRun shows a payout run. Lines stand one under the other: ids and amounts of five kinds are wider than a screen.
func printRun(w io.Writer, r *coopv1.PayoutRun) error {
	sayLong(w, "Payout run %s: %s, %s", or(r.GetId(), "(none yet)"), or(r.GetStage(), "not prepared"), amount.Text(r.GetTotal()))
	sayLong(w, "  as of record %d, prepared by %s", r.GetAsOf(), r.GetPreparedBy())
	if r.GetDecidedBy() != "" {
		sayLong(w, "  decided by %s", r.GetDecidedBy())
	}
	for _, f := range []struct{ name, value string }{{"note", r.GetNote()}, {"rejected", r.GetReason()}} {
		if f.value != "" {
			sayLong(w, "  %s: %s", f.name, plain(f.value))
		}
	}
	for _, l := range r.GetLines() {
		byHand := ""
		if l.GetByHand() {
			byHand = ", by hand: there are no bank details"
		}
		sayLong(w, "  %s to member %s, line %s: %s%s", amount.Text(l.GetAmount()), l.GetMemberId(), l.GetId(), l.GetStage(), byHand)
		sayLong(w, "    earned %s, paid before or on the way %s%s%s", amount.Text(l.GetEarned()), amount.Text(l.GetTaken()),
			some(", disputed ", l.GetDisputed()), some(", held back at the approval ", l.GetHeld()))
		if m := l.GetByNow(); m != nil {
			sayLong(w, "    Warning: it pays %s; by now %s is earned", amount.Text(l.GetAmount()), amount.Text(m))
			sayLong(w, "      %s", aboveHint[l.GetStage()])
		}
		if l.GetAnswer() != "" {
			sayLong(w, "    the bank: %s", plain(l.GetAnswer()))
		}
	}
	sayLong(w, "%s", adviserLine)
	return nil
}

// aboveHint is what to do about a line that pays more than is earned by now, by where it stands.
var aboveHint = map[string]string{
	"waiting": "Call it back before the bank pays (payout return); paid, later shares are short of it.",
	"settled": "Later shares are short of it; where the bank sends it back: payout return.",
}

// some is an amount with what it is; nothing where it is zero.
func some(what string, m *gmoney.Money) string {
	if m.GetUnits() == 0 && m.GetNanos() == 0 {
		return ""
	}
	return what + amount.Text(m)
}

// withRun is an answer about a run.
type withRun interface{ GetRun() *coopv1.PayoutRun }

func printRunOf[T withRun](w io.Writer, a T) error { return printRun(w, a.GetRun()) }

func (s *session) payoutShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show RUN",
		Short:   "Show a run, line by line (bookkeeper, approver, auditor)",
		Example: "  seamshare payout show RUN",
		Args:    exactly("RUN"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskQuery(c, s, func(d desk) (*coopv1.GetPayoutRunResponse, error) {
				return d.GetPayoutRun(d.ctx, &coopv1.GetPayoutRunRequest{RunId: args[0]})
			}, printRunOf)
		},
	}
}

func (s *session) payoutListCommand() *cobra.Command {
	return deskList(s, "list", "List all runs, oldest first (bookkeeper, approver, auditor)", func(d desk, p *page) (*coopv1.ListPayoutRunsResponse, error) {
		return d.ListPayoutRuns(d.ctx, &coopv1.ListPayoutRunsRequest{PageSize: p.rows, PageToken: p.token})
	}, func(w io.Writer, a *coopv1.ListPayoutRunsResponse) error {
		t := table.New(text("run"), text("stands"), right("lines"), right("pays"), right("as of"))
		for _, r := range a.GetRuns() {
			t.Row(r.GetId(), r.GetStage(), fmt.Sprint(len(r.GetLines())), amount.Text(r.GetTotal()), fmt.Sprint(r.GetAsOf()))
		}
		_, err := t.WriteTo(w)
		return err
	})
}

func (s *session) payoutApproveCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "approve RUN",
		Short: "Let the bank pay a run, as another person (approver)",
		Long: `Lets the bank pay a run. Never by whoever prepared it, by a person it pays, or by
whoever edited a payee's bank details last; and not before the cool-off after such
an edit. Amounts that disputes hold by now are left out of it. ` + adviserLine,
		Example: "  seamshare payout approve RUN",
		Args:    exactly("RUN"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.ApprovePayoutRunResponse, error) {
				return d.ApprovePayoutRun(d.ctx, &coopv1.ApprovePayoutRunRequest{RequestId: d.requestID, RunId: args[0]})
			}, printRunOf)
		},
	}
}

func (s *session) payoutRejectCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "reject RUN --why TEXT",
		Short:   "End a run before it is paid; another can pay it (approver)",
		Example: `  seamshare payout reject RUN --why "a cost is missing"`,
		Args:    exactly("RUN"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.RejectPayoutRunResponse, error) {
				return d.RejectPayoutRun(d.ctx, &coopv1.RejectPayoutRunRequest{RequestId: d.requestID, RunId: args[0], Reason: why})
			}, printRunOf)
		},
	}
	whyFlag(c, &why)
	return c
}

func (s *session) payoutSettleCommand() *cobra.Command {
	var reference string
	c := &cobra.Command{
		Use:   "settle RUN LINE --reference TEXT",
		Short: "Record that the bank paid a line (bookkeeper)",
		Long: `Records that the bank paid a line. Where a correction or a return since the approval
left less earned than it pays, that is said: it is recorded all the same, as what
the bank has done, and the member's later shares are short of it. ` + adviserLine,
		Example: `  seamshare payout settle RUN LINE --reference "bank 77-3"`,
		Args:    exactly("RUN", "LINE"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.SettlePayoutLineResponse, error) {
				return d.SettlePayoutLine(d.ctx, &coopv1.SettlePayoutLineRequest{RequestId: d.requestID, RunId: args[0], LineId: args[1], Reference: reference})
			}, printRunOf)
		},
	}
	c.Flags().StringVar(&reference, "reference", "", "the bank's reference")
	need(c, "reference")
	return c
}

func (s *session) payoutReturnCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:   "return RUN LINE --why TEXT",
		Short: "Record that the bank didn't pay a line (bookkeeper)",
		Long: `Records that the bank didn't pay a line, so that its amount can be paid by another
run. One that was settled by mistake is sent back so too, by another person than the
one who settled it.`,
		Example: `  seamshare payout return RUN LINE --why "account closed"`,
		Args:    exactly("RUN", "LINE"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.ReturnPayoutLineResponse, error) {
				return d.ReturnPayoutLine(d.ctx, &coopv1.ReturnPayoutLineRequest{RequestId: d.requestID, RunId: args[0], LineId: args[1], Reason: why})
			}, printRunOf)
		},
	}
	whyFlag(c, &why)
	return c
}

func (s *session) payoutCheckCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check RUN",
		Short: "Reckon a run anew from the log alone (desk)",
		Long: `Reckons a run anew from the log alone. It ends with 6 where a line comes out
otherwise than it was prepared.`,
		Example: "  seamshare payout check RUN",
		Args:    exactly("RUN"),
		RunE: func(c *cobra.Command, args []string) error {
			var differs string
			err := deskQuery(c, s, func(d desk) (*coopv1.CheckPayoutRunResponse, error) {
				a, err := d.CheckPayoutRun(d.ctx, &coopv1.CheckPayoutRunRequest{RunId: args[0]})
				differs = a.GetDifference()
				return a, err
			}, func(w io.Writer, a *coopv1.CheckPayoutRunResponse) error {
				if a.GetRecomputes() {
					say(w, "Every line comes out to the cent.")
				}
				return nil
			})
			if err == nil && differs != "" {
				return unverified("PAYOUT", differs, nil)
			}
			return err
		},
	}
}

func (s *session) accountCommand() *cobra.Command {
	mine := &cobra.Command{
		Use:     "mine",
		Short:   "Show what your member earned, was paid and is owed",
		Long:    "Shows what your member has earned over all parcels, was paid and is still owed. " + adviserLine,
		Example: "  seamshare account mine",
		Args:    exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			return deskQuery(c, s, func(d desk) (*coopv1.GetAccountResponse, error) {
				return d.GetAccount(d.ctx, &coopv1.GetAccountRequest{})
			}, func(w io.Writer, a *coopv1.GetAccountResponse) error {
				printAccounts(w, a.GetAccounts())
				return nil
			})
		},
	}
	all := &cobra.Command{
		Use:     "all",
		Short:   "Show what each member earned, was paid and is owed (desk)",
		Long:    "Shows what each member has earned over all parcels, was paid and is still owed, and what is left with the co-op. " + adviserLine,
		Example: "  seamshare account all",
		Args:    exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			return deskQuery(c, s, func(d desk) (*coopv1.ListAccountsResponse, error) {
				return d.ListAccounts(d.ctx, &coopv1.ListAccountsRequest{})
			}, func(w io.Writer, a *coopv1.ListAccountsResponse) error {
				printAccounts(w, a.GetAccounts())
				for _, m := range a.GetLeft() {
					say(w, "Left with the co-op when all that is owed is paid: %s", amount.Text(m))
				}
				return nil
			})
		},
	}
	payments := deskList(s, "payments", "List what your member was paid, oldest first", func(d desk, p *page) (*coopv1.ListPaymentsResponse, error) {
		return d.ListPayments(d.ctx, &coopv1.ListPaymentsRequest{PageSize: p.rows, PageToken: p.token})
	}, func(w io.Writer, a *coopv1.ListPaymentsResponse) error {
		if len(a.GetPayments()) == 0 {
			say(w, "No payments.")
			return nil
		}
		t := table.New(text("line"), right("amount"), text("stands"), wrapped("reference"))
		for _, p := range a.GetPayments() {
			t.Row(p.GetLineId(), amount.Text(p.GetAmount()), p.GetStage(), p.GetReference())
		}
		_, err := t.WriteTo(w)
		return err
	})
	return group("account", "What members earned, were paid and are owed", mine, payments, all)
}

func printAccounts(w io.Writer, all []*coopv1.Account) {
	if len(all) == 0 {
		say(w, "Nothing was earned yet.")
	}
	for _, a := range all {
		owed := "owed " + amount.Text(a.GetOwed())
		if a.GetOwed().GetUnits() < 0 || a.GetOwed().GetNanos() < 0 {
			owed += ", an advance that later shares pay back"
		}
		sayLong(w, "Member %s: %s", a.GetMemberId(), owed)
		sayLong(w, "  earned %s, paid %s%s%s", amount.Text(a.GetEarned()), amount.Text(a.GetPaid()), some(", on the way ", a.GetOnTheWay()),
			some(", held by disputes ", a.GetDisputed()))
	}
}
