package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

func (s *session) wantedCommand() *cobra.Command {
	return group("wanted", "Standing notes of what jewellers look for",
		s.wantedPostCommand(), s.wantedChangeCommand(), s.wantedCloseCommand(), s.wantedListCommand())
}

// wishFlags are what is looked for.
func wishFlags(c *cobra.Command, w *typev1.Wish, showName *bool) {
	wordFlag(c, &w.Outline, "outline", "the outline")
	wordFlag(c, &w.Kind, "kind", "what kind of opal")
	lengthFlag(c, &w.MinLengthUm, "min-length", "the shortest, such as \"10 mm\"")
	lengthFlag(c, &w.MaxLengthUm, "max-length", "the longest")
	c.Flags().Uint32Var(&w.MinBodyTone, "min-body-tone", 0, "the darkest, 1 to 9")
	c.Flags().Uint32Var(&w.MaxBodyTone, "max-body-tone", 0, "the lightest, 1 to 9")
	c.Flags().StringVar(&w.Colours, "colours", "", "the colours, in words")
	c.Flags().Uint32Var(&w.Stones, "stones", 1, "how many that match: 2 for a pair, more for a suite")
	moneyFlag(c, &w.Budget, "budget", "the most you would pay for all of them, without tax")
	c.Flags().StringVar(&w.Words, "words", "", "what else is to be said")
	c.Flags().BoolVar(showName, "show-name", false, "let cutters see who looks for it")
}

func (s *session) wantedPostCommand() *cobra.Command {
	var wish typev1.Wish
	var showName bool
	c := &cobra.Command{
		Use:   "post [what you look for]",
		Short: "Put up a note of what you look for (jeweller)",
		Long: `Puts up a standing note of what you look for; cutters see it, other jewellers don't.
What you don't say doesn't matter. Your name is shown only with --show-name.`,
		Example: `  seamshare wanted post --outline oval --stones 2 --min-length "10 mm" \
    --max-body-tone 4 --colours "green and blue" --budget "1500.00 AUD"`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			return change(c, s, func(q call) (*jewellerv1.PostWantedResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).PostWanted(q.ctx, &jewellerv1.PostWantedRequest{RequestId: q.requestID, Wish: &wish, ShowsName: showName})
			}, func(w io.Writer, a *jewellerv1.PostWantedResponse) error { return printWanted(w, a.GetWanted()) })
		},
	}
	wishFlags(c, &wish, &showName)
	return c
}

func (s *session) wantedChangeCommand() *cobra.Command {
	var wish typev1.Wish
	var showName bool
	c := &cobra.Command{
		Use:     "change NOTE [what you look for]",
		Short:   "Say anew what a note of yours looks for (jeweller)",
		Long:    "Says anew what a note of yours looks for: all of it. What you don't say again doesn't matter any more.",
		Example: `  seamshare wanted change NOTE --outline oval --stones 2 --budget "1800.00 AUD"`,
		Args:    exactly("NOTE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.ChangeWantedResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).ChangeWanted(q.ctx, &jewellerv1.ChangeWantedRequest{RequestId: q.requestID, WantedId: args[0], Wish: &wish, ShowsName: showName})
			}, func(w io.Writer, a *jewellerv1.ChangeWantedResponse) error { return printWanted(w, a.GetWanted()) })
		},
	}
	wishFlags(c, &wish, &showName)
	return c
}

func (s *session) wantedCloseCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "close NOTE",
		Short:   "Take a note of yours down (jeweller)",
		Example: "  seamshare wanted close NOTE",
		Args:    exactly("NOTE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.CloseWantedResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).CloseWanted(q.ctx, &jewellerv1.CloseWantedRequest{RequestId: q.requestID, WantedId: args[0]})
			}, func(w io.Writer, a *jewellerv1.CloseWantedResponse) error { return printWanted(w, a.GetWanted()) })
		},
	}
}

func (s *session) wantedListCommand() *cobra.Command {
	var as typev1.Role
	c := &cobra.Command{
		Use:     "list",
		Short:   "List your notes as jeweller, or all that are up as cutter",
		Example: "  seamshare wanted list",
		Args:    exactly(),
	}
	p := pageFlags(c)
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return look(c, s, func(q call) (*jewellerv1.ListWantedResponse, error) {
			role, err := s.role(q, as)
			if err != nil {
				return nil, err
			}
			if role == typev1.Role_ROLE_CUTTER {
				a, err := cutterv1.NewCutterServiceClient(q.conn).ListWanted(q.ctx, &cutterv1.ListWantedRequest{PageSize: p.rows, PageToken: p.token})
				return &jewellerv1.ListWantedResponse{Wanted: a.GetWanted(), NextPageToken: a.GetNextPageToken(), Position: a.GetPosition()}, err
			}
			return jewellerv1.NewJewellerServiceClient(q.conn).ListWanted(q.ctx, &jewellerv1.ListWantedRequest{PageSize: p.rows, PageToken: p.token})
		}, func(w io.Writer, a *jewellerv1.ListWantedResponse) error {
			t := table.New(text("note"), wrapped("looks for"), wrapped("who"), right("budget"))
			for _, n := range a.GetWanted() {
				t.Row(n.GetId(), wishWords(n), wantedBy(n), amount.Text(n.GetWish().GetBudget()))
			}
			return printList(w, t, len(a.GetWanted()), "No notes.", a.GetNextPageToken())
		})
	}
	return c
}

func wantedBy(n *typev1.Wanted) string {
	switch {
	case n.GetTradingName() != "":
		return n.GetTradingName()
	case n.GetMemberId() == "":
		return "not shown"
	case n.GetShowsName():
		return "you, shown"
	}
	return "you, not shown"
}

// wishWords says what is looked for, in one line.
func wishWords(n *typev1.Wanted) string {
	w := n.GetWish()
	said := []string{"one stone", word(w.GetKind()), word(w.GetOutline()), between(w.GetMinLengthUm(), w.GetMaxLengthUm())}
	switch stones := w.GetStones(); {
	case stones == 2:
		said[0] = "a pair"
	case stones > 2:
		said[0] = fmt.Sprintf("a suite of %d", stones)
	}
	switch darkest, lightest := w.GetMinBodyTone(), w.GetMaxBodyTone(); {
	case darkest > 0 && lightest > 0:
		said = append(said, fmt.Sprintf("N%d to N%d", darkest, lightest))
	case darkest > 0:
		said = append(said, fmt.Sprintf("N%d or lighter", darkest))
	case lightest > 0:
		said = append(said, fmt.Sprintf("N%d or darker", lightest))
	}
	said = append(said, w.GetColours(), w.GetWords())
	if n.GetClosed() {
		said = append(said, "taken down")
	}
	return sentence(said...)
}

func printWanted(w io.Writer, n *typev1.Wanted) error {
	sayLong(w, "Note %s: %s", n.GetId(), plain(wishWords(n)))
	if budget := amount.Text(n.GetWish().GetBudget()); budget != "" {
		say(w, "  up to %s for all", budget)
	}
	say(w, "  who looks for it: %s", plain(wantedBy(n)))
	return nil
}
