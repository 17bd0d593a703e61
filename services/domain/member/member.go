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
type Member struct {
	ID          string
	TradingName string
	Roles       []memberv1.Role // what its persons may be given
}

// Stands reports whether the member may trade.
func (m Member) Stands() bool { return m.ID != "" }

// Has reports whether the member does this here.
func (m Member) Has(role memberv1.Role) bool { return slices.Contains(m.Roles, role) }

// Admit admits the member (rules 1 and 2).
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

// EvolveMember folds one event.
func EvolveMember(m Member, e *memberv1.Event) Member {
	if a := e.GetMemberAdmitted(); a != nil {
		m.ID, m.TradingName = a.GetPublic().GetMemberId(), a.GetPublic().GetTradingName()
		m.Roles = slices.Clone(a.GetPrivate().GetRoles())
	}
	return m
}
