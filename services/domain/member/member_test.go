package member_test

import (
	"bytes"
	"slices"
	"testing"
	"time"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

var (
	cutting = []memberv1.Role{memberv1.Role_ROLE_CUTTER, memberv1.Role_ROLE_MINER}
	key     = bytes.Repeat([]byte{7}, member.KeySize)
)

func admitted(t *testing.T, roles ...memberv1.Role) member.Member {
	t.Helper()
	e, err := member.Member{}.Admit("m1", "Wet Wheel Workshop", roles)
	if err != nil {
		t.Fatal(err)
	}
	return member.EvolveMember(member.Member{}, e)
}

func TestCoop(t *testing.T) {
	founded, err := member.Coop{}.Found("two-fields", "Two Fields Opal Co-operative", time.UTC, 50_000)
	if err != nil {
		t.Fatal(err)
	}
	c := member.EvolveCoop(member.Coop{}, founded)
	t.Run("rule 1 refused: founded twice", func(t *testing.T) {
		_, err := c.Found("other", "Other", time.UTC, 0)
		ruletest.Refused(t, err, rule.AlreadyThere, "")
	})
	t.Run("rule 1 refused: without a name", func(t *testing.T) {
		_, err := member.Coop{}.Found("x", " ", time.UTC, 0)
		ruletest.Refused(t, err, rule.FieldInvalid, "name")
	})
	t.Run("rule 2 refused: tolerance below zero", func(t *testing.T) {
		_, err := member.Coop{}.Found("x", "X", time.UTC, -1)
		ruletest.Refused(t, err, rule.MassInvalid, "unexplained_ug_per_100g")
	})
	t.Run("OK: each 100 g begun counts", func(t *testing.T) {
		for bought, want := range map[int64]int64{76_400_000: 50_000, 100_000_000: 50_000, 185_760_000: 100_000, 0: 0} {
			if got := c.SettingsAt(time.Time{}).ToleranceUg(bought); got != want {
				t.Errorf("tolerance of %d µg is %d, want %d", bought, got, want)
			}
		}
	})
}

func TestMember(t *testing.T) {
	m := admitted(t, cutting...)
	t.Run("rule 1 refused: admitted twice", func(t *testing.T) {
		_, err := m.Admit("m1", "Again", cutting)
		ruletest.Refused(t, err, rule.AlreadyThere, "")
	})
	t.Run("rule 1 refused: without a trading name", func(t *testing.T) {
		_, err := member.Member{}.Admit("m2", "", cutting)
		ruletest.Refused(t, err, rule.FieldInvalid, "trading_name")
	})
	t.Run("rule 2 refused: no role, an unknown role, a role twice", func(t *testing.T) {
		_, err := member.Member{}.Admit("m2", "M", nil)
		ruletest.Refused(t, err, rule.NotAnswered, "roles")
		_, err = member.Member{}.Admit("m2", "M", []memberv1.Role{99})
		ruletest.Refused(t, err, rule.NotAnswered, "roles[0]")
		_, err = member.Member{}.Admit("m2", "M", []memberv1.Role{1, 1})
		ruletest.Refused(t, err, rule.NamedTwice, "roles[1]")
	})
}

func TestPerson(t *testing.T) {
	m := admitted(t, cutting...)
	n := member.NewPerson{ID: "p1", Label: "desk 1", Key: key, Roles: cutting[:1]}
	events, err := member.Person{}.Add(m, n)
	if err != nil {
		t.Fatal(err)
	}
	var p member.Person
	for _, e := range events {
		p = member.EvolvePerson(p, e)
	}
	t.Run("OK: has its role, key and member", func(t *testing.T) {
		if !p.Has(m, memberv1.Role_ROLE_CUTTER) || p.Has(m, memberv1.Role_ROLE_MINER) || p.MemberID != "m1" || p.Keys[0].ID != member.KeyID(key) {
			t.Errorf("got %+v", p)
		}
	})
	t.Run("rule 1 refused: to a member that isn't there, twice, without a label", func(t *testing.T) {
		_, err := member.Person{}.Add(member.Member{}, n)
		ruletest.Refused(t, err, rule.MemberNotThere, "member_id")
		_, err = p.Add(m, n)
		ruletest.Refused(t, err, rule.AlreadyThere, "")
		bare := n
		bare.Label = ""
		_, err = member.Person{}.Add(m, bare)
		ruletest.Refused(t, err, rule.FieldInvalid, "label")
	})
	t.Run("rule 2 refused: a role that the member hasn't, or that the person has", func(t *testing.T) {
		other := n
		other.Roles = []memberv1.Role{memberv1.Role_ROLE_REGISTRAR}
		_, err := member.Person{}.Add(m, other)
		ruletest.Refused(t, err, rule.RoleNotOfMember, "roles[0]")
		_, err = p.Grant("p9", m, memberv1.Role_ROLE_REGISTRAR)
		ruletest.Refused(t, err, rule.RoleNotOfMember, "role")
		_, err = p.Grant("p9", m, memberv1.Role_ROLE_CUTTER)
		ruletest.Refused(t, err, rule.AlreadyThere, "role")
		_, err = p.Grant("p9", member.Member{}, memberv1.Role_ROLE_MINER)
		ruletest.Refused(t, err, rule.MemberNotThere, "member_id")
	})
	t.Run("rule 2 OK: one more role of the member", func(t *testing.T) {
		e, err := p.Grant("p9", m, memberv1.Role_ROLE_MINER)
		if err != nil || !member.EvolvePerson(p, e).Has(m, memberv1.Role_ROLE_MINER) {
			t.Errorf("got %v, %v", e, err)
		}
	})
	t.Run("rule 3 refused: no Ed25519 key", func(t *testing.T) {
		short := n
		short.Key = key[:31]
		_, err := member.Person{}.Add(m, short)
		ruletest.Refused(t, err, rule.KeyInvalid, "public_key")
	})
	t.Run("rule 4 refused: another person's key", func(t *testing.T) {
		taken := n
		taken.KeyOwner = "p9"
		_, err := member.Person{}.Add(m, taken)
		ruletest.Refused(t, err, rule.KeyTaken, "public_key")
		_, err = p.AddKey(bytes.Repeat([]byte{8}, 32), "p9", "p1")
		ruletest.Refused(t, err, rule.KeyTaken, "public_key")
	})
	t.Run("OK: keeps every role and key, and folding aliases nothing", func(t *testing.T) {
		all := []memberv1.Role{1, 2, 3, 4, 5}
		n := n
		n.Roles = all
		events, err := member.Person{}.Add(admitted(t, all...), n)
		if err != nil {
			t.Fatal(err)
		}
		for i := range byte(4) {
			more, err := p.AddKey(bytes.Repeat([]byte{20 + i}, 32), "", "p1")
			if err != nil {
				t.Fatal(err)
			}
			events = append(events, more)
		}
		var p member.Person
		for _, e := range events {
			p = member.EvolvePerson(p, e)
		}
		if !slices.Equal(p.For("m1").Roles, all) || len(p.Keys) != 5 {
			t.Errorf("got %+v", p)
		}
		ruletest.Unaliased(t, member.EvolvePerson, events...)
	})
}

func TestClaim(t *testing.T) {
	recorded, err := member.Field{}.Record("f1", "Ashbarrel Rise", "ironstone country")
	if err != nil {
		t.Fatal(err)
	}
	f := member.EvolveField(member.Field{}, recorded)
	miner := admitted(t, cutting...)
	e, err := member.Claim{}.Record(f, miner, "c1", "Claim 4")
	if err != nil {
		t.Fatal(err)
	}
	c := member.EvolveClaim(member.Claim{}, e)
	t.Run("field rule 1 refused: recorded twice, or without a name", func(t *testing.T) {
		_, err := f.Record("f1", "Again", "")
		ruletest.Refused(t, err, rule.AlreadyThere, "")
		_, err = member.Field{}.Record("f2", "", "")
		ruletest.Refused(t, err, rule.FieldInvalid, "name")
	})
	t.Run("rule 1 refused: on a field that isn't recorded, or twice", func(t *testing.T) {
		_, err := member.Claim{}.Record(member.Field{}, miner, "c2", "Claim 5")
		ruletest.Refused(t, err, rule.FieldNotRecorded, "field_id")
		_, err = c.Record(f, miner, "c1", "Claim 4")
		ruletest.Refused(t, err, rule.AlreadyThere, "")
	})
	t.Run("rule 2 refused: the member doesn't mine", func(t *testing.T) {
		_, err := member.Claim{}.Record(f, admitted(t, memberv1.Role_ROLE_JEWELLER), "c2", "Claim 5")
		ruletest.Refused(t, err, rule.RoleNotOfMember, "")
	})
	t.Run("rule 3 refused: another's claim looks like none", func(t *testing.T) {
		others, none := c.From("m9", "claim_id", "c1"), member.Claim{}.From("m9", "claim_id", "c1")
		ruletest.Refused(t, others, rule.ClaimNotYours, "claim_id")
		if others.Error() != none.Error() {
			t.Errorf("another's claim says %q, none says %q", others, none)
		}
		if err := c.From("m1", "claim_id", "c1"); err != nil {
			t.Errorf("own claim: %v", err)
		}
	})
}
