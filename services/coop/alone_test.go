package coop_test

import (
	"testing"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/tradetest"
)

// TestKeyOfOnesOwn: a registrar who could add a key to a person would sign in as them.
func TestKeyOfOnesOwn(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	in := func(as access.SignIn) error {
		_, err := d.SignIn(t, as).Access().WhoAmI(ctx, &coopv1.WhoAmIRequest{})
		return err
	}
	add := func(by cooptest.Person, to string) (access.SignIn, error) {
		as := by.SignIn
		as.Key = cooptest.Key(t)
		_, err := by.Coop().AddKey(ctx, &coopv1.AddKeyRequest{RequestId: command.NewID(), PersonId: to, PublicKey: cooptest.Public(as.Key)})
		return as, err
	}
	t.Run("refused: a registrar adds a key to another, and so does a neighbour", func(t *testing.T) {
		for _, by := range []cooptest.Person{d.Desk, d.desk2, d.ninth} {
			_, err := add(by, d.desk1.Person)
			tradetest.Refused(t, err, codes.NotFound, "KEY_NOT_YOURS", "person_id")
		}
	})
	t.Run("OK: everybody adds one to themselves, and signs in with it", func(t *testing.T) {
		for _, by := range []cooptest.Person{d.Desk, d.desk1, d.billycart} {
			as, err := add(by, by.Person)
			if err != nil {
				t.Fatal(err)
			}
			if err := in(as); err != nil {
				t.Error(err)
			}
		}
	})
	t.Run("OK: where all keys were revoked, two of the desk replace one", func(t *testing.T) {
		owner, first := d.wetWheel, d.Add(t, d.Desk.Member, typev1.Role_ROLE_REGISTRAR)
		d.twoPeople(t, first, d.desk2)
		lost := member.KeyID(cooptest.Public(owner.Key))
		_, err := d.Desk.Coop().RevokeKey(ctx, &coopv1.RevokeKeyRequest{RequestId: command.NewID(), PersonId: owner.Person, KeyId: lost, Reason: "seen in a photo"})
		if err != nil {
			t.Fatal(err)
		}
		as := owner.SignIn
		as.Key = cooptest.Key(t)
		_, err = first.Coop().AskKeyReplacement(ctx, &coopv1.AskKeyReplacementRequest{
			RequestId: command.NewID(), PersonId: owner.Person, KeyId: lost, PublicKey: cooptest.Public(as.Key), Reason: "they came by",
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := in(as); err == nil {
			t.Error("the new key signs in before a second person's word")
		}
		_, err = d.desk2.Coop().ConfirmKeyReplacement(ctx, &coopv1.ConfirmKeyReplacementRequest{RequestId: command.NewID(), PersonId: owner.Person, KeyId: lost})
		if err != nil {
			t.Fatal(err)
		}
		if err := in(as); err != nil {
			t.Error(err)
		}
	})
}

// TestWhoLetThemInStatesNothing: a registrar could otherwise add two persons, hold both
// keys, and state that they are two people.
func TestWhoLetThemInStatesNothing(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	state := func(by, a, b cooptest.Person) error {
		_, err := by.Coop().StateTwoPeople(ctx, &coopv1.StateTwoPeopleRequest{RequestId: command.NewID(), PersonId: a.Person, OtherPersonId: b.Person, Basis: "known"})
		return err
	}
	a, b := d.Add(t, d.Desk.Member, bookkeeper), d.Add(t, d.Desk.Member, approver)
	t.Run("refused: who added them, or one of them", func(t *testing.T) {
		tradetest.Refused(t, state(d.Desk, a, b), codes.PermissionDenied, "SECOND_PERSON_NEEDED", "person_id")
		second := d.Add(t, d.Desk.Member, typev1.Role_ROLE_REGISTRAR)
		added, err := second.Coop().AddPerson(ctx, &coopv1.AddPersonRequest{
			RequestId: command.NewID(), MemberId: d.Desk.Member, Label: "desk 9", PublicKey: cooptest.Public(cooptest.Key(t)), Roles: []typev1.Role{approver},
		})
		if err != nil {
			t.Fatal(err)
		}
		c := cooptest.Person{SignIn: access.SignIn{Person: added.GetPerson().GetId()}}
		tradetest.Refused(t, state(second, a, c), codes.PermissionDenied, "SECOND_PERSON_NEEDED", "person_id")
		tradetest.Refused(t, state(second, c, a), codes.PermissionDenied, "SECOND_PERSON_NEEDED", "person_id")
	})
	t.Run("refused: who confirmed a key of theirs", func(t *testing.T) {
		lost := member.KeyID(cooptest.Public(a.Key))
		d.twoPeople(t, d.Desk, d.desk2)
		_, err := d.Desk.Coop().AskKeyReplacement(ctx, &coopv1.AskKeyReplacementRequest{
			RequestId: command.NewID(), PersonId: a.Person, KeyId: lost, PublicKey: cooptest.Public(cooptest.Key(t)), Reason: "lost",
		})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := d.desk2.Coop().ConfirmKeyReplacement(ctx, &coopv1.ConfirmKeyReplacementRequest{RequestId: command.NewID(), PersonId: a.Person, KeyId: lost}); err != nil {
			t.Fatal(err)
		}
		tradetest.Refused(t, state(d.desk2, a, b), codes.PermissionDenied, "SECOND_PERSON_NEEDED", "person_id")
	})
	t.Run("OK: another of the desk", func(t *testing.T) {
		if err := state(d.audit, a, b); err != nil {
			t.Error(err)
		}
	})
}
