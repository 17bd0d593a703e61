package main

import (
	"errors"
	"io"
	"strings"

	"github.com/spf13/cobra"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/coop"
)

func (s *session) todayCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "today",
		Short: "What needs your attention today, in each of your roles",
		Long: `Shows what needs your attention today in each of your roles, what is due first on
top, at most 20 of a kind, each kind with the command that goes on from there. It is
also what seamshare alone shows, once you are signed in.`,
		Example: "  seamshare today",
		Args:    exactly(),
		RunE:    func(c *cobra.Command, _ []string) error { return s.today(c, func(io.Writer) {}) },
	}
}

// atHome is what the program shows without a command: help, or the day of who is signed in.
func (s *session) atHome(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return knownOnly(c, args)
	}
	if _, err := s.signer(); err != nil {
		if f, ok := errors.AsType[*failure](err); ok && f.Reason == "NOT_SIGNED_IN" {
			return c.Help()
		}
		return err
	}
	return s.today(c, func(w io.Writer) {
		say(w, "All commands: seamshare --help. What needs your attention today:")
		say(w, "")
	})
}

func (s *session) today(c *cobra.Command, before func(w io.Writer)) error {
	return look(c, s, func(q call) (*coopv1.TodayResponse, error) {
		return coopv1.NewCoopServiceClient(q.conn).Today(q.ctx, &coopv1.TodayRequest{})
	}, func(w io.Writer, a *coopv1.TodayResponse) error {
		before(w)
		printToday(w, a.GetItems())
		return nil
	})
}

// printToday shows what there is to do; items of one role and kind stand together.
func printToday(w io.Writer, items []*coopv1.TodayItem) {
	if len(items) == 0 {
		say(w, "Nothing waits for you.")
		return
	}
	var role typev1.Role
	kind := ""
	for _, item := range items {
		if item.GetRole() != role {
			if role != 0 {
				say(w, "")
			}
			role, kind = item.GetRole(), ""
			say(w, "As %s:", word(role))
		}
		if item.GetKind() != kind {
			kind = item.GetKind()
			heading := title(plain(kind))
			if next := goOn[kind]; next != "" {
				heading += " (seamshare " + next + ")"
			}
			sayLong(w, "  %s", heading)
		}
		line := plain(item.GetWhat())
		if item.GetThing() != "" { // first, so that its id is never broken
			line = strings.Replace(plain(item.GetThing()), "/", " ", 1) + ": " + line
		}
		if item.GetDue() != "" {
			line += ", by " + moment(item.GetDue())
		}
		sayLong(w, "    %s", line)
	}
}

// goOn is the command that goes on from each kind of thing to do.
var goOn = map[string]string{
	coop.OffersWaiting:    "parcel offers PARCEL",
	coop.ToWeigh:          "parcel show PARCEL",
	coop.DealsUnpaid:      "parcel show PARCEL",
	coop.ShareEarned:      "share PARCEL",
	coop.PurchasesUnpaid:  "parcel show PARCEL",
	coop.PartsWaiting:     "piece show PIECE",
	coop.RestOver:         "piece show PIECE",
	coop.StonesToCheck:    "stone show STONE",
	coop.StonesToConfirm:  "stone show STONE",
	coop.ApprovalsAsked:   "approval send APPROVAL",
	coop.GoodsOverdue:     "approval show APPROVAL",
	coop.OrdersToSend:     "sale send ORDER",
	coop.ClaimsToAnswer:   "sale answer ORDER STONE",
	coop.ReturnsComing:    "stone return STONE",
	coop.HoldsEnding:      "hold show HOLD",
	coop.GoodsDue:         "approval show APPROVAL",
	coop.OrdersUnpaid:     "order show ORDER",
	coop.OrdersToReceive:  "order receive ORDER",
	coop.ReturnsToSend:    "order show ORDER",
	coop.RefundsDue:       "refund ORDER STONE AMOUNT",
	coop.PurchasesOverdue: "parcel show PARCEL",
}
