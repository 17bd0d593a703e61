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
			if next := nextCommand(role, kind); next != "" {
				heading += " (seamshare " + next + ")"
			}
			sayLong(w, "  %s", heading)
		}
		line := plain(item.GetWhat())
		var about []string // first, so that no id is broken
		if item.GetThing() != "" {
			about = append(about, strings.Replace(plain(item.GetThing()), "/", " ", 1))
		}
		if item.GetWithin() != "" {
			about = append(about, within(role, kind)+" "+plain(item.GetWithin()))
		}
		if len(about) > 0 {
			line = strings.Join(about, ", ") + ": " + line
		}
		if item.GetDue() != "" {
			line += ", by " + item.GetDue()
		}
		sayLong(w, "    %s", line)
	}
}

// within is what the thing to do is about within its thing: the last argument of the command that goes on.
func within(role typev1.Role, kind string) string {
	switch kind {
	case coop.OffersWaiting: // they are looked at beside each other first
		return "offer"
	case coop.OpenExceptions: // some roles only look at them
		return "exception"
	}
	words := strings.Fields(strings.TrimSuffix(nextCommand(role, kind), " STEP"))
	return strings.ToLower(words[len(words)-1])
}

// nextCommand is what goes on from a kind of thing to do in a role; empty: nothing but to wait.
func nextCommand(role typev1.Role, kind string) string {
	if next := goOnAs[role][kind]; next != "" {
		return next
	}
	return goOn[kind]
}

// goOn is the command that goes on from each kind of thing to do. Its first argument is the thing, its second what of the
// thing it is about.
var goOn = map[string]string{
	coop.OffersWaiting:    "parcel offers PARCEL",
	coop.ViewingsAsked:    "viewing agree PARCEL VIEWING",
	coop.ViewingsAgreed:   "viewing start PARCEL VIEWING",
	coop.ViewingsOut:      "viewing end PARCEL VIEWING",
	coop.ToWeigh:          "parcel handover PARCEL",
	coop.GoingBack:        "parcel take-back PARCEL",
	coop.DealsUnpaid:      "parcel show PARCEL",
	coop.ShareEarned:      "account mine",
	coop.ShareInRun:       "account mine",
	coop.CountersWaiting:  "counter accept PARCEL COUNTER-OFFER",
	coop.PurchasesUnpaid:  "parcel show PARCEL",
	coop.PartsWaiting:     "piece decide PIECE PART",
	coop.RestOver:         "piece work PIECE PART STEP",
	coop.StonesToCheck:    "stone check STONE",
	coop.StonesToConfirm:  "stone confirm STONE",
	coop.ApprovalsAsked:   "approval send APPROVAL",
	coop.GoodsOverdue:     "approval show APPROVAL",
	coop.OrdersToSend:     "sale send ORDER",
	coop.OrdersOverdue:    "sale call-off ORDER",
	coop.ClaimsToAnswer:   "sale show ORDER",
	coop.ReturnsComing:    "sale show ORDER",
	coop.PromisesDue:      "promise list",
	coop.HoldsEnding:      "hold show HOLD",
	coop.GoodsDue:         "approval show APPROVAL",
	coop.OrdersUnpaid:     "order show ORDER",
	coop.OrdersToReceive:  "order receive ORDER",
	coop.ReturnsToSend:    "order show ORDER",
	coop.PromisesToAnswer: "promise accept PROMISE",
	coop.PromisesNotKept:  "promise list",
	coop.SaidOtherwise:    "stone show STONE",
	coop.RunsAtBank:       "payout show RUN",
	coop.ToPayOut:         "payout prepare --currency CODE",
	coop.RefundsDue:       "refund ORDER STONE AMOUNT, or payment back PARCEL AMOUNT",
	coop.PurchasesOverdue: "parcel show PARCEL",
	coop.RunsToApprove:    "payout show RUN",
	coop.ToConfirm:        "correction confirm CORRECTION",
	coop.DisputesOpen:     "dispute show DISPUTE",
	coop.KeysToConfirm:    "key confirm PERSON KEY",
	coop.OpenExceptions:   "exception close EXCEPTION",
}

// goOnAs is where it depends on the role.
var goOnAs = map[typev1.Role]map[string]string{
	typev1.Role_ROLE_CUTTER: {
		coop.ViewingsAgreed: "viewing cancel PARCEL VIEWING",
		coop.ViewingsOut:    "viewing list",
		coop.ToWeigh:        "parcel receive PARCEL",
		coop.GoingBack:      "parcel give-back PARCEL",
	},
	// They don't close exceptions.
	typev1.Role_ROLE_AUDITOR:    {coop.OpenExceptions: "exception list"},
	typev1.Role_ROLE_APPROVER:   {coop.OpenExceptions: "exception list"},
	typev1.Role_ROLE_BOOKKEEPER: {coop.PurchasesOverdue: "payment parcel PARCEL AMOUNT", coop.OrdersOverdue: "payment order ORDER AMOUNT"},
}
