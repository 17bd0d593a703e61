package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

// mm is a length without its unit.
func mm(um int64) string { return strings.TrimSuffix(measure.Length(um).String(), " mm") }

// mm2 is an area in square millimetres, to the tenth.
func mm2(um2 int64) string {
	tenths := (um2 + 50_000) / 100_000
	return fmt.Sprintf("%d.%d", tenths/10, tenths%10)
}

// hundredths is basis points as a percentage to the tenth.
func hundredths(bp int64) string {
	sign := ""
	if bp < 0 {
		sign, bp = "-", -bp
	}
	tenths := (bp + 5) / 10
	if tenths == 0 {
		sign = ""
	}
	return fmt.Sprintf("%s%d.%d %%", sign, tenths/10, tenths%10)
}

// offScale is how far a drawing is off.
func offScale(bp int64) string {
	if bp < 0 {
		return hundredths(-bp) + " less than the scale says"
	}
	return hundredths(bp) + " more than the scale says"
}

// millionths is a chance, to the tenth of a percent, but never shown as sure where it isn't.
func millionths(ppm int64) string {
	switch {
	case ppm > 0 && ppm < 500:
		return "< 0.1 %"
	case ppm < 1_000_000 && ppm > 999_500:
		return "> 99.9 %"
	}
	return hundredths((ppm + 50) / 100)
}

// rounded is an estimated mass to the nearest division of a scale.
func rounded(ug, division int64) measure.Mass {
	return measure.Mass((ug + division/2) / division * division)
}

// estimated is an estimated mass to the milligram, and in carats.
func estimated(ug int64) string {
	return rounded(ug, 1_000).OnScale(1_000) + " (" + measure.Mass(ug).Carats() + ")"
}

// hours is bench time from thousandths of minutes.
func hours(milli int64) string {
	n := (milli + 500) / 1000
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}

// printCutResults sets plans side by side, in the order in which the cutter wrote them.
func printCutResults(w io.Writer, results []*typev1.CutResult) error {
	t := table.New(wrapped("plan"), right("stones"), right("ct"), right("face mm²"), right("hours"), right("expected"), right("spread"), right("nothing"), right("an hour"))
	for _, r := range results {
		name := r.GetPlanName()
		if r.GetInfeasible() {
			name += " (can't be made)"
		}
		m, n := r.GetMoney(), r.GetTotals()
		t.Row(name, fmt.Sprint(n.GetStones()), n.GetCarat(), mm2(n.GetFaceUm2()), hours(m.GetMinutesMilli()), bare(amount.Text(m.GetExpected())), bare(amount.Text(m.GetSpread())),
			millionths(m.GetNothingPpm()), bare(amount.Text(m.GetPerHour())))
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	looks := ""
	if slices.ContainsFunc(results, func(r *typev1.CutResult) bool { return len(r.GetTrunk().GetLooks()) > 0 }) {
		looks = " and each look has its likeliest outcome"
	}
	sayLong(w, "  Stones, ct and face if all stones come out%s; hours and money on average.", looks)
	return nil
}

// broken are the rules that a plan breaks in a branch and below, each once, and on what.
func broken(b *typev1.CutBranch) (rules []string) {
	add := func(said string) {
		if !slices.Contains(rules, said) {
			rules = append(rules, said)
		}
	}
	for _, f := range b.GetFindings() {
		if !f.GetNotice() {
			add(foundOn(f) + ", " + f.GetRuleLabel())
		}
	}
	for _, l := range b.GetLooks() {
		for _, o := range l.GetOutcomes() {
			for _, said := range broken(o) {
				add(said)
			}
		}
	}
	return rules
}

// foundOn is what a finding is about.
func foundOn(f *typev1.CutFinding) string {
	if f.GetStoneLabel() != "" {
		return "stone " + f.GetStoneLabel()
	}
	return "part " + f.GetPart()
}

// printCutResult is one plan with all that comes of it.
func printCutResult(w io.Writer, r *typev1.CutResult) error {
	say(w, "Plan: %s", table.OneLine(r.GetPlanName()))
	money := "money, estimated"
	if r.GetInfeasible() {
		money = "money, if it could be made as written"
		sayLong(w, "! It can't be made as written: %s (see below, at !).", table.OneLine(strings.Join(broken(r.GetTrunk()), "; ")))
	}
	if err := printBranch(w, r.GetTrunk()); err != nil {
		return err
	}
	if err := printCutBalance(w, r); err != nil {
		return err
	}
	m := r.GetMoney()
	say(w, "")
	t := table.New(text(money), right(m.GetExpected().GetCurrencyCode()))
	for _, one := range m.GetMarkets() {
		t.Row("from "+one.GetMarket()+", before costs", bare(amount.Text(one.GetExpected())))
	}
	bench := "bench, " + hours(m.GetMinutesMilli()) + " hours"
	if len(r.GetTrunk().GetLooks()) > 0 {
		bench += " on average"
	}
	t.Row(bench, bare(amount.Text(m.GetHours())))
	t.Row("expected after levy, selling and bench", bare(amount.Text(m.GetExpected())))
	t.Row("spread (standard deviation)", bare(amount.Text(m.GetSpread())))
	t.Row("if all goes well", bare(amount.Text(m.GetBest())))
	t.Row("if all goes badly", bare(amount.Text(m.GetWorst())))
	if m.GetPerHour() != nil {
		t.Row("for each bench hour", bare(amount.Text(m.GetPerHour())))
	}
	t.Row("chance of nothing", millionths(m.GetNothingPpm()))
	_, err := t.WriteTo(w)
	return err
}

func printBranch(w io.Writer, b *typev1.CutBranch) error {
	if b.GetBranchLabel() != "" {
		say(w, "")
		say(w, "If %s (%s)", table.OneLine(b.GetBranchLabel()), hundredths(b.GetChanceBp()))
	}
	fates := map[string]*typev1.CutEnded{}
	for _, e := range b.GetEnds() {
		fates[e.GetPart()] = e
	}
	t := table.New(text("part"), text("of"), right("face mm²"), right("g"), right("ct"), wrapped("what becomes of it"))
	for _, p := range b.GetParts() {
		fate := ""
		if e, ok := fates[p.GetName()]; ok {
			fate = word(e.GetKind())
		}
		t.Row(p.GetName(), p.GetFrom(), mm2(p.GetAreaUm2()), bare(rounded(p.GetMassUg(), 10_000).OnScale(10_000)), bare(measure.Mass(p.GetMassUg()).Carats()), fate)
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	if err := printCutStones(w, b); err != nil {
		return err
	}
	for _, f := range b.GetFindings() {
		printFinding(w, f)
	}
	for _, l := range b.GetLooks() {
		for _, o := range l.GetOutcomes() {
			if err := printBranch(w, o); err != nil {
				return err
			}
		}
	}
	return nil
}

func printCutStones(w io.Writer, b *typev1.CutBranch) error {
	t, any := table.New(text("stone"), text("fits"), right("ct"), right("face mm²"), right("backing mm"), right("chance"), text("market"), right("price"), right("net")), false
	for _, e := range b.GetEnds() {
		for _, st := range e.GetStones() {
			any = true
			fits, backing := "yes", ""
			if !st.GetFits() {
				fits = "no"
			} else if st.GetColourUm() > 0 {
				backing = mm(st.GetBackingUm())
			}
			price := "no price"
			if st.GetPriced() {
				price = bare(amount.Text(st.GetWorth()))
			}
			t.Row(st.GetName(), fits, st.GetCarat(), mm2(st.GetAreaUm2()), backing, hundredths(st.GetChanceBp()), st.GetMarket(), price, bare(amount.Text(st.GetNet())))
		}
	}
	if !any {
		return nil
	}
	say(w, "")
	_, err := t.WriteTo(w)
	return err
}

// printFinding says which rule, where, and by how much.
func printFinding(w io.Writer, f *typev1.CutFinding) {
	lead := "!"
	if f.GetNotice() {
		lead = "·"
	}
	by, supposed := "", ""
	if f.GetByUm() > 0 {
		by = fmt.Sprintf(", by %s mm", mm(f.GetByUm()))
	}
	if f.GetSupposed() {
		supposed = " (only supposed)"
	}
	line := fmt.Sprintf("%s %s, %s: %s%s; in the %s at (%s, %s)%s", lead, foundOn(f), f.GetRuleLabel(), f.GetText(), supposed, word(f.GetView()), mm(f.GetPlace().GetXUm()), mm(f.GetPlace().GetYUm()), by)
	for i, part := range table.Break(table.OneLine(line), table.Width-2) {
		if i > 0 {
			part = "  " + part
		}
		say(w, "%s", part)
	}
}

// printCutBalance accounts for all of the piece's mass.
func printCutBalance(w io.Writer, r *typev1.CutResult) error {
	say(w, "")
	n := r.GetTotals()
	goes := "where the mass goes"
	if len(r.GetTrunk().GetLooks()) > 0 {
		goes = "where the mass goes, by the likeliest looks"
	}
	t := table.New(text(goes), right("grams and carats"))
	t.Row("the piece, as weighed", both(r.GetMassUg()))
	for _, one := range []struct {
		name string
		ug   int64
	}{{finishedWords(uint32(n.GetStones())), n.GetFinishedUg()}, {"kept as off-cuts", n.GetOffCutUg()}, {"back to the shelf", n.GetShelfUg()}, {"specimens", n.GetSpecimenUg()}, {"slices", n.GetSliceUg()}} {
		if one.ug > 0 {
			t.Row(one.name, estimated(one.ug))
		}
	}
	for _, l := range n.GetLosses() {
		t.Row("lost: "+word(l.GetReason()), estimated(l.GetMassUg()))
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	sayLong(w, "  %s of the mass is finished. As drawn, the piece would weigh %s, %s; masses here are scaled to the scale's.",
		hundredths(n.GetYieldBp()), estimated(r.GetModelUg()), offScale(r.GetErrorBp()))
	if r.GetLookAgain() {
		sayLong(w, "  %s", lookAgain)
	}
	return nil
}
