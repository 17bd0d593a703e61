package rule

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/money"
)

// The bounds of what is stored. They keep sums of a parcel within int64.
const (
	MaxMassUg     = 1_000_000_000_000 // a tonne
	MaxDivisionUg = 100_000_000       // 100 g
	MaxLengthUm   = 10_000_000        // 10 m
)

// NotThere is the refusal for a thing that does not exist, or not for this caller.
// Both look the same to the letter, so that nobody learns of what is not theirs.
func NotThere(field, what string) Broken {
	return Broken{
		Reason: NotFound, Field: field,
		Rule: "no " + what + " of yours has this id",
		Hint: "take the id from a list that you can see",
	}
}

// Moment is a moment as a refusal says it. The rules don't know where the co-op is, so all
// of them say universal time, and that it is.
func Moment(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }

// Weighing checks a mass and its scale's division.
func (a *All) Weighing(field string, w *eventv1.Weighing) {
	if m := w.GetMassUg(); m < 1 || m > MaxMassUg {
		a.Add(Broken{
			MassInvalid, field + ".mass_ug", fmt.Sprint(m),
			fmt.Sprintf("a mass is 1 to %d micrograms", int64(MaxMassUg)), "weigh it dry and give what the scale shows",
		})
	}
	if d := w.GetDivisionUg(); d < 1 || d > MaxDivisionUg {
		a.Add(Broken{
			MassInvalid, field + ".division_ug", fmt.Sprint(d),
			fmt.Sprintf("a scale's division is 1 to %d micrograms", int64(MaxDivisionUg)), "give the smallest step the scale shows, such as 10000 for 0.01 g",
		})
	} else if most := CoarsestDivision(w.GetMassUg()); d > most {
		a.Add(Broken{
			MassInvalid, field + ".division_ug", fmt.Sprint(d),
			fmt.Sprintf("a scale for this mass shows steps of at most %d micrograms: a hundredth of it, or 0.01 g", most), "weigh it on a finer scale",
		})
	}
}

// CoarsestDivision is the largest division of a scale that a mass may be weighed on:
// a hundredth of it, or 10 mg where that is more. What two weighings may differ by comes
// from their divisions, so a coarse scale would excuse anything.
func CoarsestDivision(massUg int64) int64 { return max(10_000, massUg/100) }

// Size checks three dimensions.
func (a *All) Size(field string, s *eventv1.Size) {
	for _, d := range []struct {
		name string
		um   int64
	}{{"length_um", s.GetLengthUm()}, {"width_um", s.GetWidthUm()}, {"depth_um", s.GetDepthUm()}} {
		if d.um < 1 || d.um > MaxLengthUm {
			a.Add(Broken{
				SizeInvalid, field + "." + d.name, fmt.Sprint(d.um),
				fmt.Sprintf("a dimension is 1 to %d micrometres", int64(MaxLengthUm)), "measure it with the caliper",
			})
		}
	}
}

// Positive checks an amount that can't be zero.
func (a *All) Positive(field string, m *eventv1.Amount) {
	if m.GetMinor() < 1 {
		a.Add(Broken{AmountInvalid, field, Money(m), "it must be more than nothing", "give the amount without tax"})
		return
	}
	a.Amount(field, m)
}

// Amount checks an amount that may be zero.
func (a *All) Amount(field string, m *eventv1.Amount) {
	if !knownCurrency(m.GetCurrency()) {
		a.Add(Broken{
			CurrencyUnknown, field + ".currency_code", fmt.Sprintf("%q", m.GetCurrency()),
			"it must be a currency of ISO 4217", "give three capital letters, as AUD",
		})
		return
	}
	if m.GetMinor() < 0 || m.GetMinor() > money.Max {
		a.Add(Broken{
			AmountInvalid, field, Money(m),
			fmt.Sprintf("an amount is 0 to %d minor units", int64(money.Max)), "give the amount without tax",
		})
	}
}

// Currency checks that an amount is in the currency that holds for all around it.
func (a *All) Currency(field string, m *eventv1.Amount, wanted string) {
	if got := m.GetCurrency(); knownCurrency(got) && got != wanted {
		a.Add(Broken{CurrencyDiffers, field + ".currency_code", got, "all money of one parcel is in one currency, here " + wanted, "give the amount in " + wanted})
	}
}

// Text checks a text that people read: something is there, it is not longer than
// most characters, and it holds no control characters.
func (a *All) Text(field, text string, most int) {
	switch n := len([]rune(text)); {
	case strings.TrimSpace(text) == "":
		a.Add(Broken{FieldInvalid, field, `""`, "it can't be empty", "say what it is called"})
	case n > most:
		a.Add(Broken{FieldInvalid, field, fmt.Sprintf("%d characters", n), fmt.Sprintf("at most %d are kept", most), "shorten it"})
	case strings.ContainsFunc(text, func(r rune) bool { return r < ' ' || r == 0x7f }):
		a.Add(Broken{FieldInvalid, field, fmt.Sprintf("%q", text), "it can't hold control characters", "write it on one line"})
	}
}

var partName = regexp.MustCompile(`^[0-9A-Za-z.'_-]{1,16}$`)

// PartName checks the name of a part; a piece's label is one too, since it names the
// piece's first part.
func (a *All) PartName(field, name string) bool {
	if partName.MatchString(name) {
		return true
	}
	a.Add(Broken{
		FieldInvalid, field, fmt.Sprintf("%q", name),
		"it names a part, with 1 to 16 of letters, digits and . ' _ -", "write it short, as 1 or 1A",
	})
	return false
}

// Answered checks a question that is always answered: number is the enum's, 0 for
// not answered.
func (a *All) Answered(field string, number int32, known map[int32]string) {
	if _, ok := known[number]; number == 0 || !ok {
		a.Add(Broken{NotAnswered, field, fmt.Sprint(number), "this is always answered", "choose one of the words offered; \"not known\" is one where that can be"})
	}
}

// Money is an amount as people write it.
func Money(m *eventv1.Amount) string {
	text, err := money.Format(m.GetMinor(), m.GetCurrency())
	if err != nil {
		return fmt.Sprintf("%d %s", m.GetMinor(), m.GetCurrency())
	}
	return text
}

func knownCurrency(code string) bool {
	_, err := money.Digits(code)
	return err == nil
}
