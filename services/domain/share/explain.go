package share

import (
	"fmt"
	"strings"
)

// Step says which part of the computation a line is about.
type Step int

// The steps, in the order in which Explain gives them.
const (
	StepParcelMoney Step = iota + 1 // what was received for the parcel; for information
	StepParcelLevy
	StepPrice      // what the seller has of it
	StepSalesMoney // what was received for sales; for information
	StepSaleLevy
	StepProceeds // what is poured through the tiers; for information
	StepRecoup
	StepSplit    // one line per party
	StepBorne    // what the bearer of a levy pays; negative
	StepMadeGood // what another receives of that
	StepTotal    // ends ExplainParty
)

// Line explains one amount. Text says all of it in words for a member; the other
// fields are for pages that lay it out themselves.
type Line struct {
	Step    Step
	Tier    int    // from 1 as members count; 0 where no tier is meant
	Account string // a party, or CoOp; empty for information
	Amount  int64  // what this line gives the account, or the amount it informs of

	// Of a tier: the units it took, and what it still takes before the next is reached.
	Units int64
	Open  int64 // also of StepBorne: what stays owed
	// Of a split: the party's weight of Whole; Rounds full rounds of Whole units were
	// given out, and Last units of the one begun.
	Weight, Whole int64
	Rounds, Last  int64

	Text string
}

// Explain gives the whole computation line by line. The lines with an account add up
// to Shares: levies, costs and each party's total. The error is Entitlement's.
func Explain(a Agreement, t Totals) ([]Line, error) {
	s, err := Entitlement(a, t)
	if err != nil {
		return nil, err
	}
	e := explainer{Agreement: a}
	e.parcel(t.Parcel)
	e.sales(t.Sales)
	for i, tier := range a.Tiers {
		switch tier := tier.(type) {
		case Recoup:
			e.recoup(i+1, tier, s.Tiers[i])
		case Split:
			e.split(i+1, tier, s.Tiers[i])
		}
	}
	for _, b := range s.Burdens {
		e.burden(b)
	}
	return e.lines, nil
}

// ExplainParty gives the lines of Explain that make up one party's share, and a last
// one with their sum.
func ExplainParty(a Agreement, t Totals, party string) ([]Line, error) {
	lines, err := Explain(a, t)
	if err != nil {
		return nil, err
	}
	if a.partyIndex(party) < 0 {
		return nil, fmt.Errorf("couldn't explain a share: %w", Violations{{"party", fmt.Sprintf("%q is not a party of this agreement", party)}})
	}
	var own []Line
	var sum int64
	for _, l := range lines {
		if l.Account == party {
			own = append(own, l)
			sum += l.Amount
		}
	}
	e := explainer{Agreement: a, lines: own}
	e.add(Line{Step: StepTotal, Account: party, Amount: sum}, "Together the %s has %s.", e.name(party), e.money(sum))
	return e.lines, nil
}

type explainer struct {
	Agreement
	lines []Line
}

func (e *explainer) add(l Line, format string, args ...any) {
	l.Text = fmt.Sprintf(format, args...)
	e.lines = append(e.lines, l)
}

func (e *explainer) money(minor int64) string { return inWords(minor, e.Currency) }

// name is the account's role, with the id where the role alone could mean two.
func (e *explainer) name(account string) string {
	if account == CoOp {
		return CoOp
	}
	role, same := "", 0
	for _, p := range e.Parties {
		if p.ID == account {
			role = p.Role
		}
	}
	for _, p := range e.Parties {
		if p.Role == role {
			same++
		}
	}
	if same > 1 {
		return role + " " + account
	}
	return role
}

func (e *explainer) parcel(r Received) {
	if e.Price == 0 {
		e.add(Line{Step: StepParcelMoney}, "The parcel was not sold: it has no price of its own, only shares in what it gives.")
		return
	}
	e.add(Line{Step: StepParcelMoney, Amount: r.Amount}, "The parcel: %s received of its price of %s.", e.money(r.Amount), e.money(e.Price))
	e.add(Line{Step: StepParcelLevy, Account: CoOp, Amount: r.Levies}, "The co-op keeps a levy on the parcel of %s (%s).", e.money(r.Levies), e.rule(e.ParcelLevy, "the price"))
	rest := r.Amount - r.Levies
	e.add(Line{Step: StepPrice, Account: e.Seller, Amount: rest}, "The %s, who sold the parcel, has the rest: %s − %s = %s.",
		e.name(e.Seller), e.money(r.Amount), e.money(r.Levies), e.money(rest))
}

func (e *explainer) sales(r Received) {
	e.add(Line{Step: StepSalesMoney, Amount: r.Amount}, "Sales from the parcel: %s received so far, returns taken off.", e.money(r.Amount))
	e.add(Line{Step: StepSaleLevy, Account: CoOp, Amount: r.Levies}, "The co-op keeps a levy on sales of %s (%s).", e.money(r.Levies), e.rule(e.SaleLevy, "each sale"))
	e.add(Line{Step: StepProceeds, Amount: r.Amount - r.Levies}, "That leaves %s − %s = %s, which runs through the tiers in order.",
		e.money(r.Amount), e.money(r.Levies), e.money(r.Amount-r.Levies))
}

// rule is a levy rule in words.
func (e *explainer) rule(l LevyRule, of string) string {
	words := fmt.Sprintf("%s of %s, rounded down", percent(l.BasisPoints), of)
	if l.Floor > 0 {
		words += fmt.Sprintf(", at least %s", e.money(l.Floor))
	}
	if l.Cap.Set {
		words += fmt.Sprintf(", at most %s", e.money(l.Cap.Amount))
	}
	if l.BorneBy == "" {
		return words + "; off the top, before anyone shares"
	}
	return words + "; borne by the " + e.name(l.BorneBy)
}

func percent(basisPoints int64) string {
	text := fmt.Sprintf("%d.%02d", basisPoints/100, basisPoints%100)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".") + " %"
}

func (e *explainer) recoup(number int, r Recoup, t TierShare) {
	l := Line{Step: StepRecoup, Tier: number, Account: r.To, Amount: t.Took, Units: t.Took, Open: t.Open()}
	text := fmt.Sprintf("Tier %d pays the %s back %s: %s of %s", number, e.name(r.To), e.target(r), e.money(t.Took), e.money(t.Limit.Amount))
	if l.Open > 0 {
		e.add(l, "%s; %s is still open.", text, e.money(l.Open))
	} else {
		e.add(l, "%s, which is all of it.", text)
	}
}

func (e *explainer) target(r Recoup) string {
	switch t := r.Target.(type) {
	case PriceMultiple:
		if t.Num == t.Den {
			return fmt.Sprintf("the parcel's price of %s", e.money(e.Price))
		}
		return fmt.Sprintf("%d/%d of the parcel's price of %s, rounded up", t.Num, t.Den, e.money(e.Price))
	case RecordedCosts:
		return "the recorded costs (" + strings.Join(t.Kinds, ", ") + ")"
	}
	if r.Label != "" {
		return r.Label
	}
	return "an agreed amount"
}

func (e *explainer) split(number int, s Split, t TierShare) {
	weights, whole := e.weights(s)
	var ratio []string
	for i, w := range weights {
		if w > 0 {
			ratio = append(ratio, fmt.Sprintf("%s %d", e.name(e.Parties[i].ID), w))
		}
	}
	until := ""
	if t.Limit.Set {
		until = fmt.Sprintf(" up to %s", e.money(t.Limit.Amount))
	}
	for _, part := range t.Parts {
		l := Line{
			Step: StepSplit, Tier: number, Account: part.Account, Amount: part.Amount,
			Units: t.Took, Open: t.Open(),
			Weight: weights[e.partyIndex(part.Account)], Whole: whole,
			Rounds: t.Took / whole, Last: t.Took % whole,
		}
		head := fmt.Sprintf("Tier %d shares %s%s as %s", number, e.money(t.Took), until, strings.Join(ratio, " : "))
		switch {
		case t.Took == 0:
			e.add(l, "Tier %d, %s%s, has not been reached.", number, strings.Join(ratio, " : "), until)
		case l.Last == 0:
			e.add(l, "%s: the %s has %d in %d, exactly %s.", head, e.name(part.Account), l.Weight, whole, e.money(part.Amount))
		default:
			e.add(l, "%s: the %s has %d in %d, %s (%s for each of %d full rounds of %s, and %s of the last %s, given out one by one to whoever is due next).",
				head, e.name(part.Account), l.Weight, whole, e.money(part.Amount), e.money(l.Weight), l.Rounds, e.money(whole),
				e.money(part.Amount-l.Rounds*l.Weight), e.money(l.Last))
		}
	}
}

func (e *explainer) burden(b Burden) {
	open := ""
	if b.Open() > 0 {
		open = fmt.Sprintf(" of %s owed; %s stays open until the %s's share covers it", e.money(b.Owed), e.money(b.Open()), e.name(b.By))
	}
	e.add(Line{Step: StepBorne, Account: b.By, Amount: -b.Paid, Open: b.Open()}, "The %s bears the %s and makes good to the %s what it lost by it: %s%s.",
		e.name(b.By), b.Levy, e.name(b.To), e.money(b.Paid), open)
	e.add(Line{Step: StepMadeGood, Account: b.To, Amount: b.Paid}, "The %s has %s from the %s, who bears the %s.",
		e.name(b.To), e.money(b.Paid), e.name(b.By), b.Levy)
}
