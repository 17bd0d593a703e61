package main

import (
	"fmt"

	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// divide shows the shares before and after the return.
func (d *demo) divide() error {
	before, err := d.statement()
	if err != nil {
		return err
	}
	d.tell("The stones brought %s. Less the co-op's levy, it runs through the agreement's tiers in order. With all ten sold the shares are:", amount.Text(before.GetSalesReceived()))
	if err := d.shares(before); err != nil {
		return err
	}
	refund, err := d.takeBack()
	if err != nil {
		return err
	}
	after, err := d.statement()
	if err != nil {
		return err
	}
	d.tell("Then %s sends stone %s back: %s. It is weighed and measured again, the same as it left; it is in stock, and its %s is paid back. "+
		"Shares are worked out from the parcel's totals, so a return undoes a sale exactly:", demoSecond, demoReturned, demoReturnWhy, amount.Text(refund))
	if err := d.shares(after); err != nil {
		return err
	}
	d.tell("Step by step, to the cent:")
	if err := printSteps(d.story, after.GetSteps()); err != nil {
		return err
	}
	balances, err := d.actors[demoDesk].coop().GetBalances(d.ctx, &coopv1.GetBalancesRequest{})
	if err != nil {
		return err
	}
	d.tell("The co-op's books then say:")
	if err := printBalances(d.story, balances, func(id string) string { return d.names[id] }); err != nil {
		return err
	}
	if err := d.report.addBalances(balances, d.names); err != nil {
		return err
	}
	if err := d.report.conserves(); err != nil {
		return err
	}
	d.tell("All that came in is given out: shares, levies and costs add up to the receipts, to the cent.")
	return nil
}

func (d *demo) statement() (*typev1.ShareStatement, error) {
	a, err := d.actors[demoDesk].coop().GetShares(d.ctx, &coopv1.GetSharesRequest{ParcelId: d.parcelID})
	return a.GetStatement(), err
}

// shares is a statement in a few lines.
func (d *demo) shares(st *typev1.ShareStatement) error {
	t := table.New(wrapped("what"), right("amount"))
	t.Row("received for the parcel", amount.Text(st.GetPurchaseReceived()))
	t.Row("received for its stones", amount.Text(st.GetSalesReceived()))
	t.Row("the co-op's levies", amount.Text(st.GetLevies()))
	t.Row("freight, paid back to the co-op", amount.Text(st.GetCostsRecouped()))
	for _, p := range st.GetShares() {
		t.Row(fmt.Sprintf("%s, %s", d.names[p.GetMemberId()], p.GetParty()), amount.Text(p.GetAmount()))
	}
	_, err := t.WriteTo(d.story)
	return err
}

// takeBack returns a stone and pays its money back.
func (d *demo) takeBack() (*gmoney.Money, error) {
	s := d.stones[demoReturned]
	a, err := d.actors[demoCutter].cutter().AcceptReturn(d.ctx, &cutterv1.AcceptReturnRequest{
		RequestId: d.id(), StoneId: s.stone.GetId(), Weighing: s.stone.GetWeighing(), Size: s.stone.GetSize(), Why: demoReturnWhy,
	})
	if err != nil {
		return nil, err
	}
	refund := s.stone.GetPrice()
	if _, err := d.actors[demoDesk].coop().RecordRefund(d.ctx, &coopv1.RecordRefundRequest{
		RequestId: d.id(), OrderId: s.orderID, StoneId: s.stone.GetId(), Amount: refund, Reference: "stone 6 back",
	}); err != nil {
		return nil, err
	}
	s.stone = a.GetStone()
	return refund, nil
}
