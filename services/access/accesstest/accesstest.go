// Package accesstest lets members and persons into a test's node, so that tests
// can sign in as them.
package accesstest

import (
	"context"
	"crypto/ed25519"
	"testing"

	"seamshare.example/eventstore"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/access"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/stream"
)

// Join admits a member with these roles and adds a person, member-p, who has all
// of them and a new key.
func Join(t testing.TB, node *eventstore.Node, id string, roles ...memberv1.Role) access.SignIn {
	t.Helper()
	key, err := access.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	as := access.SignIn{Key: key, Person: id + "-p", Member: id, Coop: node.Coop()}
	admitted, err := member.Member{}.Admit(id, id, roles)
	if err != nil {
		t.Fatalf("couldn't admit %s: %v", id, err)
	}
	added, err := member.Person{}.Add(member.EvolveMember(member.Member{}, admitted), member.NewPerson{
		ID: as.Person, Label: "desk", Key: key.Public().(ed25519.PublicKey), Roles: roles,
	})
	if err != nil {
		t.Fatalf("couldn't add %s: %v", as.Person, err)
	}
	_, err = node.Decide(context.Background(), eventstore.Request{}, func(tx *eventstore.Tx) error {
		tx.Record(stream.Member.Stream(id), admitted)
		for _, e := range added {
			tx.Record(stream.Person.Stream(as.Person), e)
		}
		return nil
	})
	if err != nil {
		t.Fatalf("couldn't record %s: %v", id, err)
	}
	return as
}
