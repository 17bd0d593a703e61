package coop

import (
	"context"
	"errors"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	payoutv1 "seamshare.example/proto/gen/seamshare/event/payout/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/payout"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// PreparePayoutRun implements coopv1.CoopServiceServer. What was earned as of the
// position is reckoned before the decision; the decision holds it against what is
// earned and bound at the tip.
func (s *Server) PreparePayoutRun(ctx context.Context, req *coopv1.PreparePayoutRunRequest) (*coopv1.PreparePayoutRunResponse, error) {
	who := access.Caller(ctx)
	id := command.NewID()
	draft := payout.Draft{ID: id, Currency: req.GetCurrency(), By: who.Person, Note: req.GetNote()}
	earned := map[string]int64{}
	_, err := query.At(ctx, s.node, max(req.GetMinPosition(), req.GetAsOf()), func(q *eventstore.Query) (err error) {
		at := eventstore.Position(req.GetAsOf())
		if at == 0 {
			at = q.Position()
		}
		draft.AsOf = uint64(at)
		earned, err = view.EarnedAt(q, req.GetCurrency(), at)
		return err
	})
	if err != nil {
		return nil, err
	}
	decide := func(tx *eventstore.Tx) (*command.Thing[payout.State], error) {
		run, err := command.Open(tx, stream.Payout, id)
		if err != nil {
			return nil, err
		}
		d := draft
		if d.Payees, err = s.payees(tx, req.GetCurrency(), req.GetMemberIds(), earned); err != nil {
			return nil, err
		}
		prepared, err := run.State.Prepare(d)
		if err != nil {
			return nil, err
		}
		run.Record(prepared)
		return run, nil
	}
	if req.GetValidateOnly() {
		return s.wouldPrepare(ctx, req, decide)
	}
	did, err := command.Run(ctx, s.node, req, stream.Payout, decide)
	if err != nil {
		return nil, err
	}
	return &coopv1.PreparePayoutRunResponse{Run: shownRun(did.State), Position: uint64(did.Position)}, nil
}

// errOnlyShown ends a decision that shall not be recorded.
var errOnlyShown = errors.New("this was only to be shown")

func (s *Server) wouldPrepare(ctx context.Context, req *coopv1.PreparePayoutRunRequest, decide func(*eventstore.Tx) (*command.Thing[payout.State], error)) (*coopv1.PreparePayoutRunResponse, error) {
	var run payout.State
	_, err := command.Run(ctx, s.node, req, stream.Payout, func(tx *eventstore.Tx) (*command.Thing[payout.State], error) {
		thing, err := decide(tx)
		if err != nil {
			return nil, err
		}
		run = thing.State
		return nil, errOnlyShown
	})
	if !errors.Is(err, errOnlyShown) {
		return nil, err
	}
	run.ID = ""
	return &coopv1.PreparePayoutRunResponse{Run: shownRun(run), Position: uint64(s.node.Checkpoint().Position)}, nil
}

// payees are the members who may be paid, named or all who earned anything, as they
// stand at the tip.
func (s *Server) payees(tx *eventstore.Tx, currency string, named []string, asOf map[string]int64) ([]payout.Payee, error) {
	if len(named) == 0 {
		shares := view.Shares{}
		all, err := view.Payees(tx.View(shares.Name()), currency)
		if err != nil {
			return nil, err
		}
		named = all
	}
	payees := make([]payout.Payee, len(named))
	for i, id := range named {
		p, err := payee(tx, currency, id)
		if err != nil {
			return nil, err
		}
		p.AsOf = asOf[id]
		payees[i] = p
	}
	return payees, nil
}

// books are what a query and a decision read.
type books interface {
	eventstore.Loader
	View(name string) eventstore.Reader
}

// payee is a member as they stand at the tip.
func payee(tx books, currency, id string) (payout.Payee, error) {
	shares, payouts := view.Shares{}, view.Payouts{}
	p := payout.Payee{Member: id}
	m, _, err := eventstore.Load(tx, stream.Member, id)
	if err != nil {
		return p, err
	}
	p.Bank = payout.Bank{SealID: m.Bank.SealID, EditedBy: m.Bank.EditedBy, CoolOffUntil: m.Bank.CoolOffUntil}
	if p.Now, err = shares.Earned(tx.View(shares.Name()), currency, id); err != nil {
		return p, err
	}
	rows := tx.View(payouts.Name())
	taken, err := payouts.Taken(rows, currency, id)
	if err != nil {
		return p, err
	}
	p.Taken = taken.Sum()
	p.Held, err = payouts.Held(rows, currency, id)
	return p, err
}

// changeRun runs a command that records one event of a run.
func (s *Server) changeRun(ctx context.Context, req command.Request, id string, decide func(*eventstore.Tx, payout.State, payout.Approver) (*payoutv1.Event, error)) (*coopv1.PayoutRun, uint64, error) {
	who := access.Caller(ctx)
	did, err := command.Run(ctx, s.node, req, stream.Payout, func(tx *eventstore.Tx) (*command.Thing[payout.State], error) {
		run, err := command.Open(tx, stream.Payout, id)
		if err != nil {
			return nil, err
		}
		p, _, err := eventstore.Load(tx, stream.Person, who.Person)
		if err != nil {
			return nil, err
		}
		event, err := decide(tx, run.State, approver(p))
		if err != nil {
			return nil, err
		}
		run.Record(event)
		return run, nil
	})
	if err != nil {
		return nil, 0, err
	}
	var shown *coopv1.PayoutRun
	_, err = query.At(ctx, s.node, uint64(did.Position), func(q *eventstore.Query) (err error) {
		shown, err = runByNow(q, did.State)
		return err
	})
	return shown, uint64(did.Position), err
}

func approver(p member.Person) payout.Approver {
	a := payout.Approver{ID: p.ID, NotThem: p.NotThem}
	for _, m := range p.Memberships {
		a.Members = append(a.Members, m.MemberID)
	}
	return a
}

// ApprovePayoutRun implements coopv1.CoopServiceServer.
func (s *Server) ApprovePayoutRun(ctx context.Context, req *coopv1.ApprovePayoutRunRequest) (*coopv1.ApprovePayoutRunResponse, error) {
	run, at, err := s.changeRun(ctx, req, req.GetRunId(), func(tx *eventstore.Tx, run payout.State, by payout.Approver) (*payoutv1.Event, error) {
		payees := make([]payout.Payee, len(run.Lines))
		for i, l := range run.Lines {
			p, err := payee(tx, run.Currency, l.Member)
			if err != nil {
				return nil, err
			}
			p.Taken -= l.Pays() // the run's own
			payees[i] = p
		}
		return run.Approve(by, payees, tx.Now())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ApprovePayoutRunResponse{Run: run, Position: at}, nil
}

// RejectPayoutRun implements coopv1.CoopServiceServer.
func (s *Server) RejectPayoutRun(ctx context.Context, req *coopv1.RejectPayoutRunRequest) (*coopv1.RejectPayoutRunResponse, error) {
	run, at, err := s.changeRun(ctx, req, req.GetRunId(), func(_ *eventstore.Tx, run payout.State, by payout.Approver) (*payoutv1.Event, error) {
		return run.Reject(by, req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.RejectPayoutRunResponse{Run: run, Position: at}, nil
}

// SettlePayoutLine implements coopv1.CoopServiceServer.
func (s *Server) SettlePayoutLine(ctx context.Context, req *coopv1.SettlePayoutLineRequest) (*coopv1.SettlePayoutLineResponse, error) {
	run, at, err := s.changeRun(ctx, req, req.GetRunId(), func(_ *eventstore.Tx, run payout.State, by payout.Approver) (*payoutv1.Event, error) {
		return run.Settle(req.GetLineId(), req.GetReference(), by.ID)
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.SettlePayoutLineResponse{Run: run, Position: at}, nil
}

// ReturnPayoutLine implements coopv1.CoopServiceServer.
func (s *Server) ReturnPayoutLine(ctx context.Context, req *coopv1.ReturnPayoutLineRequest) (*coopv1.ReturnPayoutLineResponse, error) {
	run, at, err := s.changeRun(ctx, req, req.GetRunId(), func(_ *eventstore.Tx, run payout.State, by payout.Approver) (*payoutv1.Event, error) {
		return run.Return(by, req.GetLineId(), req.GetReason())
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ReturnPayoutLineResponse{Run: run, Position: at}, nil
}

// GetPayoutRun implements coopv1.CoopServiceServer.
func (s *Server) GetPayoutRun(ctx context.Context, req *coopv1.GetPayoutRunRequest) (*coopv1.GetPayoutRunResponse, error) {
	out := &coopv1.GetPayoutRunResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		run, _, err := eventstore.Load(q, stream.Payout, req.GetRunId())
		if err == nil && run.ID == "" {
			err = rule.NotThere("run_id", "payout run")
		}
		if err != nil {
			return err
		}
		out.Run, err = runByNow(q, run)
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListPayoutRuns implements coopv1.CoopServiceServer.
func (s *Server) ListPayoutRuns(ctx context.Context, req *coopv1.ListPayoutRunsRequest) (*coopv1.ListPayoutRunsResponse, error) {
	runs, next, position, err := query.List(ctx, s.lists, req, registered("payout"), func(q *eventstore.Query, id string) (*coopv1.PayoutRun, error) {
		run, _, err := eventstore.Load(q, stream.Payout, id)
		return shownRun(run), err
	})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListPayoutRunsResponse{Runs: runs, NextPageToken: next, Position: position}, nil
}

// CheckPayoutRun implements coopv1.CoopServiceServer.
func (s *Server) CheckPayoutRun(ctx context.Context, req *coopv1.CheckPayoutRunRequest) (*coopv1.CheckPayoutRunResponse, error) {
	out := &coopv1.CheckPayoutRunResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		differences, ok, err := view.CheckPayout(q, req.GetRunId())
		if err == nil && !ok {
			err = rule.NotThere("run_id", "payout run")
		}
		if err != nil {
			return err
		}
		if out.Recomputes = len(differences) == 0; !out.Recomputes {
			out.Difference = differences[0].String()
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListPayments implements coopv1.CoopServiceServer.
func (s *Server) ListPayments(ctx context.Context, req *coopv1.ListPaymentsRequest) (*coopv1.ListPaymentsResponse, error) {
	who := access.Caller(ctx)
	payments, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			v := view.Payouts{}
			return v.RunsOf(q.View(v.Name()), who.Member, after, limit)
		},
		func(q *eventstore.Query, id string) (*coopv1.Payment, error) {
			run, _, err := eventstore.Load(q, stream.Payout, id)
			for _, l := range run.Lines {
				if l.Member == who.Member { // a run has one line a member
					return &coopv1.Payment{LineId: l.ID, Amount: wire.Money(run.Currency, l.Pays()), Stage: l.Stage.String(), Reference: l.Answer}, err
				}
			}
			return &coopv1.Payment{}, err
		})
	if err != nil {
		return nil, err
	}
	return &coopv1.ListPaymentsResponse{Payments: payments, NextPageToken: next, Position: position}, nil
}

// GetAccount implements coopv1.CoopServiceServer.
func (s *Server) GetAccount(ctx context.Context, req *coopv1.GetAccountRequest) (*coopv1.GetAccountResponse, error) {
	accounts, _, position, err := s.accounts(ctx, req.GetMinPosition(), access.Caller(ctx).Member)
	if err != nil {
		return nil, err
	}
	return &coopv1.GetAccountResponse{Accounts: accounts, Position: position}, nil
}

// ListAccounts implements coopv1.CoopServiceServer.
func (s *Server) ListAccounts(ctx context.Context, req *coopv1.ListAccountsRequest) (*coopv1.ListAccountsResponse, error) {
	accounts, own, position, err := s.accounts(ctx, req.GetMinPosition(), "")
	if err != nil {
		return nil, err
	}
	out := &coopv1.ListAccountsResponse{Accounts: accounts, Position: position}
	for _, a := range own {
		out.Left = append(out.Left, wire.Money(a.Currency, a.Levies))
	}
	return out, nil
}

func (s *Server) accounts(ctx context.Context, min uint64, memberID string) (shown []*coopv1.Account, own []view.CoOpAccount, position uint64, err error) {
	position, err = query.At(ctx, s.node, min, func(q *eventstore.Query) error {
		shares, payouts := view.Shares{}, view.Payouts{}
		all, err := view.Accounts(q.View(shares.Name()), q.View(payouts.Name()), memberID)
		if err != nil {
			return err
		}
		for _, a := range all {
			shown = append(shown, &coopv1.Account{
				MemberId: a.Member, Earned: wire.Money(a.Currency, a.Earned), Paid: wire.Money(a.Currency, a.Taken.Paid),
				OnTheWay: wire.Money(a.Currency, a.Taken.Live), Disputed: wire.Money(a.Currency, a.Held), Owed: wire.Money(a.Currency, a.Owed()),
			})
		}
		own, _, err = shares.Balances(q.View(shares.Name()))
		return err
	})
	return shown, own, position, err
}

func shownRun(run payout.State) *coopv1.PayoutRun {
	out := &coopv1.PayoutRun{
		Id: run.ID, Stage: run.Stage.String(), Currency: run.Currency, AsOf: run.AsOf, Total: wire.Money(run.Currency, run.Total()),
		PreparedBy: run.PreparedBy, DecidedBy: run.DecidedBy, Reason: run.Reason, Note: run.Note,
	}
	for _, l := range run.Lines {
		out.Lines = append(out.Lines, &coopv1.PayoutLine{
			Id: l.ID, MemberId: l.Member, Amount: wire.Money(run.Currency, l.Pays()), Earned: wire.Money(run.Currency, l.Earned),
			Taken: wire.Money(run.Currency, l.Taken), Disputed: wire.Money(run.Currency, l.Disputed), Held: wire.Money(run.Currency, l.Held),
			Stage: l.Stage.String(), Answer: l.Answer, ByHand: l.Bank == "",
		})
	}
	return out
}

// runByNow is the run with what is earned by now beside each line that pays more.
func runByNow(r books, run payout.State) (*coopv1.PayoutRun, error) {
	out := shownRun(run)
	for i, l := range run.Lines {
		p, err := payee(r, run.Currency, l.Member)
		if err != nil {
			return nil, err
		}
		if earned, above := l.Above(p); above {
			out.Lines[i].ByNow = wire.Money(run.Currency, earned)
		}
	}
	return out, nil
}
