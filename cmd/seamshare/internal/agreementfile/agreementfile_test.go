package agreementfile_test

import (
	"errors"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/proto"

	"seamshare.example/cmd/seamshare/internal/agreementfile"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

func aud(units int64, cents int32) *money.Money {
	return &money.Money{CurrencyCode: "AUD", Units: units, Nanos: cents * 10_000_000}
}

func recoup(r *typev1.Recoup) *typev1.Tier { return &typev1.Tier{Form: &typev1.Tier_Recoup{Recoup: r}} }

func split(s *typev1.Split) *typev1.Tier { return &typev1.Tier{Form: &typev1.Tier_Split{Split: s}} }

// The example that people are shown is read as it is meant.
func TestParseTheExampleOfTheHelp(t *testing.T) {
	_, rest, _ := strings.Cut(agreementfile.Help, "for example:\n")
	example, _, _ := strings.Cut(rest, "\nprice ")
	got, err := agreementfile.Parse([]byte(example))
	if err != nil {
		t.Fatal(err)
	}
	want := &typev1.Agreement{
		Price:      aud(1600, 0),
		ParcelLevy: &typev1.Levy{BasisPoints: 300, BorneBy: "miner"},
		SaleLevy:   &typev1.Levy{BasisPoints: 600},
		CostKinds:  []string{"freight"},
		Tiers: []*typev1.Tier{
			recoup(&typev1.Recoup{Party: "coop", Target: &typev1.Recoup_Costs{Costs: &typev1.CostKinds{Kinds: []string{"freight"}}}}),
			recoup(&typev1.Recoup{Party: "cutter", Target: &typev1.Recoup_PriceMultiple{PriceMultiple: &typev1.Fraction{Numerator: 1, Denominator: 1}}}),
			recoup(&typev1.Recoup{Party: "cutter", Target: &typev1.Recoup_Amount{Amount: aud(630, 0)}, Label: "14 h at 45.00"}),
			split(&typev1.Split{Ratios: []*typev1.Ratio{{Party: "cutter", Weight: 2}, {Party: "miner", Weight: 1}}, Ceiling: aud(750, 0)}),
			split(&typev1.Split{Ratios: []*typev1.Ratio{{Party: "cutter", Weight: 4}, {Party: "miner", Weight: 3}}}),
		},
	}
	if !proto.Equal(got, want) {
		t.Errorf("read\n%v\nwant\n%v", got, want)
	}
}

func TestParseKeepsTheOrderOfParties(t *testing.T) {
	got, err := agreementfile.Parse([]byte(`{"price":"0.00 AUD","tiers":[{"share":{"miner":1,"cutter":1}}]}`))
	if err != nil || got.GetTiers()[0].GetSplit().GetRatios()[0].GetParty() != "miner" {
		t.Errorf("read %v, %v", got, err)
	}
}

func TestParseMultipleOfThePrice(t *testing.T) {
	got, err := agreementfile.Parse([]byte(`{"price":"100 JPY","levies":{"sales":{"rate":"1.25%","floor":"5","cap":"50 JPY"}},"tiers":[{"pay":"cutter","until":"price","times":"3/2"},{"share":{"cutter":1}}]}`))
	if err != nil {
		t.Fatal(err)
	}
	f := got.GetTiers()[0].GetRecoup().GetPriceMultiple()
	levy := got.GetSaleLevy()
	if f.GetNumerator() != 3 || f.GetDenominator() != 2 || levy.GetBasisPoints() != 125 || levy.GetFloor().GetUnits() != 5 || levy.GetCap().GetUnits() != 50 {
		t.Errorf("read %v", got)
	}
}

func TestParseWhenItIsPaid(t *testing.T) {
	got, err := agreementfile.Parse([]byte(`{"price":"100.00 AUD","payment_days":14,"title":"when paid","tiers":[{"share":{"cutter":1}}]}`))
	if err != nil || got.GetPaymentDays() != 14 || got.GetTitle() != typev1.Title_TITLE_WHEN_PAID {
		t.Errorf("read %v, %v", got, err)
	}
}

// Each refusal says where and why.
func TestParseRefuses(t *testing.T) {
	const tiers = `"tiers":[{"share":{"cutter":1}}]`
	for name, c := range map[string]struct{ text, says string }{
		"nothing":                   {``, "it ends too early"},
		"half a file":               {`{"price":`, "it ends too early"},
		"something behind":          {`{"price":"1 AUD",` + tiers + `} {}`, "something follows"},
		"a comment":                 {"{\n// hello\n}", "near line"},
		"a list":                    {`[]`, "a list stands where an object"},
		"a member twice":            {`{"price":"1 AUD","price":"2 AUD"}`, `"price" is there twice`},
		"too deep":                  {strings.Repeat("[", 100), "nested too deep"},
		"no UTF-8":                  {"{\"price\":\"\xff\"}", "no UTF-8"},
		"an unknown member":         {`{"price":"1 AUD","colour":"blue",` + tiers + `}`, "colour: is not known here; there are price, payment_days, title, levies, costs, tiers"},
		"an unknown member below":   {`{"price":"1 AUD","tiers":[{"share":{"cutter":1},"upto":"5"}]}`, "tiers[0].upto: is not known here"},
		"no price":                  {`{` + tiers + `}`, "price: is missing"},
		"a price without currency":  {`{"price":"1600.00",` + tiers + `}`, `price: "1600.00" is not a price`},
		"a price as a number":       {`{"price":1600.00,` + tiers + `}`, "price: 1600.00 is not a price"},
		"an unknown currency":       {`{"price":"1 AUX",` + tiers + `}`, "price: "},
		"a price below zero":        {`{"price":"-1 AUD",` + tiers + `}`, `price: "-1" is negative`},
		"a decimal comma":           {`{"price":"1600,00 AUD",` + tiers + `}`, "a comma could mean thousands"},
		"a third decimal":           {`{"price":"1.005 AUD",` + tiers + `}`, "AUD has 2 decimals"},
		"another currency":          {`{"price":"1 AUD","tiers":[{"share":{"cutter":1},"up_to":"5.00 NZD"}]}`, "tiers[0].up_to: \"5.00 NZD\" is in NZD, but the price is in AUD"},
		"a ceiling as a number":     {`{"price":"1 AUD","tiers":[{"share":{"cutter":1},"up_to":750}]}`, "tiers[0].up_to: 750 is not an amount"},
		"days as words":             {`{"price":"1 AUD","payment_days":"two weeks",` + tiers + `}`, `payment_days: "two weeks" is not a number of days`},
		"too many days":             {`{"price":"1 AUD","payment_days":366,` + tiers + `}`, "payment_days: 366 is not a number of days"},
		"a title of its own":        {`{"price":"1 AUD","title":"never",` + tiers + `}`, `title: "never" is not when rough becomes the buyer's`},
		"no tiers":                  {`{"price":"1 AUD"}`, "tiers: is missing"},
		"an empty list of tiers":    {`{"price":"1 AUD","tiers":[]}`, "tiers: must be a list"},
		"a tier of nothing":         {`{"price":"1 AUD","tiers":[{}]}`, `tiers[0]: says neither "pay"`},
		"a tier of both":            {`{"price":"1 AUD","tiers":[{"pay":"miner","share":{"cutter":1}}]}`, `tiers[0]: has both`},
		"a payment without target":  {`{"price":"1 AUD","tiers":[{"pay":"miner"}]}`, "tiers[0].until: is missing"},
		"a payment with a ceiling":  {`{"price":"1 AUD","tiers":[{"pay":"miner","until":"price","up_to":"1"}]}`, `tiers[0].up_to: doesn't go with "pay"`},
		"costs without kinds":       {`{"price":"1 AUD","tiers":[{"pay":"coop","until":"costs"}]}`, "tiers[0].until: is \"costs\", but the agreement names no kinds"},
		"an odd multiple":           {`{"price":"1 AUD","tiers":[{"pay":"miner","until":"price","times":"1.5"}]}`, "tiers[0].times: "},
		"a share in halves":         {`{"price":"1 AUD","tiers":[{"share":{"cutter":0.5}}]}`, "tiers[0].share.cutter: 0.5 is not a share"},
		"a share below zero":        {`{"price":"1 AUD","tiers":[{"share":{"cutter":-1}}]}`, "tiers[0].share.cutter: -1 is not a share"},
		"a share in quotes":         {`{"price":"1 AUD","tiers":[{"share":{"cutter":"1"}}]}`, "without quotation marks"},
		"a share of nobody":         {`{"price":"1 AUD","tiers":[{"share":{}}]}`, "tiers[0].share: must name parties"},
		"a party in capitals":       {`{"price":"1 AUD","tiers":[{"share":{"Cutter":1}}]}`, `"Cutter" is not a party`},
		"a rate without percent":    {`{"price":"1 AUD","levies":{"sales":{"rate":"6"}},` + tiers + `}`, "levies.sales.rate: \"6\" is not a rate"},
		"a rate in thousandths":     {`{"price":"1 AUD","levies":{"sales":{"rate":"6.001 %"}},` + tiers + `}`, "levies.sales.rate: "},
		"a rate above everything":   {`{"price":"1 AUD","levies":{"sales":{"rate":"101 %"}},` + tiers + `}`, "above 100 %"},
		"an unknown levy":           {`{"price":"1 AUD","levies":{"stone":{"rate":"6 %"}},` + tiers + `}`, "levies.stone: is not known here; there are parcel, sales"},
		"a file that is too long":   {strings.Repeat(" ", agreementfile.MaxBytes+1), "more than"},
		"costs that are not a list": {`{"price":"1 AUD","costs":"freight",` + tiers + `}`, "costs: \"freight\" is not a list of words"},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			got, err := agreementfile.Parse([]byte(c.text))
			var problems agreementfile.Problems
			if !errors.As(err, &problems) || got != nil {
				t.Fatalf("read %v, %v", got, err)
			}
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("said %q, want it to say %q", err, c.says)
			}
		})
	}
	t.Run("refused: everything wrong at once", func(t *testing.T) {
		_, err := agreementfile.Parse([]byte(`{"price":"1 AUD","x":1,"tiers":[{"share":{"cutter":0}},{"pay":7,"until":[]}]}`))
		var problems agreementfile.Problems
		if !errors.As(err, &problems) || len(problems) != 4 {
			t.Errorf("said %v", err)
		}
	})
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(agreementfile.Help))
	f.Add([]byte(`{"price":"1600.00 AUD","levies":{"parcel":{"rate":"3 %","borne_by":"miner"}},"costs":["freight"],"tiers":[{"pay":"coop","until":"costs"},{"share":{"cutter":2,"miner":1},"up_to":"750.00"},{"share":{"cutter":4}}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := agreementfile.Parse(data)
		var problems agreementfile.Problems
		switch {
		case err == nil && (a.GetPrice() == nil || len(a.GetTiers()) == 0):
			t.Fatalf("read %v", a)
		case err != nil && (!errors.As(err, &problems) || len(problems) == 0):
			t.Fatalf("refused with %v", err)
		}
	})
}
