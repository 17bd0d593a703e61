package member

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/domain/rule"
)

// KeySize is the length of an Ed25519 public key (RFC 8032, section 5.1.5).
const KeySize = 32

// Person acts for one member. Rules:
//
//  1. A person is added once, to a member that was admitted, with a label for the books.
//  2. A person has only roles that the member has, each once.
//  3. A key is an Ed25519 public key.
//  4. A key belongs to one person, for ever.
//  5. Nobody grants a role to themselves.
//  6. A registrar, who says who is here, neither records money nor approves it: one person alone could
//     otherwise let in a member and pay them.
type Person struct {
	ID       string
	MemberID string
	Label    string
	Roles    []memberv1.Role
	Keys     []Key
}

// Key is what a person signs in with.
type Key struct {
	ID     string // KeyID of Public
	Public []byte // never changed
}

// KeyID names a key: the first 16 hex digits of its SHA-256.
func KeyID(public []byte) string {
	sum := sha256.Sum256(public)
	return hex.EncodeToString(sum[:8])
}

// Stands reports whether the person may act.
func (p Person) Stands() bool { return p.ID != "" }

// Has reports whether the person has one of these roles.
func (p Person) Has(roles ...memberv1.Role) bool {
	return slices.ContainsFunc(roles, func(r memberv1.Role) bool { return slices.Contains(p.Roles, r) })
}

// NewPerson is what is said of a person who is added. KeyOwner is the person who has
// the key already, if anyone has: the caller looks it up.
type NewPerson struct {
	ID, Label string
	Key       []byte
	KeyOwner  string
	Roles     []memberv1.Role
}

// Add adds the person to a member, with a key and roles (rules 1 to 4, and 6).
func (p Person) Add(m Member, n NewPerson) ([]*memberv1.Event, error) {
	if p.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: p.ID, Rule: "a person is added once", Hint: "use the one that is there"}
	}
	if !m.Stands() {
		return nil, notAdmitted("member_id", m.ID)
	}
	var broken rule.All
	broken.Text("label", n.Label, 40)
	if len(n.Roles) == 0 {
		broken.Add(rule.Broken{Reason: rule.NotAnswered, Field: "roles", Value: "empty", Rule: "a person has at least one role", Hint: "name one that the member has"})
	}
	checkRoles(&broken, n.Roles)
	checkKey(&broken, n.Key, n.KeyOwner)
	checkApart(&broken, "roles", n.Roles)
	for i, r := range n.Roles {
		checkHas(&broken, fmt.Sprintf("roles[%d]", i), m, r)
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	events := []*memberv1.Event{
		{Event: &memberv1.Event_PersonAdded{PersonAdded: &memberv1.PersonAdded{
			Public:  &memberv1.PersonAdded_Public{PersonId: n.ID},
			Private: &memberv1.PersonAdded_Private{MemberId: m.ID, Label: n.Label},
		}}},
		keyAdded(n.ID, n.Key),
	}
	for _, r := range n.Roles {
		events = append(events, roleGranted(n.ID, m.ID, r))
	}
	return events, nil
}

// Grant gives the person one more role for their member (rules 2, 5 and 6). by is the
// person who grants it.
func (p Person) Grant(by string, m Member, role memberv1.Role) (*memberv1.Event, error) {
	if !p.Stands() {
		return nil, rule.NotThere("person_id", "person")
	}
	if !m.Stands() || m.ID != p.MemberID {
		return nil, notAdmitted("member_id", m.ID)
	}
	var broken rule.All
	if by == p.ID {
		broken.Add(rule.Broken{Reason: rule.OwnRole, Field: "person_id", Value: p.ID, Rule: "nobody grants a role to themselves", Hint: "ask another registrar"})
	}
	broken.Answered("role", int32(role), memberv1.Role_name)
	checkApart(&broken, "role", append(slices.Clone(p.Roles), role))
	checkHas(&broken, "role", m, role)
	if p.Has(role) {
		broken.Add(rule.Broken{Reason: rule.AlreadyThere, Field: "role", Value: role.String(), Rule: "the person has this role", Hint: "nothing needs to be done"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return roleGranted(p.ID, m.ID, role), nil
}

// AddKey gives the person one more key (rules 3 and 4). owner is the person who has
// it already, if anyone has.
func (p Person) AddKey(key []byte, owner string) (*memberv1.Event, error) {
	if !p.Stands() {
		return nil, rule.NotThere("person_id", "person")
	}
	var broken rule.All
	checkKey(&broken, key, owner)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return keyAdded(p.ID, key), nil
}

func notAdmitted(field, id string) rule.Broken {
	return rule.Broken{Reason: rule.MemberNotThere, Field: field, Value: id, Rule: "no member with this id was admitted", Hint: "admit the member first"}
}

func checkHas(broken *rule.All, field string, m Member, role memberv1.Role) {
	if _, known := memberv1.Role_name[int32(role)]; known && role != 0 && !m.Has(role) {
		broken.Add(rule.Broken{
			Reason: rule.RoleNotOfMember, Field: field, Value: role.String(),
			Rule: "a person has only roles that the member has", Hint: fmt.Sprintf("choose from %v", m.Roles),
		})
	}
}

// checkApart holds rule 6.
func checkApart(broken *rule.All, field string, roles []memberv1.Role) {
	if !slices.Contains(roles, memberv1.Role_ROLE_REGISTRAR) {
		return
	}
	for _, r := range []memberv1.Role{memberv1.Role_ROLE_BOOKKEEPER, memberv1.Role_ROLE_APPROVER} {
		if slices.Contains(roles, r) {
			broken.Add(rule.Broken{
				Reason: rule.RolesApart, Field: field, Value: fmt.Sprintf("%v and %v", memberv1.Role_ROLE_REGISTRAR, r),
				Rule: "a registrar neither records money nor approves it", Hint: "add another person for one of the two",
			})
		}
	}
}

func checkKey(broken *rule.All, key []byte, owner string) {
	switch {
	case len(key) != KeySize:
		broken.Add(rule.Broken{
			Reason: rule.KeyInvalid, Field: "public_key", Value: fmt.Sprintf("%d bytes", len(key)),
			Rule: "an Ed25519 public key has 32 bytes", Hint: "give the raw key, not a file around it",
		})
	case owner != "":
		broken.Add(rule.Broken{
			Reason: rule.KeyTaken, Field: "public_key", Value: KeyID(key),
			Rule: "a key belongs to one person", Hint: "make a new key for this person",
		})
	}
}

func keyAdded(person string, key []byte) *memberv1.Event {
	return &memberv1.Event{Event: &memberv1.Event_KeyAdded{KeyAdded: &memberv1.KeyAdded{
		Public:  &memberv1.KeyAdded_Public{PersonId: person},
		Private: &memberv1.KeyAdded_Private{KeyId: KeyID(key), PublicKey: slices.Clone(key)},
	}}}
}

func roleGranted(person, member string, role memberv1.Role) *memberv1.Event {
	return &memberv1.Event{Event: &memberv1.Event_RoleGranted{RoleGranted: &memberv1.RoleGranted{
		Public:  &memberv1.RoleGranted_Public{PersonId: person},
		Private: &memberv1.RoleGranted_Private{MemberId: member, Role: role},
	}}}
}

// EvolvePerson folds one event.
func EvolvePerson(p Person, e *memberv1.Event) Person {
	switch e := e.GetEvent().(type) {
	case *memberv1.Event_PersonAdded:
		p.ID = e.PersonAdded.GetPublic().GetPersonId()
		p.MemberID = e.PersonAdded.GetPrivate().GetMemberId()
		p.Label = e.PersonAdded.GetPrivate().GetLabel()
	case *memberv1.Event_KeyAdded:
		k := e.KeyAdded.GetPrivate()
		p.Keys = append(slices.Clip(p.Keys), Key{ID: k.GetKeyId(), Public: k.GetPublicKey()})
	case *memberv1.Event_RoleGranted:
		p.Roles = append(slices.Clip(p.Roles), e.RoleGranted.GetPrivate().GetRole())
	}
	return p
}
