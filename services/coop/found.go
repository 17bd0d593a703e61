package coop

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"time"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/stream"
)

// DefaultUnexplainedUgPer100g is what may stay unexplained of each 100 g of a parcel
// where the founding says nothing else: 50 mg, common practice, no source.
const DefaultUnexplainedUgPer100g = 50_000

// Founding is what a co-op begins with.
type Founding struct {
	CoopID   string // the node's
	Name     string
	TimeZone string // an IANA name; the days of money are in it
	// UnexplainedUgPer100g is mass in micrograms; 0: DefaultUnexplainedUgPer100g.
	UnexplainedUgPer100g int64

	RegistrarLabel string // what the first person is called in the books
	RegistrarKey   ed25519.PublicKey
}

// Founded is what a founding made.
type Founded struct {
	MemberID string // the co-op's own desk
	PersonID string // the first registrar
	Position eventstore.Position
}

// Found makes the first records of an empty log: the co-op, its own desk as a member,
// and a registrar, who lets in everybody else. It is refused where the log holds
// anything. Nobody signs in for it: whoever may write to an empty log may found.
func Found(ctx context.Context, node *eventstore.Node, f Founding) (Founded, error) {
	if f.CoopID != node.Coop() {
		return Founded{}, fmt.Errorf("couldn't found co-op %q: the node is of co-op %q", f.CoopID, node.Coop())
	}
	zone, err := time.LoadLocation(f.TimeZone)
	if err != nil || f.TimeZone == "" || f.TimeZone == "Local" {
		return Founded{}, rule.Broken{
			Reason: rule.TimeInvalid, Field: "time_zone", Value: fmt.Sprintf("%q", f.TimeZone),
			Rule: "it must be a time zone of the IANA database", Hint: "give a name such as Australia/Brisbane",
		}
	}
	if f.UnexplainedUgPer100g == 0 {
		f.UnexplainedUgPer100g = DefaultUnexplainedUgPer100g
	}
	made := Founded{MemberID: command.NewID(), PersonID: command.NewID()}
	req := eventstore.Request{Member: made.MemberID, Person: made.PersonID, RPC: "founding"}
	outcome, err := node.Decide(ctx, req, func(tx *eventstore.Tx) error {
		coop, err := command.Open(tx, stream.Coop, f.CoopID)
		if err != nil {
			return err
		}
		if node.Checkpoint().Position > 0 || coop.Version > 0 {
			return rule.Broken{Reason: rule.AlreadyThere, Value: f.CoopID, Rule: "a co-op is founded once, in an empty log", Hint: "use the one that is there"}
		}
		return f.decide(tx, coop, zone, made)
	})
	if err != nil {
		return Founded{}, fmt.Errorf("couldn't found co-op %s: %w", f.CoopID, err)
	}
	made.Position = outcome.Last
	return made, nil
}

func (f Founding) decide(tx *eventstore.Tx, coop *command.Thing[member.Coop], zone *time.Location, made Founded) error {
	founded, err := coop.State.Found(f.CoopID, f.Name, zone, f.UnexplainedUgPer100g)
	if err != nil {
		return err
	}
	coop.Record(founded)
	desk, err := command.Open(tx, stream.Member, made.MemberID)
	if err != nil {
		return err
	}
	admitted, err := desk.State.Admit(made.MemberID, f.Name, member.DeskRoles)
	if err != nil {
		return err
	}
	desk.Record(admitted)
	registrar, err := command.Open(tx, stream.Person, made.PersonID)
	if err != nil {
		return err
	}
	added, err := registrar.State.Add(desk.State, member.NewPerson{
		ID: made.PersonID, Label: f.RegistrarLabel, Key: f.RegistrarKey, Roles: []memberv1.Role{memberv1.Role_ROLE_REGISTRAR},
	})
	if err != nil {
		return err
	}
	for _, event := range added {
		registrar.Record(event)
	}
	return nil
}
