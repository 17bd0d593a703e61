package parcel

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/share"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
)

// The parties that every agreement knows. Any other is a member's id.
const (
	Miner  = "miner"  // the seller
	Cutter = "cutter" // the buyer
	Coop   = "coop"   // as one that laid out costs; its levies are no share
)

// Terms is the agreement as package share computes with it. Parties keep the names
// they have here, except the co-op, which is share.CoOp there.
//
// Parties stand in the order in which the splits name them, since that order breaks
// ties; then come those that only recoup or bear a levy, then miner and cutter
// where the agreement gives them nothing.
func Terms(a *parcelv1.Agreement) share.Agreement {
	t := share.Agreement{
		Currency:   a.GetPrice().GetCurrency(),
		Seller:     Miner,
		Price:      a.GetPrice().GetMinor(),
		ParcelLevy: levy(a.GetParcelLevy()),
		SaleLevy:   levy(a.GetSaleLevy()),
		CostKinds:  slices.Clone(a.GetCostKinds()),
	}
	for _, id := range Parties(a) {
		role := id
		if id != Miner && id != Cutter {
			role = "partner"
		}
		t.Parties = append(t.Parties, share.Party{ID: id, Role: role})
	}
	for _, tier := range a.GetTiers() {
		switch form := tier.GetForm().(type) {
		case *parcelv1.Tier_Recoup:
			t.Tiers = append(t.Tiers, share.Recoup{To: account(form.Recoup.GetParty()), Target: target(form.Recoup), Label: form.Recoup.GetLabel()})
		case *parcelv1.Tier_Split:
			split := share.Split{}
			for _, r := range form.Split.GetRatios() {
				split.Ratios = append(split.Ratios, share.Ratio{Party: account(r.GetParty()), Weight: int64(r.GetWeight())})
			}
			if form.Split.CeilingMinor != nil {
				split.Ceiling = share.AtMost(form.Split.GetCeilingMinor())
			}
			t.Tiers = append(t.Tiers, split)
		default:
			t.Tiers = append(t.Tiers, nil) // refused by share
		}
	}
	return t
}

// Parties are the agreement's parties in its order, the co-op's own account left out.
func Parties(a *parcelv1.Agreement) []string {
	var ids []string
	add := func(id string) {
		if id != "" && id != Coop && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	for _, tier := range a.GetTiers() {
		for _, r := range tier.GetSplit().GetRatios() {
			add(r.GetParty())
		}
	}
	for _, tier := range a.GetTiers() {
		add(tier.GetRecoup().GetParty())
	}
	add(a.GetParcelLevy().GetBorneBy())
	add(a.GetSaleLevy().GetBorneBy())
	add(Miner)
	add(Cutter)
	return ids
}

// Others are the members that an agreement names beside seller and buyer. Whoever
// makes or accepts it checks that they trade here.
func Others(a *parcelv1.Agreement) []string {
	return slices.DeleteFunc(Parties(a), func(id string) bool { return id == Miner || id == Cutter })
}

func account(party string) string {
	if party == Coop {
		return share.CoOp
	}
	return party
}

func levy(l *parcelv1.Levy) share.LevyRule {
	rule := share.LevyRule{BasisPoints: int64(l.GetBasisPoints()), Floor: l.GetFloorMinor(), BorneBy: l.GetBorneBy()}
	if l != nil && l.CapMinor != nil {
		rule.Cap = share.AtMost(l.GetCapMinor())
	}
	return rule
}

func target(r *parcelv1.Recoup) share.Target {
	switch t := r.GetTarget().(type) {
	case *parcelv1.Recoup_AmountMinor:
		return share.FixedAmount{Amount: t.AmountMinor}
	case *parcelv1.Recoup_PriceMultiple:
		return share.PriceMultiple{Num: t.PriceMultiple.GetNumerator(), Den: t.PriceMultiple.GetDenominator()}
	case *parcelv1.Recoup_Costs:
		return share.RecordedCosts{Kinds: slices.Clone(t.Costs.GetKinds())}
	}
	return nil // refused by share
}

// Fix is the agreement with every multiple of the price as an amount, rounded up
// once (rule 10), due within usualDays where it doesn't say. The error is a mistake in a stored agreement, which was sound when it
// was made.
func Fix(a *parcelv1.Agreement, usualDays uint32) (*parcelv1.Agreement, error) {
	untouched, err := share.Entitlement(Terms(a), share.Totals{})
	if err != nil {
		return nil, fmt.Errorf("couldn't fix the agreement: %w", err)
	}
	fixed := proto.CloneOf(a)
	fixed.Title = titleOf(a)
	if a.GetPrice().GetMinor() > 0 && a.GetPaymentDays() == 0 {
		fixed.PaymentDays = usualDays
	}
	for i, tier := range fixed.GetTiers() {
		if _, multiple := tier.GetRecoup().GetTarget().(*parcelv1.Recoup_PriceMultiple); multiple {
			multiple := tier.GetRecoup().GetPriceMultiple()
			if tier.GetRecoup().Label == "" {
				tier.GetRecoup().Label = priceLabel(multiple)
			}
			tier.GetRecoup().Target = &parcelv1.Recoup_AmountMinor{AmountMinor: untouched.Tiers[i].Limit.Amount}
		}
	}
	return fixed, nil
}

// priceLabel says what a target was before it was fixed as an amount.
func priceLabel(f *parcelv1.Fraction) string {
	if f.GetNumerator() == f.GetDenominator() {
		return "the parcel's price"
	}
	return fmt.Sprintf("%d/%d of the parcel's price, rounded up", f.GetNumerator(), f.GetDenominator())
}

// checkAgreement holds rules 4, 5 and 26. buyer is empty while it isn't known.
func (s State) checkAgreement(broken *rule.All, path string, a *parcelv1.Agreement, seller, buyer string) {
	if a.GetPrice() == nil {
		broken.Add(rule.Broken{Reason: rule.NotAnswered, Field: path + ".price", Rule: "an agreement has a price", Hint: "give zero where the rough is placed to be cut on shares"})
		return
	}
	before := len(*broken)
	broken.Amount(path+".price", a.GetPrice())
	if len(*broken) > before {
		return // all other amounts are in its currency
	}
	for _, id := range Others(a) {
		switch id {
		case share.CoOp:
			broken.Add(rule.Broken{Reason: rule.AgreementInvalid, Field: path, Value: fmt.Sprintf("%q", id), Rule: "no member has this id", Hint: fmt.Sprintf("write %q for the co-op's own costs", Coop)})
			return
		case seller, buyer:
			word := Miner
			if id == buyer {
				word = Cutter
			}
			broken.Add(rule.Broken{Reason: rule.AgreementInvalid, Field: path, Value: fmt.Sprintf("%q", id), Rule: "seller and buyer stand in an agreement by their part", Hint: fmt.Sprintf("write %q", word)})
		}
	}
	checkOrder(broken, path, a)
	checkTitle(broken, path, a)
	s.checkLeast(broken, path, a)
	var wrong share.Violations
	if err := Terms(a).Validate(); errors.As(err, &wrong) {
		for _, v := range wrong {
			broken.Add(rule.Broken{Reason: rule.AgreementInvalid, Field: path + "." + protoPath(v.Field), Rule: v.Problem})
		}
	}
}

// checkOrder refuses splits that name the same parties in different orders: the order
// breaks ties in all of them, so it can only be one.
func checkOrder(broken *rule.All, path string, a *parcelv1.Agreement) {
	order := Parties(a)
	for i, tier := range a.GetTiers() {
		last := -1
		for j, r := range tier.GetSplit().GetRatios() {
			at := slices.Index(order, r.GetParty())
			if at >= 0 && at < last {
				broken.Add(rule.Broken{
					Reason: rule.AgreementInvalid, Field: fmt.Sprintf("%s.tiers[%d].split.ratios[%d].party", path, i, j), Value: r.GetParty(),
					Rule: "every split names its parties in the same order, which breaks ties", Hint: "keep to " + strings.Join(order, ", "),
				})
				break
			}
			last = max(at, last)
		}
	}
}

// What package share calls a field, and where it stands in an agreement.
var protoFields = []struct {
	share *regexp.Regexp
	proto string
}{
	{regexp.MustCompile(`^currency$`), "price.currency_code"},
	{regexp.MustCompile(`^(parcel_levy|sale_levy)\.(floor|cap|basis_points|borne_by)$`), "$1.$2"},
	{regexp.MustCompile(`^(tiers\[\d+\])\.to$`), "$1.recoup.party"},
	{regexp.MustCompile(`^(tiers\[\d+\])\.target\.amount$`), "$1.recoup.amount"},
	{regexp.MustCompile(`^(tiers\[\d+\])\.target\.kinds(.*)$`), "$1.recoup.costs.kinds$2"},
	{regexp.MustCompile(`^(tiers\[\d+\])\.target$`), "$1.recoup"},
	{regexp.MustCompile(`^(tiers\[\d+\])\.(ratios.*|ceiling)$`), "$1.split.$2"},
	{regexp.MustCompile(`^parties.*$`), "tiers"},
}

func protoPath(field string) string {
	for _, f := range protoFields {
		if f.share.MatchString(field) {
			return f.share.ReplaceAllString(field, f.proto)
		}
	}
	return field
}
