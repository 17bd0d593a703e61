package main

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// The shares and masses were worked out by hand with the demo's scenario: 3 607.50 of kept sales, less 216.45 levy and
// 38.50 freight, leaves 3 352.55; 1 600.00 + 630.00 + 500.00 + 212.89 to the cutter, 250.00 + 159.66 to the miner, who also
// has the parcel's 1 600.00 less 48.00.
func TestDemoReport(t *testing.T) {
	code, out, errs := runs(t, "demo", "--json")
	if code != exitOK || errs != "" {
		t.Fatalf("ended with %d: %s", code, errs)
	}
	decoder := json.NewDecoder(strings.NewReader(out))
	decoder.DisallowUnknownFields()
	var r demoReport
	if err := decoder.Decode(&r); err != nil {
		t.Fatal(err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		t.Error("stdout is more than one document")
	}
	t.Run("to the cent", func(t *testing.T) {
		want := demoReport{
			Receipts: []reportAmount{{"AUD", 160000 + 360750}},
			Levies:   []reportAmount{{"AUD", 4800 + 21645}},
			Costs:    []reportAmount{{"AUD", 3850}},
			Shares: []reportShare{
				{"Billycart Diggings", "miner", "AUD", 40966 + 155200},
				{"Wet Wheel Workshop", "cutter", "AUD", 294289},
			},
		}
		if !slices.Equal(r.Receipts, want.Receipts) || !slices.Equal(r.Levies, want.Levies) || !slices.Equal(r.Costs, want.Costs) {
			t.Errorf("receipts %v, levies %v, costs %v", r.Receipts, r.Levies, r.Costs)
		}
		if !slices.Equal(r.Shares, want.Shares) {
			t.Errorf("shares %v", r.Shares)
		}
	})
	t.Run("to the milligram", func(t *testing.T) {
		if len(r.Parcels) != 1 {
			t.Fatalf("%d parcels", len(r.Parcels))
		}
		p := r.Parcels[0]
		want := reportParcel{p.ID, 185_760_000, 5_226_000, 2_730_000, 89_404_000, 88_400_000, 0, p.ToleranceUg}
		if p != want || p.ToleranceUg <= 0 {
			t.Errorf("accounted for %+v", p)
		}
	})
	t.Run("every stone has its chain", func(t *testing.T) {
		if len(r.Stones) != 10 {
			t.Fatalf("%d stones", len(r.Stones))
		}
		var sales int64
		for _, s := range r.Stones {
			sales += s.PriceMinor
			rising := slices.IsSorted(s.Chain) && len(slices.Compact(slices.Clone(s.Chain))) == len(s.Chain)
			if s.Field != "Ashbarrel Rise" || s.Parcel != r.Parcels[0].ID || len(s.Chain) < 8 || !rising || s.Chain[len(s.Chain)-1] > r.Log.Records {
				t.Errorf("stone %+v", s)
			}
			if returned := s.Label == "6"; returned != (s.PriceMinor == 0) || returned != (s.State == "in stock") {
				t.Errorf("stone %+v", s)
			}
		}
		if sales != 360750 {
			t.Errorf("the stones' prices add up to %d", sales)
		}
		if first := r.Stones[0]; first.Carat != "3.04" || first.PriceMinor != 74000 {
			t.Errorf("stone 1 is %+v", first)
		}
	})
	t.Run("tampering is refused", func(t *testing.T) {
		if !r.TamperedRejected || r.TamperedTried < 5000 {
			t.Errorf("%v of %d", r.TamperedRejected, r.TamperedTried)
		}
	})
	if len(r.Log.Root) != 64 || r.Log.Records == 0 {
		t.Errorf("the log is %+v", r.Log)
	}
}

// Told twice, the story is the same but for what is drawn at random: roots, keys and the bytes of the chain file.
func TestDemoTellsTheSameStory(t *testing.T) {
	random := regexp.MustCompile(`[0-9a-f]{64}|\+[0-9a-f]{8}|[0-9]{4,5}( bytes|\nbytes| files|\nfiles)|log position [0-9]+|leaf\s[0-9]+`)
	tell := func() string {
		code, out, errs := runs(t, "demo")
		if code != exitOK || errs != "" {
			t.Fatalf("ended with %d: %s", code, errs)
		}
		before, cheating, _ := strings.Cut(out, "Now somebody cheats.")
		_, after, _ := strings.Cut(cheating, "The whole of it")
		return before + random.ReplaceAllString(after, "…")
	}
	first, second := tell(), tell()
	if first != second {
		t.Errorf("told\n%s\nand then\n%s", first, second)
	}
	for line := range strings.SplitSeq(first, "\n") {
		if n := len([]rune(line)); n > 80 {
			t.Errorf("a line is %d wide: %q", n, line)
		}
	}
}

func TestDemoLeavesAFolderAlone(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "mine"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := runs(t, "demo", "--data", dir); code == exitOK || errs == "" {
		t.Errorf("ended with %d: %s", code, errs)
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 1 {
		t.Errorf("the folder holds %v (%v)", left, err)
	}
}

func TestReportThatDoesntConserve(t *testing.T) {
	good := func() *demoReport {
		return &demoReport{
			Receipts: []reportAmount{{"AUD", 100}}, Levies: []reportAmount{{"AUD", 6}}, Costs: []reportAmount{{"AUD", 4}},
			Shares:  []reportShare{{"a", "miner", "AUD", 90}},
			Parcels: []reportParcel{{"p", 10, 1, 2, 3, 5, -1, 1}},
		}
	}
	if err := good().conserves(); err != nil {
		t.Errorf("a good one: %v", err)
	}
	for name, spoil := range map[string]func(r *demoReport){
		"a cent too many":              func(r *demoReport) { r.Shares[0].AmountMinor++ },
		"another currency":             func(r *demoReport) { r.Shares[0].Currency = "NZD" },
		"a microgram gone":             func(r *demoReport) { r.Parcels[0].LossUg-- },
		"more unexplained than may be": func(r *demoReport) { r.Parcels[0].ToleranceUg = 0 },
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			r := good()
			spoil(r)
			if err := r.conserves(); err == nil || asFailure(err).Exit != exitUnverified {
				t.Errorf("said %v", err)
			}
		})
	}
}

// The demo's cheating is no show: each changed file is another one, each left-out leaf leaves a file of the right form, and
// a check that takes one of them is found out.
func TestTamper(t *testing.T) {
	leaf := func(data string) string { return "c2sp.org/tlog-proof@v1\nextra " + data + "\nindex 1\nhash\n\n" }
	file := []byte("seamshare chain v1\nsubject stone/1\nleaves 3\n\n" + leaf("a") + leaf("b") + leaf("c") + "origin\n3\nroot\n\nsigned\n\nsigned\n")
	without := map[string]bool{
		strings.Replace(strings.Replace(string(file), leaf("a"), "", 1), "leaves 3", "leaves 2", 1): true,
		strings.Replace(strings.Replace(string(file), leaf("b"), "", 1), "leaves 3", "leaves 2", 1): true,
		strings.Replace(strings.Replace(string(file), leaf("c"), "", 1), "leaves 3", "leaves 2", 1): true,
	}
	seen := map[string]bool{}
	got := tamper(file, 3, func(changed []byte) error {
		seen[string(changed)] = true
		delete(without, string(changed))
		if string(changed) == string(file) {
			t.Error("a changed file is the file itself")
		}
		return io.ErrUnexpectedEOF
	})
	if got.tried != len(file)+3 || len(seen) != got.tried || got.accepted != 0 || len(without) != 0 {
		t.Errorf("%+v, %d different, %d left-out leaves not tried", got, len(seen), len(without))
	}
	careless := tamper(file, 3, func(changed []byte) error {
		if strings.Contains(string(changed), "leaves 2\n") {
			return nil
		}
		return io.ErrUnexpectedEOF
	})
	if careless.accepted != 4 { // the three, and 3 with one bit changed is 2
		t.Errorf("a check that takes any two leaves was found out %d times", careless.accepted)
	}
}
