package member

import (
	"fmt"
	"slices"

	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/domain/rule"
)

// Member is a business that trades here. Rules:
//
//  1. It is admitted once, under a trading name.
//  2. It does at least one thing here: each of its roles is one that is known.
//  3. It is suspended while it trades, reinstated while it is suspended, and removed once, with a reason.
//  4. Nobody suspends or removes the member they act for themselves.
//  5. What is done for the co-op itself, its books and its safe, is done by persons of its own member, which was there
//     from the founding, and of no other: who trades has no hand in them.
//  6. Bank details are sealed under the key of a person who acts for it, never one who was erased.
type Member struct {
	ID          string
	TradingName string
	Roles       []memberv1.Role // what its persons may be given
	Standing    Standing
	Bank        Bank // the zero value: none
}

// Stands reports whether the member may trade.
func (m Member) Stands() bool { return m.Standing == Admitted }

// Has reports whether the member does this here.
func (m Member) Has(role memberv1.Role) bool { return slices.Contains(m.Roles, role) }

// DeskRoles are what persons do for the co-op itself (rule 5).
var DeskRoles = []memberv1.Role{
	memberv1.Role_ROLE_STOCK_KEEPER, memberv1.Role_ROLE_BOOKKEEPER, memberv1.Role_ROLE_APPROVER,
	memberv1.Role_ROLE_AUDITOR, memberv1.Role_ROLE_REGISTRAR,
}

// noDesk refuses roles of the co-op's own desk (rule 5).
func noDesk(broken *rule.All, roles []memberv1.Role) {
	for i, r := range roles {
		if slices.Contains(DeskRoles, r) {
			broken.Add(rule.Broken{
				Reason: rule.RoleNotOfMember, Field: fmt.Sprintf("roles[%d]", i), Value: r.String(), Rule: "the co-op's books and safe are kept by persons of its own member",
				Hint: "leave it out, and add the person to the co-op's own member",
			})
		}
	}
}

// AdmitTrader admits a member who trades (rules 1, 2 and 5).
func (m Member) AdmitTrader(id, tradingName string, roles []memberv1.Role) (*memberv1.Event, error) {
	var broken rule.All
	noDesk(&broken, roles)
	admitted, err := m.Admit(id, tradingName, roles)
	if err := broken.Merge("", err); err != nil {
		return nil, err
	}
	return admitted, broken.Err()
}

// ofDesk tells whether it is the co-op's own member.
func (m Member) ofDesk() bool {
	return slices.ContainsFunc(m.Roles, func(r memberv1.Role) bool { return slices.Contains(DeskRoles, r) })
}

// Admit admits the member, whatever it does here (rules 1 and 2): the co-op's own at the
// founding.
func (m Member) Admit(id, tradingName string, roles []memberv1.Role) (*memberv1.Event, error) {
	if m.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: m.ID, Rule: "a member is admitted once", Hint: "use the one that is there"}
	}
	var broken rule.All
	broken.Text("trading_name", tradingName, 80)
	if len(roles) == 0 {
		broken.Add(rule.Broken{Reason: rule.NotAnswered, Field: "roles", Value: "empty", Rule: "a member does at least one thing here", Hint: "name its roles, such as ROLE_MINER"})
	}
	checkRoles(&broken, roles)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_MemberAdmitted{MemberAdmitted: &memberv1.MemberAdmitted{
		Public:  &memberv1.MemberAdmitted_Public{MemberId: id, TradingName: tradingName},
		Private: &memberv1.MemberAdmitted_Private{Roles: slices.Clone(roles)},
	}}}, nil
}

func checkRoles(broken *rule.All, roles []memberv1.Role) {
	for i, r := range roles {
		field := fmt.Sprintf("roles[%d]", i)
		broken.Answered(field, int32(r), memberv1.Role_name)
		if slices.Index(roles, r) != i {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: field, Value: r.String(), Rule: "a role is named once", Hint: "leave it out"})
		}
	}
}

// SetRoles says anew what the member does here (rules 2 and 5). The co-op's own stays one.
func (m Member) SetRoles(roles []memberv1.Role, reason string) (*memberv1.Event, error) {
	if m.ID == "" {
		return nil, rule.NotThere("member_id", "member")
	}
	if err := m.Standing.needs("member", Admitted); err != nil {
		return nil, err
	}
	var broken rule.All
	if len(roles) == 0 {
		broken.Add(rule.Broken{Reason: rule.NotAnswered, Field: "roles", Value: "empty", Rule: "a member does at least one thing here", Hint: "remove the member where it does nothing any more"})
	}
	checkRoles(&broken, roles)
	switch {
	case !m.ofDesk():
		noDesk(&broken, roles)
	case !(Member{Roles: roles}).ofDesk():
		broken.Add(rule.Broken{Reason: rule.RoleNotOfMember, Field: "roles", Value: "none of the desk", Rule: "the co-op's own member keeps its books and safe", Hint: "leave it a role of the desk"})
	}
	broken.Text("reason", reason, 200)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_MemberRolesSet{MemberRolesSet: &memberv1.MemberRolesSet{
		Public:  &memberv1.MemberRolesSet_Public{MemberId: m.ID},
		Private: &memberv1.MemberRolesSet_Private{Roles: slices.Clone(roles), Reason: reason},
	}}}, nil
}

// Suspend stops the member from acting (rules 3 and 4). by is the registrar's own
// member.
func (m Member) Suspend(by, reason string) (*memberv1.Event, error) {
	if err := m.change(by, reason, Admitted); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_MemberSuspended{MemberSuspended: &memberv1.MemberSuspended{
		Public: &memberv1.MemberSuspended_Public{MemberId: m.ID}, Private: &memberv1.MemberSuspended_Private{Reason: reason},
	}}}, nil
}

// Reinstate lets a suspended member act again (rule 3).
func (m Member) Reinstate(by, reason string) (*memberv1.Event, error) {
	if err := m.change(by, reason, Suspended); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_MemberReinstated{MemberReinstated: &memberv1.MemberReinstated{
		Public: &memberv1.MemberReinstated_Public{MemberId: m.ID}, Private: &memberv1.MemberReinstated_Private{Reason: reason},
	}}}, nil
}

// Remove ends the membership (rules 3 and 4).
func (m Member) Remove(by, reason string) (*memberv1.Event, error) {
	if err := m.change(by, reason, Admitted, Suspended); err != nil {
		return nil, err
	}
	return &memberv1.Event{Event: &memberv1.Event_MemberRemoved{MemberRemoved: &memberv1.MemberRemoved{
		Public: &memberv1.MemberRemoved_Public{MemberId: m.ID}, Private: &memberv1.MemberRemoved_Private{Reason: reason},
	}}}, nil
}

func (m Member) change(by, reason string, from ...Standing) error {
	if m.ID == "" {
		return rule.NotThere("member_id", "member")
	}
	if err := m.Standing.needs("member", from...); err != nil {
		return err
	}
	var broken rule.All
	if m.ID == by {
		broken.Add(rule.Broken{Reason: rule.OwnStanding, Field: "member_id", Value: m.ID, Rule: "nobody changes the standing of the member they act for", Hint: "leave it to another registrar"})
	}
	broken.Text("reason", reason, 200)
	return broken.Err()
}

// EvolveMember folds one event.
func EvolveMember(m Member, e *memberv1.Event) Member {
	switch e := e.GetEvent().(type) {
	case *memberv1.Event_MemberAdmitted:
		a := e.MemberAdmitted
		m.ID, m.TradingName, m.Standing = a.GetPublic().GetMemberId(), a.GetPublic().GetTradingName(), Admitted
		m.Roles = slices.Clone(a.GetPrivate().GetRoles())
	case *memberv1.Event_MemberRolesSet:
		m.Roles = slices.Clone(e.MemberRolesSet.GetPrivate().GetRoles())
	case *memberv1.Event_MemberSuspended:
		m.Standing = Suspended
	case *memberv1.Event_MemberReinstated:
		m.Standing = Admitted
	case *memberv1.Event_MemberRemoved:
		m.Standing = Removed
	case *memberv1.Event_BankDetailsSealed:
		m.Bank = bankOf(e.BankDetailsSealed.GetPrivate())
	case *memberv1.Event_PersonErased:
		if m.Bank.PersonID == e.PersonErased.GetPublic().GetPersonId() {
			m.Bank = Bank{}
		}
	}
	return m
}
