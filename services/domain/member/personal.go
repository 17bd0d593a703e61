package member

import (
	"fmt"
	"slices"
	"time"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/domain/rule"
)

// Sealed is a fact about a person that only their key opens.
type Sealed struct {
	Field  memberv1.PersonalField
	SealID string
	Data   []byte // never changed
}

// Bank is where a member's payouts go, sealed.
type Bank struct {
	PersonID     string // under whose key
	SealID       string // names these details; empty: there are none
	Data         []byte // never changed
	EditedBy     string
	CoolOffUntil time.Time // until then no run that pays the member is approved
}

func bankOf(p *memberv1.BankDetailsSealed_Private) Bank {
	return Bank{
		PersonID: p.GetPersonId(), SealID: p.GetSealId(), Data: p.GetSealed(), EditedBy: p.GetEditedBy(),
		CoolOffUntil: time.UnixMicro(p.GetCoolOffUntilUs()).UTC(),
	}
}

// Find is the newest fact of a field.
func (p Person) Find(field memberv1.PersonalField) (Sealed, bool) {
	i := slices.IndexFunc(p.Sealed, func(s Sealed) bool { return s.Field == field })
	if i < 0 {
		return Sealed{}, false
	}
	return p.Sealed[i], true
}

// MaxSealed is how many bytes a sealed fact may have.
const MaxSealed = 2048

// Seal records a fact that was sealed under the person's key (rule 8).
func (p Person) Seal(s Sealed) (*memberv1.Event, error) {
	if err := p.mayBeSealed(); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Answered("field", int32(s.Field), memberv1.PersonalField_name)
	checkSealed(&broken, s.Data)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_PersonalSealed{PersonalSealed: &memberv1.PersonalSealed{
		Public:  &memberv1.PersonalSealed_Public{PersonId: p.ID},
		Private: &memberv1.PersonalSealed_Private{Field: s.Field, Sealed: s.Data, SealId: s.SealID},
	}}}, nil
}

func (p Person) mayBeSealed() error {
	switch {
	case p.ID == "":
		return rule.NotThere("person_id", "person")
	case p.Erased:
		return rule.Broken{Reason: rule.PersonErased, Field: "person_id", Value: p.ID, Rule: "the person was erased, and nothing personal is kept of them any more", Hint: "add a new person"}
	case p.Standing == Removed:
		return p.Standing.needs("person", Admitted)
	}
	return nil
}

func checkSealed(broken *rule.All, data []byte) {
	if n := len(data); n < 1 || n > MaxSealed {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "value", Value: fmt.Sprintf("%d bytes", n), Rule: fmt.Sprintf("a sealed fact has 1 to %d bytes", MaxSealed), Hint: "shorten it"})
	}
}

// SealBank records a member's bank details that were sealed under the key of a person
// who acts for it (rule 5 of Member).
func (m Member) SealBank(owner Person, sealID string, data []byte, by string, coolOffUntil time.Time) (*memberv1.Event, error) {
	if m.ID == "" {
		return nil, rule.NotThere("member_id", "member")
	}
	if err := m.Standing.needs("member", Admitted, Suspended); err != nil {
		return nil, err
	}
	if err := owner.mayBeSealed(); err != nil {
		return nil, err
	}
	var broken rule.All
	if !owner.ActsFor(m.ID) {
		broken.Add(rule.Broken{Reason: rule.RoleNotThere, Field: "person_id", Value: owner.ID, Rule: "bank details are kept under the key of a person who acts for the member", Hint: "name such a person"})
	}
	checkSealed(&broken, data)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_BankDetailsSealed{BankDetailsSealed: &memberv1.BankDetailsSealed{
		Public: &memberv1.BankDetailsSealed_Public{MemberId: m.ID},
		Private: &memberv1.BankDetailsSealed_Private{
			PersonId: owner.ID, Sealed: data, EditedBy: by, CoolOffUntilUs: coolOffUntil.UnixMicro(), SealId: sealID,
		},
	}}}, nil
}

// Erase says that the person's key is destroyed (rule 8). banks are the members whose
// bank details were sealed under it: the event stands in their streams too.
func (p Person) Erase(banks []string, by, reason string) (*memberv1.Event, error) {
	if p.ID == "" {
		return nil, rule.NotThere("person_id", "person")
	}
	var broken rule.All
	broken.Text("reason", reason, 200)
	if p.Erased {
		broken.Add(rule.Broken{Reason: rule.PersonErased, Field: "person_id", Value: p.ID, Rule: "the person was erased before", Hint: "nothing needs to be done"})
	}
	if p.ID == by {
		broken.Add(rule.Broken{Reason: rule.SecondPersonNeeded, Field: "person_id", Value: p.ID, Rule: "nobody erases themselves", Hint: "ask another registrar"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	fields := make([]memberv1.PersonalField, len(p.Sealed))
	for i, s := range p.Sealed {
		fields[i] = s.Field
	}
	return &memberv1.Event{Event: &memberv1.Event_PersonErased{PersonErased: &memberv1.PersonErased{
		Public:  &memberv1.PersonErased_Public{PersonId: p.ID},
		Private: &memberv1.PersonErased_Private{Fields: fields, BankDetailsOf: slices.Clone(banks), ErasedBy: by, Reason: reason},
	}}}, nil
}

func (p Person) sealed(e *memberv1.PersonalSealed_Private) Person {
	p.Sealed = slices.DeleteFunc(slices.Clone(p.Sealed), func(s Sealed) bool { return s.Field == e.GetField() })
	p.Sealed = append(p.Sealed, Sealed{Field: e.GetField(), SealID: e.GetSealId(), Data: e.GetSealed()})
	return p
}
