package main

import (
	"fmt"
	"slices"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// sell sells all stones. The shares of each parcel are looked at after every sale.
func (d *demo) sell() error {
	stock, err := d.people[demoSecond].jeweller().ListStock(d.ctx, &jewellerv1.ListStockRequest{})
	if err != nil {
		return err
	}
	d.tell("%s and %s look through the %s on sale.", demoJeweller, demoSecond, count(len(stock.GetStones()), "stone"))
	pair := demoSales[0]
	_, err = d.order(demoSecond, pair.stones[:1])
	why, err := d.refused(err)
	if err != nil {
		return err
	}
	d.tell("%s would rather have stone %s alone: “%s”", demoSecond, pair.stones[0], why)
	if err := d.base(); err != nil {
		return err
	}
	t := table.New(right("stones"), wrapped("to"), right("for"), right("paid"), text("sent"), text("come"))
	for i, sale := range demoSales {
		o, err := d.sale(sale)
		if err != nil {
			return fmt.Errorf("stones %v: %w", sale.stones, err)
		}
		t.Row(joined(slices.Clone(sale.stones)...), sale.jeweller, amount.Text(o.GetTotal()), amount.Text(o.GetPaid()), yesNo(o.GetLines()[0].GetDispatched()), yesNo(o.GetLines()[0].GetReceived()))
		if i == 0 {
			_, err = d.order(demoSecond, sale.stones)
			if why, err = d.refused(err); err != nil {
				return err
			}
			d.tell("Then both ask for the pair at the same time. The order of %s arrives first. %s is told why not, and nobody holds half a pair: “%s”", sale.jeweller, demoSecond, why)
		}
		if err := d.after(sale.parcel, sale.stones, false); err != nil {
			return err
		}
	}
	d.tell("Every order is paid before it is sent, weighed and measured as it leaves, and again as it comes:")
	return d.print(t)
}

// order asks for stones at the prices that are shown.
func (d *demo) order(jeweller string, labels []string) (*jewellerv1.Order, error) {
	r := &jewellerv1.PlaceOrderRequest{RequestId: d.id()}
	for _, label := range labels {
		s := d.stones[label]
		r.Items = append(r.Items, &jewellerv1.OrderItem{StoneId: s.GetId(), Price: s.GetPrice()})
	}
	a, err := d.people[jeweller].jeweller().PlaceOrder(d.ctx, r)
	return a.GetOrder(), err
}

// sale orders, pays, sends and receives.
func (d *demo) sale(sale demoSale) (*jewellerv1.Order, error) {
	o, err := d.order(sale.jeweller, sale.stones)
	if err != nil {
		return nil, err
	}
	var measured []*typev1.Measured
	cutter := ""
	for _, label := range sale.stones {
		s := d.stones[label]
		s.orderID, cutter = o.GetId(), s.cutter
		d.called[o.GetId()] = "the order of stone " + label
		measured = append(measured, &typev1.Measured{StoneId: s.GetId(), Weighing: s.GetWeighing(), Size: s.GetSize(), Photo: s.photo})
	}
	_, err = d.people[deskBooks].coop().RecordOrderPayment(d.ctx, &coopv1.RecordOrderPaymentRequest{
		RequestId: d.id(), OrderId: o.GetId(), Amount: o.GetTotal(), Reference: "stones " + joined(slices.Clone(sale.stones)...),
	})
	if err != nil {
		return nil, err
	}
	_, err = d.people[cutter].cutter().DispatchOrder(d.ctx, &cutterv1.DispatchOrderRequest{
		RequestId: d.id(), OrderId: o.GetId(), Stones: measured, Carrier: "the co-op's carrier", Reference: "parcel of stones " + joined(slices.Clone(sale.stones)...),
	})
	if err != nil {
		return nil, err
	}
	a, err := d.people[sale.jeweller].jeweller().ReceiveOrder(d.ctx, &jewellerv1.ReceiveOrderRequest{RequestId: d.id(), OrderId: o.GetId(), Stones: measured})
	return a.GetOrder(), err
}

// takeBack returns a stone and pays its money back.
func (d *demo) takeBack() error {
	s := d.stones[demoReturned]
	jeweller := d.people[demoSecond].jeweller()
	if _, err := jeweller.AskReturn(d.ctx, &jewellerv1.AskReturnRequest{RequestId: d.id(), OrderId: s.orderID, StoneIds: []string{s.GetId()}, Why: demoReturnWhy}); err != nil {
		return err
	}
	price := s.GetPrice()
	a, err := d.people[s.cutter].cutter().AcceptReturn(d.ctx, &cutterv1.AcceptReturnRequest{
		RequestId: d.id(), StoneId: s.GetId(), Weighing: s.GetWeighing(), Size: s.GetSize(), Why: demoReturnWhy, Photo: s.photo,
	})
	if err != nil {
		return err
	}
	s.Stone = a.GetStone()
	refund, err := d.people[deskBooks].coop().RecordRefund(d.ctx, &coopv1.RecordRefundRequest{
		RequestId: d.id(), OrderId: s.orderID, StoneId: s.GetId(), Amount: price, Reference: "stone " + demoReturned + " back",
	})
	if err != nil {
		return err
	}
	d.tell("Within its time %s sends stone %s back: %s. It is weighed and measured again, %s ct and %s as it left; it is %s, and %s is paid back, so that %s is left of the order.",
		demoSecond, demoReturned, demoReturnWhy, s.GetCarat(), size(s.GetSize()), word(s.GetState()), amount.Text(price), amount.Text(refund.GetPaid()))
	return nil
}
