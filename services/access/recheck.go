package access

import (
	"fmt"
	"strings"

	"seamshare.example/eventstore"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/fault"
	"seamshare.example/services/stream"
)

// Recheck holds a caller against what stands where l reads: person and member stand,
// neither suspended nor removed, the key they signed in with is in use, the person
// acts for the member and has one of the roles, and the member has it. Without roles
// it holds them against the rule of the rpc that was called.
//
// Each decision calls it with its Tx, as a role may have gone since the call
// came in; a query calls it with its Query where the rows it shows depend on it.
func Recheck(l eventstore.Loader, who Identity, roles ...memberv1.Role) error {
	rule := who.rule
	if len(roles) > 0 {
		rule = Rule{Roles: roles}
	}
	if rule.Open {
		return nil
	}
	p, m, err := standing(l, who)
	if err != nil {
		return err
	}
	return rule.admits(p, m, who)
}

// standing looks up the caller's person and member.
func standing(l eventstore.Loader, who Identity) (member.Person, member.Member, error) {
	if !validID(who.Person) || !validID(who.Member) {
		return member.Person{}, member.Member{}, nil
	}
	p, _, err := eventstore.Load(l, stream.Person, who.Person)
	if err != nil {
		return p, member.Member{}, fmt.Errorf("couldn't look up person %s: %w", who.Person, err)
	}
	m, _, err := eventstore.Load(l, stream.Member, who.Member)
	if err != nil {
		return p, m, fmt.Errorf("couldn't look up member %s: %w", who.Member, err)
	}
	return p, m, nil
}

// admits is the one place where a rule is held against a person.
func (r Rule) admits(p member.Person, m member.Member, who Identity) error {
	switch {
	case r.Open:
		return nil
	case !p.Stands() || !m.Stands() || len(p.In(m)) == 0:
		return fault.New(fault.MemberClosed, "this person can't act for this member here; ask the co-op's registrar")
	case who.Key != "" && !p.SignsWith(who.Key):
		return fault.New(fault.TokenInvalid, "this key was revoked, and its tokens with it; sign in with another, or ask the co-op's registrar")
	case r.SignedIn:
		return nil
	case len(r.Roles) == 0:
		return fault.New(fault.MethodClosed, "nobody may call this")
	case !p.Has(m, r.Roles...):
		return fault.New(fault.RoleMissing, "this needs the role %s, which you don't have for this member; ask the co-op's registrar", names(r.Roles)).
			With("roles", names(r.Roles))
	}
	return nil
}

// names writes roles as people read them: "miner or cutter".
func names(roles []memberv1.Role) string {
	words := make([]string, len(roles))
	for i, r := range roles {
		words[i] = strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(r.String(), "ROLE_")), "_", " ")
	}
	return strings.Join(words, " or ")
}
