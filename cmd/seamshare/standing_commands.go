package main

import (
	"io"
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// changedMember is an answer about a member.
type changedMember interface{ GetMember() *coopv1.Member }

func printMember[T changedMember](w io.Writer, a T) error {
	m := a.GetMember()
	sayLong(w, "%s, member %s, is %s as %s.", plain(m.GetTradingName()), m.GetId(), m.GetStanding(), words(m.GetRoles()))
	return nil
}

func (s *session) memberStandingCommands() []*cobra.Command {
	var whySuspend, whyReinstate, whyRemove, whyRoles string
	suspend := &cobra.Command{
		Use:     "suspend MEMBER --why TEXT",
		Short:   "Stop a member from acting until it is reinstated (registrar)",
		Example: `  seamshare member suspend MEMBER --why "dues unpaid since May"`,
		Args:    exactly("MEMBER"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.SuspendMemberResponse, error) {
				return d.SuspendMember(d.ctx, &coopv1.SuspendMemberRequest{RequestId: d.requestID, MemberId: args[0], Reason: whySuspend})
			}, printMember)
		},
	}
	whyFlag(suspend, &whySuspend)
	reinstate := &cobra.Command{
		Use:     "reinstate MEMBER --why TEXT",
		Short:   "Let a suspended member act again (registrar)",
		Example: `  seamshare member reinstate MEMBER --why "dues paid"`,
		Args:    exactly("MEMBER"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.ReinstateMemberResponse, error) {
				return d.ReinstateMember(d.ctx, &coopv1.ReinstateMemberRequest{RequestId: d.requestID, MemberId: args[0], Reason: whyReinstate})
			}, printMember)
		},
	}
	whyFlag(reinstate, &whyReinstate)
	remove := &cobra.Command{
		Use:     "remove MEMBER --why TEXT",
		Short:   "End a membership for good; what it earned stays owed (registrar)",
		Example: `  seamshare member remove MEMBER --why "the business closed"`,
		Args:    exactly("MEMBER"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.RemoveMemberResponse, error) {
				return d.RemoveMember(d.ctx, &coopv1.RemoveMemberRequest{RequestId: d.requestID, MemberId: args[0], Reason: whyRemove})
			}, printMember)
		},
	}
	whyFlag(remove, &whyRemove)
	var roles []typev1.Role
	setRoles := &cobra.Command{
		Use:   "roles MEMBER --role ROLE --why TEXT",
		Short: "Say anew what a member does here (registrar)",
		Long: `Says anew what a member does here, all of it at once. Its persons lose the roles
that are gone.`,
		Example: `  seamshare member roles MEMBER --role miner,cutter --why "they cut now too"`,
		Args:    exactly("MEMBER"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.SetMemberRolesResponse, error) {
				return d.SetMemberRoles(d.ctx, &coopv1.SetMemberRolesRequest{RequestId: d.requestID, MemberId: args[0], Roles: roles, Reason: whyRoles})
			}, printMember)
		},
	}
	wordsFlag(setRoles, &roles, "role", "all that it does here, several with commas")
	whyFlag(setRoles, &whyRoles)
	need(setRoles, "role")
	return []*cobra.Command{suspend, reinstate, remove, setRoles}
}

// changedPerson is an answer about a person.
type changedPerson interface{ GetPerson() *coopv1.Person }

// printPersonOf shows all that the books say of a person; nothing of it is personal.
func printPersonOf[T changedPerson](w io.Writer, a T) error {
	p := a.GetPerson()
	sayLong(w, "Person %s (%s) of member %s is %s.", p.GetId(), plain(p.GetLabel()), p.GetMemberId(), p.GetStanding())
	for _, m := range p.GetMemberships() {
		sayLong(w, "  for member %s: %s", m.GetMemberId(), words(m.GetRoles()))
	}
	for _, k := range p.GetKeys() {
		sayLong(w, "  key %s: %s", k.GetId(), k.GetStage())
		if k.GetNewKeyId() != "" {
			sayLong(w, "  key %s is to take its place, asked for by %s", k.GetNewKeyId(), or(k.GetAskedBy(), "nobody any more"))
		}
	}
	for _, other := range p.GetNotThem() {
		sayLong(w, "  not the same human as person %s", other)
	}
	if p.GetErased() {
		say(w, "  What was personal is erased.")
	}
	return nil
}

func (s *session) personStandingCommands() []*cobra.Command {
	list := deskList(s, "list", "List all persons, oldest first (desk)", func(d desk, p *page) (*coopv1.ListPersonsResponse, error) {
		return d.ListPersons(d.ctx, &coopv1.ListPersonsRequest{PageSize: p.rows, PageToken: p.token})
	}, func(w io.Writer, a *coopv1.ListPersonsResponse) error {
		t := table.New(text("person"), wrapped("label"), wrapped("may act as"), text("stands"))
		for _, p := range a.GetPersons() {
			t.Row(p.GetId(), p.GetLabel(), words(p.GetRoles()), p.GetStanding())
		}
		_, err := t.WriteTo(w)
		return err
	})
	show := &cobra.Command{
		Use:     "show PERSON",
		Short:   "Show a person's roles, keys and standing (desk)",
		Example: "  seamshare person show PERSON",
		Args:    exactly("PERSON"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskQuery(c, s, func(d desk) (*coopv1.GetPersonResponse, error) {
				return d.GetPerson(d.ctx, &coopv1.GetPersonRequest{PersonId: args[0]})
			}, printPersonOf)
		},
	}
	var whySuspend, whyReinstate, whyRemove, basis string
	suspend := &cobra.Command{
		Use:     "suspend PERSON --why TEXT",
		Short:   "Stop a person from acting until they are reinstated (registrar)",
		Example: `  seamshare person suspend PERSON --why "on leave"`,
		Args:    exactly("PERSON"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.SuspendPersonResponse, error) {
				return d.SuspendPerson(d.ctx, &coopv1.SuspendPersonRequest{RequestId: d.requestID, PersonId: args[0], Reason: whySuspend})
			}, printPersonOf)
		},
	}
	whyFlag(suspend, &whySuspend)
	reinstate := &cobra.Command{
		Use:     "reinstate PERSON --why TEXT",
		Short:   "Let a suspended person act again (registrar)",
		Example: `  seamshare person reinstate PERSON --why "back from leave"`,
		Args:    exactly("PERSON"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.ReinstatePersonResponse, error) {
				return d.ReinstatePerson(d.ctx, &coopv1.ReinstatePersonRequest{RequestId: d.requestID, PersonId: args[0], Reason: whyReinstate})
			}, printPersonOf)
		},
	}
	whyFlag(reinstate, &whyReinstate)
	remove := &cobra.Command{
		Use:     "remove PERSON --why TEXT",
		Short:   "Stop a person from acting for good (registrar)",
		Long:    "Stops a person from acting for good. What is personal of them stays until it is erased: see seamshare personal erase --help.",
		Example: `  seamshare person remove PERSON --why "left the business"`,
		Args:    exactly("PERSON"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.RemovePersonResponse, error) {
				return d.RemovePerson(d.ctx, &coopv1.RemovePersonRequest{RequestId: d.requestID, PersonId: args[0], Reason: whyRemove})
			}, printPersonOf)
		},
	}
	whyFlag(remove, &whyRemove)
	apart := &cobra.Command{
		Use:   "apart PERSON OTHER --basis TEXT",
		Short: "State that two persons are two humans (desk)",
		Long: `States that two persons are two humans. Wherever a second person is needed, a second
key is not enough: somebody who knows both, and is neither, has to have said so. Who
added one of them, or had a part in a key of theirs, can't.`,
		Example: `  seamshare person apart PERSON OTHER --basis "I know both"`,
		Args:    exactly("PERSON", "OTHER"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.StateTwoPeopleResponse, error) {
				return d.StateTwoPeople(d.ctx, &coopv1.StateTwoPeopleRequest{RequestId: d.requestID, PersonId: args[0], OtherPersonId: args[1], Basis: basis})
			}, printPersonOf)
		},
	}
	apart.Flags().StringVar(&basis, "basis", "", "how you know")
	need(apart, "basis")
	return []*cobra.Command{list, show, suspend, reinstate, remove, apart}
}

func (s *session) roleCommand() *cobra.Command {
	all := strings.Join(choices[typev1.Role](), ", ")
	var grantFor, revokeFor, why string
	grant := &cobra.Command{
		Use:   "grant PERSON ROLE",
		Short: "Give a person one more role (registrar)",
		Long: "Gives a person one more of a member's roles: " + all + ". Without --for it is for the member they were added to; with it " +
			"they act for another member too.",
		Example: "  seamshare role grant PERSON auditor\n  seamshare role grant PERSON cutter --for MEMBER",
		Args:    exactly("PERSON", "ROLE"),
		RunE: func(c *cobra.Command, args []string) error {
			role, err := parseWord[typev1.Role](args[1])
			if err != nil {
				return wrongInput("ROLE", "", "%v", err)
			}
			return deskCommand(c, s, func(d desk) (*coopv1.GrantRoleResponse, error) {
				return d.GrantRole(d.ctx, &coopv1.GrantRoleRequest{RequestId: d.requestID, PersonId: args[0], Role: role, MemberId: grantFor})
			}, printRoles)
		},
	}
	grant.Flags().StringVar(&grantFor, "for", "", "the `id` of another member, if not the one they were added to")
	revoke := &cobra.Command{
		Use:     "revoke PERSON ROLE --why TEXT",
		Short:   "Take a role from a person (registrar)",
		Long:    "Takes a role from a person: " + all + ". Without --for it is the one for the member they were added to.",
		Example: `  seamshare role revoke PERSON approver --why "prepares the runs now"`,
		Args:    exactly("PERSON", "ROLE"),
		RunE: func(c *cobra.Command, args []string) error {
			role, err := parseWord[typev1.Role](args[1])
			if err != nil {
				return wrongInput("ROLE", "", "%v", err)
			}
			return deskCommand(c, s, func(d desk) (*coopv1.RevokeRoleResponse, error) {
				member := revokeFor
				if member == "" {
					p, err := d.GetPerson(d.ctx, &coopv1.GetPersonRequest{PersonId: args[0]})
					if err != nil {
						return nil, err
					}
					member = p.GetPerson().GetMemberId()
				}
				return d.RevokeRole(d.ctx, &coopv1.RevokeRoleRequest{RequestId: d.requestID, PersonId: args[0], MemberId: member, Role: role, Reason: why})
			}, printRoles)
		},
	}
	revoke.Flags().StringVar(&revokeFor, "for", "", "the `id` of another member, if not the one they were added to")
	whyFlag(revoke, &why)
	return group("role", "What persons may do", grant, revoke)
}

func printRoles[T changedPerson](w io.Writer, a T) error {
	p := a.GetPerson()
	sayLong(w, "%s may now act as: %s.", p.GetId(), or(words(p.GetRoles()), "nothing"))
	for _, m := range p.GetMemberships() {
		if m.GetMemberId() != p.GetMemberId() {
			sayLong(w, "  for member %s: %s", m.GetMemberId(), words(m.GetRoles()))
		}
	}
	return nil
}

// keyDeskCommands are what the desk does to the keys of others.
func (s *session) keyDeskCommands() []*cobra.Command {
	add := &cobra.Command{
		Use:   "add FILE",
		Short: "Give yourself one more key, FILE its public half",
		Long: `Gives yourself one more key, signed in with one that you have. Nobody adds a key to
another: where all are lost or revoked, two of the desk replace one (seamshare key
replace, then seamshare key confirm).`,
		Example: "  seamshare key add second.pem.pub",
		Args:    exactly("FILE"),
		RunE: func(c *cobra.Command, args []string) error {
			key, err := s.readPublicKey(args[0])
			if err != nil {
				return keyFailure("FILE", err)
			}
			return deskCommand(c, s, func(d desk) (*coopv1.AddKeyResponse, error) {
				who, err := coopv1.NewAccessServiceClient(d.conn).WhoAmI(d.ctx, &coopv1.WhoAmIRequest{})
				if err != nil {
					return nil, err
				}
				return d.AddKey(d.ctx, &coopv1.AddKeyRequest{RequestId: d.requestID, PersonId: who.GetPersonId(), PublicKey: key})
			}, printPersonOf)
		},
	}
	var whyRevoke, whyReplace, whyRefuse string
	revoke := &cobra.Command{
		Use:     "revoke PERSON KEY --why TEXT",
		Short:   "End a key: nobody signs in with it again (registrar)",
		Long:    "Ends a key. KEY is its id, as seamshare person show prints it.",
		Example: `  seamshare key revoke PERSON 0123456789abcdef --why "the old machine was sold"`,
		Args:    exactly("PERSON", "KEY"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.RevokeKeyResponse, error) {
				return d.RevokeKey(d.ctx, &coopv1.RevokeKeyRequest{RequestId: d.requestID, PersonId: args[0], KeyId: args[1], Reason: whyRevoke})
			}, printPersonOf)
		},
	}
	whyFlag(revoke, &whyRevoke)
	replace := &cobra.Command{
		Use:   "replace PERSON KEY FILE --why TEXT",
		Short: "End a lost key and ask for another in its place (registrar)",
		Long: `Ends a lost key at once and asks for another, FILE its public half, in its place; so
too in the place of one that was revoked. A second person has to confirm it, who
isn't the key's owner: seamshare key confirm.`,
		Example: `  seamshare key replace PERSON 0123456789abcdef new.pem.pub --why "lost"`,
		Args:    exactly("PERSON", "KEY", "FILE"),
		RunE: func(c *cobra.Command, args []string) error {
			key, err := s.readPublicKey(args[2])
			if err != nil {
				return keyFailure("FILE", err)
			}
			return deskCommand(c, s, func(d desk) (*coopv1.AskKeyReplacementResponse, error) {
				return d.AskKeyReplacement(d.ctx, &coopv1.AskKeyReplacementRequest{
					RequestId: d.requestID, PersonId: args[0], KeyId: args[1], PublicKey: key, Reason: whyReplace,
				})
			}, printPersonOf)
		},
	}
	whyFlag(replace, &whyReplace)
	confirm := &cobra.Command{
		Use:     "confirm PERSON KEY",
		Short:   "Let the new key take a lost one's place, as a second person (desk)",
		Example: "  seamshare key confirm PERSON 0123456789abcdef",
		Args:    exactly("PERSON", "KEY"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.ConfirmKeyReplacementResponse, error) {
				return d.ConfirmKeyReplacement(d.ctx, &coopv1.ConfirmKeyReplacementRequest{RequestId: d.requestID, PersonId: args[0], KeyId: args[1]})
			}, printPersonOf)
		},
	}
	refuse := &cobra.Command{
		Use:     "refuse PERSON KEY --why TEXT",
		Short:   "Leave the person without the new key, as a second person (desk)",
		Example: `  seamshare key refuse PERSON 0123456789abcdef --why "they didn't ask for it"`,
		Args:    exactly("PERSON", "KEY"),
		RunE: func(c *cobra.Command, args []string) error {
			return deskCommand(c, s, func(d desk) (*coopv1.RefuseKeyReplacementResponse, error) {
				return d.RefuseKeyReplacement(d.ctx, &coopv1.RefuseKeyReplacementRequest{RequestId: d.requestID, PersonId: args[0], KeyId: args[1], Reason: whyRefuse})
			}, printPersonOf)
		},
	}
	whyFlag(refuse, &whyRefuse)
	return []*cobra.Command{add, revoke, replace, confirm, refuse}
}
