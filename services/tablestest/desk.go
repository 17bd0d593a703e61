package tablestest

import (
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/domain/stage"
)

// deskTrials are the trials of the desk's things.
func deskTrials() []Trial {
	return []Trial{memberTrial(), personTrial(), keyTrial(), payoutTrial(), disputeTrial(), correctionTrial()}
}

// theOther is the desk's registrar who founded it, and lets everybody in.
func (w *World) theOther() coopv1.CoopServiceClient { return w.Desk.Coop() }

// twoPeople has it stated that two are two people, once, by one who added neither.
func (w *World) twoPeople(a, b cooptest.Person) {
	_, err := w.Auditor.Coop().StateTwoPeople(w.Ctx(), &coopv1.StateTwoPeopleRequest{
		RequestId: command.NewID(), PersonId: a.Person, OtherPersonId: b.Person, Basis: "I know both",
	})
	if status.Code(err) != codes.FailedPrecondition { // stated before, in another recipe
		w.Must(err)
	}
}

func memberTrial() Trial {
	admit := func(w *World, _ string) (string, error) {
		got, err := w.theOther().AdmitMember(w.Ctx(), &coopv1.AdmitMemberRequest{RequestId: command.NewID(), TradingName: "Ninth Shaft Mining", Roles: []typev1.Role{typev1.Role_ROLE_MINER}})
		return got.GetMember().GetId(), err
	}
	suspend := func(w *World, id string) (string, error) {
		_, err := w.theOther().SuspendMember(w.Ctx(), &coopv1.SuspendMemberRequest{RequestId: command.NewID(), MemberId: id, Reason: "fees unpaid"})
		return id, err
	}
	remove := func(w *World, id string) (string, error) {
		_, err := w.theOther().RemoveMember(w.Ctx(), &coopv1.RemoveMemberRequest{RequestId: command.NewID(), MemberId: id, Reason: "left the co-op"})
		return id, err
	}
	made := func(steps ...func(*World, string) (string, error)) func(*World) string {
		return func(w *World) (id string) {
			for _, step := range steps {
				var err error
				id, err = step(w, id)
				w.Must(err)
			}
			return id
		}
	}
	return Thing[string]{
		Table: member.Table,
		In: map[string][]Recipe[string]{
			stage.None:  {{Make: func(*World) string { return nothing }}},
			"admitted":  {{Make: made(admit)}},
			"suspended": {{Make: made(admit, suspend)}},
			"removed":   {{Name: "admitted", Make: made(admit, remove)}, {Name: "suspended", Make: made(admit, suspend, remove)}},
		},
		Do: map[string][]Call[string]{
			"CoopService/AdmitMember":   {{Fresh: true, Do: admit}},
			"CoopService/SuspendMember": {{Do: suspend}},
			"CoopService/RemoveMember":  {{Do: remove}},
			"CoopService/ReinstateMember": {{Do: func(w *World, id string) (string, error) {
				_, err := w.theOther().ReinstateMember(w.Ctx(), &coopv1.ReinstateMemberRequest{RequestId: command.NewID(), MemberId: id, Reason: "fees paid"})
				return id, err
			}}},
			"CoopService/SetMemberRoles": {{Do: func(w *World, id string) (string, error) {
				_, err := w.theOther().SetMemberRoles(w.Ctx(), &coopv1.SetMemberRolesRequest{RequestId: command.NewID(), MemberId: id, Reason: "cuts too", Roles: []typev1.Role{typev1.Role_ROLE_MINER, typev1.Role_ROLE_CUTTER}})
				return id, err
			}}},
		},
		State: func(w *World, id string) string {
			for token := ""; ; {
				got, err := w.theOther().ListMembers(w.Ctx(), &coopv1.ListMembersRequest{PageSize: 200, PageToken: token})
				w.Must(err)
				for _, m := range got.GetMembers() {
					if m.GetId() == id {
						return m.GetStanding()
					}
				}
				if token = got.GetNextPageToken(); token == "" {
					return stage.None
				}
			}
		},
	}
}

// human is a person or a key of theirs.
type human struct {
	person, member, key string
	self                coopv1.CoopServiceClient // signed in as them
}

func addHuman(w *World, _ human) (human, error) {
	roles := []typev1.Role{typev1.Role_ROLE_MINER, typev1.Role_ROLE_CUTTER}
	m, err := w.theOther().AdmitMember(w.Ctx(), &coopv1.AdmitMemberRequest{RequestId: command.NewID(), TradingName: "Ninth Shaft Mining", Roles: roles})
	w.Must(err)
	key := cooptest.Key(w.T)
	p, err := w.theOther().AddPerson(w.Ctx(), &coopv1.AddPersonRequest{
		RequestId: command.NewID(), MemberId: m.GetMember().GetId(), Label: "bench 2", PublicKey: cooptest.Public(key), Roles: roles[:1],
	})
	if err != nil {
		return human{}, err
	}
	self := w.SignIn(w.T, access.SignIn{Key: key, Person: p.GetPerson().GetId(), Member: m.GetMember().GetId(), Coop: w.House.Node.Coop()})
	return human{self.Person, self.Member, member.KeyID(cooptest.Public(key)), self.Coop()}, nil
}

// lived makes a human by steps.
func lived(steps ...func(*World, human) (human, error)) func(*World) human {
	return func(w *World) (h human) {
		for _, step := range steps {
			var err error
			h, err = step(w, h)
			w.Must(err)
		}
		return h
	}
}

func personTrial() Trial {
	suspend := func(w *World, h human) (human, error) {
		_, err := w.theOther().SuspendPerson(w.Ctx(), &coopv1.SuspendPersonRequest{RequestId: command.NewID(), PersonId: h.person, Reason: "away"})
		return h, err
	}
	remove := func(w *World, h human) (human, error) {
		_, err := w.theOther().RemovePerson(w.Ctx(), &coopv1.RemovePersonRequest{RequestId: command.NewID(), PersonId: h.person, Reason: "left"})
		return h, err
	}
	return Thing[human]{
		Table: member.PersonTable,
		In: map[string][]Recipe[human]{
			stage.None:  {{Make: func(w *World) human { return human{nothing, w.Miner.Member, nothing, w.Miner.Coop()} }}},
			"admitted":  {{Make: lived(addHuman)}},
			"suspended": {{Make: lived(addHuman, suspend)}},
			"removed":   {{Make: lived(addHuman, remove)}},
		},
		Do: map[string][]Call[human]{
			"CoopService/AddPerson": {{Fresh: true, Do: addHuman}},
			"CoopService/GrantRole": {{Do: func(w *World, h human) (human, error) {
				_, err := w.theOther().GrantRole(w.Ctx(), &coopv1.GrantRoleRequest{RequestId: command.NewID(), PersonId: h.person, Role: typev1.Role_ROLE_CUTTER})
				return h, err
			}}},
			"CoopService/RevokeRole": {{Do: func(w *World, h human) (human, error) {
				_, err := w.theOther().RevokeRole(w.Ctx(), &coopv1.RevokeRoleRequest{RequestId: command.NewID(), PersonId: h.person, MemberId: h.member, Role: typev1.Role_ROLE_MINER, Reason: "no longer digs"})
				return h, err
			}}},
			"CoopService/SuspendPerson": {{Do: suspend}},
			"CoopService/ReinstatePerson": {{Do: func(w *World, h human) (human, error) {
				_, err := w.theOther().ReinstatePerson(w.Ctx(), &coopv1.ReinstatePersonRequest{RequestId: command.NewID(), PersonId: h.person, Reason: "back"})
				return h, err
			}}},
			"CoopService/RemovePerson": {{Do: remove}},
		},
		State: func(w *World, h human) string { return find(w, h.person).GetStanding() },
	}
}

// find is a person; nil where there is none.
func find(w *World, id string) *coopv1.Person {
	got, err := w.theOther().GetPerson(w.Ctx(), &coopv1.GetPersonRequest{PersonId: id})
	if status.Code(err) == codes.NotFound {
		return nil
	}
	w.Must(err)
	return got.GetPerson()
}

func keyTrial() Trial {
	addKey := func(w *World, h human) (human, error) {
		key := cooptest.Public(cooptest.Key(w.T))
		_, err := h.self.AddKey(w.Ctx(), &coopv1.AddKeyRequest{RequestId: command.NewID(), PersonId: h.person, PublicKey: key})
		h.key = member.KeyID(key)
		return h, err
	}
	revoke := func(w *World, h human) (human, error) {
		_, err := w.theOther().RevokeKey(w.Ctx(), &coopv1.RevokeKeyRequest{RequestId: command.NewID(), PersonId: h.person, KeyId: h.key, Reason: "an old phone"})
		return h, err
	}
	ask := func(w *World, h human) (human, error) {
		w.twoPeople(w.Registrar, w.Approver)
		_, err := w.Registrar.Coop().AskKeyReplacement(w.Ctx(), &coopv1.AskKeyReplacementRequest{
			RequestId: command.NewID(), PersonId: h.person, KeyId: h.key, PublicKey: cooptest.Public(cooptest.Key(w.T)), Reason: "the phone fell down the shaft",
		})
		return h, err
	}
	confirm := func(w *World, h human) (human, error) {
		_, err := w.Approver.Coop().ConfirmKeyReplacement(w.Ctx(), &coopv1.ConfirmKeyReplacementRequest{RequestId: command.NewID(), PersonId: h.person, KeyId: h.key})
		return h, err
	}
	// The driver counts records from after the recipe on.
	known := func(w *World) human {
		w.twoPeople(w.Registrar, w.Approver)
		return human{w.Miner.Person, w.Miner.Member, "0123456789abcdef", w.Miner.Coop()}
	}
	settled := func(w *World, h human) (human, error) { w.twoPeople(w.Registrar, w.Approver); return h, nil }
	return Thing[human]{
		Table: member.KeyTable,
		In: map[string][]Recipe[human]{
			stage.None: {{Make: known}},
			"in use":   {{Make: lived(settled, addHuman)}},
			"revoked":  {{Make: lived(settled, addHuman, revoke)}},
			"lost":     {{Make: lived(addHuman, ask)}},
			"replaced": {{Make: lived(addHuman, ask, confirm)}},
		},
		Do: map[string][]Call[human]{
			"CoopService/AddKey":                {{Fresh: true, Do: addKey}},
			"CoopService/RevokeKey":             {{Do: revoke}},
			"CoopService/AskKeyReplacement":     {{Do: ask}},
			"CoopService/ConfirmKeyReplacement": {{Do: confirm}},
			"CoopService/RefuseKeyReplacement": {{Do: func(w *World, h human) (human, error) {
				_, err := w.Approver.Coop().RefuseKeyReplacement(w.Ctx(), &coopv1.RefuseKeyReplacementRequest{RequestId: command.NewID(), PersonId: h.person, KeyId: h.key, Reason: "nobody rang back"})
				return h, err
			}}},
		},
		State: func(w *World, h human) string {
			for _, k := range find(w, h.person).GetKeys() {
				if k.GetId() == h.key {
					return k.GetStage()
				}
			}
			return stage.None
		},
	}
}
