package main

import (
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// page is where a list begins and how long it is.
type page struct {
	rows  int32
	token string
}

func pageFlags(c *cobra.Command) *page {
	p := &page{}
	c.Flags().Int32Var(&p.rows, "rows", 50, "how many at most, up to 200")
	c.Flags().StringVar(&p.token, "page", "", "where to go on, as the list before said")
	return p
}

func (s *session) fieldCommand() *cobra.Command {
	return group("field", "Opal fields", s.fieldAddCommand(), s.fieldListCommand())
}

func (s *session) fieldAddCommand() *cobra.Command {
	var country string
	c := &cobra.Command{
		Use:   "add NAME",
		Short: "Name an opal field, so that claims can lie on it (registrar)",
		Args:  exactly("NAME"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*coopv1.RecordFieldResponse, error) {
				return coopv1.NewCoopServiceClient(q.conn).RecordField(q.ctx, &coopv1.RecordFieldRequest{RequestId: q.requestID, Name: args[0], Country: country})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error {
				say(w, "Field %s is recorded as %s.", plain(a.GetField().GetName()), a.GetField().GetId())
				return nil
			})
		},
	}
	c.Flags().StringVar(&country, "country", "", "what the country there is, such as \"ironstone country\"")
	return c
}

func (s *session) fieldListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List the fields, oldest first", Args: exactly()}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		a, err := query(c.Context(), s, func(q call) (*coopv1.ListFieldsResponse, error) {
			return coopv1.NewCoopServiceClient(q.conn).ListFields(q.ctx, &coopv1.ListFieldsRequest{PageSize: p.rows, PageToken: p.token})
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error {
			t := table.New(text("field"), wrapped("name"), wrapped("country"))
			for _, f := range a.GetFields() {
				t.Row(f.GetId(), f.GetName(), f.GetCountry())
			}
			_, err := t.WriteTo(w)
			more(w, a.GetNextPageToken())
			return err
		})
	}
	return c
}

func (s *session) memberCommand() *cobra.Command {
	c := group("member", "Businesses that trade here", s.memberAdmitCommand(), s.memberListCommand())
	c.AddCommand(s.memberStandingCommands()...)
	return c
}

func (s *session) memberAdmitCommand() *cobra.Command {
	var roles []typev1.Role
	c := &cobra.Command{
		Use:   "admit \"TRADING NAME\" --role ROLE",
		Short: "Admit a business (registrar)",
		Args:  exactly("TRADING NAME"),
		RunE: func(c *cobra.Command, args []string) error {
			a, err := command(c.Context(), s, func(q call) (*coopv1.AdmitMemberResponse, error) {
				return coopv1.NewCoopServiceClient(q.conn).AdmitMember(q.ctx, &coopv1.AdmitMemberRequest{RequestId: q.requestID, TradingName: args[0], Roles: roles})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error {
				m := a.GetMember()
				say(w, "%s is admitted as %s, member %s.", plain(m.GetTradingName()), words(m.GetRoles()), m.GetId())
				for _, id := range a.GetSameNameMemberIds() {
					sayLong(w, "Warning: member %s has the same name.", id)
				}
				return nil
			})
		},
	}
	wordsFlag(c, &roles, "role", "what it does here, several with commas")
	need(c, "role")
	return c
}

func (s *session) memberListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List the members, oldest first", Args: exactly()}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		a, err := query(c.Context(), s, func(q call) (*coopv1.ListMembersResponse, error) {
			return coopv1.NewCoopServiceClient(q.conn).ListMembers(q.ctx, &coopv1.ListMembersRequest{PageSize: p.rows, PageToken: p.token})
		})
		if err != nil {
			return err
		}
		return s.answer(a, func(w io.Writer) error {
			t := table.New(text("member"), wrapped("trading name"), wrapped("does"), text("stands"))
			for _, m := range a.GetMembers() {
				t.Row(m.GetId(), m.GetTradingName(), words(m.GetRoles()), m.GetStanding())
			}
			_, err := t.WriteTo(w)
			more(w, a.GetNextPageToken())
			return err
		})
	}
	return c
}

func (s *session) personCommand() *cobra.Command {
	c := group("person", "People who act for members", s.personAddCommand())
	c.AddCommand(s.personStandingCommands()...)
	return c
}

func (s *session) personAddCommand() *cobra.Command {
	var roles []typev1.Role
	var publicKey, newKey string
	c := &cobra.Command{
		Use:   "add MEMBER LABEL --role ROLE (--public-key | --new-key) FILE",
		Short: "Add a person with a key and roles to a member (registrar)",
		Long: `Adds a person who acts for a member. LABEL is what the books call them, such as
"desk 1", not a personal name. Best they make their own key (seamshare key new)
and give you only FILE.pub; --new-key makes one here, which you must then hand to
them and forget.`,
		Args: exactly("MEMBER", "LABEL"),
		RunE: func(c *cobra.Command, args []string) error {
			key, err := s.personKey(publicKey, newKey)
			if err != nil {
				return err
			}
			a, err := command(c.Context(), s, func(q call) (*coopv1.AddPersonResponse, error) {
				return coopv1.NewCoopServiceClient(q.conn).AddPerson(q.ctx, &coopv1.AddPersonRequest{
					RequestId: q.requestID, MemberId: args[0], Label: args[1], PublicKey: key, Roles: roles,
				})
			})
			if err != nil {
				return err
			}
			return s.answer(a, func(w io.Writer) error {
				p := a.GetPerson()
				say(w, "%s is added as person %s of member %s: %s.", plain(p.GetLabel()), p.GetId(), p.GetMemberId(), words(p.GetRoles()))
				return nil
			})
		},
	}
	wordsFlag(c, &roles, "role", "what they may do, several with commas")
	c.Flags().StringVar(&publicKey, "public-key", "", "the `file` with their public key")
	c.Flags().StringVar(&newKey, "new-key", "", "make a key for them in this `file`")
	need(c, "role")
	return c
}
