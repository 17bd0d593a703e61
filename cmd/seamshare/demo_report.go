package main

import (
	"encoding/json"
	"fmt"
	"slices"

	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/amount"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/wire"
)

// demoReport is what demo --json prints: all of it from the node's answers.
type demoReport struct {
	Receipts []reportAmount  `json:"receipts"` // from cutters for parcels and from jewellers for stones
	Levies   []reportAmount  `json:"levies"`
	Costs    []reportAmount  `json:"costs"`  // what recoup tiers paid back for costs other than the price
	Shares   []reportShare   `json:"shares"` // all the rest, the miner's price included
	Left     []reportAmount  `json:"left"`   // with the co-op, when members are paid what they earned
	Parcels  []*reportParcel `json:"parcels"`
	Payouts  []reportRun     `json:"payouts"`
	Stones   []reportStone   `json:"stones"`
	Log      reportLog       `json:"log"`
	Pictures []string        `json:"pictures"` // files, where a folder for them was named
	// TamperedRejected: every changed chain file was refused.
	TamperedRejected bool         `json:"tampered_rejected"`
	TamperedTried    int          `json:"tampered_tried"`
	TamperedCopy     reportForged `json:"tampered_copy"`
}

type reportAmount struct {
	Currency    string `json:"currency"`
	AmountMinor int64  `json:"amount_minor"`
}

type reportShare struct {
	Party       string `json:"party"`
	Role        string `json:"role"`
	Currency    string `json:"currency"`
	AmountMinor int64  `json:"amount_minor"`
}

type reportParcel struct {
	ID            string       `json:"id"`
	Label         string       `json:"label"`
	Seller        string       `json:"seller"`
	Buyer         string       `json:"buyer"`
	BoughtUg      int64        `json:"bought_ug"`
	FinishedUg    int64        `json:"finished_ug"`
	OffcutUg      int64        `json:"offcut_ug"`
	LossUg        int64        `json:"loss_ug"`
	UncutUg       int64        `json:"uncut_ug"`
	UnexplainedUg int64        `json:"unexplained_ug"`
	ToleranceUg   int64        `json:"tolerance_ug"`
	Losses        []reportLoss `json:"losses"` // LossUg by reason
	Stones        int          `json:"stones"`

	Currency      string        `json:"currency"`
	PurchaseMinor int64         `json:"purchase_minor"` // received for the parcel
	SalesMinor    int64         `json:"sales_minor"`    // received for its stones, refunds taken off
	LeviesMinor   int64         `json:"levies_minor"`
	CostsMinor    int64         `json:"costs_minor"`
	Shares        []reportShare `json:"shares"`
	Sales         []reportSale  `json:"sale_by_sale"`

	base  *typev1.ShareStatement // before any stone was sold
	tiers []int                  // the numbers of TiersMinor's tiers in the agreement
}

type reportLoss struct {
	Reason string `json:"reason"`
	MassUg int64  `json:"mass_ug"`
}

// reportSale is what a parcel's stones had brought after a sale, and where it went; the parcel's own price left out.
type reportSale struct {
	Stones     []string      `json:"stones"`
	Returned   bool          `json:"returned"`
	GrossMinor int64         `json:"gross_minor"`
	LevyMinor  int64         `json:"levy_minor"`
	NetMinor   int64         `json:"net_minor"`   // less levy and costs
	TiersMinor []int64       `json:"tiers_minor"` // after the one that recoups the costs
	Shares     []reportShare `json:"shares"`
}

func (s reportSale) of(role string) int64 {
	for _, share := range s.Shares {
		if share.Role == role {
			return share.AmountMinor
		}
	}
	return 0
}

type reportRun struct {
	ID         string          `json:"id"`
	Stage      string          `json:"stage"`
	Reason     string          `json:"reason"` // of a rejection
	Currency   string          `json:"currency"`
	TotalMinor int64           `json:"total_minor"`
	Lines      []reportPayment `json:"lines"`
}

type reportPayment struct {
	Member      string `json:"member"`
	AmountMinor int64  `json:"amount_minor"`
	Stage       string `json:"stage"`
}

type reportStone struct {
	ID         string      `json:"id"`
	Label      string      `json:"label"`
	Parcel     string      `json:"parcel"`
	Piece      string      `json:"piece"` // as people call it: "P1-3"
	Field      string      `json:"field"`
	MassUg     int64       `json:"mass_ug"`
	Carat      json.Number `json:"carat"`
	State      string      `json:"state"`
	PriceMinor int64       `json:"price_minor"` // of its kept sale; 0 where it came back
	Buyer      string      `json:"buyer"`       // of its kept sale
	Chain      []uint64    `json:"chain"`       // positions in the log
}

type reportLog struct {
	Records uint64 `json:"records"`
	Root    string `json:"root"`
}

// reportForged is what was said of a copy in which a stone's field was changed.
type reportForged struct {
	Stone     string `json:"stone"`
	Position  uint64 `json:"position"` // of the changed record
	ChainSays string `json:"chain_says"`
	DataSays  string `json:"data_says"`
}

// parcel finds a parcel by what its seller calls it.
func (r *demoReport) parcel(label string) *reportParcel {
	return r.Parcels[slices.IndexFunc(r.Parcels, func(p *reportParcel) bool { return p.Label == label })]
}

func (r *demoReport) addYield(p demoParcel, parcel *typev1.Parcel, y *cutterv1.Yield) {
	out := &reportParcel{
		ID: y.GetParcelId(), Label: p.label, Seller: p.seller, Buyer: p.buyer, BoughtUg: y.GetBoughtUg(), FinishedUg: y.GetFinishedUg(), OffcutUg: y.GetOffcutUg(),
		LossUg: y.GetLossUg(), UncutUg: y.GetUncutUg(), UnexplainedUg: y.GetUnexplainedUg(), ToleranceUg: y.GetToleranceUg(), Stones: int(y.GetStones()),
		Currency: parcel.GetAgreement().GetPrice().GetCurrencyCode(),
	}
	for _, l := range y.GetLosses() {
		out.Losses = append(out.Losses, reportLoss{word(l.GetReason()), l.GetMassUg()})
	}
	r.Parcels = append(r.Parcels, out)
}

// minors reads amounts of a parcel's currency; absent ones are 0.
func minors(amounts ...*gmoney.Money) ([]int64, error) {
	out := make([]int64, len(amounts))
	for i, m := range amounts {
		if m == nil {
			continue
		}
		var err error
		if out[i], err = amount.Minor(m); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// plain is an amount without its currency.
func (p *reportParcel) plain(minor int64) string { return bare(wire.Text(p.Currency, minor)) }

func (p *reportParcel) addMoney(st *typev1.ShareStatement, names map[string]string) error {
	m, err := minors(st.GetPurchaseReceived(), st.GetSalesReceived(), st.GetLevies(), st.GetCostsRecouped())
	if err != nil {
		return err
	}
	p.PurchaseMinor, p.SalesMinor, p.LeviesMinor, p.CostsMinor = m[0], m[1], m[2], m[3]
	p.Shares, err = sharesOf(st, names)
	return err
}

func sharesOf(st *typev1.ShareStatement, names map[string]string) ([]reportShare, error) {
	var out []reportShare
	for _, s := range st.GetShares() {
		minor, err := amount.Minor(s.GetAmount())
		if err != nil {
			return nil, err
		}
		out = append(out, reportShare{names[s.GetMemberId()], s.GetParty(), s.GetAmount().GetCurrencyCode(), minor})
	}
	return out, nil
}

// addSale takes the shares after a sale, less those of the parcel's own price.
func (p *reportParcel) addSale(stones []string, returned bool, st *typev1.ShareStatement, a *typev1.Agreement, names map[string]string) error {
	m, err := minors(st.GetSalesReceived(), st.GetLevies(), p.base.GetLevies(), st.GetCostsRecouped())
	if err != nil {
		return err
	}
	s := reportSale{Stones: stones, Returned: returned, GrossMinor: m[0], LevyMinor: m[1] - m[2], NetMinor: m[0] - (m[1] - m[2]) - m[3]}
	if s.Shares, err = sharesOf(st, names); err != nil {
		return err
	}
	before, err := sharesOf(p.base, names)
	if err != nil {
		return err
	}
	for i, share := range s.Shares {
		for _, b := range before {
			if b.Party == share.Party && b.Role == share.Role {
				s.Shares[i].AmountMinor -= b.AmountMinor
			}
		}
	}
	tiers := make([]int64, len(a.GetTiers())+1)
	for _, step := range st.GetSteps() {
		minor, err := minors(step.GetAmount())
		if err != nil {
			return err
		}
		if int(step.GetTier()) < len(tiers) {
			tiers[step.GetTier()] += minor[0]
		}
	}
	p.tiers = nil
	for i, tier := range a.GetTiers() {
		if tier.GetRecoup().GetCosts() == nil {
			s.TiersMinor = append(s.TiersMinor, tiers[i+1])
			p.tiers = append(p.tiers, i+1)
		}
	}
	p.Sales = append(p.Sales, s)
	return nil
}

func (r *demoReport) addRun(run *coopv1.PayoutRun, names map[string]string) error {
	total, err := amount.Minor(run.GetTotal())
	if err != nil {
		return err
	}
	out := reportRun{ID: run.GetId(), Stage: run.GetStage(), Reason: run.GetReason(), Currency: run.GetCurrency(), TotalMinor: total}
	for _, l := range run.GetLines() {
		minor, err := amount.Minor(l.GetAmount())
		if err != nil {
			return err
		}
		out.Lines = append(out.Lines, reportPayment{names[l.GetMemberId()], minor, l.GetStage()})
	}
	r.Payouts = append(r.Payouts, out)
	return nil
}

func (r *demoReport) addBalances(a *coopv1.GetBalancesResponse, names map[string]string) error {
	for _, l := range []struct {
		from []*coopv1.Balance
		into *[]reportAmount
	}{{a.GetReceipts(), &r.Receipts}, {a.GetLevies(), &r.Levies}, {a.GetCosts(), &r.Costs}} {
		for _, b := range l.from {
			minor, err := amount.Minor(b.GetAmount())
			if err != nil {
				return err
			}
			*l.into = append(*l.into, reportAmount{b.GetAmount().GetCurrencyCode(), minor})
		}
	}
	for _, b := range a.GetShares() {
		minor, err := amount.Minor(b.GetAmount())
		if err != nil {
			return err
		}
		r.Shares = append(r.Shares, reportShare{names[b.GetMemberId()], b.GetParty(), b.GetAmount().GetCurrencyCode(), minor})
	}
	return nil
}

func (r *demoReport) addLeft(left []*gmoney.Money) error {
	for _, m := range left {
		minor, err := amount.Minor(m)
		if err != nil {
			return err
		}
		r.Left = append(r.Left, reportAmount{m.GetCurrencyCode(), minor})
	}
	return nil
}

func amountTexts(amounts []*gmoney.Money) []string {
	out := make([]string, len(amounts))
	for i, m := range amounts {
		out[i] = amount.Text(m)
	}
	return out
}

// keptSale is what a jeweller paid for a stone and didn't get back.
type keptSale struct {
	buyer string
	minor int64
}

// addStone takes a stone with its kept sale and its chain.
func (r *demoReport) addStone(s *typev1.Stone, piece, field string, kept keptSale, links []*coopv1.ChainLink) {
	out := reportStone{
		ID: s.GetId(), Label: s.GetLabel(), Parcel: s.GetParcelId(), Piece: piece, Field: field, MassUg: s.GetWeighing().GetMassUg(), Carat: json.Number(s.GetCarat()),
		State: word(s.GetState()), PriceMinor: kept.minor, Buyer: kept.buyer, Chain: []uint64{},
	}
	for _, l := range links {
		out.Chain = append(out.Chain, l.GetPosition())
	}
	r.Stones = append(r.Stones, out)
}

// conserves holds that, per currency and for each parcel, receipts = shares + levies + costs; that what a payout run pays is the
// sum of its lines; and that each parcel's mass is all accounted for within its tolerance.
func (r *demoReport) conserves() error {
	left := map[string]int64{}
	for _, a := range r.Receipts {
		left[a.Currency] += a.AmountMinor
	}
	for _, list := range [][]reportAmount{r.Levies, r.Costs} {
		for _, a := range list {
			left[a.Currency] -= a.AmountMinor
		}
	}
	for _, s := range r.Shares {
		left[s.Currency] -= s.AmountMinor
	}
	for currency, minor := range left {
		if minor != 0 {
			return unbalanced("%d minor units of %s are not given out", minor, currency)
		}
	}
	for _, run := range r.Payouts {
		rest := run.TotalMinor
		for _, l := range run.Lines {
			rest -= l.AmountMinor
		}
		if rest != 0 {
			return unbalanced("payout run %s is %d minor units above its lines", run.ID, rest)
		}
	}
	for _, p := range r.Parcels {
		if err := p.conserves(); err != nil {
			return err
		}
	}
	return nil
}

func (p *reportParcel) conserves() error {
	rest := p.PurchaseMinor + p.SalesMinor - p.LeviesMinor - p.CostsMinor
	for _, s := range p.Shares {
		rest -= s.AmountMinor
	}
	if rest != 0 {
		return unbalanced("%d minor units of parcel %s are not given out", rest, p.ID)
	}
	if rest := p.BoughtUg - p.FinishedUg - p.OffcutUg - p.UncutUg - p.LossUg - p.UnexplainedUg; rest != 0 {
		return unbalanced("%d µg of parcel %s are not accounted for", rest, p.ID)
	}
	rest = p.LossUg
	for _, l := range p.Losses {
		rest -= l.MassUg
	}
	if rest != 0 {
		return unbalanced("%d µg of parcel %s are lost for no reason", rest, p.ID)
	}
	if max(p.UnexplainedUg, -p.UnexplainedUg) > p.ToleranceUg {
		return unbalanced("%d µg of parcel %s are unexplained, where %d may be", p.UnexplainedUg, p.ID, p.ToleranceUg)
	}
	return nil
}

func unbalanced(format string, args ...any) *failure {
	return &failure{Exit: exitUnverified, Reason: "UNBALANCED", Message: fmt.Sprintf(format, args...), Hint: "this is a mistake in the program; tell whoever gave it to you"}
}
