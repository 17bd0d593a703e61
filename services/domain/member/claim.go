package member

import (
	"fmt"
	"strings"
	"unicode"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stage"
)

// Field is an opal field that claims lie on. Rules:
//
//  1. A field is recorded once, under a name that no other has.
type Field struct {
	ID      string
	Name    string
	Country string // in the trade's words, such as "ironstone country"
}

// Record names the field (rule 1).
func (f Field) Record(id, name, country string) (*memberv1.Event, error) {
	if f.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: f.ID, Rule: "a field is recorded once", Hint: "use the one that is there"}
	}
	var broken rule.All
	broken.Text("name", name, 80)
	if country != "" {
		broken.Text("country", country, 80)
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_FieldRecorded{FieldRecorded: &memberv1.FieldRecorded{
		Public:  &memberv1.FieldRecorded_Public{FieldId: id, Name: name, Country: country},
		Private: &memberv1.FieldRecorded_Private{},
	}}}, nil
}

// EvolveField folds one event.
func EvolveField(f Field, e *memberv1.Event) Field {
	if r := e.GetFieldRecorded().GetPublic(); r != nil {
		f.ID, f.Name, f.Country = r.GetFieldId(), r.GetName(), r.GetCountry()
	}
	return f
}

// Claim is a miner's claim on a field. Rules:
//
//  1. A claim is recorded once, on a field that is recorded.
//  2. Only a member that mines has claims.
//  3. Only the claim's own miner says that a piece comes from it, while it is worked.
//  4. Its miner closes it, once. What came from it keeps its origin.
//  5. Of a miner's claims on a field that are worked no two have one name.
type Claim struct {
	ID       string
	FieldID  string
	MemberID string
	Name     string
	Closed   bool
	Why      string // it was closed
}

// Folded is one spelling of all that are one name to who reads them: case and spaces tell
// nothing apart. Case is Unicode's simple case folding, by which strings.EqualFold compares.
func Folded(name string) string {
	return strings.Map(func(r rune) rune {
		least := r
		for o := unicode.SimpleFold(r); o != r; o = unicode.SimpleFold(o) {
			least = min(least, o)
		}
		return least
	}, strings.Join(strings.Fields(name), " "))
}

// NameTaken refuses a second field, or a second claim of a miner on a field, of the same
// name (rules 1 and 5). id is the one that is there.
func NameTaken(thing, name, id string) error {
	return rule.Broken{
		Reason: rule.NameTaken, Field: "name", Value: fmt.Sprintf("%q", name),
		Rule: "there is a " + thing + " of this name already, " + id, Hint: "use that one, or give this another name",
	}
}

// Record says that the member works the claim (rules 1 and 2).
func (c Claim) Record(f Field, m Member, id, name string) (*memberv1.Event, error) {
	if c.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: c.ID, Rule: "a claim is recorded once", Hint: "use the one that is there"}
	}
	var broken rule.All
	if f.ID == "" {
		broken.Add(rule.Broken{Reason: rule.FieldNotRecorded, Field: "field_id", Rule: "a claim lies on a recorded field", Hint: "take a field from the list, or ask the registrar to record it"})
	}
	if !m.Has(memberv1.Role_ROLE_MINER) {
		broken.Add(rule.Broken{Reason: rule.RoleNotOfMember, Value: m.ID, Rule: "only a member that mines has claims", Hint: "ask the registrar"})
	}
	broken.Text("name", name, 80)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_ClaimRecorded{ClaimRecorded: &memberv1.ClaimRecorded{
		Public:  &memberv1.ClaimRecorded_Public{ClaimId: id, FieldId: f.ID},
		Private: &memberv1.ClaimRecorded_Private{MemberId: m.ID, Name: name},
	}}}, nil
}

// From refuses where the member may not say that a piece comes from this claim
// (rule 3). A claim that isn't there looks like another's.
func (c Claim) From(member, field, id string) error {
	if c.ID == "" || c.MemberID != member {
		return rule.Broken{
			Reason: rule.ClaimNotYours, Field: field, Value: id,
			Rule: "no claim of yours has this id", Hint: "record the claim first, or leave it empty: then the field is not shown, and stays so",
		}
	}
	if c.Closed {
		return rule.Broken{
			Reason: rule.ClaimClosed, Field: field, Value: id,
			Rule: "you closed this claim, and nothing new comes from it", Hint: "name another, or leave it empty: then the field is not shown, and stays so",
		}
	}
	return nil
}

// CameFrom refuses where the member may not say that a piece that was listed already came
// from this claim: one that was closed since is as right as another.
func (c Claim) CameFrom(member, field, id string) error {
	c.Closed = false
	return c.From(member, field, id)
}

// Close says that the miner works the claim no longer (rule 4).
func (c Claim) Close(member, why string) (*memberv1.Event, error) {
	if c.ID == "" || c.MemberID != member {
		return nil, rule.NotThere("claim_id", "claim")
	}
	if c.Closed {
		return nil, rule.Broken{Reason: rule.ClaimClosed, Field: "claim_id", Value: c.ID, Rule: "the claim is closed already", Hint: "nothing needs to be done"}
	}
	var broken rule.All
	if why != "" {
		broken.Text("why", why, 500)
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_ClaimClosed{ClaimClosed: &memberv1.ClaimClosed{
		Public:  &memberv1.ClaimClosed_Public{ClaimId: c.ID},
		Private: &memberv1.ClaimClosed_Private{MemberId: member, Why: why},
	}}}, nil
}

// EvolveClaim folds one event.
func EvolveClaim(c Claim, e *memberv1.Event) Claim {
	if r := e.GetClaimClosed(); r != nil {
		c.Closed, c.Why = true, r.GetPrivate().GetWhy()
	}
	if r := e.GetClaimRecorded(); r != nil {
		c.ID, c.FieldID = r.GetPublic().GetClaimId(), r.GetPublic().GetFieldId()
		c.MemberID, c.Name = r.GetPrivate().GetMemberId(), r.GetPrivate().GetName()
	}
	return c
}

// ClaimTable is a claim's life.
var ClaimTable = stage.Table{
	Thing:  "claim",
	States: []string{"worked", "closed"},
	Rows: []stage.Row{
		{From: stage.None, Do: "MinerService/RecordClaim", By: "a miner", To: "worked", Needs: "its field is recorded"},
		{From: "worked", Do: "MinerService/CloseClaim", By: "its miner", To: "closed", Moves: "new pieces can't name it"},
	},
}
