package view

import (
	"slices"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/eventstore"
)

// Members is who and what the co-op knows: itself, members, fields, keys and claims.
//
//	coop                      → id, name, time zone
//	member, id                → trading name, roles
//	admitted, position        → member id
//	field, position           → id, name, country
//	key, key id               → person id
//	claim, miner id, claim id → field id, name
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
}

// Apply implements eventstore.View.
func (Members) Apply(rows eventstore.Rows, rec eventstore.Record) error {
	event, ok := rec.Event.(*memberv1.Event)
	if !ok {
		return nil
	}
	switch e := event.Event.(type) {
	case *memberv1.Event_CoopFounded:
		p := e.CoopFounded.GetPublic()
		rows.Set(key("coop"), row{}.text(p.GetCoopId()).text(p.GetName()).text(p.GetTimeZone()))
	case *memberv1.Event_FieldRecorded:
		p := e.FieldRecorded.GetPublic()
		rows.Set(key("field", placeOf(rec.Position)), row{}.text(p.GetFieldId()).text(p.GetName()).text(p.GetCountry()))
	case *memberv1.Event_MemberAdmitted:
		p := e.MemberAdmitted.GetPublic()
		value := row{}.text(p.GetTradingName()).count(len(e.MemberAdmitted.GetPrivate().GetRoles()))
		for _, role := range e.MemberAdmitted.GetPrivate().GetRoles() {
			value = value.num(uint64(role))
		}
		rows.Set(key("member", p.GetMemberId()), value)
		rows.Set(key("admitted", placeOf(rec.Position)), row{}.text(p.GetMemberId()))
	case *memberv1.Event_KeyAdded:
		rows.Set(key("key", e.KeyAdded.GetPrivate().GetKeyId()), row{}.text(e.KeyAdded.GetPublic().GetPersonId()))
	case *memberv1.Event_ClaimRecorded:
		pub, priv := e.ClaimRecorded.GetPublic(), e.ClaimRecorded.GetPrivate()
		rows.Set(key("claim", priv.GetMemberId(), pub.GetClaimId()), row{}.text(pub.GetFieldId()).text(priv.GetName()))
	}
	return nil
}

// CoOp is the co-operative; zero before it is founded.
func (Members) CoOp(r eventstore.Reader) (CoOp, error) {
	value, err := r.Get(key("coop"))
	if err != nil || value == nil {
		return CoOp{}, err
	}
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
		f := read(value)
		id := f.text()
		if err := f.done("members", "member's place"); err != nil {
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
		f := read(value)
		fields = append(fields, Field{ID: f.text(), Name: f.text(), Country: f.text()})
		return f.done("members", "field")
	})
	return fields, next, err
}

// PersonByKey is the person that a key belongs to; empty: nobody's.
func (Members) PersonByKey(r eventstore.Reader, keyID string) (string, error) {
	value, err := r.Get(key("key", keyID))
	if err != nil || value == nil {
		return "", err
	}
	f := read(value)
	id := f.text()
	return id, f.done("members", "key")
}

// Claims gives a miner's claims, oldest first.
func (Members) Claims(r eventstore.Reader, minerID, after string, limit int) (claims []Claim, next string, err error) {
	next, err = page(r, table("claim", minerID), after, limit, func(id string, value []byte) error {
		f := read(value)
		claims = append(claims, Claim{ID: id, FieldID: f.text(), Name: f.text()})
		return f.done("members", "claim")
	})
	return claims, next, err
}
