package wire

import (
	"fmt"

	"google.golang.org/genproto/googleapis/type/money"

	parcelv1 "seamshare.example/proto/gen/seamshare/event/parcel/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/rule"
)

// Agreement shows a stored agreement.
func Agreement(a *parcelv1.Agreement) *typev1.Agreement {
	if a == nil {
		return nil
	}
	currency := a.GetPrice().GetCurrency()
	out := &typev1.Agreement{
		Price:      MoneyOf(a.GetPrice()),
		ParcelLevy: levy(currency, a.GetParcelLevy()),
		SaleLevy:   levy(currency, a.GetSaleLevy()),
		CostKinds:  a.GetCostKinds(),
		Title:      typev1.Title(a.GetTitle()), PaymentDays: a.GetPaymentDays(),
	}
	for _, t := range a.GetTiers() {
		switch form := t.GetForm().(type) {
		case *parcelv1.Tier_Recoup:
			out.Tiers = append(out.Tiers, &typev1.Tier{Form: &typev1.Tier_Recoup{Recoup: recoup(currency, form.Recoup)}})
		case *parcelv1.Tier_Split:
			out.Tiers = append(out.Tiers, &typev1.Tier{Form: &typev1.Tier_Split{Split: split(currency, form.Split)}})
		}
	}
	return out
}

func levy(currency string, l *parcelv1.Levy) *typev1.Levy {
	if l == nil {
		return nil
	}
	out := &typev1.Levy{BasisPoints: l.GetBasisPoints(), BorneBy: l.GetBorneBy()}
	if l.GetFloorMinor() != 0 {
		out.Floor = Money(currency, l.GetFloorMinor())
	}
	if l.CapMinor != nil {
		out.Cap = Money(currency, l.GetCapMinor())
	}
	return out
}

func recoup(currency string, r *parcelv1.Recoup) *typev1.Recoup {
	out := &typev1.Recoup{Party: r.GetParty(), Label: r.GetLabel()}
	switch t := r.GetTarget().(type) {
	case *parcelv1.Recoup_AmountMinor:
		out.Target = &typev1.Recoup_Amount{Amount: Money(currency, t.AmountMinor)}
	case *parcelv1.Recoup_PriceMultiple:
		out.Target = &typev1.Recoup_PriceMultiple{PriceMultiple: &typev1.Fraction{
			Numerator: t.PriceMultiple.GetNumerator(), Denominator: t.PriceMultiple.GetDenominator(),
		}}
	case *parcelv1.Recoup_Costs:
		out.Target = &typev1.Recoup_Costs{Costs: &typev1.CostKinds{Kinds: t.Costs.GetKinds()}}
	}
	return out
}

func split(currency string, s *parcelv1.Split) *typev1.Split {
	out := &typev1.Split{}
	for _, r := range s.GetRatios() {
		out.Ratios = append(out.Ratios, &typev1.Ratio{Party: r.GetParty(), Weight: r.GetWeight()})
	}
	if s.CeilingMinor != nil {
		out.Ceiling = Money(currency, s.GetCeilingMinor())
	}
	return out
}

// ReadAgreement reads an agreement at field of the request. Money that can't be read
// is noted; whether the agreement can be computed is the domain's to say.
func ReadAgreement(broken *rule.All, field string, a *typev1.Agreement) *parcelv1.Agreement {
	r := agreementReader{broken, a.GetPrice().GetCurrencyCode()}
	out := &parcelv1.Agreement{
		Price:      Amount(broken, field+".price", a.GetPrice()),
		ParcelLevy: r.levy(field+".parcel_levy", a.GetParcelLevy()),
		SaleLevy:   r.levy(field+".sale_levy", a.GetSaleLevy()),
		CostKinds:  a.GetCostKinds(),
		Title:      parcelv1.Title(a.GetTitle()), PaymentDays: a.GetPaymentDays(),
	}
	for i, t := range a.GetTiers() {
		at := fmt.Sprintf("%s.tiers[%d]", field, i)
		tier := &parcelv1.Tier{}
		switch form := t.GetForm().(type) {
		case *typev1.Tier_Recoup:
			tier.Form = &parcelv1.Tier_Recoup{Recoup: r.recoup(at+".recoup", form.Recoup)}
		case *typev1.Tier_Split:
			tier.Form = &parcelv1.Tier_Split{Split: r.split(at+".split", form.Split)}
		}
		out.Tiers = append(out.Tiers, tier)
	}
	return out
}

type agreementReader struct {
	broken   *rule.All
	currency string
}

func (r agreementReader) minor(field string, m *money.Money) int64 {
	return minor(r.broken, field, r.currency, m)
}

func (r agreementReader) limit(field string, m *money.Money) *int64 {
	if m == nil {
		return nil
	}
	limit := r.minor(field, m)
	return &limit
}

func (r agreementReader) levy(field string, l *typev1.Levy) *parcelv1.Levy {
	if l == nil {
		return nil
	}
	return &parcelv1.Levy{
		BasisPoints: l.GetBasisPoints(), BorneBy: l.GetBorneBy(),
		FloorMinor: r.minor(field+".floor", l.GetFloor()), CapMinor: r.limit(field+".cap", l.GetCap()),
	}
}

func (r agreementReader) recoup(field string, in *typev1.Recoup) *parcelv1.Recoup {
	out := &parcelv1.Recoup{Party: in.GetParty(), Label: in.GetLabel()}
	switch t := in.GetTarget().(type) {
	case *typev1.Recoup_Amount:
		out.Target = &parcelv1.Recoup_AmountMinor{AmountMinor: r.minor(field+".amount", t.Amount)}
	case *typev1.Recoup_PriceMultiple:
		out.Target = &parcelv1.Recoup_PriceMultiple{PriceMultiple: &parcelv1.Fraction{
			Numerator: t.PriceMultiple.GetNumerator(), Denominator: t.PriceMultiple.GetDenominator(),
		}}
	case *typev1.Recoup_Costs:
		out.Target = &parcelv1.Recoup_Costs{Costs: &parcelv1.CostKinds{Kinds: t.Costs.GetKinds()}}
	}
	return out
}

func (r agreementReader) split(field string, in *typev1.Split) *parcelv1.Split {
	out := &parcelv1.Split{CeilingMinor: r.limit(field+".ceiling", in.GetCeiling())}
	for _, ratio := range in.GetRatios() {
		out.Ratios = append(out.Ratios, &parcelv1.Ratio{Party: ratio.GetParty(), Weight: ratio.GetWeight()})
	}
	return out
}
