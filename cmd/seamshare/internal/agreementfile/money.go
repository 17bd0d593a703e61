package agreementfile

import (
	"fmt"
	"math"

	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/services/domain/money"
)

type typeMoney = gmoney.Money

// ToMoney is an amount in minor units as the API has it. The error is a *money.Error.
func ToMoney(minor int64, code string) (*gmoney.Money, error) {
	digits, err := money.Digits(code)
	if err != nil {
		return nil, err
	}
	one := int64(math.Pow10(digits)) // exact: at most 10^4
	return &gmoney.Money{CurrencyCode: code, Units: minor / one, Nanos: int32(minor % one * (1_000_000_000 / one))}, nil
}

// FromMoney is the API's amount in minor units; what the currency has no unit for is refused.
func FromMoney(m *gmoney.Money) (int64, error) {
	digits, err := money.Digits(m.GetCurrencyCode())
	if err != nil {
		return 0, err
	}
	one := int64(math.Pow10(digits))
	step := 1_000_000_000 / one
	nanos := int64(m.GetNanos())
	if nanos%step != 0 || nanos <= -1_000_000_000 || nanos >= 1_000_000_000 || m.GetUnits() > money.Max/one || m.GetUnits() < -money.Max/one {
		return 0, fmt.Errorf("%d units and %d nanos of %s are no amount of money", m.GetUnits(), nanos, m.GetCurrencyCode())
	}
	return m.GetUnits()*one + nanos/step, nil
}
