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

// Person acts for one member or several. Rules:
//
//  1. A person is added once, to a member that was admitted, with a label for the books.
//  2. A person has only roles that the member has, each once; a role that the member lost counts no more.
//  3. A key is an Ed25519 public key.
//  4. A key belongs to one person, for ever.
//  5. A person is suspended, reinstated and removed as a member is, never by themselves.
//  6. A person adds keys to themselves only. A key is revoked once. One that was lost or revoked is replaced by two:
//     a registrar asks, a second person confirms; neither is the key's owner, and both were stated to be two people.
//  7. That two persons are two people is stated by a third, who let in neither of them: who added a person, or had a
//     part in the replacement of a key of theirs, may hold the key themselves.
//  8. What is personal stands sealed under the person's own key; after the erasure nothing more is sealed.
//  9. Nobody grants a role to themselves.
//  10. A registrar, who says who is here, neither records money nor approves it, for whichever members: one person
//     alone could otherwise let in a member and pay them.
type Person struct {
	ID          string
	MemberID    string // the member they were added to
	Label       string
	Standing    Standing
	Memberships []Membership // those with a role, oldest first
	Keys        []Key
	// NotThem are the persons who were stated to be another than this one.
	NotThem []string
	// LetInBy are the persons who added this one or replaced a key of theirs.
	LetInBy []string
	Sealed  []Sealed // the newest of each field
	Erased  bool
}

// Membership is what a person does for one member.
type Membership struct {
	MemberID string
	Roles    []memberv1.Role // never empty, never changed
}

// Key is what a person signs in with.
type Key struct {
	ID     string // KeyID of Public
	Public []byte // never changed
	Stage  KeyStage
	// New is the key that shall take this one's place, while a second person's word
	// is waited for, and AskedBy who asked for it.
	New     []byte
	AskedBy string
}

// KeyStage is where a key stands.
type KeyStage int

// The stages of a key; the zero KeyStage is one that isn't there.
const (
	KeyInUse    KeyStage = iota + 1
	KeyRevoked           // for good
	KeyLost              // revoked, and its replacement waits for a second person
	KeyReplaced          // revoked, and another took its place
)

// String is the stage as people say it.
func (s KeyStage) String() string {
	switch s {
	case KeyInUse:
		return "in use"
	case KeyRevoked:
		return "revoked"
	case KeyLost:
		return "lost"
	case KeyReplaced:
		return "replaced"
	}
	return ""
}

// KeyID names a key: the first 16 hex digits of its SHA-256.
func KeyID(public []byte) string {
	sum := sha256.Sum256(public)
	return hex.EncodeToString(sum[:8])
}

// Stands reports whether the person may act.
func (p Person) Stands() bool { return p.Standing == Admitted }

// In lists what the person may do for a member: their roles that the member has.
func (p Person) In(m Member) (roles []memberv1.Role) {
	for _, r := range p.For(m.ID).Roles {
		if m.Has(r) {
			roles = append(roles, r)
		}
	}
	return roles
}

// Has reports whether the person may act for the member in one of these roles.
func (p Person) Has(m Member, roles ...memberv1.Role) bool {
	return slices.ContainsFunc(p.In(m), func(r memberv1.Role) bool { return slices.Contains(roles, r) })
}

// For is what the person was given to do for a member; the zero value where nothing.
func (p Person) For(memberID string) Membership {
	if i := p.membership(memberID); i >= 0 {
		return p.Memberships[i]
	}
	return Membership{}
}

// ActsFor reports whether the person has any role for a member.
func (p Person) ActsFor(memberID string) bool { return p.membership(memberID) >= 0 }

func (p Person) membership(memberID string) int {
	return slices.IndexFunc(p.Memberships, func(m Membership) bool { return m.MemberID == memberID })
}

// SignsWith reports whether a key of the person is in use.
func (p Person) SignsWith(keyID string) bool {
	k, ok := p.Key(keyID)
	return ok && k.Stage == KeyInUse
}

// Key finds a key of the person.
func (p Person) Key(keyID string) (Key, bool) {
	i := slices.IndexFunc(p.Keys, func(k Key) bool { return k.ID == keyID })
	if i < 0 {
		return Key{}, false
	}
	return p.Keys[i], true
}

// NewPerson is what is said of a person who is added. KeyOwner is the person who has
// the key already, if anyone has: the caller looks it up.
type NewPerson struct {
	ID, Label string
	Key       []byte
	KeyOwner  string
	Roles     []memberv1.Role
	By        string // the person who adds them; empty at the founding
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
			Private: &memberv1.PersonAdded_Private{MemberId: m.ID, Label: n.Label, AddedBy: n.By},
		}}},
		keyAdded(n.ID, n.Key),
	}
	for _, r := range n.Roles {
		events = append(events, roleGranted(n.ID, m.ID, r))
	}
	return events, nil
}

// Grant gives the person one more role, for the member they were added to or another
// (rules 2, 9 and 10). by is the person who grants it.
func (p Person) Grant(by string, m Member, role memberv1.Role) (*memberv1.Event, error) {
	if p.ID == "" {
		return nil, rule.NotThere("person_id", "person")
	}
	if err := p.Standing.needs("person", Admitted); err != nil {
		return nil, err
	}
	if !m.Stands() {
		return nil, notAdmitted("member_id", m.ID)
	}
	var broken rule.All
	if by == p.ID {
		broken.Add(rule.Broken{Reason: rule.OwnRole, Field: "person_id", Value: p.ID, Rule: "nobody grants a role to themselves", Hint: "ask another registrar"})
	}
	broken.Answered("role", int32(role), memberv1.Role_name)
	checkApart(&broken, "role", append(p.allRoles(), role))
	checkHas(&broken, "role", m, role)
	if slices.Contains(p.For(m.ID).Roles, role) {
		broken.Add(rule.Broken{Reason: rule.AlreadyThere, Field: "role", Value: role.String(), Rule: "the person has this role", Hint: "nothing needs to be done"})
	}
	if len(p.Memberships) >= maxMemberships && !p.ActsFor(m.ID) {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "member_id", Value: fmt.Sprint(len(p.Memberships)), Rule: fmt.Sprintf("a person acts for at most %d members", maxMemberships), Hint: "take another person"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return roleGranted(p.ID, m.ID, role), nil
}

const (
	maxMemberships = 50
	maxKeys        = 50
)

// Revoke takes a role for a member from the person.
func (p Person) Revoke(memberID string, role memberv1.Role, reason string) (*memberv1.Event, error) {
	if p.ID == "" {
		return nil, rule.NotThere("person_id", "person")
	}
	var broken rule.All
	broken.Text("reason", reason, 200)
	if !slices.Contains(p.For(memberID).Roles, role) {
		broken.Add(rule.Broken{Reason: rule.RoleNotThere, Field: "role", Value: role.String(), Rule: "the person doesn't have this role for this member", Hint: "look which roles they have"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_RoleRevoked{RoleRevoked: &memberv1.RoleRevoked{
		Public:  &memberv1.RoleRevoked_Public{PersonId: p.ID},
		Private: &memberv1.RoleRevoked_Private{MemberId: memberID, Role: role, Reason: reason},
	}}}, nil
}

// AddKey gives the person one more key (rules 3, 4 and 6). owner is the person who has
// it already, if anyone has; by is the person who adds it.
func (p Person) AddKey(key []byte, owner, by string) (*memberv1.Event, error) {
	if p.ID != by { // so too where there is nobody: an id tells nothing
		return nil, rule.Broken{
			Reason: rule.KeyNotYours, Field: "person_id",
			Rule: "you are nobody with this id, and a person adds keys to themselves only", Hint: "where they lost theirs, let a registrar ask for a replacement and a second person confirm it",
		}
	}
	if err := p.Standing.needs("person", Admitted); err != nil {
		return nil, err
	}
	var broken rule.All
	p.checkKeys(&broken)
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

// allRoles are the person's for all members together.
func (p Person) allRoles() (roles []memberv1.Role) {
	for _, m := range p.Memberships {
		roles = append(roles, m.Roles...)
	}
	return roles
}

// checkApart holds rule 10.
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

// checkKeys refuses one key more than a person may have.
func (p Person) checkKeys(broken *rule.All) {
	if len(p.Keys) >= maxKeys {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "public_key", Value: fmt.Sprint(len(p.Keys)), Rule: fmt.Sprintf("a person has at most %d keys, revoked ones counted", maxKeys), Hint: "add a new person"})
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
		p.ID, p.Standing = e.PersonAdded.GetPublic().GetPersonId(), Admitted
		p.MemberID = e.PersonAdded.GetPrivate().GetMemberId()
		p.Label = e.PersonAdded.GetPrivate().GetLabel()
		p = p.letIn(e.PersonAdded.GetPrivate().GetAddedBy())
	case *memberv1.Event_KeyAdded:
		k := e.KeyAdded.GetPrivate()
		p.Keys = append(slices.Clip(p.Keys), Key{ID: k.GetKeyId(), Public: k.GetPublicKey(), Stage: KeyInUse})
	case *memberv1.Event_RoleGranted:
		p = p.granted(e.RoleGranted.GetPrivate().GetMemberId(), e.RoleGranted.GetPrivate().GetRole())
	case *memberv1.Event_RoleRevoked:
		p = p.revoked(e.RoleRevoked.GetPrivate().GetMemberId(), e.RoleRevoked.GetPrivate().GetRole())
	case *memberv1.Event_PersonSuspended:
		p.Standing = Suspended
	case *memberv1.Event_PersonReinstated:
		p.Standing = Admitted
	case *memberv1.Event_PersonRemoved:
		p.Standing = Removed
	case *memberv1.Event_TwoPeopleStated:
		p.NotThem = append(slices.Clip(p.NotThem), e.TwoPeopleStated.GetPrivate().GetOtherPersonId())
	case *memberv1.Event_PersonalSealed:
		p = p.sealed(e.PersonalSealed.GetPrivate())
	case *memberv1.Event_PersonErased:
		p.Sealed, p.Erased = nil, true
	default:
		p = evolveKey(p, e)
	}
	return p
}

func (p Person) letIn(by string) Person {
	if by != "" && !slices.Contains(p.LetInBy, by) {
		p.LetInBy = append(slices.Clip(p.LetInBy), by)
	}
	return p
}

func (p Person) granted(memberID string, role memberv1.Role) Person {
	p.Memberships = slices.Clone(p.Memberships)
	i := p.membership(memberID)
	if i < 0 {
		i = len(p.Memberships)
		p.Memberships = append(p.Memberships, Membership{MemberID: memberID})
	}
	p.Memberships[i].Roles = append(slices.Clip(p.Memberships[i].Roles), role)
	return p
}

func (p Person) revoked(memberID string, role memberv1.Role) Person {
	i := p.membership(memberID)
	if i < 0 {
		return p
	}
	p.Memberships = slices.Clone(p.Memberships)
	left := slices.DeleteFunc(slices.Clone(p.Memberships[i].Roles), func(r memberv1.Role) bool { return r == role })
	if p.Memberships[i].Roles = left; len(left) == 0 {
		p.Memberships = slices.Delete(p.Memberships, i, i+1)
	}
	return p
}
