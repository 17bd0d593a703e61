// Package agreementfile reads an agreement as members write it: JSON with amounts as people type them and the tiers as
// short sentences. Help documents the form. Reading is strict: what isn't known is refused, and each error says where it
// stands ("tiers[2].up_to").
package agreementfile

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/strictjson"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/money"
	"seamshare.example/services/wire"
)

// MaxBytes is how long a file may be; real ones have less than 2 KiB.
const MaxBytes = 64 << 10

// Help is the form, for people.
const Help = `An agreement says who gets what of the money that a parcel brings. In a file it is
JSON, for example:

  {
    "price": "1600.00 AUD",
    "levies": {
      "parcel": {"rate": "3 %", "borne_by": "miner"},
      "sales":  {"rate": "6 %"}
    },
    "costs": ["freight"],
    "tiers": [
      {"pay": "coop", "until": "costs"},
      {"pay": "cutter", "until": "price"},
      {"pay": "cutter", "until": "630.00", "for": "14 h at 45.00"},
      {"share": {"cutter": 2, "miner": 1}, "up_to": "750.00"},
      {"share": {"cutter": 4, "miner": 3}}
    ]
  }

price   what the parcel costs, with its currency; "0.00 AUD" where the rough is
        placed to be cut on shares. All other amounts are in the same currency.
payment_days
        optional: how many days after the deal the price is due, such as 14.
title   optional: when the rough becomes the buyer's, "at handover" (the usual)
        or "when paid". Rough that is placed stays the miner's.
levies  what the co-op keeps: of the parcel's price, and of each stone's price.
        "rate" is a percentage with at most two decimals. Optional: "floor" and
        "cap" (amounts for one sale), "borne_by" (the party out of whose later
        shares the others get it back; without it, it comes off the top).
costs   the kinds of cost that the co-op may lay out and get back.
tiers   who is paid, in order, out of what the stones bring less the levies:
        pay … until  one party is paid until a target: "price" (the parcel's),
                     "costs" (those recorded so far; "kinds": […] for some of
                     them), or an amount. With "price" and "times": "3/2" it
                     is a multiple of the price. "for" says what it means.
        share        parties share by whole numbers; the order you write them
                     in decides who gets an odd cent first. "up_to" is the most
                     that the tier gives out; the last tier must be a share
                     without it.

A party is "miner" (the seller), "cutter" (the buyer), "coop" (only for costs), or
the id of another member.
`

// Problems is everything that is wrong at once.
type Problems = strictjson.Problems

// Parse reads a file. The error is Problems. It holds the file to its form; whether the agreement is sound (its last tier
// has no ceiling, say) is the domain's rule.
func Parse(data []byte) (*typev1.Agreement, error) {
	root, err := form.Parse(data)
	if err != nil {
		return nil, err
	}
	r := &reader{Reader: strictjson.Reader{Form: form}}
	a := r.agreement(root)
	if len(r.Problems) > 0 {
		return nil, r.Problems
	}
	return a, nil
}

// form nests deeper than any agreement does.
var form = strictjson.Form{Name: "an agreement", Help: "seamshare help agreements", MaxBytes: MaxBytes, MaxDepth: 8}

type reader struct {
	strictjson.Reader
	currency string
	costs    []string
}

func (r *reader) agreement(v strictjson.Value) *typev1.Agreement {
	o := r.Object("", v, "price", "payment_days", "title", "levies", "costs", "tiers")
	if o == nil {
		return nil
	}
	a := &typev1.Agreement{}
	if v, ok := r.Needed("", o, "price"); ok {
		a.Price = r.price(v)
	}
	if v, ok := o.Get("payment_days"); ok {
		a.PaymentDays = r.days(v)
	}
	if v, ok := o.Get("title"); ok {
		a.Title = r.title(v)
	}
	if v, ok := o.Get("levies"); ok {
		if levies := r.Object("levies", v, "parcel", "sales"); levies != nil {
			if v, ok := levies.Get("parcel"); ok {
				a.ParcelLevy = r.levy("levies.parcel", v)
			}
			if v, ok := levies.Get("sales"); ok {
				a.SaleLevy = r.levy("levies.sales", v)
			}
		}
	}
	if v, ok := o.Get("costs"); ok {
		a.CostKinds = r.words("costs", v)
		r.costs = a.CostKinds
	}
	if v, ok := r.Needed("", o, "tiers"); ok {
		list, isList := v.(strictjson.List)
		if !isList || len(list) == 0 {
			r.Add("tiers", "must be a list of at least one tier")
		}
		for i, tier := range list {
			if t := r.tier(fmt.Sprintf("tiers[%d]", i), tier); t != nil {
				a.Tiers = append(a.Tiers, t)
			}
		}
	}
	return a
}

func (r *reader) days(v strictjson.Value) uint32 {
	n, isNumber := v.(strictjson.Number)
	days, err := strconv.ParseUint(string(n), 10, 32)
	if !isNumber || err != nil || days < 1 || days > 365 {
		r.Add("payment_days", "%s is not a number of days; write a whole number from 1 to 365, without quotation marks", strictjson.Show(v))
	}
	return uint32(days)
}

func (r *reader) title(v strictjson.Value) typev1.Title {
	switch v {
	case strictjson.Text("at handover"):
		return typev1.Title_TITLE_AT_HANDOVER
	case strictjson.Text("when paid"):
		return typev1.Title_TITLE_WHEN_PAID
	}
	r.Add("title", `%s is not when rough becomes the buyer's; write "at handover" or "when paid"`, strictjson.Show(v))
	return 0
}

func (r *reader) levy(path string, v strictjson.Value) *typev1.Levy {
	o := r.Object(path, v, "rate", "floor", "cap", "borne_by")
	if o == nil {
		return nil
	}
	levy := &typev1.Levy{}
	if v, ok := r.Needed(path, o, "rate"); ok {
		levy.BasisPoints = r.rate(path+".rate", v)
	}
	if v, ok := o.Get("floor"); ok {
		levy.Floor = r.amount(path+".floor", v)
	}
	if v, ok := o.Get("cap"); ok {
		levy.Cap = r.amount(path+".cap", v)
	}
	if v, ok := o.Get("borne_by"); ok {
		levy.BorneBy = r.party(path+".borne_by", v)
	}
	return levy
}

func (r *reader) tier(path string, v strictjson.Value) *typev1.Tier {
	o := r.Object(path, v, "pay", "until", "times", "kinds", "for", "share", "up_to")
	if o == nil {
		return nil
	}
	_, pays := o.Get("pay")
	_, shares := o.Get("share")
	switch {
	case pays && shares:
		r.Add(path, `has both "pay" and "share"; make two tiers of it`)
		return nil
	case pays:
		return r.recoup(path, o)
	case shares:
		return r.split(path, o)
	}
	r.Add(path, `says neither "pay" (one party until a target) nor "share" (parties by whole numbers)`)
	return nil
}

func (r *reader) recoup(path string, o *strictjson.Object) *typev1.Tier {
	r.Without(path, o, "pay", "up_to")
	recoup := &typev1.Recoup{}
	if v, ok := o.Get("pay"); ok {
		recoup.Party = r.party(path+".pay", v)
	}
	if v, ok := o.Get("for"); ok {
		recoup.Label = r.Text(path+".for", v, 120)
	}
	until, ok := r.Needed(path, o, "until")
	if !ok {
		return nil
	}
	switch until {
	case strictjson.Text("price"):
		r.Without(path, o, `until": "price`, "kinds")
		recoup.Target = &typev1.Recoup_PriceMultiple{PriceMultiple: r.times(path, o)}
	case strictjson.Text("costs"):
		r.Without(path, o, `until": "costs`, "times")
		kinds := r.costs
		if v, ok := o.Get("kinds"); ok {
			kinds = r.words(path+".kinds", v)
		} else if len(kinds) == 0 {
			r.Add(path+".until", `is "costs", but the agreement names no kinds; write them at the top: "costs": ["freight"]`)
		}
		recoup.Target = &typev1.Recoup_Costs{Costs: &typev1.CostKinds{Kinds: kinds}}
	default:
		r.Without(path, o, `until": an amount`, "kinds", "times")
		recoup.Target = &typev1.Recoup_Amount{Amount: r.amount(path+".until", until)}
	}
	return &typev1.Tier{Form: &typev1.Tier_Recoup{Recoup: recoup}}
}

var fraction = regexp.MustCompile(`^([1-9][0-9]{0,6})(?:/([1-9][0-9]{0,6}))?$`)

func (r *reader) times(path string, o *strictjson.Object) *typev1.Fraction {
	v, ok := o.Get("times")
	if !ok {
		return &typev1.Fraction{Numerator: 1, Denominator: 1}
	}
	path += ".times"
	s, _ := v.(strictjson.Text)
	m := fraction.FindStringSubmatch(string(s))
	if m == nil {
		r.Add(path, `%s is not a multiple; write whole numbers in quotation marks, such as "3/2" or "2"`, strictjson.Show(v))
		return nil
	}
	f := &typev1.Fraction{Denominator: 1}
	f.Numerator, _ = strconv.ParseInt(m[1], 10, 64) // at most seven digits
	if m[2] != "" {
		f.Denominator, _ = strconv.ParseInt(m[2], 10, 64)
	}
	return f
}

func (r *reader) split(path string, o *strictjson.Object) *typev1.Tier {
	r.Without(path, o, "share", "until", "times", "kinds", "for")
	split := &typev1.Split{}
	v, _ := o.Get("share")
	ratios, ok := v.(*strictjson.Object)
	if !ok || len(ratios.Members) == 0 {
		r.Add(path+".share", `must name parties with whole numbers, such as {"cutter": 2, "miner": 1}`)
		return nil
	}
	for _, m := range ratios.Members {
		at := path + ".share." + m.Name
		n, isNumber := m.Value.(strictjson.Number)
		weight, err := strconv.ParseUint(string(n), 10, 32)
		if !isNumber || err != nil || weight < 1 || weight > 10_000 {
			r.Add(at, "%s is not a share; write a whole number from 1 to 10000, without quotation marks", strictjson.Show(m.Value))
			continue
		}
		split.Ratios = append(split.Ratios, &typev1.Ratio{Party: r.party(at, strictjson.Text(m.Name)), Weight: uint32(weight)})
	}
	if v, ok := o.Get("up_to"); ok {
		split.Ceiling = r.amount(path+".up_to", v)
	}
	return &typev1.Tier{Form: &typev1.Tier_Split{Split: split}}
}

// currencies and amounts

func (r *reader) price(v strictjson.Value) *gmoney.Money {
	s, ok := v.(strictjson.Text)
	typed, code, two := strings.Cut(strings.TrimSpace(string(s)), " ")
	if !ok || !two {
		r.Add("price", `%s is not a price; write amount and currency in quotation marks, such as "1600.00 AUD"`, strictjson.Show(v))
		return nil
	}
	r.currency = strings.TrimSpace(code)
	return r.read("price", typed)
}

// amount reads an amount in the price's currency; the currency may stand behind it again.
func (r *reader) amount(path string, v strictjson.Value) *gmoney.Money {
	s, ok := v.(strictjson.Text)
	if !ok {
		r.Add(path, `%s is not an amount; write it in quotation marks, such as "750.00"`, strictjson.Show(v))
		return nil
	}
	if r.currency == "" {
		return nil // the price is wrong, and that is said already
	}
	typed, code, two := strings.Cut(strings.TrimSpace(string(s)), " ")
	if code = strings.TrimSpace(code); two && code != r.currency {
		r.Add(path, "%s is in %s, but the price is in %s; an agreement has one currency", strictjson.Show(v), code, r.currency)
		return nil
	}
	return r.read(path, typed)
}

func (r *reader) read(path, typed string) *gmoney.Money {
	minor, err := money.Parse(typed, r.currency)
	if err == nil && minor < 0 {
		r.Add(path, "%q is negative; amounts of an agreement are zero or more", typed)
		return nil
	}
	if err != nil {
		r.Add(path, "%v", err)
		return nil
	}
	return wire.Money(r.currency, minor)
}

var percentage = regexp.MustCompile(`^([0-9]{1,3})(?:\.([0-9]{1,2}))? ?%$`)

// ParseRate reads a percentage, such as "6 %", as basis points. The error says what is wrong with it, without the text.
func ParseRate(text string) (points uint32, err error) {
	m := percentage.FindStringSubmatch(text)
	if m == nil {
		return 0, errors.New(`is not a rate; write a percentage with at most two decimals, such as "6 %"`)
	}
	n, _ := strconv.ParseUint(m[1]+(m[2] + "00")[:2], 10, 32) // at most five digits
	if n > 10_000 {
		return 0, errors.New("is above 100 %")
	}
	return uint32(n), nil
}

func (r *reader) rate(path string, v strictjson.Value) uint32 {
	s, _ := v.(strictjson.Text)
	points, err := ParseRate(string(s))
	if err != nil {
		r.Add(path, "%s %v", strictjson.Show(v), err)
	}
	return points
}

// party is one of the deal's parties, or the id of another member: a ULID in small letters.
var party = regexp.MustCompile(`^(miner|cutter|coop|[0-7][0-9a-hjkmnp-tv-z]{25})$`)

func (r *reader) party(path string, v strictjson.Value) string {
	s, ok := v.(strictjson.Text)
	if !ok || !party.MatchString(string(s)) {
		r.Add(path, `%s is not a party; write miner, cutter, coop or the id of another member`, strictjson.Show(v))
		return ""
	}
	return string(s)
}

func (r *reader) words(path string, v strictjson.Value) []string {
	l, ok := v.(strictjson.List)
	if !ok {
		r.Add(path, `%s is not a list of words, such as ["freight"]`, strictjson.Show(v))
		return nil
	}
	var words []string
	for i, v := range l {
		words = append(words, r.Text(fmt.Sprintf("%s[%d]", path, i), v, 60))
	}
	return words
}
