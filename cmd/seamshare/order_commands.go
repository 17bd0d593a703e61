package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

func (s *session) orderCommand() *cobra.Command {
	return group("order", "Orders of stones, pairs, suites and lots (jeweller)",
		s.orderPlaceCommand(), s.orderListCommand(), s.orderShowCommand(), s.orderCancelCommand(),
		s.orderReceiveCommand(), s.orderReturnCommand(), s.orderClaimCommand())
}

func (s *session) orderPlaceCommand() *cobra.Command {
	var lots []string
	var deposit *gmoney.Money
	var scale measure.Mass
	c := &cobra.Command{
		Use:   "place \"STONE=PRICE\"… [--lot \"LOT=COUNT,MASS,PRICE\"]",
		Short: "Buy stones at the prices asked: all of them or none (jeweller)",
		Long: `Buys stones at the prices you saw: all of them or none. The order is refused if one
is gone or another price is asked by now. A pair or suite is bought as a whole, each
stone at its own price. Of a counted lot you take a number of pieces, weighed, at
the price of a carat or a piece; by the piece the mass may be left out, and the
cutter weighs them as they leave. What you hold comes out of your hold; stones that
are with you on approval are bought with seamshare approval buy.

With --deposit the cutter may send the stones when that much is in; without it, when
all is paid. Prices are without tax.`,
		Example: `  seamshare order place "STONE-1=740.00 AUD" "STONE-2=740.00 AUD"
  seamshare order place "STONE-3=900.00 AUD" --deposit "300.00 AUD"
  seamshare order place --lot "LOT=20, 61.00 ct, 3.00 AUD a carat"
  seamshare order place --lot "LOT=20, 4.50 AUD a piece"`,
		RunE: func(c *cobra.Command, args []string) error {
			req := &jewellerv1.PlaceOrderRequest{Deposit: deposit}
			for _, typed := range args {
				item, err := parseItem(typed)
				if err != nil {
					return err
				}
				req.Items = append(req.Items, item)
			}
			for _, typed := range lots {
				portion, err := parsePortion(typed, scale)
				if err != nil {
					return err
				}
				req.Lots = append(req.Lots, portion)
			}
			return change(c, s, func(q call) (*jewellerv1.PlaceOrderResponse, error) {
				req.RequestId = q.requestID
				return jewellerv1.NewJewellerServiceClient(q.conn).PlaceOrder(q.ctx, req)
			}, func(w io.Writer, a *jewellerv1.PlaceOrderResponse) error { return printOrder(w, a.GetOrder()) })
		},
	}
	c.Args = func(c *cobra.Command, args []string) error {
		if len(args) == 0 && len(lots) == 0 {
			return exactly("STONE=PRICE")(c, args)
		}
		return nil
	}
	c.Flags().StringArrayVar(&lots, "lot", nil, "a portion of a lot, as `LOT=COUNT,MASS,PRICE`; again for each lot")
	moneyFlag(c, &deposit, "deposit", "what comes first of the money")
	scaleFlag(c, &scale, "0.01 ct")
	return c
}

// parseItem reads "STONE=740.00 AUD".
func parseItem(typed string) (*jewellerv1.OrderItem, error) {
	id, priceText, ok := strings.Cut(typed, "=")
	if !ok || id == "" {
		return nil, wrongUsage("STONE=PRICE", "the price is the one you saw; the order is refused if another is asked by now", "%q must be the stone's id, =, and its price, such as \"STONE=740.00 AUD\"", typed)
	}
	price, err := parseAmount(priceText)
	if err != nil {
		return nil, wrongInput("STONE=PRICE", "write it as \"STONE=740.00 AUD\"", "stone %s: %v", id, err)
	}
	return &jewellerv1.OrderItem{StoneId: id, Price: price}, nil
}

// parseCountOfLot reads "LOT=20" and gives what stands behind it, at each comma.
func parseCountOfLot(typed, example string) (id string, pieces uint32, rest []string, err error) {
	id, list, _ := strings.Cut(typed, "=")
	rest = strings.Split(list, ",")
	for i := range rest {
		rest[i] = strings.TrimSpace(rest[i])
	}
	n, err := strconv.ParseUint(rest[0], 10, 32)
	if id = strings.TrimSpace(id); id == "" || err != nil || n == 0 {
		return "", 0, nil, wrongInput("--lot", example, "%q must be the lot's id, =, and a number of pieces", typed)
	}
	return id, uint32(n), rest[1:], nil
}

// parsePortion reads "LOT=20, 61.00 ct, 3.00 AUD a carat".
func parsePortion(typed string, scale measure.Mass) (*jewellerv1.LotItem, error) {
	const example = "write it as \"LOT=20, 61.00 ct, 3.00 AUD a carat\", or \"LOT=20, 4.50 AUD a piece\""
	id, pieces, rest, err := parseCountOfLot(typed, example)
	if err != nil {
		return nil, err
	}
	if len(rest) != 1 && len(rest) != 2 {
		return nil, wrongUsage("--lot", example, "%q must be the lot's id, =, how many pieces, their mass, and the price of one carat or piece; by the piece the mass may be left out", typed)
	}
	item := &jewellerv1.LotItem{LotId: id, Count: pieces}
	if len(rest) == 2 {
		mass, err := parseMass(rest[0])
		if err != nil {
			return nil, wrongInput("--lot", example, "lot %s: %v", id, err)
		}
		item.Weighing = weighing(mass, scale)
	}
	asked := rest[len(rest)-1]
	priceText, unitText, ok := strings.Cut(asked, " a ")
	if !ok {
		return nil, wrongInput("--lot", example, "lot %s: %q doesn't say whether it is for a carat or a piece", id, asked)
	}
	if item.Unit, err = parseWord[typev1.Unit](strings.TrimSpace(unitText)); err != nil {
		return nil, wrongInput("--lot", example, "lot %s: %v", id, err)
	}
	if item.Price, err = parseAmount(priceText); err != nil {
		return nil, wrongInput("--lot", example, "lot %s: %v", id, err)
	}
	return item, nil
}

func (s *session) orderShowCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "show ORDER",
		Short:   "Look at one of your orders (jeweller)",
		Example: "  seamshare order show ORDER",
		Args:    exactly("ORDER"),
		RunE: func(c *cobra.Command, args []string) error {
			return look(c, s, func(q call) (*jewellerv1.GetOrderResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).GetOrder(q.ctx, &jewellerv1.GetOrderRequest{OrderId: args[0]})
			}, func(w io.Writer, a *jewellerv1.GetOrderResponse) error { return printOrder(w, a.GetOrder()) })
		},
	}
}

func (s *session) orderListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list", Short: "List your orders, oldest first (jeweller)", Example: "  seamshare order list", Args: exactly()}
	p := pageFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		return look(c, s, func(q call) (*jewellerv1.ListOrdersResponse, error) {
			return jewellerv1.NewJewellerServiceClient(q.conn).ListOrders(q.ctx, &jewellerv1.ListOrdersRequest{PageSize: p.rows, PageToken: p.token})
		}, func(w io.Writer, a *jewellerv1.ListOrdersResponse) error {
			t := table.New(text("order"), wrapped("state"), right("lines"), right("total"), right("open"))
			for _, o := range a.GetOrders() {
				t.Row(o.GetId(), word(o.GetState()), fmt.Sprint(len(o.GetLines())), amount.Text(o.GetTotal()), amount.Text(o.GetOpen()))
			}
			return printList(w, t, len(a.GetOrders()), "No orders.", a.GetNextPageToken())
		})
	}
	return c
}

func (s *session) orderCancelCommand() *cobra.Command {
	var why string
	c := &cobra.Command{
		Use:     "cancel ORDER --why TEXT",
		Short:   "Call an order off before anything is paid or sent (jeweller)",
		Long:    "Calls an order off while nothing was paid and nothing sent. Its stones are on sale again, as they were.",
		Example: `  seamshare order cancel ORDER --why "the customer changed their mind"`,
		Args:    exactly("ORDER"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.CancelOrderResponse, error) {
				return jewellerv1.NewJewellerServiceClient(q.conn).CancelOrder(q.ctx, &jewellerv1.CancelOrderRequest{RequestId: q.requestID, OrderId: args[0], Why: why})
			}, func(w io.Writer, a *jewellerv1.CancelOrderResponse) error { return printOrder(w, a.GetOrder()) })
		},
	}
	c.Flags().StringVar(&why, "why", "", "why it is called off")
	need(c, "why")
	return c
}

func (s *session) orderReceiveCommand() *cobra.Command {
	var m measurings
	c := &cobra.Command{
		Use:   "receive ORDER [--stone \"" + measuringShape + "\"]…",
		Short: "Say that what was sent has come (jeweller)",
		Long: `Says that what was sent of an order has come. The times for returns and for claims
run from now. Weigh and measure what you can: a stone that isn't the one that was
sent then shows at once.`,
		Example: `  seamshare order receive ORDER --stone "STONE=3.04 ct, 12x9x3.0 mm"`,
		Args:    exactly("ORDER"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.ReceiveOrderResponse, error) {
				stones, err := s.measured(q, m)
				if err != nil {
					return nil, err
				}
				return jewellerv1.NewJewellerServiceClient(q.conn).ReceiveOrder(q.ctx, &jewellerv1.ReceiveOrderRequest{RequestId: q.requestID, OrderId: args[0], Stones: stones})
			}, func(w io.Writer, a *jewellerv1.ReceiveOrderResponse) error { return printOrder(w, a.GetOrder()) })
		},
	}
	m.flags(c, "a stone as it measures here")
	return c
}

func (s *session) orderReturnCommand() *cobra.Command {
	var whole bool
	var why string
	c := &cobra.Command{
		Use:   "return ORDER [STONE… | --whole] --why TEXT",
		Short: "Say that you send stones back within the return period (jeweller)",
		Long: `Says that you send stones back, within the return period. Name the stones (or lots),
or give --whole for all of the order that is with you; a pair or suite need not go
back as a whole, since each stone has its own price. The order is less, and the
money due back, when the cutter has them.`,
		Example: `  seamshare order return ORDER STONE-2 --why "too blue for the ring"
  seamshare order return ORDER --whole --why "not wanted"`,
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.AskReturnResponse, error) {
				client, lines := jewellerv1.NewJewellerServiceClient(q.conn), args[1:]
				if whole {
					a, err := client.GetOrder(q.ctx, &jewellerv1.GetOrderRequest{OrderId: args[0]})
					if err != nil {
						return nil, asFailure(err)
					}
					if lines = withYou(a.GetOrder()); len(lines) == 0 {
						return nil, wrongInput("ORDER", "look at it with seamshare order show", "nothing of order %s is with you", args[0])
					}
				}
				return client.AskReturn(q.ctx, &jewellerv1.AskReturnRequest{RequestId: q.requestID, OrderId: args[0], StoneIds: lines, Why: why})
			}, func(w io.Writer, a *jewellerv1.AskReturnResponse) error { return printOrder(w, a.GetOrder()) })
		},
	}
	c.Args = func(c *cobra.Command, args []string) error {
		switch {
		case len(args) == 0:
			return exactly("ORDER")(c, args)
		case len(args) == 1 && !whole:
			return wrongUsage("STONE", "name the stones that go back, or give --whole for all of the order", "is missing")
		case len(args) > 1 && whole:
			return wrongUsage("--whole", "leave out the stones or --whole", "can't be had with stones named")
		}
		return nil
	}
	c.Flags().BoolVar(&whole, "whole", false, "all of the order that is with you")
	c.Flags().StringVar(&why, "why", "", "why they go back")
	need(c, "why")
	return c
}

// withYou are the stones and lots of an order that came and don't go back yet; where all go back, these, so that a
// repeat under its request id says the same again.
func withYou(o *jewellerv1.Order) []string {
	var stay, back []string
	for _, l := range o.GetLines() {
		id := l.GetStoneId() + l.GetLotId() // a line has one of them
		switch {
		case !l.GetReceived() || l.GetReturned():
		case l.GetReturnAsked():
			back = append(back, id)
		default:
			stay = append(stay, id)
		}
	}
	if len(stay) == 0 {
		return back
	}
	return stay
}

func (s *session) orderClaimCommand() *cobra.Command {
	var damage typev1.Damage
	var seen, photo string
	var taken photographs
	c := &cobra.Command{
		Use:   "claim ORDER STONE --damage WORD --seen TEXT",
		Short: "Claim that a stone came damaged, crazed or otherwise (jeweller)",
		Long: `Claims damage within the claim period: once for a stone. The cutter answers: takes
the stone back, takes something off its price, or refuses; what follows then is a
matter for the co-op.`,
		Example: `  seamshare order claim ORDER STONE --damage crazed \
    --seen "three fine cracks across the face" \
    --photo crazed.jpg --light "daylight, overcast"`,
		Args: exactly("ORDER", "STONE"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*jewellerv1.ClaimDamageResponse, error) {
				picture, err := s.photo(q, photo, taken)
				if err != nil {
					return nil, err
				}
				return jewellerv1.NewJewellerServiceClient(q.conn).ClaimDamage(q.ctx, &jewellerv1.ClaimDamageRequest{
					RequestId: q.requestID, OrderId: args[0], StoneId: args[1], Damage: damage, Words: seen, Photo: picture,
				})
			}, func(w io.Writer, a *jewellerv1.ClaimDamageResponse) error { return printOrder(w, a.GetOrder()) })
		},
	}
	wordFlag(c, &damage, "damage", "what is wrong")
	c.Flags().StringVar(&seen, "seen", "", "what is to be seen")
	c.Flags().StringVar(&photo, "photo", "", "a photo's `file`")
	taken.flags(c)
	need(c, "damage", "seen")
	return c
}

// payBy is the day by which an order has to be paid; empty where it is.
func payBy(moment string, open bool) string {
	if !open {
		return ""
	}
	return moment
}

func minorOpen(m *gmoney.Money) bool { return m.GetUnits() != 0 || m.GetNanos() != 0 }

func printOrder(w io.Writer, o *jewellerv1.Order) error {
	sayLong(w, "Order %s: %s, %s, paid %s, open %s", o.GetId(), word(o.GetState()), amount.Text(o.GetTotal()), amount.Text(o.GetPaid()), amount.Text(o.GetOpen()))
	for _, f := range []struct{ name, value string }{
		{"deposit, which comes first", amount.Text(o.GetDeposit())},
		{"bought from approval", o.GetApprovalId()},
		{"cut to order, by promise", o.GetPromiseId()},
		{"to be paid by", payBy(o.GetPayBy(), minorOpen(o.GetOpen()))},
		{"returns until", o.GetReturnUntil()},
		{"claims until", o.GetClaimUntil()},
	} {
		if f.value != "" {
			say(w, "  %s: %s", f.name, f.value)
		}
	}
	t := table.New(text("stone or lot"), wrapped("stands"), right("price"), right("paid"))
	for _, l := range o.GetLines() {
		t.Row(l.GetStoneId()+l.GetLotId(), orderLineStands(l), amount.Text(l.GetPrice()), amount.Text(l.GetPaid()))
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	for _, l := range o.GetLines() {
		if l.GetDispatched() && l.GetCarrier() != "" {
			sayLong(w, "  %s%s went with %s, %s", l.GetStoneId(), l.GetLotId(), plain(l.GetCarrier()), plain(l.GetReference()))
		}
		if l.GetSent() != nil {
			sayLong(w, "  %s was sent as %s", l.GetStoneId(), measuredWords(l.GetSent()))
		}
	}
	return nil
}

func orderLineStands(l *jewellerv1.OrderLine) string {
	said := []string{delivery(l.GetDispatched(), l.GetReceived(), l.GetReturnAsked(), l.GetReturned())}
	if l.GetCount() > 0 {
		said = append(said, fmt.Sprintf("%d of the lot", l.GetCount()))
	}
	if l.GetDamage() != typev1.Damage_DAMAGE_UNSPECIFIED {
		said = append(said, "claimed "+word(l.GetDamage()), answered(l.GetAnswer()))
	}
	for _, f := range []struct {
		name string
		m    *gmoney.Money
	}{{"reduced by", l.GetReduced()}, {"to be paid back", l.GetRefundDue()}} {
		if f.m != nil {
			said = append(said, f.name+" "+amount.Text(f.m))
		}
	}
	if l.GetRefunded() {
		said = append(said, "paid back")
	}
	return sentence(said...)
}

// delivery is where a line of an order is.
func delivery(dispatched, received, returnAsked, returned bool) string {
	switch {
	case returned:
		return "went back"
	case returnAsked:
		return "goes back"
	case received:
		return "received"
	case dispatched:
		return "sent"
	}
	return "not sent"
}

func answered(a typev1.DamageAnswer) string {
	if a == typev1.DamageAnswer_DAMAGE_ANSWER_UNSPECIFIED {
		return "no answer yet"
	}
	return "answer: " + word(a)
}
