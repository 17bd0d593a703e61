package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) saleCommand() *cobra.Command {
	return group("sale", "What you sold: send it, answer claims, take it back (cutter)",
		s.saleListCommand(), s.saleShowCommand(), s.saleSendCommand(), s.saleAnswerCommand(), s.saleTakeBackLotCommand(), s.saleCallOffCommand())
}

func (s *session) saleListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List the orders of something of yours, oldest first (cutter)", Example: "  seamshare sale list", Args: exactly()}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return look(c, s, func(q call) (*cutterv1.ListSalesResponse, error) {
			return cutterv1.NewCutterServiceClient(q.conn).ListSales(q.ctx, &cutterv1.ListSalesRequest{PageSize: p.rows, PageToken: p.token})
		}, func(w io.Writer, a *cutterv1.ListSalesResponse) error {
			t := table.New(text("order"), wrapped("jeweller"), right("lines"), wrapped("stands"))
			for _, x := range a.GetSales() {
				t.Row(x.GetOrderId(), x.GetBuyerName(), fmt.Sprint(len(x.GetLines())), saleStands(x))
			}
			return printList(w, t, len(a.GetSales()), "No orders.", a.GetNextPageToken())
		})
	}
	return c
}

func (s *session) saleShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show ORDER",
		Short:   "Look at your lines of an order (cutter)",
		Example: "  seamshare sale show ORDER",
		Args:    exactly("ORDER"),
		RunE: func(c *cobra.Command, args []string) error {
			return look(c, s, func(q call) (*cutterv1.GetSaleResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).GetSale(q.ctx, &cutterv1.GetSaleRequest{OrderId: args[0]})
			}, func(w io.Writer, a *cutterv1.GetSaleResponse) error { return printSale(w, a.GetSale()) })
		},
	}
}

func (s *session) saleSendCommand() *cobra.Command {
	var m measurings
	var lots []string
	var carrier, reference string
	c := &cobra.Command{
		Use:   "send ORDER --stone \"" + measuringShape + "\"… …",
		Short: "Send what a jeweller ordered of you, measured (cutter)",
		Long: `Sends all your stones of an order together, each weighed and measured as it leaves,
so that it can be told from another; portions of lots go with them, counted and
weighed, by the carat with the mass that was ordered. That is when the deposit is in,
or all of the money where there is none.`,
		Example: `  seamshare sale send ORDER --stone "STONE=3.04 ct, 12x9x3.0 mm, 1.jpg" \
    --light "daylight, overcast" --carrier "by hand" --reference "box 1"
  seamshare sale send ORDER --lot "LOT=20, 61.00 ct" --carrier "by hand" \
    --reference "box 2"`,
		Args: exactly("ORDER"),
		RunE: func(c *cobra.Command, args []string) error {
			var portions []*cutterv1.SentPortion
			for _, typed := range lots {
				p, err := parseSentPortion(typed, m.scale)
				if err != nil {
					return err
				}
				portions = append(portions, p)
			}
			return change(c, s, func(q call) (*cutterv1.DispatchOrderResponse, error) {
				stones, err := s.measured(q, m)
				if err != nil {
					return nil, err
				}
				return cutterv1.NewCutterServiceClient(q.conn).DispatchOrder(q.ctx, &cutterv1.DispatchOrderRequest{
					RequestId: q.requestID, OrderId: args[0], Stones: stones, Lots: portions, Carrier: carrier, Reference: reference,
				})
			}, func(w io.Writer, a *cutterv1.DispatchOrderResponse) error { return printSale(w, a.GetSale()) })
		},
	}
	m.flags(c, "a stone as it leaves")
	c.Flags().StringArrayVar(&lots, "lot", nil, "a portion as it leaves, as `LOT=COUNT,MASS`; again for each lot")
	carrierFlags(c, &carrier, &reference)
	return c
}

// parseSentPortion reads "LOT=20, 61.00 ct".
func parseSentPortion(typed string, scale measure.Mass) (*cutterv1.SentPortion, error) {
	id, pieces, rest, err := parseCountOfLot(typed, "write it as \"LOT=20, 61.00 ct\"")
	if err != nil {
		return nil, err
	}
	if len(rest) != 1 {
		return nil, wrongUsage("--lot", "write it as \"LOT=20, 61.00 ct\"", "%q must be the lot's id, =, how many pieces, and their mass", typed)
	}
	mass, err := parseMass(rest[0])
	if err != nil {
		return nil, wrongInput("--lot", "write it as \"LOT=20, 61.00 ct\"", "lot %s: %v", id, err)
	}
	return &cutterv1.SentPortion{LotId: id, Count: pieces, Weighing: weighing(mass, scale)}, nil
}

// carrierFlags say who carries goods.
func carrierFlags(c *cobra.Command, carrier, reference *string) {
	c.Flags().StringVar(carrier, "carrier", "", "who carries them")
	c.Flags().StringVar(reference, "reference", "", "the carrier's reference")
	need(c, "carrier", "reference")
}

func (s *session) saleCallOffCommand() *cobra.Command {
	var why, etag string
	c := &cobra.Command{
		Use:   "call-off ORDER --why TEXT",
		Short: "Call off an order that isn't paid by its day (cutter)",
		Long: `Calls off your part of an order that isn't paid by its day (sale show) and of which
you sent nothing. What you sold is on sale again as it was; a deposit is paid back by
the bookkeeper. Stones that were cut to order you take back instead
(seamshare stone return).`,
		Example: `  seamshare sale call-off ORDER --why "not paid, and not answered"`,
		Args:    exactly("ORDER"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.CallOffUnpaidOrderResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).CallOffUnpaidOrder(q.ctx, &cutterv1.CallOffUnpaidOrderRequest{RequestId: q.requestID, OrderId: args[0], Why: why, Etag: etag})
			}, func(w io.Writer, a *cutterv1.CallOffUnpaidOrderResponse) error { return printSale(w, a.GetSale()) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "why")
	etagFlag(c, &etag, "sale")
	need(c, "why")
	return c
}

func (s *session) saleAnswerCommand() *cobra.Command {
	var answer typev1.DamageAnswer
	var reduction *gmoney.Money
	var words string
	c := &cobra.Command{
		Use:   "answer ORDER STONE --answer WORD --words TEXT",
		Short: "Answer a jeweller's claim for damage, once (cutter)",
		Long: `Answers what a jeweller claims to be wrong with a stone: take it back, take something
off its price, or refuse. A refused claim is a matter for the co-op: either side may
open a dispute.`,
		Example: `  seamshare sale answer ORDER STONE --answer reduce \
    --reduction "90.00 AUD" --words "the crack goes under the claw"`,
		Args: exactly("ORDER", "STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			if reduces := answer == typev1.DamageAnswer_DAMAGE_ANSWER_REDUCE; reduces != (reduction != nil) {
				return wrongUsage("--reduction", "see "+c.CommandPath()+" --help", "goes with --answer reduce, and only with it")
			}
			return change(c, s, func(q call) (*cutterv1.AnswerDamageClaimResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).AnswerDamageClaim(q.ctx, &cutterv1.AnswerDamageClaimRequest{
					RequestId: q.requestID, OrderId: args[0], StoneId: args[1], Answer: answer, Reduction: reduction, Words: words,
				})
			}, func(w io.Writer, a *cutterv1.AnswerDamageClaimResponse) error { return printSale(w, a.GetSale()) })
		},
	}
	wordFlag(c, &answer, "answer", "what you do about it")
	moneyFlag(c, &reduction, "reduction", "what you take off its price")
	c.Flags().StringVar(&words, "words", "", "what you say to it")
	need(c, "answer", "words")
	return c
}

func (s *session) saleTakeBackLotCommand() *cobra.Command {
	var pieces uint32
	var mass, scale measure.Mass
	var why string
	c := &cobra.Command{
		Use:   "take-back-lot ORDER LOT --count NUMBER --mass MASS --why TEXT",
		Short: "Take a portion of a lot back, counted and weighed (cutter)",
		Long: `Takes a portion of a lot back as a whole, counted and weighed; it is in its lot again.
A single stone comes back with seamshare stone return. The money is another matter:
the bookkeeper's (seamshare refund).`,
		Example: `  seamshare sale take-back-lot ORDER LOT --count 20 --mass "61.00 ct" \
    --why "not what was wanted"`,
		Args: exactly("ORDER", "LOT"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.AcceptLotReturnResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).AcceptLotReturn(q.ctx, &cutterv1.AcceptLotReturnRequest{
					RequestId: q.requestID, OrderId: args[0], LotId: args[1], Count: pieces, Weighing: weighing(mass, scale), Why: why,
				})
			}, func(w io.Writer, a *cutterv1.AcceptLotReturnResponse) error { return printSale(w, a.GetSale()) })
		},
	}
	c.Flags().Uint32Var(&pieces, "count", 0, "how many came back")
	massFlag(c, &mass, "mass", "what they weigh together")
	scaleFlag(c, &scale, "0.01 ct")
	c.Flags().StringVar(&why, "why", "", "why they came back")
	need(c, "count", "mass", "why")
	return c
}

// saleStands is what is to be done about an order, as its cutter sees it.
func saleStands(x *cutterv1.Sale) string {
	if x.GetCancelled() {
		return "called off"
	}
	waiting, claims, back := 0, 0, 0
	for _, l := range x.GetLines() {
		switch {
		case l.GetReturned():
			continue
		case l.GetReturnAsked():
			back++
		case !l.GetDispatched():
			waiting++
		}
		if l.GetDamage() != 0 && l.GetAnswer() == 0 {
			claims++
		}
	}
	var said []string
	switch {
	case waiting > 0 && x.GetMayBeSent():
		said = append(said, fmt.Sprintf("%d to send", waiting))
	case waiting > 0:
		said = append(said, "waits for the money")
	default:
		said = append(said, "sent")
	}
	if back > 0 {
		said = append(said, fmt.Sprintf("%d coming back", back))
	}
	if claims > 0 {
		said = append(said, count(claims, "claim")+" to answer")
	}
	return sentence(said...)
}

// differsWords name what differs; empty: nothing.
func differsWords(mass, size bool) string {
	switch {
	case mass && size:
		return "mass and size"
	case mass:
		return "mass"
	case size:
		return "size"
	}
	return ""
}

func printSale(w io.Writer, x *cutterv1.Sale) error {
	sayLong(w, "Order %s of %s: %s", x.GetOrderId(), x.GetBuyerId(), saleStands(x))
	if by := payBy(x.GetPayBy(), !x.GetPaid() && !x.GetCancelled()); by != "" {
		say(w, "  to be paid by: %s", by)
	}
	say(w, "  etag: %s", x.GetEtag())
	t := table.New(text("stone or lot"), wrapped("stands"), right("price"), right("paid"))
	for _, l := range x.GetLines() {
		said := []string{delivery(l.GetDispatched(), l.GetReceived(), l.GetReturnAsked(), l.GetReturned())}
		if l.GetCount() > 0 {
			said = append(said, fmt.Sprintf("%d of the lot", l.GetCount()))
		}
		if l.GetDamage() != 0 {
			said = append(said, "claimed "+word(l.GetDamage()), answered(l.GetAnswer()))
		}
		if differs := differsWords(l.GetSentMassDiffers(), l.GetSentSizeDiffers()); differs != "" {
			said = append(said, "sent with another "+differs+" than the books say, an exception")
		}
		if differs := differsWords(l.GetMassDiffers(), l.GetSizeDiffers()); differs != "" {
			said = append(said, "came with another "+differs+" than was sent, an exception")
		}
		t.Row(l.GetStoneId()+l.GetLotId(), sentence(said...), amount.Text(l.GetPrice()), amount.Text(l.GetPaid()))
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	for _, l := range x.GetLines() {
		id := l.GetStoneId() + l.GetLotId()
		if l.GetReturnWhy() != "" {
			sayLong(w, "  %s goes back: %s", id, plain(l.GetReturnWhy()))
		}
		if l.GetDamageWords() != "" {
			sayLong(w, "  %s, as claimed: %s", id, plain(l.GetDamageWords()))
		}
	}
	return nil
}
