package view

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/member"
)

// Members is who and what the co-op knows: itself, members, fields, keys and claims.
//
//	coop                      → id, name, time zone
//	member, id                → trading name, roles
//	admitted, position        → member id
//	field, position           → id, name, country
//	named, folded name        → id and name of the field
//	key, key id               → person id
//	lost, person id, key id     while its replacement waits for a second person
//	bank, person id, member id  whose bank details were ever sealed under the person's key
//	erased, person id         → the position of the erasure
//	erasure, position         → the person who was erased
//	claim, miner id, claim id → field id, name, whether it is closed
//	worked, miner id, field id, folded name → id and name of the claim, while it is worked
type Members struct{}

// Name implements eventstore.View.
func (Members) Name() string { return "members" }

// Version implements eventstore.View.
func (Members) Version() uint32 { return 1 }

// CoOp is the co-operative itself.
type CoOp struct {
	ID, Name string
	TimeZone string // an IANA name
}

// Member is a business that trades here.
type Member struct {
	ID          string
	TradingName string
	Roles       []memberv1.Role
}

// Has says whether persons of the member may be given the role.
func (m Member) Has(role memberv1.Role) bool { return slices.Contains(m.Roles, role) }

// Field is an opal field.
type Field struct {
	ID, Name, Country string
}

// Claim is a miner's claim on a field.
type Claim struct {
	ID, FieldID, Name string
	Closed            bool
}

// Apply implements eventstore.View.
func (v Members) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	event, ok := rec.Event.(*memberv1.Event)
	if !ok {
		return nil
	}
	switch e := event.Event.(type) {
	case *memberv1.Event_CoopFounded:
		p := e.CoopFounded.GetPublic()
		rows.Set(key("coop"), CoOp{p.GetCoopId(), p.GetName(), p.GetTimeZone()}.row())
	case *memberv1.Event_FieldRecorded:
		p := e.FieldRecorded.GetPublic()
		rows.Set(key("field", placeOf(rec.Position)), Field{p.GetFieldId(), p.GetName(), p.GetCountry()}.row())
		rows.Set(key("named", member.Folded(p.GetName())), namedRow(p.GetFieldId(), p.GetName()))
	case *memberv1.Event_MemberAdmitted:
		p := e.MemberAdmitted.GetPublic()
		rows.Set(key("member", p.GetMemberId()), Member{TradingName: p.GetTradingName(), Roles: e.MemberAdmitted.GetPrivate().GetRoles()}.row())
		rows.Set(key("admitted", placeOf(rec.Position)), row{}.text(p.GetMemberId()))
	case *memberv1.Event_KeyAdded:
		rows.Set(key("key", e.KeyAdded.GetPrivate().GetKeyId()), row{}.text(e.KeyAdded.GetPublic().GetPersonId()))
	case *memberv1.Event_KeyReplacementConfirmed:
		k := e.KeyReplacementConfirmed
		rows.Delete(key("lost", k.GetPublic().GetPersonId(), k.GetPrivate().GetLostKeyId()))
		rows.Set(key("key", member.KeyID(k.GetPrivate().GetPublicKey())), row{}.text(k.GetPublic().GetPersonId()))
	case *memberv1.Event_KeyReplacementRefused:
		rows.Delete(key("lost", e.KeyReplacementRefused.GetPublic().GetPersonId(), e.KeyReplacementRefused.GetPrivate().GetLostKeyId()))
	case *memberv1.Event_MemberRolesSet:
		id := e.MemberRolesSet.GetPublic().GetMemberId()
		m, _, err := v.Member(rows, id)
		if err != nil {
			return err
		}
		m.Roles = e.MemberRolesSet.GetPrivate().GetRoles()
		rows.Set(key("member", id), m.row())
	case *memberv1.Event_BankDetailsSealed:
		rows.Set(key("bank", e.BankDetailsSealed.GetPrivate().GetPersonId(), e.BankDetailsSealed.GetPublic().GetMemberId()), present)
	case *memberv1.Event_PersonErased:
		person := e.PersonErased.GetPublic().GetPersonId()
		rows.Set(key("erased", person), row{}.num(uint64(rec.Position)))
		rows.Set(key("erasure", placeOf(rec.Position)), row{}.text(person))
	case *memberv1.Event_KeyReplacementAsked:
		rows.Set(key("lost", e.KeyReplacementAsked.GetPublic().GetPersonId(), e.KeyReplacementAsked.GetPrivate().GetLostKeyId()), present)
	case *memberv1.Event_ClaimRecorded:
		pub, priv := e.ClaimRecorded.GetPublic(), e.ClaimRecorded.GetPrivate()
		rows.Set(key("claim", priv.GetMemberId(), pub.GetClaimId()), Claim{FieldID: pub.GetFieldId(), Name: priv.GetName()}.row())
		rows.Set(key("worked", priv.GetMemberId(), pub.GetFieldId(), member.Folded(priv.GetName())), namedRow(pub.GetClaimId(), priv.GetName()))
	case *memberv1.Event_ClaimClosed:
		return v.claimClosed(rows, event, e.ClaimClosed)
	}
	return nil
}

// Erased gives the persons whose erasures were recorded after a position, in their
// order. One whose erasure stands in several streams is named for each.
func (Members) Erased(r eventstore.Reader, after eventstore.Position, limit int) (persons []string, last eventstore.Position, err error) {
	_, err = page(r, table("erasure"), placeOf(after), limit, func(place string, value []byte) error {
		at, err := strconv.ParseUint(place, 16, 64)
		if err != nil {
			return fmt.Errorf("%w: view members has an erasure at %q", eventstore.ErrCorrupt, place)
		}
		person, err := readText("members", "erased person", value)
		persons, last = append(persons, person), eventstore.Position(at)
		return err
	})
	return persons, last, err
}

// BanksUnder are the members whose bank details were ever sealed under a person's key.
func (Members) BanksUnder(r eventstore.Reader, person string) (members []string, err error) {
	for after, more := "", true; more; more = after != "" {
		var some []string
		if some, after, err = ids(r, table("bank", person), after, MaxPage); err != nil {
			return nil, err
		}
		members = append(members, some...)
	}
	return members, nil
}

// ErasedAt is the position of a person's erasure; 0: none.
func (Members) ErasedAt(r eventstore.Reader, person string) (eventstore.Position, error) {
	value, err := r.Get(key("erased", person))
	if err != nil {
		return 0, err
	}
	at, err := readNum("members", "erasure", value)
	return eventstore.Position(at), err
}

// LostKey is a key whose replacement waits for a second person.
type LostKey struct{ PersonID, KeyID string }

// LostKeys gives the first keys whose replacement waits, at most limit.
func (Members) LostKeys(r eventstore.Reader, limit int) (keys []LostKey, err error) {
	_, err = page(r, table("lost"), "", limit, func(rest string, _ []byte) error {
		person, id, _ := strings.Cut(rest, "\x00")
		keys = append(keys, LostKey{person, id})
		return nil
	})
	return keys, err
}

func (v Members) claimClosed(rows eventstore.Rows, event *memberv1.Event, e *memberv1.ClaimClosed) error {
	k := key("claim", e.GetPrivate().GetMemberId(), e.GetPublic().GetClaimId())
	value, err := rows.Get(k)
	if err != nil {
		return err
	}
	if value == nil {
		return unexpected(v.Name(), event, "claim %s was never recorded", e.GetPublic().GetClaimId())
	}
	claim, err := readClaim(e.GetPublic().GetClaimId(), value)
	if err != nil {
		return err
	}
	claim.Closed = true
	rows.Set(k, claim.row())
	rows.Delete(key("worked", e.GetPrivate().GetMemberId(), claim.FieldID, member.Folded(claim.Name)))
	return nil
}

// CoOp is the co-operative; zero before it is founded.
func (Members) CoOp(r eventstore.Reader) (CoOp, error) {
	value, err := r.Get(key("coop"))
	if err != nil || value == nil {
		return CoOp{}, err
	}
	return readCoOp(value)
}

func (c CoOp) row() row { return row{}.text(c.ID).text(c.Name).text(c.TimeZone) }

func readCoOp(value []byte) (CoOp, error) {
	f := read(value)
	c := CoOp{ID: f.text(), Name: f.text(), TimeZone: f.text()}
	return c, f.done("members", "co-op")
}

// Member finds a member.
func (Members) Member(r eventstore.Reader, id string) (m Member, ok bool, err error) {
	value, err := r.Get(key("member", id))
	if err != nil || value == nil {
		return Member{}, false, err
	}
	m, err = readMember(id, value)
	return m, err == nil, err
}

func (m Member) row() row {
	r := row{}.text(m.TradingName).count(len(m.Roles))
	for _, role := range m.Roles {
		r = r.num(uint64(role))
	}
	return r
}

func readMember(id string, value []byte) (Member, error) {
	f := read(value)
	m := Member{ID: id, TradingName: f.text()}
	for range f.count() {
		m.Roles = append(m.Roles, memberv1.Role(f.code()))
	}
	return m, f.done("members", "member")
}

// List gives members in the order of their admission. after is the next of the page
// before.
func (v Members) List(r eventstore.Reader, after string, limit int) (members []Member, next string, err error) {
	next, err = page(r, table("admitted"), after, limit, func(_ string, value []byte) error {
		id, err := readText("members", "member's place", value)
		if err != nil {
			return err
		}
		m, _, err := v.Member(r, id)
		members = append(members, m)
		return err
	})
	return members, next, err
}

// Fields gives the opal fields in the order in which they were recorded.
func (Members) Fields(r eventstore.Reader, after string, limit int) (fields []Field, next string, err error) {
	next, err = page(r, table("field"), after, limit, func(_ string, value []byte) error {
		f, err := readField(value)
		fields = append(fields, f)
		return err
	})
	return fields, next, err
}

func (f Field) row() row { return row{}.text(f.ID).text(f.Name).text(f.Country) }

func readField(value []byte) (Field, error) {
	f := read(value)
	field := Field{ID: f.text(), Name: f.text(), Country: f.text()}
	return field, f.done("members", "field")
}

// FieldNamed finds the field of a name, written in any way that reads the same.
func (Members) FieldNamed(r eventstore.Reader, name string) (f Field, ok bool, err error) {
	f.ID, f.Name, ok, err = named(r, key("named", member.Folded(name)))
	return f, ok, err
}

// WorkedClaim finds the claim of a name that a miner works on a field.
func (Members) WorkedClaim(r eventstore.Reader, minerID, fieldID, name string) (c Claim, ok bool, err error) {
	c.FieldID = fieldID
	c.ID, c.Name, ok, err = named(r, key("worked", minerID, fieldID, member.Folded(name)))
	return c, ok, err
}

func named(r eventstore.Reader, at []byte) (id, name string, ok bool, err error) {
	value, err := r.Get(at)
	if err != nil || value == nil {
		return "", "", false, err
	}
	id, name, err = readNamed(value)
	return id, name, err == nil, err
}

func namedRow(id, name string) row { return row{}.text(id).text(name) }

func readNamed(value []byte) (id, name string, err error) {
	f := read(value)
	id, name = f.text(), f.text()
	return id, name, f.done("members", "name")
}

// PersonByKey is the person that a key belongs to; empty: nobody's.
func (Members) PersonByKey(r eventstore.Reader, keyID string) (string, error) {
	value, err := r.Get(key("key", keyID))
	if err != nil {
		return "", err
	}
	return readText("members", "key", value)
}

// Claims gives a miner's claims, oldest first.
func (Members) Claims(r eventstore.Reader, minerID, after string, limit int) (claims []Claim, next string, err error) {
	next, err = page(r, table("claim", minerID), after, limit, func(id string, value []byte) error {
		c, err := readClaim(id, value)
		claims = append(claims, c)
		return err
	})
	return claims, next, err
}

func (c Claim) row() row { return row{}.text(c.FieldID).text(c.Name).flag(c.Closed) }

func readClaim(id string, value []byte) (Claim, error) {
	f := read(value)
	c := Claim{ID: id, FieldID: f.text(), Name: f.text(), Closed: f.flag()}
	return c, f.done("members", "claim")
}
