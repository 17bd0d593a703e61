package main

import (
	"fmt"
	"io"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// printStatement shows what a parcel's money came to. A party's own statement has its own lines only.
func printStatement(w io.Writer, st *typev1.ShareStatement) error {
	say(w, "Parcel %s", st.GetParcelId())
	for _, l := range []struct {
		name string
		text string
	}{
		{"received for the parcel", amount.Text(st.GetPurchaseReceived())},
		{"received for its stones", amount.Text(st.GetSalesReceived())},
		{"levies", amount.Text(st.GetLevies())},
		{"costs the co-op got back", amount.Text(st.GetCostsRecouped())},
	} {
		if l.text != "" {
			say(w, "  %-25s %16s", l.name, l.text)
		}
	}
	for _, p := range st.GetShares() {
		say(w, "  %-25s %16s  %s", "share, "+plain(p.GetParty()), amount.Text(p.GetAmount()), p.GetMemberId())
	}
	if len(st.GetSteps()) > 0 {
		say(w, "")
		if err := printSteps(w, st.GetSteps()); err != nil {
			return err
		}
	}
	for _, o := range st.GetOpen() {
		label := ""
		if o.GetLabel() != "" {
			label = " (" + plain(o.GetLabel()) + ")"
		}
		say(w, "  still open for the %s%s: %s", plain(o.GetParty()), label, amount.Text(o.GetAmount()))
	}
	for _, c := range st.GetCorrections() {
		sayLong(w, "  corrected: record %d, a %s, by record %d%s", c.GetCorrects(), plain(c.GetWhat()), c.GetPosition(), because(c.GetReason()))
		for _, m := range c.GetMoved() {
			sayLong(w, "    the share of the %s moved by %s", plain(m.GetParty()), amount.Text(m.GetAmount()))
		}
	}
	return nil
}

func because(reason string) string {
	if reason == "" {
		return ""
	}
	return ": " + plain(reason)
}

// printSteps shows how each amount came about, tier by tier.
func printSteps(w io.Writer, steps []*typev1.ShareStep) error {
	t := table.New(text("tier"), text("party"), right("amount"), wrapped("why"))
	for _, step := range steps {
		tier := ""
		if step.GetTier() > 0 {
			tier = fmt.Sprint(step.GetTier())
		}
		t.Row(tier, partyWord(step.GetParty()), amount.Text(step.GetAmount()), step.GetWhy())
	}
	_, err := t.WriteTo(w)
	return err
}

// printBalances shows the co-op's accounts; name gives members their trading names.
func printBalances(w io.Writer, a *coopv1.GetBalancesResponse, name func(memberID string) string) error {
	t := table.New(text("account"), wrapped("member"), right("amount"))
	for _, l := range []struct {
		account string
		rows    []*coopv1.Balance
	}{{"receipts", a.GetReceipts()}, {"levies", a.GetLevies()}, {"costs recouped", a.GetCosts()}} {
		for _, b := range l.rows {
			t.Row(l.account, "", amount.Text(b.GetAmount()))
		}
	}
	for _, b := range a.GetShares() {
		t.Row("share, "+b.GetParty(), name(b.GetMemberId()), amount.Text(b.GetAmount()))
	}
	for _, b := range a.GetToPayBack() {
		if m := b.GetAmount(); !isZero(m) {
			t.Row("to pay back", "", amount.Text(m))
		}
	}
	_, err := t.WriteTo(w)
	return err
}
