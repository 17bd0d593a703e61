package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/table"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
)

func (s *session) holdCommand() *cobra.Command {
	return group("hold", "Stones set aside for you for a time (jeweller)",
		s.holdPlaceCommand(), s.holdListCommand(), s.holdShowCommand(), s.holdReleaseCommand())
}

func (s *session) holdPlaceCommand() *cobra.Command {
	var ends string
	c := &cobra.Command{
		Use:   "place STONE… [--for TIME]",
		Short: "Set stones aside for you: all of them or none (jeweller)",
		Long: `Sets stones aside for you, so that nobody else can have them while you think: all of
them or none. A pair or suite is held as a whole. A hold ends by itself; what you
order or get on approval comes out of it, and the rest stays held.`,
		Example: `  seamshare hold place STONE-1 STONE-2 --for "12 hours"`,
		Args:    atLeastOne("STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.HoldStonesResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).HoldStones(q.ctx, &jewellerv1.HoldStonesRequest{RequestId: q.requestID, StoneIds: args, EndsAt: ends})
			}, func(w io.Writer, a *jewellerv1.HoldStonesResponse) error { return printHold(w, a.GetHold()) })
		},
	}
	endsFlag(c, &ends, "for", "how long: hours or days, or a time", "as long as the co-op allows")
	return c
}

func (s *session) holdReleaseCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "release HOLD",
		Short:   "Let go of what you hold before its time (jeweller)",
		Example: "  seamshare hold release HOLD",
		Args:    exactly("HOLD"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.ReleaseHoldResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).ReleaseHold(q.ctx, &jewellerv1.ReleaseHoldRequest{RequestId: q.requestID, HoldId: args[0]})
			}, func(w io.Writer, a *jewellerv1.ReleaseHoldResponse) error { return printHold(w, a.GetHold()) })
		},
	}
}

func (s *session) holdShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show HOLD",
		Short:   "Look at one of your holds (jeweller)",
		Example: "  seamshare hold show HOLD",
		Args:    exactly("HOLD"),
		RunE: func(c *cobra.Command, args []string) error {
			return look(c, s, func(q call) (*jewellerv1.GetHoldResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).GetHold(q.ctx, &jewellerv1.GetHoldRequest{HoldId: args[0]})
			}, func(w io.Writer, a *jewellerv1.GetHoldResponse) error { return printHold(w, a.GetHold()) })
		},
	}
}

func (s *session) holdListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List your holds, oldest first (jeweller)", Example: "  seamshare hold list", Args: exactly()}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return look(c, s, func(q call) (*jewellerv1.ListHoldsResponse, error) {
			return jewellerv1.NewJewellerServiceClient(q.conn).ListHolds(q.ctx, &jewellerv1.ListHoldsRequest{PageSize: p.rows, PageToken: p.token})
		}, func(w io.Writer, a *jewellerv1.ListHoldsResponse) error {
			t := table.New(text("hold"), text("state"), text("until"), right("stones"))
			for _, h := range a.GetHolds() {
				t.Row(h.GetId(), word(h.GetState()), h.GetEndsAt(), fmt.Sprint(len(h.GetStoneIds())))
			}
			return printList(w, t, len(a.GetHolds()), "No holds.", a.GetNextPageToken())
		})
	}
	return c
}

func printHold(w io.Writer, h *jewellerv1.Hold) error {
	say(w, "Hold %s: %s, until %s", h.GetId(), word(h.GetState()), h.GetEndsAt())
	if len(h.GetStoneIds()) > 0 {
		sayLong(w, "  of %s: %s", count(len(h.GetStoneIds()), "stone"), strings.Join(h.GetStoneIds(), " "))
	}
	return nil
}

// printList prints the rows of a list, or that there are none, and how it goes on.
func printList(w io.Writer, t *table.Table, rows int, none, next string) error {
	if rows == 0 {
		say(w, "%s", none)
	} else if _, err := t.WriteTo(w); err != nil {
		return err
	}
	more(w, next)
	return nil
}
