// Package dispute holds what members disagree about. A dispute holds one amount of one
// member until it is resolved; everything else goes on.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package dispute

import (
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stage"

	disputev1 "seamshare.example/proto/gen/seamshare/event/dispute/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
)

// State is a dispute as far as has happened. Rules:
//
//  1. A dispute is opened once, by a member who is a party to what it is about, against a member who is one too,
//     and says why.
//  2. It holds an amount, in the currency of what it is about, no more than that member has earned there
//     and other open disputes on the same don't hold. Where nothing is left of it, as of a deal that fell through, it holds
//     nothing.
//  3. It is resolved once, by someone who didn't open it and acts for neither side, with what was found.
//  4. Only the member who opened it withdraws it, with a reason.
type State struct {
	ID             string
	Opener         string   // member id
	OpenedBy       string   // person id
	About          string   // a stream: "parcel/01k..."
	Against        string   // member id: whose payable amount is held
	Parcels        []string // ids: of whose money
	Currency       string
	HeldMinor      int64
	Reason         string
	Stage          Stage
	EndedBy, Found string
	Upheld         bool
}

// Stage is where a dispute stands.
type Stage int

// The stages; the zero Stage is a dispute that isn't there.
const (
	Open Stage = iota + 1
	Resolved
	Withdrawn
)

// String is the stage as people say it.
func (s Stage) String() string {
	switch s {
	case Open:
		return "open"
	case Resolved:
		return "resolved"
	case Withdrawn:
		return "withdrawn"
	}
	return ""
}

// Table is a dispute's life.
var Table = stage.Table{
	Thing:  "dispute",
	States: []string{"open", "resolved", "withdrawn"},
	Rows: []stage.Row{
		{From: stage.None, Do: "CoopService/OpenDispute", By: "a party to the deal, stone or order", To: "open", Needs: "a reason; an amount that the other side has earned there and no other dispute holds", Moves: "the amount is held, no more than that"},
		{From: "open", Do: "CoopService/ResolveDispute", By: "an approver who acts for neither side", To: "resolved", Needs: "what was found", Moves: "the amount is held no more"},
		{From: "open", Do: "CoopService/WithdrawDispute", By: "the member who opened it", To: "withdrawn", Needs: "a reason", Moves: "the amount is held no more"},
	},
}

// Opening is what is said when a dispute is opened. Parties are the members whom the
// thing concerns, Earned what Against has earned there, and Held what other open
// disputes on the same money hold of it, in minor units; Parcels are whose money it is.
type Opening struct {
	ID, Opener, Person, About, Against string
	Amount                             *eventv1.Amount
	Currency                           string
	Earned, Held                       int64
	Parties, Parcels                   []string
	Reason                             string
}

func (o Opening) money(minor int64) string {
	return rule.Money(&eventv1.Amount{Currency: o.Currency, Minor: minor})
}

// Open opens the dispute (rules 1 and 2).
func (s State) Open(o Opening) (*disputev1.Event, error) {
	if s.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "a dispute is opened once", Hint: "look it up under this id"}
	}
	party := func(member string) bool {
		for _, p := range o.Parties {
			if p == member {
				return true
			}
		}
		return false
	}
	if !party(o.Opener) {
		return nil, rule.NotThere("about", "parcel, stone or order")
	}
	var broken rule.All
	broken.Text("reason", o.Reason, 500)
	free := max(0, o.Earned-o.Held)
	if free > 0 {
		broken.Positive("amount", o.Amount)
	} else {
		broken.Amount("amount", o.Amount)
	}
	broken.Currency("amount", o.Amount, o.Currency)
	switch {
	case !party(o.Against):
		broken.Add(rule.Broken{Reason: rule.NotAParty, Field: "against_member_id", Value: o.Against, Rule: "a dispute is between parties to the same deal", Hint: "name the other side"})
	case o.Against == o.Opener:
		broken.Add(rule.Broken{Reason: rule.NotAParty, Field: "against_member_id", Value: o.Against, Rule: "nobody disputes what is their own", Hint: "name the other side"})
	case o.Amount.GetMinor() > free:
		what := "they have earned " + o.money(max(0, o.Earned)) + " there"
		if o.Held > 0 {
			what += ", of which other disputes hold " + o.money(min(o.Held, o.Earned))
		}
		broken.Add(rule.Broken{
			Reason: rule.AboveWhatIsTheirs, Field: "amount", Value: rule.Money(o.Amount), Rule: what + ", and no more than " + o.money(free) + " can be held", Hint: "dispute that or less",
		})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &disputev1.Event{Event: &disputev1.Event_Opened{Opened: &disputev1.Opened{
		Public: &disputev1.Opened_Public{DisputeId: o.ID},
		Private: &disputev1.Opened_Private{
			OpenedByMember: o.Opener, OpenedBy: o.Person, About: o.About, AgainstMember: o.Against, Held: o.Amount, Reason: o.Reason, ParcelIds: o.Parcels,
		},
	}}}, nil
}

// Resolver is who resolves a dispute.
type Resolver interface {
	// ActsFor reports whether they act for a member.
	ActsFor(member string) bool
}

// Resolve ends the dispute with what was found (rule 3). person is the resolver's id.
func (s State) Resolve(person string, by Resolver, outcome string, upheld bool) (*disputev1.Event, error) {
	if err := s.open(); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Text("outcome", outcome, 500)
	if person == s.OpenedBy || by.ActsFor(s.Opener) || by.ActsFor(s.Against) {
		broken.Add(rule.Broken{Reason: rule.SecondPersonNeeded, Field: "dispute_id", Value: s.ID, Rule: "nobody resolves a dispute of their own side", Hint: "leave it to another approver"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &disputev1.Event{Event: &disputev1.Event_Resolved{Resolved: &disputev1.Resolved{
		Public: &disputev1.Resolved_Public{DisputeId: s.ID}, Private: &disputev1.Resolved_Private{ResolvedBy: person, Outcome: outcome, Upheld: upheld},
	}}}, nil
}

// Withdraw ends the dispute by its opener (rule 4).
func (s State) Withdraw(member, person, reason string) (*disputev1.Event, error) {
	if s.Opener != member {
		return nil, rule.NotThere("dispute_id", "dispute")
	}
	if err := s.open(); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Text("reason", reason, 200)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &disputev1.Event{Event: &disputev1.Event_Withdrawn{Withdrawn: &disputev1.Withdrawn{
		Public: &disputev1.Withdrawn_Public{DisputeId: s.ID}, Private: &disputev1.Withdrawn_Private{WithdrawnBy: person, Reason: reason},
	}}}, nil
}

func (s State) open() error {
	switch s.Stage {
	case 0:
		return rule.NotThere("dispute_id", "dispute")
	case Open:
		return nil
	}
	return rule.Broken{Reason: rule.DisputeOver, Field: "dispute_id", Value: s.ID, Rule: "the dispute is " + s.Stage.String(), Hint: "open another"}
}

// Evolve folds one event.
func Evolve(s State, e *disputev1.Event) State {
	switch e := e.GetEvent().(type) {
	case *disputev1.Event_Opened:
		p := e.Opened.GetPrivate()
		s = State{
			ID: e.Opened.GetPublic().GetDisputeId(), Opener: p.GetOpenedByMember(), OpenedBy: p.GetOpenedBy(), About: p.GetAbout(), Against: p.GetAgainstMember(),
			Currency: p.GetHeld().GetCurrency(), HeldMinor: p.GetHeld().GetMinor(), Reason: p.GetReason(), Stage: Open, Parcels: p.GetParcelIds(),
		}
	case *disputev1.Event_Resolved:
		p := e.Resolved.GetPrivate()
		s.Stage, s.EndedBy, s.Found, s.Upheld = Resolved, p.GetResolvedBy(), p.GetOutcome(), p.GetUpheld()
	case *disputev1.Event_Withdrawn:
		p := e.Withdrawn.GetPrivate()
		s.Stage, s.EndedBy, s.Found = Withdrawn, p.GetWithdrawnBy(), p.GetReason()
	}
	return s
}
