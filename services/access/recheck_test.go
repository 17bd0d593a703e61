package access_test

import (
	"context"
	"testing"

	"seamshare.example/eventstore"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/access"
	"seamshare.example/services/fault"
	"seamshare.example/services/stream"
)

func TestRecheck(t *testing.T) {
	d := newDesk(t)
	const miner, cutter = memberv1.Role_ROLE_MINER, memberv1.Role_ROLE_CUTTER
	// Each is checked inside a decision at the tip, and in a query.
	check := func(t *testing.T, who access.Identity, roles ...memberv1.Role) error {
		t.Helper()
		_, decided := d.node.Decide(t.Context(), eventstore.Request{}, func(tx *eventstore.Tx) error {
			return access.Recheck(tx, who, roles...)
		})
		q, err := d.node.Query(t.Context(), 0)
		if err != nil {
			t.Fatal(err)
		}
		defer q.Close()
		if asked := access.Recheck(q, who, roles...); (asked == nil) != (decided == nil) {
			t.Fatalf("the decision says %v, the query %v", decided, asked)
		}
		return decided
	}

	t.Run("OK: one of the roles", func(t *testing.T) {
		if err := check(t, access.Identity{Person: "c1-p", Member: "c1"}, miner, cutter); err != nil {
			t.Fatal(err)
		}
	})
	for _, c := range []struct {
		name  string
		who   access.Identity
		roles []memberv1.Role
		want  fault.Reason
	}{
		{"refused: none of the roles", access.Identity{Person: "c1-p", Member: "c1"}, []memberv1.Role{miner}, fault.RoleMissing},
		{"refused: the role, but for another member", access.Identity{Person: "m1-p", Member: "c1"}, []memberv1.Role{miner}, fault.MemberClosed},
		{"refused: nobody", access.Identity{}, []memberv1.Role{miner}, fault.MemberClosed},
		{"refused: a person who isn't there", access.Identity{Person: "x-p", Member: "m1"}, []memberv1.Role{miner}, fault.MemberClosed},
		{"refused: no id at all", access.Identity{Person: "../m1-p", Member: "m1"}, []memberv1.Role{miner}, fault.MemberClosed},
		{"refused: neither roles nor a rule", access.Identity{Person: "m1-p", Member: "m1"}, nil, fault.MethodClosed},
		{"refused: nobody is known in a bare context", access.Caller(context.Background()), nil, fault.MemberClosed},
	} {
		t.Run(c.name, func(t *testing.T) { refused(t, check(t, c.who, c.roles...), c.want) })
	}

	t.Run("OK: a role granted by the decision before", func(t *testing.T) {
		who := access.Identity{Person: "m1-p", Member: "m1"}
		refused(t, check(t, who, cutter), fault.RoleMissing)
		_, err := d.node.Decide(t.Context(), eventstore.Request{}, func(tx *eventstore.Tx) error {
			tx.Record(stream.Member.Stream("m1"), &memberv1.Event{Event: &memberv1.Event_MemberRolesSet{MemberRolesSet: &memberv1.MemberRolesSet{
				Public:  &memberv1.MemberRolesSet_Public{MemberId: "m1"},
				Private: &memberv1.MemberRolesSet_Private{Roles: []memberv1.Role{miner, cutter}, Reason: "it cuts too"},
			}}})
			tx.Record(stream.Person.Stream("m1-p"), &memberv1.Event{Event: &memberv1.Event_RoleGranted{RoleGranted: &memberv1.RoleGranted{
				Public:  &memberv1.RoleGranted_Public{PersonId: "m1-p"},
				Private: &memberv1.RoleGranted_Private{MemberId: "m1", Role: cutter},
			}}})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := check(t, who, cutter); err != nil {
			t.Fatal(err)
		}
	})
}
