package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/agreementfile"
	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/share"
	"seamshare.example/services/wire"
)

const agreementHint = "correct the file and try again; seamshare help agreements shows the form"

func (s *session) agreementCommand() *cobra.Command {
	var brings, costs *gmoney.Money
	check := &cobra.Command{
		Use:   "check FILE [--brings \"3607.50 AUD\"] [--costs \"38.50 AUD\"]",
		Short: "Check an agreement and explain it with an example amount",
		Long: `Checks the file with an agreement and says in words who gets what. The example takes
what the stones bring (--brings; without it, twice the parcel's price) as one
sale, and --costs as laid out under the first kind of cost. It asks no server.

` + agreementfile.Help,
		Args: exactly("FILE"),
		RunE: func(_ *cobra.Command, args []string) error {
			agreement, err := s.readAgreement(args[0])
			if err != nil {
				return err
			}
			e, err := exampleOf(agreement, brings, costs)
			if err != nil {
				return err
			}
			return s.document(e.document(), func(w io.Writer) error { return e.print(w) })
		},
	}
	moneyFlag(check, &brings, "brings", "what the stones bring in the example")
	moneyFlag(check, &costs, "costs", "what the co-op laid out in the example")
	return group("agreement", "Agreements: who gets what of the money a parcel brings", check)
}

// readAgreement reads the file and holds it to the domain's rules, so that all that is wrong shows before a server is
// asked.
func (s *session) readAgreement(path string) (*typev1.Agreement, error) {
	data, err := s.readInput(path, agreementfile.MaxBytes)
	if err != nil {
		return nil, err
	}
	agreement, err := agreementfile.Parse(data)
	if problems, ok := errors.AsType[agreementfile.Problems](err); ok {
		return nil, agreementFailure(path, fieldProblems(problems))
	}
	if err != nil {
		return nil, err
	}
	if _, err := domainAgreement(agreement); err != nil {
		return nil, unsound(path, err)
	}
	return agreement, nil
}

// unsound is for an agreement that has the right form but isn't sound.
func unsound(path string, err error) error {
	violations, ok := errors.AsType[share.Violations](err)
	if !ok {
		return err
	}
	list := make([]fieldProblem, len(violations))
	for i, v := range violations {
		list[i] = fieldProblem{v.Field, v.Problem}
	}
	return agreementFailure(path, list)
}

func agreementFailure(path string, list []fieldProblem) *failure {
	return fileFailure(path, "agreement", agreementHint, list)
}

// domainAgreement is the agreement as the domain computes with it. The error is share.Violations, with the names of the
// file.
func domainAgreement(a *typev1.Agreement) (share.Agreement, error) {
	var broken rule.All
	stored := wire.ReadAgreement(&broken, "agreement", a)
	if err := broken.Err(); err != nil {
		return share.Agreement{}, wrongInput("", agreementHint, "%v", err)
	}
	terms := parcel.Terms(stored)
	violations, ok := errors.AsType[share.Violations](terms.Validate())
	if !ok {
		return terms, nil
	}
	for i := range violations {
		violations[i].Field = inFile.Replace(violations[i].Field)
	}
	return share.Agreement{}, violations
}

// inFile turns the domain's names of an agreement's parts into those of the file.
var inFile = strings.NewReplacer("parcel_levy", "levies.parcel", "sale_levy", "levies.sales", "basis_points", "rate",
	".ceiling", ".up_to", ".ratios", ".share", ".target", ".until", ".to", ".pay", "cost_kinds", "costs")

// example is an agreement worked out for one amount.
type example struct {
	agreement *typev1.Agreement
	lines     []share.Line
	shares    share.Shares
}

// exampleOf works an agreement out for one sale.
func exampleOf(agreement *typev1.Agreement, brings, costs *gmoney.Money) (*example, error) {
	a, err := domainAgreement(agreement)
	if err != nil {
		return nil, err
	}
	sale := max(2*a.Price, 100_000)
	totals := share.Totals{Costs: map[string]int64{}}
	if brings != nil {
		if sale, err = sameCurrency("--brings", brings, a.Currency); err != nil {
			return nil, err
		}
	}
	if costs != nil {
		if len(a.CostKinds) == 0 {
			return nil, wrongUsage("--costs", "leave it out", "the agreement names no kind of cost")
		}
		if totals.Costs[a.CostKinds[0]], err = sameCurrency("--costs", costs, a.Currency); err != nil {
			return nil, err
		}
	}
	totals.Parcel.Amount, totals.Sales.Amount = a.Price, sale
	if totals.Parcel.Levies, err = a.ParcelLevy.Due(a.Price); err != nil {
		return nil, wrongInput("levies.parcel", agreementHint, "%v", err)
	}
	if totals.Sales.Levies, err = a.SaleLevy.Due(sale); err != nil {
		return nil, wrongInput("--brings", "give an amount above zero", "%v", err)
	}
	e := &example{agreement: agreement}
	if e.lines, err = share.Explain(a, totals); err != nil {
		return nil, wrongInput("--brings, --costs", "give other amounts", "%v", err)
	}
	if e.shares, err = share.Entitlement(a, totals); err != nil {
		return nil, wrongInput("--brings, --costs", "give other amounts", "%v", err)
	}
	return e, nil
}

func sameCurrency(flag string, m *gmoney.Money, currency string) (int64, error) {
	if m.GetCurrencyCode() != currency {
		return 0, wrongUsage(flag, "give it in the agreement's currency", "%s is not in %s", amount.Text(m), currency)
	}
	minor, err := amount.Minor(m)
	if err != nil || minor < 0 {
		return 0, wrongUsage(flag, "give an amount of zero or more", "%s is not what a sale can bring", amount.Text(m))
	}
	return minor, nil
}

// exampleDocument is the example as JSON.
type exampleDocument struct {
	Currency      string         `json:"currency"`
	ReceivedMinor int64          `json:"received_minor"`
	LeviesMinor   int64          `json:"levies_minor"`
	CostsMinor    int64          `json:"costs_minor"`
	Shares        []exampleShare `json:"shares"`
	Why           []string       `json:"why"`
}

type exampleShare struct {
	Party       string `json:"party"`
	AmountMinor int64  `json:"amount_minor"`
}

func (e *example) document() exampleDocument {
	d := exampleDocument{
		Currency: e.shares.Currency, ReceivedMinor: e.shares.Received, LeviesMinor: e.shares.Levies, CostsMinor: e.shares.Costs,
		Shares: []exampleShare{}, Why: []string{},
	}
	for _, p := range e.shares.Parties {
		d.Shares = append(d.Shares, exampleShare{p.Party, p.Total()})
	}
	for _, l := range e.lines {
		d.Why = append(d.Why, l.Text)
	}
	return d
}

func (e *example) print(w io.Writer) error {
	if err := printAgreement(w, e.agreement); err != nil {
		return err
	}
	say(w, "")
	say(w, "For example:")
	for _, l := range e.lines {
		for i, line := range table.Break(l.Text, table.Width-4) {
			lead := "    "
			if i == 0 {
				lead = "  - "
			}
			say(w, "%s%s", lead, line)
		}
	}
	t := table.New(text("who"), right("gets"))
	for _, p := range e.shares.Parties {
		t.Row(p.Party, wire.Text(e.shares.Currency, p.Total()))
	}
	t.Row("co-op, levies", wire.Text(e.shares.Currency, e.shares.Levies))
	t.Row("co-op, costs", wire.Text(e.shares.Currency, e.shares.Costs))
	t.Row("all that came in", wire.Text(e.shares.Currency, e.shares.Received))
	_, err := t.WriteTo(w)
	return err
}

// printAgreement says an agreement in words.
func printAgreement(w io.Writer, a *typev1.Agreement) error {
	say(w, "Agreement: price %s", amount.Text(a.GetPrice()))
	say(w, "  levy on the parcel: %s", levyWords(a.GetParcelLevy()))
	say(w, "  levy on each stone: %s", levyWords(a.GetSaleLevy()))
	if len(a.GetCostKinds()) > 0 {
		say(w, "  costs that may be got back: %s", plain(strings.Join(a.GetCostKinds(), ", ")))
	}
	if a.GetTitle() != typev1.Title_TITLE_UNSPECIFIED || a.GetPaymentDays() > 0 {
		sayLong(w, "  %s", paymentWords(a))
	}
	for i, t := range a.GetTiers() {
		for k, line := range table.Break(tierWords(t), table.Width-6) {
			lead := "     "
			if k == 0 {
				lead = fmt.Sprintf("  %d. ", i+1)
			}
			say(w, "%s%s", lead, plain(line))
		}
	}
	return nil
}

// paymentWords is when the price is due and the rough becomes the buyer's.
func paymentWords(a *typev1.Agreement) string {
	var parts []string
	if days := a.GetPaymentDays(); days > 0 {
		parts = append(parts, "the price is due "+count(int(days), "day")+" after the deal")
	}
	switch a.GetTitle() {
	case typev1.Title_TITLE_AT_HANDOVER:
		parts = append(parts, "the rough is the buyer's at the handover")
	case typev1.Title_TITLE_WHEN_PAID:
		parts = append(parts, "the rough is the buyer's when it is paid")
	case typev1.Title_TITLE_STAYS:
		parts = append(parts, "the rough stays the miner's")
	}
	return strings.Join(parts, "; ")
}

// partyWord is a party as it is said.
func partyWord(party string) string {
	if party == parcel.Coop {
		return "co-op"
	}
	return party
}

func levyWords(l *typev1.Levy) string {
	if l.GetBasisPoints() == 0 && l.GetFloor() == nil {
		return "none"
	}
	points := l.GetBasisPoints()
	out := fmt.Sprintf("%d.%02d %%", points/100, points%100)
	if l.GetFloor() != nil {
		out += ", at least " + amount.Text(l.GetFloor())
	}
	if l.GetCap() != nil {
		out += ", at most " + amount.Text(l.GetCap())
	}
	if l.GetBorneBy() != "" {
		return out + ", borne by the " + plain(l.GetBorneBy())
	}
	return out + ", off the top"
}

func tierWords(t *typev1.Tier) string {
	switch form := t.GetForm().(type) {
	case *typev1.Tier_Recoup:
		r := form.Recoup
		label := ""
		if r.GetLabel() != "" {
			label = " (" + r.GetLabel() + ")"
		}
		switch target := r.GetTarget().(type) {
		case *typev1.Recoup_Amount:
			return fmt.Sprintf("the %s is paid until %s%s", partyWord(r.GetParty()), amount.Text(target.Amount), label)
		case *typev1.Recoup_PriceMultiple:
			n, d := target.PriceMultiple.GetNumerator(), target.PriceMultiple.GetDenominator()
			if n == d {
				return fmt.Sprintf("the %s is paid until the parcel's price%s", partyWord(r.GetParty()), label)
			}
			return fmt.Sprintf("the %s is paid until %d/%d of the parcel's price%s", partyWord(r.GetParty()), n, d, label)
		case *typev1.Recoup_Costs:
			return fmt.Sprintf("the %s gets back the recorded costs: %s%s", partyWord(r.GetParty()), strings.Join(target.Costs.GetKinds(), ", "), label)
		}
	case *typev1.Tier_Split:
		var ratios []string
		for _, ratio := range form.Split.GetRatios() {
			ratios = append(ratios, fmt.Sprintf("%s %d", partyWord(ratio.GetParty()), ratio.GetWeight()))
		}
		if ceiling := form.Split.GetCeiling(); ceiling != nil {
			return fmt.Sprintf("shared as %s, up to %s", strings.Join(ratios, " : "), amount.Text(ceiling))
		}
		return fmt.Sprintf("shared as %s, whatever is left", strings.Join(ratios, " : "))
	}
	return "of a form that this program doesn't know"
}
