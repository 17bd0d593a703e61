// Package amount reads and writes amounts of money as people type them, "1480.00 AUD", in the form that the API carries.
package amount

import (
	"fmt"
	"strings"

	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/wire"
)

// Parse reads "1480.00 AUD". The error is a *money.Error.
func Parse(text string) (*gmoney.Money, error) {
	number, code, ok := strings.Cut(strings.TrimSpace(text), " ")
	if !ok {
		return nil, &money.Error{Text: text, Problem: "write amount and currency, such as 1480.00 AUD"}
	}
	code = strings.TrimSpace(code)
	minor, err := money.Parse(number, code)
	if err != nil {
		return nil, err
	}
	return wire.Money(code, minor), nil
}

// Text writes an amount with its decimals and currency: "1480.00 AUD". What can't be written is shown as it came: a
// screen is no place to lose an amount.
func Text(m *gmoney.Money) string {
	if m == nil {
		return ""
	}
	minor, err := Minor(m)
	if err != nil {
		return fmt.Sprintf("%d.%09d %s", m.GetUnits(), m.GetNanos(), m.GetCurrencyCode())
	}
	return wire.Text(m.GetCurrencyCode(), minor)
}

// Minor is the API's amount in minor units; what the currency has no unit for is refused. The error is a rule.All.
func Minor(m *gmoney.Money) (int64, error) {
	var broken rule.All
	a := wire.Amount(&broken, "amount", m)
	return a.GetMinor(), broken.Err()
}
