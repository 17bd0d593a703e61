package coop_test

import (
	"slices"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/coop"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/tradetest"
)

func TestFounding(t *testing.T) {
	node, _ := cooptest.Empty(t, nil)
	key := cooptest.Public(cooptest.Key(t))
	f := coop.Founding{CoopID: node.Coop(), Name: "Two Fields Opal Co-operative", TimeZone: "Australia/Brisbane", RegistrarLabel: "desk 0", RegistrarKey: key}
	for name, change := range map[string]func(*coop.Founding){
		"no such time zone": func(f *coop.Founding) { f.TimeZone = "Middle/Nowhere" },
		"no time zone":      func(f *coop.Founding) { f.TimeZone = "" },
		"no name":           func(f *coop.Founding) { f.Name = "" },
		"no key":            func(f *coop.Founding) { f.RegistrarKey = nil },
		"another co-op":     func(f *coop.Founding) { f.CoopID = "three-fields" },
		"negative mass":     func(f *coop.Founding) { f.UnexplainedUgPer100g = -1 },
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			wrong := f
			change(&wrong)
			if _, err := coop.Found(t.Context(), node, wrong); err == nil {
				t.Error("it was founded")
			}
			if at := node.Checkpoint().Position; at != 0 {
				t.Errorf("%d records were made", at)
			}
		})
	}
	made, err := coop.Found(t.Context(), node, f)
	if err != nil {
		t.Fatal(err)
	}
	t.Run("makes the co-op, its desk and a registrar", func(t *testing.T) {
		q, err := node.Query(t.Context(), made.Position)
		if err != nil {
			t.Fatal(err)
		}
		defer q.Close()
		if q.Position() != 5 {
			t.Errorf("%d records were made, want 5", q.Position())
		}
		rec, err := q.RecordAt(1)
		founded, ok := rec.Event.(*memberv1.Event).GetEvent().(*memberv1.Event_CoopFounded)
		if err != nil || !ok || founded.CoopFounded.GetPrivate().GetUnexplainedUgPer_100G() != coop.DefaultUnexplainedUgPer100g {
			t.Errorf("the first record is %v, %v", rec.Event, err)
		}
	})
	t.Run("refused: founded already", func(t *testing.T) {
		_, err := coop.Found(t.Context(), node, f)
		if broken, ok := rule.Of(err); !ok || broken.First().Reason != rule.AlreadyThere {
			t.Errorf("got %v", err)
		}
	})
}

func TestFoundingRefusesALogThatHoldsAnything(t *testing.T) {
	node, _ := cooptest.Empty(t, nil)
	_, err := node.Decide(t.Context(), eventstore.Request{}, func(tx *eventstore.Tx) error {
		tx.Record("field/f1", &memberv1.Event{Event: &memberv1.Event_FieldRecorded{FieldRecorded: &memberv1.FieldRecorded{
			Public: &memberv1.FieldRecorded_Public{FieldId: "f1", Name: "x"}, Private: &memberv1.FieldRecorded_Private{},
		}}})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	_, err = coop.Found(t.Context(), node, coop.Founding{
		CoopID: node.Coop(), Name: "x", TimeZone: "UTC", RegistrarLabel: "desk", RegistrarKey: cooptest.Public(cooptest.Key(t)),
	})
	if broken, ok := rule.Of(err); !ok || broken.First().Reason != rule.AlreadyThere {
		t.Errorf("got %v", err)
	}
}

func TestWhoAmI(t *testing.T) {
	h := cooptest.Open(t, nil)
	me, err := h.Desk.Access().WhoAmI(t.Context(), &coopv1.WhoAmIRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if me.GetPersonId() != h.Desk.SignIn.Person || me.GetMemberId() != h.Desk.Member || me.GetCoopName() != "Two Fields Opal Co-operative" ||
		me.GetTradingName() != "Two Fields Opal Co-operative" || !slices.Equal(me.GetRoles(), []typev1.Role{registrar}) {
		t.Errorf("got %v", me)
	}
}

func TestRegistrar(t *testing.T) {
	h := cooptest.Open(t, nil)
	desk := h.Desk.Coop()
	ctx := t.Context()
	admitted, err := desk.AdmitMember(ctx, &coopv1.AdmitMemberRequest{RequestId: "m1", TradingName: "Billycart Diggings", Roles: []typev1.Role{miner}})
	if err != nil {
		t.Fatal(err)
	}
	member := admitted.GetMember().GetId()
	key := cooptest.Key(t)
	add := &coopv1.AddPersonRequest{RequestId: "p1", MemberId: member, Label: "desk 1", PublicKey: cooptest.Public(key), Roles: []typev1.Role{miner}}
	added, err := desk.AddPerson(ctx, add)
	if err != nil {
		t.Fatal(err)
	}
	t.Run("a repeat answers with the first outcome, whatever happened since", func(t *testing.T) {
		second, err := desk.AdmitMember(ctx, &coopv1.AdmitMemberRequest{RequestId: "m2", TradingName: "Ninth Shaft Mining", Roles: []typev1.Role{miner, cutter}})
		if err != nil {
			t.Fatal(err)
		}
		first, err := desk.AddPerson(ctx, &coopv1.AddPersonRequest{
			RequestId: "p2", MemberId: second.GetMember().GetId(), Label: "desk 1", PublicKey: cooptest.Public(cooptest.Key(t)), Roles: []typev1.Role{miner},
		})
		if err != nil {
			t.Fatal(err)
		}
		grant := &coopv1.GrantRoleRequest{RequestId: "g1", PersonId: first.GetPerson().GetId(), Role: cutter}
		granted, err := desk.GrantRole(ctx, grant)
		if err != nil || !slices.Equal(granted.GetPerson().GetRoles(), []typev1.Role{miner, cutter}) {
			t.Fatalf("got %v, %v", granted, err)
		}
		again, err := desk.AddPerson(ctx, add)
		if err != nil || !proto.Equal(again, added) {
			t.Errorf("the repeat answers %v, %v; the first was %v", again, err, added)
		}
	})
	t.Run("refused: the request id was used for something else", func(t *testing.T) {
		_, err := desk.AdmitMember(ctx, &coopv1.AdmitMemberRequest{RequestId: "m1", TradingName: "Another", Roles: []typev1.Role{miner}})
		tradetest.Refused(t, err, codes.AlreadyExists, "REQUEST_ID_REUSED")
	})
	t.Run("refused: another person's key", func(t *testing.T) {
		_, err := desk.AddPerson(ctx, &coopv1.AddPersonRequest{RequestId: "p3", MemberId: member, Label: "desk 2", PublicKey: cooptest.Public(key), Roles: []typev1.Role{miner}})
		tradetest.Refused(t, err, codes.FailedPrecondition, "KEY_TAKEN")
	})
	t.Run("refused: a role that the member doesn't have", func(t *testing.T) {
		_, err := desk.GrantRole(ctx, &coopv1.GrantRoleRequest{RequestId: "g2", PersonId: added.GetPerson().GetId(), Role: registrar})
		tradetest.Refused(t, err, codes.FailedPrecondition, "ROLE_NOT_OF_MEMBER")
	})
	t.Run("refused: nobody there", func(t *testing.T) {
		_, err := desk.GrantRole(ctx, &coopv1.GrantRoleRequest{RequestId: "g3", PersonId: "nobody", Role: miner})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
		_, err = desk.AddPerson(ctx, &coopv1.AddPersonRequest{RequestId: "p4", MemberId: "nobody", Label: "x", PublicKey: cooptest.Public(cooptest.Key(t)), Roles: []typev1.Role{miner}})
		tradetest.Refused(t, err, codes.FailedPrecondition, "MEMBER_NOT_THERE")
	})
	t.Run("refused: a person without the role", func(t *testing.T) {
		books := h.Add(t, h.Desk.Member, bookkeeper)
		_, err := books.Coop().AdmitMember(ctx, &coopv1.AdmitMemberRequest{RequestId: "m9", TradingName: "x", Roles: []typev1.Role{miner}})
		tradetest.Refused(t, err, codes.PermissionDenied, "ROLE_MISSING")
	})
	t.Run("members are listed as they were admitted, page by page", func(t *testing.T) {
		var names []string
		req := &coopv1.ListMembersRequest{PageSize: 2}
		for {
			page, err := desk.ListMembers(ctx, req)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range page.GetMembers() {
				names = append(names, m.GetTradingName())
			}
			if req.PageToken = page.GetNextPageToken(); req.PageToken == "" {
				break
			}
		}
		if want := []string{"Two Fields Opal Co-operative", "Billycart Diggings", "Ninth Shaft Mining"}; !slices.Equal(names, want) {
			t.Errorf("got %v, want %v", names, want)
		}
	})
	t.Run("fields are listed to anyone signed in", func(t *testing.T) {
		if _, err := desk.RecordField(ctx, &coopv1.RecordFieldRequest{RequestId: command.NewID(), Name: "Sparrowpan Flat"}); err != nil {
			t.Fatal(err)
		}
		someone := h.Join(t, "Marrow & Pin Jewellers", jeweller)
		list, err := someone.Coop().ListFields(ctx, &coopv1.ListFieldsRequest{})
		if err != nil || len(list.GetFields()) != 2 || list.GetFields()[1].GetName() != "Sparrowpan Flat" {
			t.Errorf("got %v, %v", list, err)
		}
	})
}

// TestDeskOfOwnMember: the co-op's books and safe are in the hands of its own member.
func TestDeskOfOwnMember(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	for _, role := range []typev1.Role{bookkeeper, approver, auditor, stockKeeper, typev1.Role_ROLE_REGISTRAR} {
		_, err := d.Desk.Coop().AdmitMember(ctx, &coopv1.AdmitMemberRequest{RequestId: command.NewID(), TradingName: "The Books", Roles: []typev1.Role{miner, role}})
		tradetest.Refused(t, err, codes.FailedPrecondition, "ROLE_NOT_OF_MEMBER", "roles[1]")
		_, err = d.Desk.Coop().SetMemberRoles(ctx, &coopv1.SetMemberRolesRequest{RequestId: command.NewID(), MemberId: d.wetWheel.Member, Roles: []typev1.Role{cutter, role}, Reason: "they count well"})
		tradetest.Refused(t, err, codes.FailedPrecondition, "ROLE_NOT_OF_MEMBER", "roles[1]")
	}
	roles := func(of ...typev1.Role) error {
		_, err := d.Desk.Coop().SetMemberRoles(ctx, &coopv1.SetMemberRolesRequest{RequestId: command.NewID(), MemberId: d.Desk.Member, Roles: of, Reason: "the members met"})
		return err
	}
	tradetest.Refused(t, roles(cutter), codes.FailedPrecondition, "ROLE_NOT_OF_MEMBER", "roles")
	if err := roles(bookkeeper, approver, typev1.Role_ROLE_REGISTRAR); err != nil {
		t.Fatal(err)
	}
}
