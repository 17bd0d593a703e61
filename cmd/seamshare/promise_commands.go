package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) promiseCommand() *cobra.Command {
	return group("promise", "Stones cut to order, with price, date and tolerance",
		s.promiseMakeCommand(), s.promiseWithdrawCommand(), s.promiseDeliverCommand(),
		s.promiseAcceptCommand(), s.promiseDeclineCommand(), s.promiseListCommand())
}

// ofPromise is an answer that shows a promise.
type ofPromise interface{ GetPromise() *typev1.Promise }

func showPromise[A ofPromise](w io.Writer, a A) error { return printPromise(w, a.GetPromise()) }

// parsePromised reads "oval, 12x9x3 mm, within 0.3 mm, boulder, 740.00 AUD, blue and green".
func parsePromised(typed string) (*typev1.PromisedStone, error) {
	fields := strings.SplitN(typed, ",", 6)
	for i := range fields {
		fields[i] = strings.TrimSpace(fields[i])
	}
	if len(fields) < 5 {
		return nil, fmt.Errorf("%q: write outline, size, tolerance, kind and price, such as \"oval, 12x9x3 mm, within 0.3 mm, boulder, 740.00 AUD\"", typed)
	}
	st := &typev1.PromisedStone{}
	var err error
	if st.Outline, err = parseWord[typev1.Outline](fields[0]); err != nil {
		return nil, err
	}
	if st.Size, err = parseSize(fields[1]); err != nil {
		return nil, err
	}
	if st.ToleranceUm, err = parseUm(strings.TrimPrefix(fields[2], "within ")); err != nil {
		return nil, err
	}
	if st.Kind, err = parseWord[typev1.Kind](fields[3]); err != nil {
		return nil, err
	}
	if st.Price, err = parseAmount(fields[4]); err != nil {
		return nil, err
	}
	if len(fields) == 6 {
		st.Like = fields[5]
	}
	return st, nil
}

func (s *session) promiseMakeCommand() *cobra.Command {
	var r cutterv1.PromiseStonesRequest
	c := &cobra.Command{
		Use:   "make JEWELLER --stone STONE… --due TIME",
		Short: "Promise a jeweller stones cut to order (cutter)",
		Long: `Promises a jeweller stones that you will cut. It binds both once the jeweller has
accepted it. JEWELLER is the id of the member. --stone is the outline, the size, how
far each side of it may be off, the kind, the price without tax and, where there is
more to say, what it is to be like.`,
		Example: `  seamshare promise make JEWELLER --due "30 days" --note "for a brooch" \
    --stone "oval, 12x9x3 mm, within 0.3 mm, boulder, 740.00 AUD, blue, green"`,
		Args: exactly("JEWELLER"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.PromiseStonesResponse, error) {
				r.RequestId, r.JewellerId = q.requestID, args[0]
				return cutterv1.NewCutterServiceClient(q.conn).PromiseStones(q.ctx, &r)
			}, showPromise)
		},
	}
	f := c.Flags()
	f.Var(&parsed[[]*typev1.PromisedStone]{into: &r.Items, kind: "stone", parse: func(text string) ([]*typev1.PromisedStone, error) {
		stone, err := parsePromised(text)
		return append(r.Items, stone), err
	}}, "stone", "a stone; again for each")
	f.Var(&parsed[string]{into: &r.DueAt, parse: parseEnds, again: parseEndsAgain, kind: "time"}, "due", "when they are due, such as \"30 days\"")
	f.StringVar(&r.Note, "note", "", "what else is agreed")
	need(c, "stone", "due")
	return c
}

func (s *session) promiseWithdrawCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:   "withdraw PROMISE --why TEXT",
		Short: "Take a promise back, or say that it can't be kept (cutter)",
		Long: `Takes a promise back that isn't answered yet. One that was accepted binds: where it
can't be kept, as when the stone cracked, this says so, and the jeweller reads why.`,
		Example: `  seamshare promise withdraw PROMISE --why "the rough cracked"`,
		Args:    exactly("PROMISE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.WithdrawPromiseResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).WithdrawPromise(q.ctx, &cutterv1.WithdrawPromiseRequest{RequestId: q.requestID, PromiseId: args[0], Why: why})
			}, showPromise)
		},
	}
	c.Flags().StringVar(&why, "why", "", "why")
	need(c, "why")
	return c
}

func (s *session) promiseDeliverCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "deliver PROMISE STONE…",
		Short: "Deliver the stones of an accepted promise into an order (cutter)",
		Long: `Delivers checked stones in the order of the promise's items. They go into an order at
the prices promised; sending them is seamshare sale dispatch.`,
		Example: `  seamshare promise deliver PROMISE STONE-1 STONE-2`,
		Args:    atLeastOne("PROMISE", "STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.DeliverPromiseResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).DeliverPromise(q.ctx, &cutterv1.DeliverPromiseRequest{RequestId: q.requestID, PromiseId: args[0], StoneIds: args[1:]})
			}, showPromise)
		},
	}
}

func (s *session) promiseAcceptCommand() *cobra.Command {
	var etag string
	c := &cobra.Command{
		Use:     "accept PROMISE",
		Short:   "Accept a promise: from then on it binds both (jeweller)",
		Example: "  seamshare promise accept PROMISE",
		Args:    exactly("PROMISE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.AcceptPromiseResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).AcceptPromise(q.ctx, &jewellerv1.AcceptPromiseRequest{RequestId: q.requestID, PromiseId: args[0], Etag: etag})
			}, showPromise)
		},
	}
	etagFlag(c, &etag, "promise")
	return c
}

func (s *session) promiseDeclineCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "decline PROMISE --why TEXT",
		Short:   "Say no to a promise (jeweller)",
		Example: `  seamshare promise decline PROMISE --why "too late for us"`,
		Args:    exactly("PROMISE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.DeclinePromiseResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).DeclinePromise(q.ctx, &jewellerv1.DeclinePromiseRequest{RequestId: q.requestID, PromiseId: args[0], Why: why})
			}, showPromise)
		},
	}
	c.Flags().StringVar(&why, "why", "", "why")
	need(c, "why")
	return c
}

func (s *session) promiseListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List promises: yours as cutter, those made to you as jeweller", Example: "  seamshare promise list", Args: exactly()}
	p := pageFlags(c)
	var as typev1.Role
	asFlag(c, &as)
	c.RunE = func(c *cobra.Command, _ []string) error {
		// Both services answer with the same fields; the cutter's message carries either.
		return look(c, s, func(q call) (*cutterv1.ListPromisesResponse, error) {
			role, err := s.role(q, as)
			if err != nil {
				return nil, err
			}
			if role == typev1.Role_ROLE_JEWELLER {
				a, err := jewellerv1.NewJewellerServiceClient(q.conn).ListPromises(q.ctx, &jewellerv1.ListPromisesRequest{PageSize: p.rows, PageToken: p.token})
				return &cutterv1.ListPromisesResponse{Promises: a.GetPromises(), NextPageToken: a.GetNextPageToken(), Position: a.GetPosition()}, err
			}
			return cutterv1.NewCutterServiceClient(q.conn).ListPromises(q.ctx, &cutterv1.ListPromisesRequest{PageSize: p.rows, PageToken: p.token})
		}, printPromises)
	}
	return c
}

func printPromises(w io.Writer, a *cutterv1.ListPromisesResponse) error {
	if len(a.GetPromises()) == 0 && a.GetNextPageToken() == "" {
		say(w, "No promises.")
		return nil
	}
	for i, p := range a.GetPromises() {
		if i > 0 {
			say(w, "")
		}
		if err := printPromise(w, p); err != nil {
			return err
		}
	}
	more(w, a.GetNextPageToken())
	return nil
}

func printPromise(w io.Writer, p *typev1.Promise) error {
	late := ""
	if p.GetOverdue() {
		late = ": overdue"
	}
	say(w, "Promise %s: %s", p.GetId(), word(p.GetState()))
	say(w, "  due %s%s", p.GetDueAt(), late)
	for _, f := range []struct{ name, value string }{
		{"cutter", p.GetCutterId()},
		{"jeweller", p.GetJewellerId()},
		{"note", p.GetNote()},
		{"why", p.GetWhy()},
		{"order", p.GetOrderId()},
		{"etag", p.GetEtag()},
	} {
		if f.value != "" {
			sayLong(w, "  %s: %s", f.name, plain(f.value))
		}
	}
	t := table.New(text("outline"), text("size"), right("within"), text("kind"), right("price"), wrapped("like"))
	for _, i := range p.GetItems() {
		t.Row(word(i.GetOutline()), size(i.GetSize()), measure.Length(i.GetToleranceUm()).String(), word(i.GetKind()), amount.Text(i.GetPrice()), i.GetLike())
	}
	_, err := t.WriteTo(w)
	for i, id := range p.GetStoneIds() {
		say(w, "  stone %d of it is %s", i+1, id)
	}
	return err
}
