package measure_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"seamshare.example/services/domain/measure"
)

func TestParseMass(t *testing.T) {
	for text, want := range map[string]measure.Mass{
		"34.20 g": 34_200_000, "34.2g": 34_200_000, "  34.20\u00a0g ": 34_200_000, "0 g": 0, "0.608 grams": 608_000,
		"3.04 ct": 608_000, "3.04ct": 608_000, "1 carat": 200_000, "0.005 ct": 1_000, "304 points": 608_000,
		"608 mg": 608_000, "608000 µg": 608_000, "608000 μg": 608_000, "1.5 kg": 1_500_000_000,
		"12.5 ozt": 388_793_460, "12.5 oz t": 388_793_460, "12.5  troy   oz": 388_793_460,
		"1 oz av":     28_349_523,  // and 0.125 µg: down
		"4 oz av":     113_398_093, // and 0.5 µg: half up, from …092.5
		"5 gr":        323_995,     // and 0.55 µg: up, from 323 994.55
		"1 dwt":       1_555_174,   // from 1 555 173.84
		"1 lb av":     453_592_370,
		"0.0000005 g": 1, "0.00000049 g": 0, "1000000000 g": measure.MaxMass,
	} {
		t.Run(text, func(t *testing.T) {
			got, err := measure.ParseMass(text)
			if err != nil || got != want {
				t.Errorf("read as %d µg (%v), want %d", got, err, want)
			}
		})
	}
}

func TestParseMassRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"1 oz": "9.7 % apart", "1 OZ": "9.7 % apart", "12.5 ounces": "9.7 % apart", "1 lb": "write lb av",
		"": "empty", "  ": "empty", "34.20": "unit is missing", "g": "doesn't begin with a number", "NaN g": "doesn't begin", "Inf g": "doesn't begin",
		"-1 g": "no sign", "+1 g": "no sign", "−1 g": "no sign", "1,5 g": "comma", "1,000 g": "comma", "1.2.3 g": "two decimal points",
		".5 g": "both sides", "5. g": "both sides", "1e3 g": "powers of ten", "1E-3g": "powers of ten", "1 2 g": "more than one number", "0x10 g": "more than one number",
		"1/2 g": "more than one number", "1 stone": "not a unit", "1 mm": "not a unit", "1 G": "small letters", "٣ g": "doesn't begin",
		"1000000000.000001 g": "above", "99999999999999999999999 kg": "above", "=1+1 g": "doesn't begin",
		strings.Repeat("9", 100) + " g": "longer than",
	} {
		t.Run("refused: "+text, func(t *testing.T) {
			got, err := measure.ParseMass(text)
			var wrong *measure.ParseError
			if !errors.As(err, &wrong) || !strings.Contains(err.Error(), says) || got != 0 {
				t.Errorf("read as %d, %v; want it to say %q", got, err, says)
			}
		})
	}
}

func TestParseLength(t *testing.T) {
	for text, want := range map[string]measure.Length{
		"12.5 mm": 12_500, "1.29cm": 12_900, "600 µm": 600, "1 in": 25_400, "0.025 inch": 635, `0.032 "`: 813, "0.0125 mm": 13, "0 mm": 0,
	} {
		t.Run(text, func(t *testing.T) {
			if got := length(t, text); got != want {
				t.Errorf("read as %d µm, want %d", got, want)
			}
		})
	}
	for text, says := range map[string]string{
		"12.5": "unit is missing", "-1 mm": "no sign", "1 g": "not a unit", "1,5 mm": "comma", "1000000.001 mm": "above", "1 MM": "small letters", "1 m": "not a unit",
	} {
		t.Run("refused: "+text, func(t *testing.T) {
			_, err := measure.ParseLength(text)
			var wrong *measure.ParseError
			if !errors.As(err, &wrong) || !strings.Contains(err.Error(), says) {
				t.Errorf("%v; want it to say %q", err, says)
			}
		})
	}
}

func TestFormat(t *testing.T) {
	for name, c := range map[string]struct{ got, want string }{
		"grams are exact":                {measure.Mass(34_200_001).String(), "34.200001 g"},
		"grams as the scale shows them":  {measure.Mass(34_200_000).OnScale(10_000), "34.20 g"},
		"more than the scale shows":      {measure.Mass(34_205_000).OnScale(10_000), "34.205 g"},
		"a scale of whole grams":         {measure.Mass(34_000_000).OnScale(1_000_000), "34 g"},
		"carats are rounded down":        {measure.Mass(609_999).Carats(), "3.04 ct"},
		"carats below one":               {measure.Mass(140_000).Carats(), "0.70 ct"},
		"a negative difference downward": {measure.Mass(-1).Carats(), "-0.01 ct"},
		"grams and carats side by side":  {measure.Mass(608_000).GramsAndCarats(), "0.608 g (3.04 ct)"},
		"nothing":                        {measure.Mass(0).GramsAndCarats(), "0 g (0.00 ct)"},
		"the smallest int64":             {measure.Mass(math.MinInt64).String(), "-9223372036854.775808 g"},
		"millimetres":                    {measure.Length(12_500).String(), "12.5 mm"},
		"millimetres with decimals":      {measure.Length(12_000).Millimetres(2), "12.00 mm"},
	} {
		t.Run(name, func(t *testing.T) {
			if c.got != c.want {
				t.Errorf("written %q, want %q", c.got, c.want)
			}
		})
	}
}

func TestParseDivision(t *testing.T) {
	for text, want := range map[string]measure.Mass{"0.01 g": 10_000, "0.01 ct": 2_000, "1 mg": 1_000} {
		if got, err := measure.ParseDivision(text); err != nil || got != want {
			t.Errorf("%s is %d (%v), want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"0 g", "0.0000001 g", "oz", "1 oz"} {
		if got, err := measure.ParseDivision(text); err == nil {
			t.Errorf("%s was read as %d", text, got)
		}
	}
}

// The demo's first listing: the miner typed 186.26 g, the six pieces add up to 185.76 g.
func TestCheckBalanceOfTheDemosParcel(t *testing.T) {
	const division = 10_000
	on := func(m measure.Mass) measure.Weighing { return measure.Weighing{Mass: m, Division: division} }
	pieces := []measure.Weighing{on(34_200_000), on(30_850_000), on(12_060_000), on(8_950_000), on(11_300_000), on(88_400_000)}
	t.Run("refused: pieces don't add up", func(t *testing.T) {
		err := measure.CheckBalance(pieces, on(186_260_000))
		var off *measure.Unbalanced
		if !errors.As(err, &off) || off.Sum != 185_760_000 || off.Apart() != 500_000 || off.Tolerance != 35_000 {
			t.Fatalf("%v", err)
		}
		want := "the 6 lines add up to 185.76 g but the total says 186.26 g: 0.50 g apart, where 0.035 g is allowed (half a division for each of 7 weighings); weigh again and correct a line or the total"
		if err.Error() != want {
			t.Errorf("it says %q, want %q", err, want)
		}
	})
	for name, total := range map[string]measure.Mass{"exact": 185_760_000, "just within, above": 185_795_000, "just within, below": 185_725_000} {
		t.Run("OK: "+name, func(t *testing.T) {
			if err := measure.CheckBalance(pieces, on(total)); err != nil {
				t.Error(err)
			}
		})
	}
	for name, total := range map[string]measure.Mass{"above": 185_795_001, "below": 185_724_999} {
		t.Run("refused: just "+name, func(t *testing.T) {
			if err := measure.CheckBalance(pieces, on(total)); err == nil {
				t.Error("accepted")
			}
		})
	}
}

func TestCheckBalanceRefusesWhatIsNoWeighing(t *testing.T) {
	one := func(m measure.Mass) measure.Weighing { return measure.Weighing{Mass: m, Division: 1} }
	for field, check := range map[string]func() error{
		"total.division":    func() error { return measure.CheckBalance(nil, measure.Weighing{}) },
		"total":             func() error { return measure.CheckBalance(nil, one(-1)) },
		"lines[0].division": func() error { return measure.CheckBalance([]measure.Weighing{{Mass: 1}}, one(0)) },
		"lines[1]":          func() error { return measure.CheckBalance([]measure.Weighing{one(1), one(-1)}, one(0)) },
		"lines[2]": func() error {
			return measure.CheckBalance([]measure.Weighing{one(1), one(measure.MaxMass - 1), one(1)}, one(0))
		},
		"lines[0]": func() error { return measure.CheckBalance([]measure.Weighing{one(math.MaxInt64)}, one(0)) },
	} {
		t.Run("refused: "+field, func(t *testing.T) {
			var wrong *measure.LineError
			if err := check(); !errors.As(err, &wrong) || wrong.Field != field {
				t.Errorf("got %v", err)
			}
		})
	}
}

// However each weighing was rounded to the scale, honest ones balance.
func TestHonestWeighingsBalance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		division := rapid.SampledFrom([]measure.Mass{1, 7, 2_000, 10_000, 100_000})
		weigh := func(m, division measure.Mass) measure.Weighing {
			return measure.Weighing{Mass: (m + division/2) / division * division, Division: division}
		}
		var lines []measure.Weighing
		var exact measure.Mass
		for _, m := range rapid.SliceOf(rapid.Int64Range(0, 500_000_000)).Draw(t, "masses") {
			lines = append(lines, weigh(measure.Mass(m), division.Draw(t, "division")))
			exact += measure.Mass(m)
		}
		if err := measure.CheckBalance(lines, weigh(exact, division.Draw(t, "division of the total"))); err != nil {
			t.Error(err)
		}
	})
}
