package coop_test

import (
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/tradetest"
)

// acts tells whether a person may act as a miner at all.
func (d desks) acts(t *testing.T, p cooptest.Person) error {
	t.Helper()
	_, err := p.Miner().RecordClaim(t.Context(), &minerv1.RecordClaimRequest{RequestId: command.NewID(), FieldId: d.FieldID, Name: "Claim " + command.NewID()[20:]})
	return err
}

func TestStanding(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	desk := d.Desk.Coop()
	if err := d.acts(t, d.billycart); err != nil {
		t.Fatal(err)
	}
	t.Run("a suspended member's persons act no more, with the token they have", func(t *testing.T) {
		if _, err := desk.SuspendMember(ctx, &coopv1.SuspendMemberRequest{RequestId: command.NewID(), MemberId: d.billycart.Member, Reason: "fees unpaid"}); err != nil {
			t.Fatal(err)
		}
		tradetest.Refused(t, d.acts(t, d.billycart), codes.PermissionDenied, "MEMBER_CLOSED")
		if _, err := desk.ReinstateMember(ctx, &coopv1.ReinstateMemberRequest{RequestId: command.NewID(), MemberId: d.billycart.Member, Reason: "fees paid"}); err != nil {
			t.Fatal(err)
		}
		if err := d.acts(t, d.billycart); err != nil {
			t.Error(err)
		}
	})
	t.Run("a suspended person acts no more", func(t *testing.T) {
		if _, err := desk.SuspendPerson(ctx, &coopv1.SuspendPersonRequest{RequestId: command.NewID(), PersonId: d.billycart.Person, Reason: "away"}); err != nil {
			t.Fatal(err)
		}
		tradetest.Refused(t, d.acts(t, d.billycart), codes.PermissionDenied, "MEMBER_CLOSED")
		if _, err := desk.ReinstatePerson(ctx, &coopv1.ReinstatePersonRequest{RequestId: command.NewID(), PersonId: d.billycart.Person, Reason: "back"}); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("a role that was revoked, or that the member lost, is gone", func(t *testing.T) {
		if _, err := desk.SetMemberRoles(ctx, &coopv1.SetMemberRolesRequest{RequestId: command.NewID(), MemberId: d.ninth.Member, Roles: []typev1.Role{cutter}, Reason: "sold the claim"}); err != nil {
			t.Fatal(err)
		}
		tradetest.Refused(t, d.acts(t, d.ninth), codes.PermissionDenied, "MEMBER_CLOSED")
		second := d.Add(t, d.billycart.Member, miner)
		if _, err := desk.RevokeRole(ctx, &coopv1.RevokeRoleRequest{RequestId: command.NewID(), PersonId: second.Person, MemberId: d.billycart.Member, Role: miner, Reason: "left"}); err != nil {
			t.Fatal(err)
		}
		tradetest.Refused(t, d.acts(t, second), codes.PermissionDenied, "MEMBER_CLOSED")
	})
	t.Run("refused: a registrar suspends themselves or their own desk", func(t *testing.T) {
		_, err := desk.SuspendPerson(ctx, &coopv1.SuspendPersonRequest{RequestId: command.NewID(), PersonId: d.Desk.Person, Reason: "x"})
		tradetest.Refused(t, err, codes.PermissionDenied, "OWN_STANDING")
		_, err = desk.SuspendMember(ctx, &coopv1.SuspendMemberRequest{RequestId: command.NewID(), MemberId: d.Desk.Member, Reason: "x"})
		tradetest.Refused(t, err, codes.PermissionDenied, "OWN_STANDING")
	})
	t.Run("one person acts for two members, each with its own roles", func(t *testing.T) {
		if _, err := desk.GrantRole(ctx, &coopv1.GrantRoleRequest{RequestId: command.NewID(), PersonId: d.wetWheel.Person, MemberId: d.billycart.Member, Role: miner}); err != nil {
			t.Fatal(err)
		}
		as := d.wetWheel.SignIn
		as.Member = d.billycart.Member
		both := d.SignIn(t, as)
		if err := d.acts(t, both); err != nil {
			t.Error(err)
		}
		tradetest.Refused(t, d.acts(t, d.wetWheel), codes.PermissionDenied, "ROLE_MISSING")
	})
}

func TestLostKey(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	one, two := d.Add(t, d.Desk.Member, registrar), d.Add(t, d.Desk.Member, registrar)
	owner := d.billycart
	lost := member.KeyID(cooptest.Public(owner.Key))
	key := cooptest.Key(t)
	ask := func(by cooptest.Person) error {
		_, err := by.Coop().AskKeyReplacement(ctx, &coopv1.AskKeyReplacementRequest{
			RequestId: command.NewID(), PersonId: owner.Person, KeyId: lost, PublicKey: cooptest.Public(key), Reason: "the phone fell down the shaft",
		})
		return err
	}
	confirm := func(by cooptest.Person) error {
		_, err := by.Coop().ConfirmKeyReplacement(ctx, &coopv1.ConfirmKeyReplacementRequest{RequestId: command.NewID(), PersonId: owner.Person, KeyId: lost})
		return err
	}
	if err := d.acts(t, owner); err != nil {
		t.Fatal(err)
	}
	if err := ask(one); err != nil {
		t.Fatal(err)
	}
	t.Run("the lost key's tokens end at once", func(t *testing.T) {
		if err := d.acts(t, owner); err == nil {
			t.Error("they still act")
		}
	})
	as := access.SignIn{Key: key, Person: owner.Person, Member: owner.Member, Coop: d.Node.Coop()}
	t.Run("refused: the new key, before a second person's word", func(t *testing.T) {
		tradetest.Refused(t, d.acts(t, d.SignIn(t, as)), codes.Unauthenticated, "ASSERTION_INVALID")
	})
	t.Run("refused: the first person confirms, with another key of theirs too", func(t *testing.T) {
		tradetest.Refused(t, confirm(one), codes.PermissionDenied, "SECOND_PERSON_NEEDED")
		another := cooptest.Key(t)
		if _, err := one.Coop().AddKey(ctx, &coopv1.AddKeyRequest{RequestId: command.NewID(), PersonId: one.Person, PublicKey: cooptest.Public(another)}); err != nil {
			t.Fatal(err)
		}
		other := one.SignIn
		other.Key = another
		tradetest.Refused(t, confirm(d.SignIn(t, other)), codes.PermissionDenied, "SECOND_PERSON_NEEDED")
	})
	t.Run("refused: nobody stated that the two are two people, nor can they themselves", func(t *testing.T) {
		tradetest.Refused(t, confirm(two), codes.FailedPrecondition, "TWO_PEOPLE_NOT_STATED")
		_, err := two.Coop().StateTwoPeople(ctx, &coopv1.StateTwoPeopleRequest{RequestId: command.NewID(), PersonId: one.Person, OtherPersonId: two.Person, Basis: "I should know"})
		tradetest.Refused(t, err, codes.PermissionDenied, "SECOND_PERSON_NEEDED")
	})
	d.twoPeople(t, one, two)
	t.Run("OK: confirmed by the second; the new key signs in", func(t *testing.T) {
		if err := confirm(two); err != nil {
			t.Fatal(err)
		}
		if err := d.acts(t, d.SignIn(t, as)); err != nil {
			t.Error(err)
		}
	})
}

func TestSettings(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	get := func() *coopv1.GetSettingsResponse {
		t.Helper()
		got, err := d.other.Coop().GetSettings(ctx, &coopv1.GetSettingsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	settings := get().GetSettings()
	if settings.GetWaitHours() != 72 || settings.GetUnexplainedUgPer_100G() != 50_000 {
		t.Errorf("got %v", settings)
	}
	change := func(from string) error {
		_, err := d.Desk.Coop().ChangeSettings(ctx, &coopv1.ChangeSettingsRequest{RequestId: command.NewID(), Settings: settings, From: from, Reason: "the meeting said so"})
		return err
	}
	t.Run("OK: from a later moment on", func(t *testing.T) {
		settings.WaitHours = 96
		if err := change(d.clock.read().Add(time.Hour).Format(time.RFC3339)); err != nil {
			t.Fatal(err)
		}
		if got := get(); got.GetSettings().GetWaitHours() != 72 || len(got.GetChanges()) != 1 {
			t.Errorf("got %v", got)
		}
		d.clock.move(2 * time.Hour)
		if got := get(); got.GetSettings().GetWaitHours() != 96 {
			t.Errorf("got %v", got)
		}
	})
	t.Run("refused: from before now", func(t *testing.T) {
		tradetest.Refused(t, change(d.clock.read().Add(-time.Hour).Format(time.RFC3339)), codes.InvalidArgument, "TIME_INVALID")
	})
	t.Run("refused: nonsense, all of it named", func(t *testing.T) {
		settings.Classes = []string{"top", "top"}
		err := change("")
		tradetest.Refused(t, err, codes.InvalidArgument, "NAMED_TWICE", "settings.classes[1]")
	})
}
