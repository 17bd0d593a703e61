package share

import "fmt"

// maxBasisPoints is the whole price.
const maxBasisPoints = 10_000

// LevyRule says what the co-op keeps of one sale. The zero value is no levy.
type LevyRule struct {
	BasisPoints int64 // of the price, ten thousandths
	Floor       int64 // at least this, but never more than the price
	Cap         Limit // at most this
	BorneBy     string
}

// AmountError is an amount that can't enter a computation.
type AmountError struct {
	Field string
	Value int64
	Rule  string
}

func (e *AmountError) Error() string {
	return fmt.Sprintf("%s is %d: %s", e.Field, e.Value, e.Rule)
}

// amountRule is the rule that most amounts stand under.
var amountRule = fmt.Sprintf("it must be between 0 and %d minor units", int64(MaxAmount))

func checkAmount(field string, value int64) error {
	if value < 0 || value > MaxAmount {
		return &AmountError{field, value, amountRule}
	}
	return nil
}

// Due is the levy on a sale at price:
// min(price, max(floor, min(cap, ⌊price × basis points / 10 000⌋))). The error is an
// *AmountError, or Violations of the rule itself.
func (l LevyRule) Due(price int64) (int64, error) {
	if v := l.violations("levy"); len(v) > 0 {
		return 0, v
	}
	if err := checkAmount("price", price); err != nil {
		return 0, err
	}
	due, _, _ := mulDiv(price, l.BasisPoints, maxBasisPoints)
	if l.Cap.Set {
		due = min(due, l.Cap.Amount)
	}
	return min(price, max(l.Floor, due)), nil
}

// OfPayment is the levy on the part of a sale at price that has been paid so far:
// ⌊due × paid / price⌋. It is cumulative: what one payment adds is the difference to
// the payments before it, and it never exceeds what was paid. Errors
// as from Due.
func (l LevyRule) OfPayment(price, paid int64) (int64, error) {
	due, err := l.Due(price)
	if err != nil {
		return 0, err
	}
	if err := checkAmount("paid", paid); err != nil {
		return 0, err
	}
	if paid > price {
		return 0, &AmountError{"paid", paid, fmt.Sprintf(
			"it is above the price of %d; hold the rest as the payer's money", price)}
	}
	if paid == price { // also keeps a price of 0 away from the division
		return due, nil
	}
	part, _, _ := mulDiv(due, paid, price)
	return part, nil
}
