// Package payout holds the runs in which members are paid what they have earned: who
// prepares one, who lets the bank pay it, and what the bank says of each line.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package payout

import (
	"fmt"
	"slices"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"

	payoutv1 "seamshare.example/proto/gen/seamshare/event/payout/v1"
)

// MaxLines is how many members one run pays.
const MaxLines = 500

// State is a run as far as has happened. Rules:
//
//  1. A run is prepared once, in one currency, as of a position of the log, and pays at least one member.
//  2. A line is what the member had earned as of the position (and has still earned at the tip), less what was
//     paid or is in a live run, less what disputes hold. Nothing left: no line. Paid beyond a lowered
//     entitlement: an advance, which later lines are short of.
//  3. The approver is a second person beside the preparer, acts for no member that the run pays, and isn't the
//     last who edited the bank details of one.
//  4. A run isn't approved while bank details of a payee are in their cool-off, or are others than when it was
//     prepared, or when a line is above what is earned by then. What disputes hold by then is left out of the
//     lines it is held from; the rest is paid.
//  5. A run is approved or rejected once; a rejection has a reason and frees all amounts.
//  6. Of an approved run the bank settles or returns each line once. A returned line frees its amount. One that was
//     settled by mistake is sent back, by another person than the one who settled it. What a correction or a return
//     took since the approval is named beside the line, and stops nothing.
//
// So a payable amount is in at most one live run. States are shared between
// goroutines: nothing that is reachable from one is ever changed.
type State struct {
	ID         string
	Currency   string
	AsOf       uint64
	Note       string
	Lines      []Line
	Stage      Stage
	PreparedBy string
	DecidedBy  string // who approved or rejected
	Reason     string // of the rejection
}

// Line is one payment. Amounts are minor units.
type Line struct {
	ID       string
	Member   string
	Minor    int64 // as prepared
	Held     int64 // what disputes held back of it at the approval
	Earned   int64 // what Minor was reckoned from: Earned − Taken − Disputed
	Taken    int64
	Disputed int64
	Bank     string // seal id of the bank details; empty: paid by hand
	Stage    LineStage
	Answer   string // the bank's reference or reason
	By       string // the person who settled it
}

// Pays is what the line pays.
func (l Line) Pays() int64 { return l.Minor - l.Held }

// Above is what the payee has earned by now and isn't paid by another line, where a line of a live run pays more than
// that, or one that was settled did. An approved run isn't stopped by it: what the bank has done is recorded as it is,
// and later shares are short of it (rule 2).
func (l Line) Above(p Payee) (earned int64, above bool) {
	if l.Stage != Waiting && l.Stage != Paid {
		return 0, false
	}
	earned = max(0, p.Now-(p.Taken-l.Pays()))
	return earned, l.Pays() > earned
}

// Stage is where a run stands.
type Stage int

// The stages; the zero Stage is a run that isn't there.
const (
	Prepared Stage = iota + 1
	Rejected
	Approved
	Settled // the bank has answered for every line
)

// String is the stage as people say it.
func (s Stage) String() string {
	switch s {
	case Prepared:
		return "prepared"
	case Rejected:
		return "rejected"
	case Approved:
		return "approved"
	case Settled:
		return "settled"
	}
	return ""
}

// LineStage is where a line stands.
type LineStage int

// The stages of a line.
const (
	Waiting  LineStage = iota + 1 // in a live run
	Paid                          // the bank paid it
	Returned                      // the bank didn't
	Dropped                       // the run was rejected, or a dispute holds all of it
)

// String is the stage as people say it.
func (s LineStage) String() string {
	switch s {
	case Waiting:
		return "waiting"
	case Paid:
		return "settled"
	case Returned:
		return "returned by the bank"
	case Dropped:
		return "dropped"
	}
	return ""
}

// Payee is what is known of a member when a run is prepared or approved. Amounts are
// minor units of the run's currency.
type Payee struct {
	Member string
	AsOf   int64 // earned as of the run's position; of no matter at the approval
	Now    int64 // earned at the tip
	Taken  int64 // paid, or in a live run; at the approval the run's own line left out
	Held   int64 // by disputes
	Bank   Bank
}

// Bank is what is known of a payee's bank details; the zero value: there are none.
type Bank struct {
	SealID       string // names them
	EditedBy     string // a person
	CoolOffUntil time.Time
}

// Approver is a person who approves or rejects.
type Approver struct {
	ID      string
	Members []string // whom they act for
	NotThem []string // persons who were stated to be another than they
}

// Payable is what a run may pay the member (rule 2); zero or below: nothing.
func (p Payee) Payable() int64 { return min(p.AsOf, p.Now) - p.Taken - p.Held }

// Draft is a run before it is prepared.
type Draft struct {
	ID, Currency, By, Note string
	AsOf                   uint64
	Payees                 []Payee
}

// Prepare prepares the run (rules 1 and 2). The lines are in the payees' order.
func (s State) Prepare(d Draft) (*payoutv1.Event, error) {
	if s.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "a run is prepared once", Hint: "look it up under this id"}
	}
	var broken rule.All
	broken.Amount("currency", &eventv1.Amount{Currency: d.Currency})
	if d.Note != "" {
		broken.Text("note", d.Note, 200)
	}
	lines, err := d.lines()
	if err := broken.Merge("", err); err != nil {
		return nil, err
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &payoutv1.Event{Event: &payoutv1.Event_Prepared{Prepared: &payoutv1.Prepared{
		Public:  &payoutv1.Prepared_Public{RunId: d.ID},
		Private: &payoutv1.Prepared_Private{Currency: d.Currency, AsOf: d.AsOf, PreparedBy: d.By, Lines: lines, Note: d.Note},
	}}}, nil
}

func (d Draft) lines() ([]*payoutv1.Line, error) {
	var lines []*payoutv1.Line
	var total int64
	for _, p := range d.Payees {
		minor := p.Payable()
		if minor <= 0 {
			continue
		}
		if total += minor; minor > money.Max || total > money.Max {
			return nil, rule.Broken{Reason: rule.AmountInvalid, Value: fmt.Sprint(total), Rule: "a run is above what one amount can be", Hint: "pay fewer members at once"}
		}
		lines = append(lines, &payoutv1.Line{
			LineId: fmt.Sprintf("%s-%d", d.ID, len(lines)+1), MemberId: p.Member, Minor: minor,
			EarnedMinor: min(p.AsOf, p.Now), TakenMinor: p.Taken, DisputedMinor: p.Held, BankDetails: p.Bank.SealID,
		})
	}
	switch n := len(lines); {
	case n == 0:
		return nil, rule.Broken{Reason: rule.NothingPayable, Field: "as_of", Value: fmt.Sprint(d.AsOf), Rule: "of what was earned by then nothing is left to pay: it is paid, in a live run, or held by disputes", Hint: "look at the balances and the runs that wait"}
	case n > MaxLines:
		return nil, rule.Broken{Reason: rule.CountInvalid, Field: "member_ids", Value: fmt.Sprintf("%d members", n), Rule: fmt.Sprintf("a run pays at most %d members", MaxLines), Hint: "name the members, in several runs"}
	}
	return lines, nil
}

// Approve lets the bank pay (rules 3 to 5). payees are those of the lines, in their
// order, as they stand at the tip.
func (s State) Approve(by Approver, payees []Payee, now time.Time) (*payoutv1.Event, error) {
	if err := s.in(Prepared); err != nil {
		return nil, err
	}
	if err := rule.SecondPerson("run_id", s.PreparedBy, by.ID, by.NotThem); err != nil {
		return nil, err
	}
	var broken rule.All
	var held []*payoutv1.Held
	var pays int64
	for i, l := range s.Lines {
		p := payees[i]
		s.checkPayee(&broken, l, p, by, now)
		if l.Minor > p.Now-p.Taken {
			broken.Add(rule.Broken{
				Reason: rule.AboveWhatIsEarned, Field: "run_id", Value: s.ID,
				Rule: fmt.Sprintf("line %s pays %s, and by now only %s is earned and not paid", l.ID, s.money(l.Minor), s.money(max(0, p.Now-p.Taken))),
				Hint: "reject the run, and let another be prepared",
			})
			continue
		}
		rest := min(l.Minor, max(0, p.Now-p.Taken-p.Held))
		if rest < l.Minor {
			held = append(held, &payoutv1.Held{LineId: l.ID, Minor: l.Minor - rest})
		}
		pays += rest
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	if pays == 0 {
		return nil, rule.Broken{Reason: rule.NothingPayable, Field: "run_id", Value: s.ID, Rule: "disputes hold all that the run would pay", Hint: "reject it, or resolve the disputes"}
	}
	return &payoutv1.Event{Event: &payoutv1.Event_Approved{Approved: &payoutv1.Approved{
		Public: &payoutv1.Approved_Public{RunId: s.ID}, Private: &payoutv1.Approved_Private{ApprovedBy: by.ID, Held: held},
	}}}, nil
}

func (s State) checkPayee(broken *rule.All, l Line, p Payee, by Approver, now time.Time) {
	refuse := func(reason rule.Reason, what, hint string) {
		broken.Add(rule.Broken{Reason: reason, Field: "run_id", Value: s.ID, Rule: what, Hint: hint})
	}
	if slices.Contains(by.Members, l.Member) {
		refuse(rule.PaysTheApprover, "line "+l.ID+" pays a member that you act for", "leave it to another approver")
	}
	if p.Bank.SealID != l.Bank {
		refuse(rule.BankChanged, "the bank details for line "+l.ID+" are others than when the run was prepared", "reject it, and let another be prepared")
	}
	if p.Bank.SealID == "" {
		return
	}
	if p.Bank.EditedBy == by.ID {
		refuse(rule.BankEditedByYou, "you were the last to edit the bank details for line "+l.ID, "leave it to another approver")
	}
	if now.Before(p.Bank.CoolOffUntil) {
		refuse(rule.BankCoolingOff, "the bank details for line "+l.ID+" were edited lately", "wait until "+rule.Moment(p.Bank.CoolOffUntil))
	}
}

// Reject ends the run before it is paid (rule 5).
func (s State) Reject(by Approver, reason string) (*payoutv1.Event, error) {
	if err := s.in(Prepared); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Text("reason", reason, 200)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &payoutv1.Event{Event: &payoutv1.Event_Rejected{Rejected: &payoutv1.Rejected{
		Public: &payoutv1.Rejected_Public{RunId: s.ID}, Private: &payoutv1.Rejected_Private{RejectedBy: by.ID, Reason: reason},
	}}}, nil
}

// Settle records that the bank paid a line (rule 6).
func (s State) Settle(lineID, reference, person string) (*payoutv1.Event, error) {
	if err := s.in(Approved); err != nil {
		return nil, err
	}
	if err := s.answers(lineID, "reference", reference); err != nil {
		return nil, err
	}
	return &payoutv1.Event{Event: &payoutv1.Event_LineSettled{LineSettled: &payoutv1.LineSettled{
		Public: &payoutv1.LineSettled_Public{RunId: s.ID}, Private: &payoutv1.LineSettled_Private{LineId: lineID, Reference: reference, SettledBy: person},
	}}}, nil
}

// Return records that the bank didn't pay a line, or that one was settled by mistake
// (rule 6).
func (s State) Return(by Approver, lineID, reason string) (*payoutv1.Event, error) {
	if s.Stage != Settled {
		if err := s.in(Approved); err != nil {
			return nil, err
		}
	}
	if l, _ := s.Line(lineID); l.Stage == Paid {
		if err := rule.SecondPerson("line_id", l.By, by.ID, by.NotThem); err != nil {
			return nil, err
		}
		var broken rule.All
		broken.Text("reason", reason, 200)
		if err := broken.Err(); err != nil {
			return nil, err
		}
	} else if err := s.answers(lineID, "reason", reason); err != nil {
		return nil, err
	}
	return &payoutv1.Event{Event: &payoutv1.Event_LineReturned{LineReturned: &payoutv1.LineReturned{
		Public: &payoutv1.LineReturned_Public{RunId: s.ID}, Private: &payoutv1.LineReturned_Private{LineId: lineID, Reason: reason},
	}}}, nil
}

func (s State) answers(lineID, field, text string) error {
	l, ok := s.Line(lineID)
	if !ok {
		return rule.NotThere("line_id", "line of the run")
	}
	if l.Stage != Waiting {
		return rule.Broken{Reason: rule.LineStandsOtherwise, Field: "line_id", Value: lineID, Rule: "the line is " + l.Stage.String(), Hint: "look at the run"}
	}
	var broken rule.All
	broken.Text(field, text, 200)
	return broken.Err()
}

func (s State) in(stage Stage) error {
	if s.ID == "" {
		return rule.NotThere("run_id", "payout run")
	}
	if s.Stage != stage {
		return rule.Broken{
			Reason: rule.RunStandsOtherwise, Field: "run_id", Value: s.ID,
			Rule: "the run is " + s.Stage.String() + ", and this is for one that is " + stage.String(), Hint: "look at the run",
		}
	}
	return nil
}

// Line finds a line.
func (s State) Line(id string) (Line, bool) {
	i := slices.IndexFunc(s.Lines, func(l Line) bool { return l.ID == id })
	if i < 0 {
		return Line{}, false
	}
	return s.Lines[i], true
}

// Total is what the run pays.
func (s State) Total() int64 {
	var sum int64
	for _, l := range s.Lines {
		sum += l.Pays()
	}
	return sum
}

// Pays reports whether the run pays one of these members.
func (s State) Pays(members ...string) bool {
	return slices.ContainsFunc(s.Lines, func(l Line) bool { return slices.Contains(members, l.Member) })
}

func (s State) money(minor int64) string {
	return rule.Money(&eventv1.Amount{Currency: s.Currency, Minor: minor})
}

// Evolve folds one event.
func Evolve(s State, e *payoutv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *payoutv1.Event_Prepared:
		p := e.Prepared.GetPrivate()
		s = State{
			ID: e.Prepared.GetPublic().GetRunId(), Currency: p.GetCurrency(), AsOf: p.GetAsOf(), Note: p.GetNote(),
			PreparedBy: p.GetPreparedBy(), Stage: Prepared, Lines: make([]Line, len(p.GetLines())),
		}
		for i, l := range p.GetLines() {
			s.Lines[i] = Line{
				ID: l.GetLineId(), Member: l.GetMemberId(), Minor: l.GetMinor(), Earned: l.GetEarnedMinor(), Taken: l.GetTakenMinor(),
				Disputed: l.GetDisputedMinor(), Bank: l.GetBankDetails(), Stage: Waiting,
			}
		}
	case *payoutv1.Event_Approved:
		s.Stage, s.DecidedBy = Approved, e.Approved.GetPrivate().GetApprovedBy()
		s.Lines = slices.Clone(s.Lines)
		for _, h := range e.Approved.GetPrivate().GetHeld() {
			s.changeLine(h.GetLineId(), func(l *Line) {
				if l.Held = h.GetMinor(); l.Pays() == 0 {
					l.Stage = Dropped
				}
			})
		}
	case *payoutv1.Event_Rejected:
		s.Stage, s.DecidedBy, s.Reason = Rejected, e.Rejected.GetPrivate().GetRejectedBy(), e.Rejected.GetPrivate().GetReason()
		s.Lines = slices.Clone(s.Lines)
		for i := range s.Lines {
			s.Lines[i].Stage = Dropped
		}
	case *payoutv1.Event_LineSettled:
		p := e.LineSettled.GetPrivate()
		s = s.answered(p.GetLineId(), Paid, p.GetReference(), p.GetSettledBy())
	case *payoutv1.Event_LineReturned:
		p := e.LineReturned.GetPrivate()
		s = s.answered(p.GetLineId(), Returned, p.GetReason(), "")
	}
	return s
}

func (s State) answered(lineID string, stage LineStage, answer, by string) State {
	s.Lines = slices.Clone(s.Lines)
	s.changeLine(lineID, func(l *Line) { l.Stage, l.Answer, l.By = stage, answer, by })
	if !slices.ContainsFunc(s.Lines, func(l Line) bool { return l.Stage == Waiting }) {
		s.Stage = Settled
	}
	return s
}

// changeLine changes a line of s, whose lines nobody shares.
func (s State) changeLine(id string, how func(*Line)) {
	for i := range s.Lines {
		if s.Lines[i].ID == id {
			how(&s.Lines[i])
		}
	}
}
