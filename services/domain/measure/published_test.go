package measure_test

import (
	"encoding/csv"
	"math/big"
	"os"
	"strings"
	"testing"

	"seamshare.example/services/domain/measure"
)

func rows(t *testing.T, file string) [][]string {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[1:]
}

func rat(t *testing.T, text string) *big.Rat {
	t.Helper()
	x, ok := new(big.Rat).SetString(text)
	if !ok {
		t.Fatalf("%q is not a fraction", text)
	}
	return x
}

func per(x, y *big.Rat) *big.Rat { return new(big.Rat).Quo(x, y) }

func TestFactorsAsPublished(t *testing.T) {
	units := map[string]measure.MassUnit{
		"carat_metric": measure.Carat, "gram": measure.Gram, "grain": measure.Grain, "pennyweight": measure.Pennyweight,
		"ounce_troy": measure.OunceTroy, "ounce_avoirdupois": measure.OunceAvoirdupois, "pound_avoirdupois": measure.PoundAvoirdupois,
	}
	seen := 0
	for _, row := range rows(t, "testdata/units.csv") {
		name, want := row[0], rat(t, row[3])
		var got *big.Rat
		switch u, ok := units[name]; {
		case ok:
			got = per(u.Micrograms(), measure.Gram.Micrograms())
		case name == "inch":
			got = per(measure.Inch.Micrometres(), measure.Millimetre.Micrometres())
		case name == "point":
			got = per(measure.Point.Micrograms(), measure.Carat.Micrograms())
		default:
			t.Errorf("%s is in the file but not here", name)
			continue
		}
		seen++
		if got.Cmp(want) != 0 {
			t.Errorf("%s is %s %s, published %s", name, got, row[1], want)
		}
	}
	if seen != len(units)+2 {
		t.Errorf("%d units seen", seen)
	}
}

func TestConversionsAsWorkedOut(t *testing.T) {
	g, ct, ozt, ozav, mm := measure.Gram.Micrograms(), measure.Carat.Micrograms(), measure.OunceTroy.Micrograms(), measure.OunceAvoirdupois.Micrograms(), measure.Millimetre.Micrometres()
	times := func(number string, unit *big.Rat) *big.Rat { return new(big.Rat).Mul(rat(t, number), unit) }
	// typed goes through reading, so it stands only where the result is whole micrograms.
	typed := func(text string) measure.Mass {
		m, err := measure.ParseMass(text)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	got := map[string]*big.Rat{
		"1 oz troy in g":                      per(ozt, g),
		"1 oz avoirdupois in g":               per(ozav, g),
		"1 oz troy in ct":                     per(ozt, ct),
		"1 oz avoirdupois in ct":              per(ozav, ct),
		"oz troy / oz avoirdupois":            per(ozt, ozav),
		"difference of the two ounces in g":   per(new(big.Rat).Sub(ozt, ozav), g),
		"100 g in ct":                         typed("100 g").In(measure.Carat),
		"100 g in oz troy":                    typed("100 g").In(measure.OunceTroy),
		"100 g in oz avoirdupois":             typed("100 g").In(measure.OunceAvoirdupois),
		"12.5 oz troy in g":                   typed("12.5 oz troy").In(measure.Gram),
		"12.5 oz troy in ct":                  typed("12.5 ozt").In(measure.Carat),
		"7.44 ct in g":                        typed("7.44 ct").In(measure.Gram),
		"0.025 inch in mm":                    length(t, "0.025 inch").In(measure.Millimetre),
		"0.032 inch in mm":                    per(times("0.032", measure.Inch.Micrometres()), mm),
		"0.012 inch in mm":                    per(times("0.012", measure.Inch.Micrometres()), mm),
		"price 450 per oz troy, per ct":       new(big.Rat).Mul(rat(t, "450"), per(ct, ozt)),
		"price 450 per oz troy, per g":        new(big.Rat).Mul(rat(t, "450"), per(g, ozt)),
		"price 450 per oz avoirdupois, per g": new(big.Rat).Mul(rat(t, "450"), per(g, ozav)),
	}
	seen := 0
	for _, row := range rows(t, "testdata/unit_checks.csv") {
		seen++
		x, ok := got[row[0]]
		if !ok {
			t.Errorf("%s is in the file but not here", row[0])
			continue
		}
		if x.Cmp(rat(t, row[1])) != 0 || !strings.HasPrefix(x.FloatString(12), row[2][:len(row[2])-1]) {
			t.Errorf("%s is %s, worked out %s (%s)", row[0], x, row[1], row[2])
		}
	}
	if seen != len(got) {
		t.Errorf("%d of %d seen", seen, len(got))
	}
}

func length(t *testing.T, text string) measure.Length {
	t.Helper()
	l, err := measure.ParseLength(text)
	if err != nil {
		t.Fatal(err)
	}
	return l
}
