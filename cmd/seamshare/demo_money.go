package main

import (
	"fmt"
	"slices"
	"strings"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// statement is what a parcel's money came to, as the desk sees it.
func (d *demo) statement(parcel string) (*typev1.ShareStatement, error) {
	a, err := d.people[deskBooks].coop().GetShares(d.ctx, &coopv1.GetSharesRequest{ParcelId: d.parcels[parcel].GetId()})
	return a.GetStatement(), err
}

// base keeps what the parcels' own prices came to, before any stone was sold.
func (d *demo) base() error {
	for _, p := range demoParcels {
		st, err := d.statement(p.label)
		if err != nil {
			return err
		}
		d.report.parcel(p.label).base = st
	}
	return nil
}

// after keeps what a parcel's shares are after a sale or a return.
func (d *demo) after(parcel string, stones []string, returned bool) error {
	st, err := d.statement(parcel)
	if err != nil {
		return err
	}
	return d.report.parcel(parcel).addSale(stones, returned, st, d.parcels[parcel].GetAgreement(), d.names)
}

// divide shows how a parcel's money is shared, sale by sale.
func (d *demo) divide() error {
	const label = "P1"
	p := d.report.parcel(label)
	d.tell("Money is given out as it comes in, tier by tier of the agreement. Parcel %s sale by sale, what the stones brought so far, in %s: less the levy and the freight (tier 1) it first pays the cutter's price back, then the cutter's 14 hours, then it is shared 2 : 1 and at last 4 : 3:",
		label, p.Currency)
	if err := d.saleBySale(p, p.Sales); err != nil {
		return err
	}
	d.tell("Step by step, as the node explains it:")
	st, err := d.statement(label)
	if err != nil {
		return err
	}
	return printSteps(d.story, st.GetSteps())
}

// saleBySale shows shares after each of some sales.
func (d *demo) saleBySale(p *reportParcel, sales []reportSale) error {
	columns := []table.Column{text("after"), right("gross"), right("levy")}
	for _, n := range p.tiers {
		columns = append(columns, right(fmt.Sprintf("tier %d", n)))
	}
	t := table.New(append(columns, right("cutter"), right("miner"))...)
	for _, s := range sales {
		after := strings.Join(s.Stones, "+")
		if s.Returned {
			after += " back"
		}
		row := []string{after, p.plain(s.GrossMinor), p.plain(s.LevyMinor)}
		for _, tier := range s.TiersMinor {
			row = append(row, p.plain(tier))
		}
		t.Row(append(row, p.plain(s.of("cutter")), p.plain(s.of("miner")))...)
	}
	return d.print(t)
}

// payOut prepares a run, has it overtaken by a return, and pays with another.
func (d *demo) payOut() error {
	first, err := d.prepare()
	if err != nil {
		return err
	}
	d.tell("All is sold. Desk 1 prepares run 1: what each member has earned and was not paid yet.")
	if err := d.showRun(first); err != nil {
		return err
	}
	if err := d.takeBack(); err != nil {
		return err
	}
	const label = "P1"
	if err := d.after(label, []string{demoReturned}, true); err != nil {
		return err
	}
	sales := d.report.parcel(label).Sales
	d.tell("Shares are worked out from the parcel's totals, so a return undoes a sale exactly:")
	if err := d.saleBySale(d.report.parcel(label), sales[len(sales)-2:]); err != nil {
		return err
	}
	approver := d.people[deskApprove].coop()
	_, err = approver.ApprovePayoutRun(d.ctx, &coopv1.ApprovePayoutRunRequest{RequestId: d.id(), RunId: first.GetId()})
	why, err := d.refused(err)
	if err != nil {
		return err
	}
	rejected, err := approver.RejectPayoutRun(d.ctx, &coopv1.RejectPayoutRunRequest{RequestId: d.id(), RunId: first.GetId(), Reason: demoRejectedWhy})
	if err != nil {
		return err
	}
	d.tell("Run 1 would pay too much now. Were desk 2 to approve it: “%s” It rejects the run: “%s”.", why, rejected.GetRun().GetReason())
	if err := d.report.addRun(rejected.GetRun(), d.names); err != nil {
		return err
	}
	return d.payAgain()
}

func (d *demo) payAgain() error {
	second, err := d.prepare()
	if err != nil {
		return err
	}
	d.tell("Desk 1 prepares run 2:")
	if err := d.showRun(second); err != nil {
		return err
	}
	_, err = d.people[deskBooks].coop().ApprovePayoutRun(d.ctx, &coopv1.ApprovePayoutRunRequest{RequestId: d.id(), RunId: second.GetId()})
	why, err := d.refused(err)
	if err != nil {
		return err
	}
	approved, err := d.people[deskApprove].coop().ApprovePayoutRun(d.ctx, &coopv1.ApprovePayoutRunRequest{RequestId: d.id(), RunId: second.GetId()})
	if err != nil {
		return err
	}
	d.tell("Desk 1 may approve runs, but when it tries this one: “%s” Desk 2 approves it. No member has given bank details, so the bank pays each line by hand, and desk 1 records its answers:", why)
	run := approved.GetRun()
	for i, l := range run.GetLines() {
		a, err := d.people[deskBooks].coop().SettlePayoutLine(d.ctx, &coopv1.SettlePayoutLineRequest{
			RequestId: d.id(), RunId: run.GetId(), LineId: l.GetId(), Reference: fmt.Sprintf("transfer %d", i+1),
		})
		if err != nil {
			return err
		}
		second = a.GetRun()
	}
	if err := d.showRun(second); err != nil {
		return err
	}
	check, err := d.people[deskAudit].coop().CheckPayoutRun(d.ctx, &coopv1.CheckPayoutRunRequest{RunId: second.GetId()})
	if err != nil {
		return err
	}
	if !check.GetRecomputes() {
		return &failure{Exit: exitUnverified, Reason: "PAYOUTS", Message: check.GetDifference()}
	}
	d.tell("Desk 3, the auditor, has the run reckoned anew from the log alone: it comes to the same, to the cent.")
	return d.report.addRun(second, d.names)
}

func (d *demo) prepare() (*coopv1.PayoutRun, error) {
	a, err := d.people[deskBooks].coop().PreparePayoutRun(d.ctx, &coopv1.PreparePayoutRunRequest{RequestId: d.id(), Currency: d.report.Parcels[0].Currency})
	if err != nil {
		return nil, err
	}
	run := a.GetRun()
	for _, l := range run.GetLines() {
		d.called[l.GetId()] = "of " + d.names[l.GetMemberId()]
	}
	d.called[run.GetId()] = fmt.Sprintf("run %d", len(d.report.Payouts)+1)
	return run, nil
}

func (d *demo) showRun(run *coopv1.PayoutRun) error {
	t := table.New(wrapped("member"), right("earned"), right("paid before"), right("in this run"), text("stands"))
	lines := slices.SortedFunc(slices.Values(run.GetLines()), func(a, b *coopv1.PayoutLine) int {
		return strings.Compare(d.names[a.GetMemberId()], d.names[b.GetMemberId()])
	})
	for _, l := range lines {
		t.Row(d.names[l.GetMemberId()], amount.Text(l.GetEarned()), amount.Text(l.GetTaken()), amount.Text(l.GetAmount()), l.GetStage())
	}
	t.Row("together", "", "", amount.Text(run.GetTotal()), run.GetStage())
	return d.print(t)
}

// balance shows what the co-op's books say at the end.
func (d *demo) balance() error {
	desk := d.people[deskBooks].coop()
	balances, err := desk.GetBalances(d.ctx, &coopv1.GetBalancesRequest{})
	if err != nil {
		return err
	}
	d.tell("What came in, and who has earned what of it:")
	if err := printBalances(d.story, balances, func(id string) string { return d.names[id] }); err != nil {
		return err
	}
	if err := d.report.addBalances(balances, d.names); err != nil {
		return err
	}
	accounts, err := desk.ListAccounts(d.ctx, &coopv1.ListAccountsRequest{})
	if err != nil {
		return err
	}
	if err := d.report.addLeft(accounts.GetLeft()); err != nil {
		return err
	}
	for _, p := range demoParcels {
		st, err := d.statement(p.label)
		if err != nil {
			return err
		}
		if err := d.report.parcel(p.label).addMoney(st, d.names); err != nil {
			return err
		}
	}
	if err := d.report.conserves(); err != nil {
		return err
	}
	if err := d.own(); err != nil {
		return err
	}
	d.tell("Shares, levies and costs add up to the receipts, to the cent; so do they parcel by parcel. With the members paid and the costs recouped, %s is left with the co-op: its levies.", joined(amountTexts(accounts.GetLeft())...))
	return nil
}

// own lets each member ask what is its own.
func (d *demo) own() error {
	d.tell("Each member can ask for its own part, and for nobody else's:")
	t := table.New(wrapped("who asks"), text("parcel"), right("its share"), text("as"))
	for _, p := range demoParcels {
		id := d.parcels[p.label].GetId()
		mined, err := d.people[p.seller].miner().GetShare(d.ctx, &minerv1.GetShareRequest{ParcelId: id})
		if err != nil {
			return err
		}
		cut, err := d.people[p.buyer].cutter().GetShare(d.ctx, &cutterv1.GetShareRequest{ParcelId: id})
		if err != nil {
			return err
		}
		for _, st := range []*typev1.ShareStatement{mined.GetStatement(), cut.GetStatement()} {
			for _, s := range st.GetShares() {
				t.Row(d.names[s.GetMemberId()], p.label, amount.Text(s.GetAmount()), s.GetParty())
			}
		}
	}
	if err := d.print(t); err != nil {
		return err
	}
	t = table.New(wrapped("who asks"), right("earned"), right("paid"), right("still owed"))
	for _, m := range demoMembers {
		a, err := d.people[m.name].coop().GetAccount(d.ctx, &coopv1.GetAccountRequest{})
		if err != nil {
			return err
		}
		for _, account := range a.GetAccounts() {
			t.Row(m.name, amount.Text(account.GetEarned()), amount.Text(account.GetPaid()), amount.Text(account.GetOwed()))
		}
	}
	d.tell("And its account:")
	return d.print(t)
}

// look asks for what a person may and may not see.
func (d *demo) look() error {
	miner := d.people[demoMiner].miner()
	shared, err := miner.GetShare(d.ctx, &minerv1.GetShareRequest{ParcelId: d.parcels["P1"].GetId()})
	if err != nil {
		return err
	}
	t := table.New(wrapped("what it sees"), right("amount"))
	for _, step := range shared.GetStatement().GetSteps() {
		if step.GetParty() == "" { // a sale
			t.Row(step.GetWhy(), amount.Text(step.GetAmount()))
		}
	}
	d.tell("%s shares in parcel P1, so it sees what each stone brought, but no buyer:", demoMiner)
	if err := d.print(t); err != nil {
		return err
	}
	for _, buyer := range []string{demoJeweller, demoSecond} {
		if said := shared.String(); strings.Contains(said, buyer) || strings.Contains(said, d.memberOf(buyer)) {
			return &failure{Exit: exitUnverified, Reason: "BUYER_SHOWN", Message: demoMiner + " is shown that " + buyer + " bought"}
		}
	}
	outright, err := miner.GetShare(d.ctx, &minerv1.GetShareRequest{ParcelId: d.parcels["P3"].GetId()})
	if err != nil {
		return err
	}
	st := outright.GetStatement()
	if st.GetSalesReceived() != nil {
		return &failure{Exit: exitUnverified, Reason: "SALES_SHOWN", Message: demoMiner + " is shown what an outright buyer's stones brought"}
	}
	d.tell("Parcel P3 it sold outright, so it sees its own sale and no more:")
	t = table.New(wrapped("what it sees"), right("amount"))
	t.Row("received for the parcel", amount.Text(st.GetPurchaseReceived()))
	t.Row("received for its stones", "not shown")
	for _, s := range st.GetShares() {
		t.Row("its own share", amount.Text(s.GetAmount()))
	}
	if err := d.print(t); err != nil {
		return err
	}
	return d.closed()
}

// closed tries doors that must stay shut.
func (d *demo) closed() error {
	p1 := d.parcels["P1"].GetId()
	t := table.New(wrapped("who asks"), wrapped("for what"), wrapped("and is told"))
	for _, door := range []struct {
		who, what string
		knock     func(a *actor) error
	}{
		{demoJeweller, "the shares of P1, as its miner", func(a *actor) error {
			_, err := a.miner().GetShare(d.ctx, &minerv1.GetShareRequest{ParcelId: p1})
			return err
		}},
		{demoJeweller, "the costs and shares of P1, as the desk", func(a *actor) error {
			_, err := a.coop().GetShares(d.ctx, &coopv1.GetSharesRequest{ParcelId: p1})
			return err
		}},
		{demoSecond, "the co-op's balances", func(a *actor) error {
			_, err := a.coop().GetBalances(d.ctx, &coopv1.GetBalancesRequest{})
			return err
		}},
		{demoRival, "the plans of P1-3, which another cuts", func(a *actor) error {
			_, err := a.cutter().ListPlans(d.ctx, &cutterv1.ListPlansRequest{PieceId: d.pieces["P1-3"].GetId()})
			return err
		}},
		{demoSharer, "the offers for P1, which another sells", func(a *actor) error {
			_, err := a.miner().ListOffers(d.ctx, &minerv1.ListOffersRequest{ParcelId: p1})
			return err
		}},
		{deskStock, "the payout runs", func(a *actor) error {
			_, err := a.coop().ListPayoutRuns(d.ctx, &coopv1.ListPayoutRunsRequest{})
			return err
		}},
		{deskAudit, "to record a cost", func(a *actor) error {
			_, err := a.coop().RecordCost(d.ctx, &coopv1.RecordCostRequest{RequestId: d.id(), ParcelId: p1, Kind: "freight", Amount: demoAmount("1.00 AUD"), Reference: "none"})
			return err
		}},
	} {
		why, err := d.refused(door.knock(d.people[door.who]))
		if err != nil {
			return fmt.Errorf("%s asks for %s: %w", door.who, door.what, err)
		}
		t.Row(door.who, door.what, why)
	}
	d.tell("Other doors stay shut:")
	return d.print(t)
}
