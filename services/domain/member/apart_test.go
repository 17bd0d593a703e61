package member_test

import (
	"testing"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"

	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
)

func TestRolesApart(t *testing.T) {
	const (
		registrar  = memberv1.Role_ROLE_REGISTRAR
		bookkeeper = memberv1.Role_ROLE_BOOKKEEPER
		approver   = memberv1.Role_ROLE_APPROVER
		auditor    = memberv1.Role_ROLE_AUDITOR
	)
	desk := admitted(t, registrar, bookkeeper, approver, auditor)
	person := func(roles ...memberv1.Role) member.Person {
		return member.Person{ID: "p1", MemberID: desk.ID, Label: "desk 0", Standing: member.Admitted, Memberships: []member.Membership{{MemberID: desk.ID, Roles: roles}}}
	}
	t.Run("rule 9 refused: a role for oneself", func(t *testing.T) {
		_, err := person(registrar).Grant("p1", desk, auditor)
		ruletest.Refused(t, err, rule.OwnRole, "person_id")
	})
	t.Run("rule 9 OK: from another", func(t *testing.T) {
		if _, err := person(registrar).Grant("p2", desk, auditor); err != nil {
			t.Error(err)
		}
	})
	for _, money := range []memberv1.Role{bookkeeper, approver} {
		t.Run("rule 10 refused: registrar and "+money.String()+" in one person", func(t *testing.T) {
			_, err := person(registrar).Grant("p2", desk, money)
			ruletest.Refused(t, err, rule.RolesApart, "role")
			_, err = person(money).Grant("p2", desk, registrar)
			ruletest.Refused(t, err, rule.RolesApart, "role")
			_, err = member.Person{}.Add(desk, member.NewPerson{ID: "p3", Label: "desk 1", Key: make([]byte, member.KeySize), Roles: []memberv1.Role{money, registrar}})
			ruletest.Refused(t, err, rule.RolesApart, "roles")
		})
	}
	for _, money := range []memberv1.Role{bookkeeper, approver} {
		t.Run("rule 10 refused: registrar for one member and "+money.String()+" for another", func(t *testing.T) {
			other := desk
			other.ID = "m2"
			_, err := person(registrar).Grant("p2", other, money)
			ruletest.Refused(t, err, rule.RolesApart, "role")
			_, err = person(money).Grant("p2", other, registrar)
			ruletest.Refused(t, err, rule.RolesApart, "role")
		})
	}
	t.Run("rule 10 OK: bookkeeper and approver in one person", func(t *testing.T) {
		if _, err := person(bookkeeper).Grant("p2", desk, approver); err != nil {
			t.Error(err)
		}
	})
}
