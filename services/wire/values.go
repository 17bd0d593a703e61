// Package wire turns what is stored into what the API shows, and requests into what
// the domain decides on. Nothing here decides; what can't be read is noted as a
// violation with the field's path in the request.
//
// Enums of events and API agree number by number (a test over the descriptors holds
// them to it), so they convert by number.
package wire

import (
	"fmt"

	"google.golang.org/genproto/googleapis/type/money"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	domainmoney "seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"
)

const nanos = 1_000_000_000

// Money shows an amount.
func Money(currency string, minor int64) *money.Money {
	per := perUnit(currency)
	return &money.Money{CurrencyCode: currency, Units: minor / per, Nanos: int32(minor % per * (nanos / per))}
}

// MoneyOf shows a stored amount; nil for none.
func MoneyOf(a *eventv1.Amount) *money.Money {
	if a == nil {
		return nil
	}
	return Money(a.GetCurrency(), a.GetMinor())
}

// Text is an amount in words: "1480.00 AUD".
func Text(currency string, minor int64) string {
	return rule.Money(&eventv1.Amount{Currency: currency, Minor: minor})
}

// perUnit is how many minor units make one unit. Stored currencies are known ones.
func perUnit(currency string) int64 {
	digits, err := domainmoney.Digits(currency)
	if err != nil {
		return 1
	}
	per := int64(1)
	for range digits {
		per *= 10
	}
	return per
}

// Amount reads an amount; nil for none or for one that can't be read, which is noted.
// What the currency has no unit for is refused, never rounded.
func Amount(broken *rule.All, field string, m *money.Money) *eventv1.Amount {
	if m == nil {
		return nil
	}
	if _, err := domainmoney.Digits(m.GetCurrencyCode()); err != nil {
		broken.Add(rule.Broken{
			Reason: rule.CurrencyUnknown, Field: field + ".currency_code", Value: fmt.Sprintf("%q", m.GetCurrencyCode()),
			Rule: "it must be a currency of ISO 4217", Hint: "give three capital letters, as AUD",
		})
		return nil
	}
	per := perUnit(m.GetCurrencyCode())
	refuse := func(what, hint string) *eventv1.Amount {
		broken.Add(rule.Broken{
			Reason: rule.AmountInvalid, Field: field, Value: fmt.Sprintf("%d units and %d nanos", m.GetUnits(), m.GetNanos()),
			Rule: what, Hint: hint,
		})
		return nil
	}
	switch u, n := m.GetUnits(), int64(m.GetNanos()); {
	case n <= -nanos || n >= nanos || u > 0 && n < 0 || u < 0 && n > 0:
		return refuse("nanos lie between -999999999 and 999999999 and have the sign of units", "write 1.75 as units 1 and nanos 750000000")
	case n%(nanos/per) != 0:
		return refuse(fmt.Sprintf("%s has %d minor units in one, and nothing smaller", m.GetCurrencyCode(), per), "round it to what can be paid")
	case u > domainmoney.Max/per || u < -domainmoney.Max/per:
		return refuse(fmt.Sprintf("an amount is at most %d minor units", int64(domainmoney.Max)), "check the number of zeros")
	default:
		return &eventv1.Amount{Currency: m.GetCurrencyCode(), Minor: u*per + n/(nanos/per)}
	}
}

// minor reads an amount that has to be in the agreement's currency.
func minor(broken *rule.All, field, currency string, m *money.Money) int64 {
	a := Amount(broken, field, m)
	if a != nil {
		broken.Currency(field, a, currency)
	}
	return a.GetMinor()
}

// Weighing shows a weighing.
func Weighing(w *eventv1.Weighing) *typev1.Weighing {
	if w == nil {
		return nil
	}
	return &typev1.Weighing{MassUg: w.GetMassUg(), DivisionUg: w.GetDivisionUg()}
}

// ReadWeighing reads a weighing.
func ReadWeighing(w *typev1.Weighing) *eventv1.Weighing {
	if w == nil {
		return nil
	}
	return &eventv1.Weighing{MassUg: w.GetMassUg(), DivisionUg: w.GetDivisionUg()}
}

// Size shows a size.
func Size(s *eventv1.Size) *typev1.Size {
	if s == nil {
		return nil
	}
	return &typev1.Size{LengthUm: s.GetLengthUm(), WidthUm: s.GetWidthUm(), DepthUm: s.GetDepthUm()}
}

// ReadSize reads a size.
func ReadSize(s *typev1.Size) *eventv1.Size {
	if s == nil {
		return nil
	}
	return &eventv1.Size{LengthUm: s.GetLengthUm(), WidthUm: s.GetWidthUm(), DepthUm: s.GetDepthUm()}
}
