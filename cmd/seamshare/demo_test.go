package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The demo's answers are held to the numbers of its scenario, which were worked out by hand beside it: testdata/demo has a
// file for each of its tables, as it stands there. Nothing of the program's own reckoning is used.
func TestDemoReport(t *testing.T) {
	t.Parallel()
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
	for name, rows := range map[string]func(r demoReport) [][]string{
		"totals_aud_cents.csv":    totalsOf,
		"mass_balance_mg.csv":     massesOf,
		"parcels_aud.csv":         pricesOf,
		"shares_aud.csv":          partsOf,
		"p1_sale_by_sale_aud.csv": salesOf,
		"payouts_aud.csv":         payoutsOf,
		"stones.csv":              stonesOf,
	} {
		t.Run(name, func(t *testing.T) { asInTheScenario(t, name, rows(r)) })
	}
	t.Run("every stone has its chain", func(t *testing.T) {
		for _, s := range r.Stones {
			rising := slices.IsSorted(s.Chain) && len(slices.Compact(slices.Clone(s.Chain))) == len(s.Chain)
			if len(s.Chain) < 10 || !rising || s.Chain[len(s.Chain)-1] > r.Log.Records {
				t.Errorf("stone %+v", s)
			}
			if i := slices.IndexFunc(r.Parcels, func(p *reportParcel) bool { return p.ID == s.Parcel }); i < 0 || !strings.HasPrefix(s.Piece, r.Parcels[i].Label+"-") {
				t.Errorf("stone %s is of piece %s in parcel %s", s.Label, s.Piece, s.Parcel)
			}
		}
	})
	t.Run("tampering is refused", func(t *testing.T) {
		if !r.TamperedRejected || r.TamperedTried < 5000 {
			t.Errorf("%v of %d", r.TamperedRejected, r.TamperedTried)
		}
	})
	t.Run("a copy with another field is refused, naming where", func(t *testing.T) {
		c := r.TamperedCopy
		stone := r.Stones[slices.IndexFunc(r.Stones, func(s reportStone) bool { return s.Label == c.Stone })]
		if c.Stone != "13" || !slices.Contains(stone.Chain, c.Position) || !strings.Contains(c.ChainSays, fmt.Sprintf("position %d", c.Position)) || !strings.Contains(c.DataSays, "position") {
			t.Errorf("%+v, where the stone's chain is %v", c, stone.Chain)
		}
	})
	if len(r.Log.Root) != 64 || r.Log.Records == 0 {
		t.Errorf("the log is %+v", r.Log)
	}
}

// asInTheScenario compares rows with a table of the scenario.
func asInTheScenario(t *testing.T, name string, got [][]string) {
	t.Helper()
	file, err := os.ReadFile(filepath.Join("testdata", "demo", name))
	if err != nil {
		t.Fatal(err)
	}
	want, err := csv.NewReader(bytes.NewReader(file)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want = want[1:]
	if name == "shares_aud.csv" { // each is one amount in the books: of the sales and of the price together
		for i, row := range want {
			want[i] = append(row[:3], sumOf(t, row[3:]))
		}
	}
	if len(got) != len(want) {
		t.Errorf("%d rows, want %d", len(got), len(want))
	}
	for i := range min(len(got), len(want)) {
		if !slices.Equal(got[i], want[i]) {
			t.Errorf("row %d:\ngot  %q\nwant %q", i+1, got[i], want[i])
		}
	}
}

func sumOf(t *testing.T, amounts []string) string {
	t.Helper()
	var sum int64
	for _, a := range amounts {
		cents, err := strconv.ParseInt(strings.Replace(a, ".", "", 1), 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		sum += cents
	}
	return aud(sum)
}

// aud writes cents, and mg micrograms, as the scenario does.
func aud(cents int64) string { return fmt.Sprintf("%d.%02d", cents/100, cents%100) }

func mg(ug int64) string {
	if ug%1000 != 0 {
		return fmt.Sprintf("%d µg", ug)
	}
	return fmt.Sprint(ug / 1000)
}

func totalsOf(r demoReport) [][]string {
	var rows [][]string
	add := func(line, currency string, cents int64) {
		if currency != "AUD" {
			line += " in " + currency
		}
		rows = append(rows, []string{line, fmt.Sprint(cents)})
	}
	for _, l := range []struct {
		line string
		all  []reportAmount
	}{{"receipts", r.Receipts}, {"levies", r.Levies}, {"costs", r.Costs}} {
		for _, a := range l.all {
			add(l.line, a.Currency, a.AmountMinor)
		}
	}
	for _, s := range r.Shares {
		add("share "+s.Party+" "+s.Role, s.Currency, s.AmountMinor)
	}
	for _, a := range r.Left {
		add("left with the co-op", a.Currency, a.AmountMinor)
	}
	return rows
}

func massesOf(r demoReport) [][]string {
	var rows [][]string
	for _, p := range r.Parcels {
		lost := map[string]int64{}
		for _, l := range p.Losses {
			lost[l.Reason] += l.MassUg
		}
		row := []string{p.Label, mg(p.BoughtUg), mg(p.FinishedUg), mg(p.OffcutUg), mg(p.UncutUg), mg(p.LossUg)}
		for _, reason := range []string{"kerf", "ground off", "waste", "crack opened"} {
			row = append(row, mg(lost[reason]))
			delete(lost, reason)
		}
		for reason := range lost {
			row = append(row, reason)
		}
		rows = append(rows, append(row, mg(p.UnexplainedUg)))
	}
	return rows
}

func pricesOf(r demoReport) [][]string {
	var rows [][]string
	for _, p := range r.Parcels {
		last := p.Sales[len(p.Sales)-1]
		rows = append(rows, []string{p.Label, aud(p.PurchaseMinor), aud(p.LeviesMinor - last.LevyMinor), aud(p.SalesMinor), aud(last.LevyMinor), aud(p.CostsMinor)})
	}
	return rows
}

func partsOf(r demoReport) [][]string {
	var rows [][]string
	for _, p := range r.Parcels {
		for _, s := range p.Shares {
			rows = append(rows, []string{p.Label, s.Party, s.Role, aud(s.AmountMinor)})
		}
	}
	return rows
}

func salesOf(r demoReport) [][]string {
	var rows [][]string
	for _, s := range r.parcel("P1").Sales {
		after := strings.Join(s.Stones, "+")
		if s.Returned {
			after = "return of " + after
		}
		row := []string{after, aud(s.GrossMinor), aud(s.LevyMinor), aud(s.NetMinor)}
		for _, tier := range s.TiersMinor {
			row = append(row, aud(tier))
		}
		rows = append(rows, append(row, aud(s.of("cutter")), aud(s.of("miner"))))
	}
	return rows
}

func payoutsOf(r demoReport) [][]string {
	var rows [][]string
	for i, run := range r.Payouts {
		lines := slices.Clone(run.Lines)
		slices.SortFunc(lines, func(a, b reportPayment) int { return strings.Compare(a.Member, b.Member) })
		for _, l := range append(lines, reportPayment{Member: "total", AmountMinor: run.TotalMinor}) {
			rows = append(rows, []string{fmt.Sprint(i + 1), run.Stage, l.Member, aud(l.AmountMinor)})
		}
	}
	return rows
}

func stonesOf(r demoReport) [][]string {
	var rows [][]string
	for _, s := range r.Stones {
		rows = append(rows, []string{s.Label, s.Piece, s.Field, mg(s.MassUg), s.Carat.String(), aud(s.PriceMinor), s.Buyer, s.State})
	}
	return rows
}

// Told twice, the story is the same but for what is drawn at random: roots, keys and the bytes of the chain file.
func TestDemoTellsTheSameStory(t *testing.T) {
	t.Parallel()
	random := regexp.MustCompile(`[0-9a-f]{64}|\+[0-9a-f]{8}|[0-9]{4,5}( bytes|\nbytes| files|\nfiles)|log position [0-9]+|leaf\s[0-9]+|tree\sof\ssize\s[0-9]+`)
	pictures := t.TempDir()
	tell := func() string {
		code, out, errs := runs(t, "demo", "--pictures", pictures)
		out = strings.ReplaceAll(out, pictures, "drawn")
		if code != exitOK || errs != "" {
			t.Fatalf("ended with %d: %s", code, errs)
		}
		before, cheating, _ := strings.Cut(out, "Now somebody cheats.")
		_, after, _ := strings.Cut(cheating, "The log holds")
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
			Shares: []reportShare{{"a", "miner", "AUD", 90}},
			Parcels: []*reportParcel{{
				ID: "p", BoughtUg: 10, FinishedUg: 1, OffcutUg: 2, LossUg: 3, UncutUg: 5, UnexplainedUg: -1, ToleranceUg: 1, Losses: []reportLoss{{"kerf", 3}},
				PurchaseMinor: 40, SalesMinor: 60, LeviesMinor: 6, CostsMinor: 4, Shares: []reportShare{{"a", "miner", "AUD", 90}},
			}},
			Payouts: []reportRun{{ID: "r", TotalMinor: 90, Lines: []reportPayment{{"a", 90, "settled"}}}},
		}
	}
	if err := good().conserves(); err != nil {
		t.Errorf("a good one: %v", err)
	}
	for name, spoil := range map[string]func(r *demoReport){
		"a cent too many":              func(r *demoReport) { r.Shares[0].AmountMinor++ },
		"another currency":             func(r *demoReport) { r.Shares[0].Currency = "NZD" },
		"a cent of a parcel gone":      func(r *demoReport) { r.Parcels[0].Shares[0].AmountMinor-- },
		"a cent paid to nobody":        func(r *demoReport) { r.Payouts[0].TotalMinor++ },
		"a microgram gone":             func(r *demoReport) { r.Parcels[0].LossUg-- },
		"lost for no reason":           func(r *demoReport) { r.Parcels[0].Losses = nil },
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
