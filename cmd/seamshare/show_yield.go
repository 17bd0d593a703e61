package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"

	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	"seamshare.example/services/domain/measure"
)

// printYield accounts for all of a parcel's mass, and sets it beside counts, worth and hours.
func printYield(w io.Writer, y *cutterv1.Yield) error {
	t := table.New(text("where the mass is"), right("grams and carats"))
	t.Row("bought", both(y.GetBoughtUg()))
	t.Row(finishedWords(y.GetStones()), both(y.GetFinishedUg()))
	t.Row("kept as off-cuts", both(y.GetOffcutUg()))
	t.Row("uncut: untouched, in work or on the shelf", both(y.GetUncutUg()))
	if y.GetInWorkUg() > 0 {
		t.Row("  of which in work or untouched", both(y.GetInWorkUg()))
	}
	if y.GetMovedOnUg() > 0 {
		t.Row("went into new parcels and lots", both(y.GetMovedOnUg()))
	}
	t.Row("lost", both(y.GetLossUg()))
	for _, l := range y.GetLosses() {
		t.Row("  of which "+word(l.GetReason()), both(l.GetMassUg()))
	}
	t.Row("unexplained", both(y.GetUnexplainedUg()))
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	say(w, "  Unexplained is what two weighings of the same thing disagree by; it may be")
	say(w, "  up to %s.", both(y.GetToleranceUg()))
	for _, print := range []func(io.Writer, *cutterv1.Yield) error{printPartCounts, printClasses, printPlanned} {
		if err := print(w, y); err != nil {
			return err
		}
	}
	if y.GetMinutes() > 0 {
		say(w, "At the bench so far: %s.", minutes(y.GetMinutes()))
	}
	return nil
}

func printPartCounts(w io.Writer, y *cutterv1.Yield) error {
	if len(y.GetParts()) == 0 {
		return nil
	}
	say(w, "")
	t := table.New(text("parts"), right("count"), right("grams and carats"))
	for _, p := range y.GetParts() {
		t.Row(word(p.GetFate()), fmt.Sprint(p.GetCount()), both(p.GetMassUg()))
	}
	_, err := t.WriteTo(w)
	return err
}

func printClasses(w io.Writer, y *cutterv1.Yield) error {
	if len(y.GetClasses()) == 0 { // lots alone have none
		if !isZero(y.GetLotsAsked()) || !isZero(y.GetLotsSold()) {
			say(w, "Counted lots: asked %s, sold %s.", amount.Text(y.GetLotsAsked()), amount.Text(y.GetLotsSold()))
		}
		return nil
	}
	say(w, "")
	t := table.New(text("class"), right("stones"), right("grams and carats"), right("asked"), right("sold"))
	classed := len(y.GetClasses()) > 1 || y.GetClasses()[0].GetClass() != ""
	for _, c := range y.GetClasses() {
		if classed {
			t.Row(cmp.Or(c.GetClass(), "not classed"), fmt.Sprint(c.GetStones()), both(c.GetMassUg()), amount.Text(c.GetAsked()), amount.Text(c.GetSold()))
		}
	}
	if !isZero(y.GetLotsAsked()) || !isZero(y.GetLotsSold()) {
		t.Row("counted lots", "", "", amount.Text(y.GetLotsAsked()), amount.Text(y.GetLotsSold()))
	}
	t.Row("all", fmt.Sprint(y.GetStones()), both(y.GetFinishedUg()), amount.Text(y.GetAsked()), amount.Text(y.GetSold()))
	_, err := t.WriteTo(w)
	return err
}

// printPlanned sets the chosen plans beside what came out, two lines for each piece.
func printPlanned(w io.Writer, y *cutterv1.Yield) error {
	if len(y.GetPlanned()) == 0 {
		return nil
	}
	say(w, "")
	columns := []table.Column{wrapped("piece"), text(""), right("stones"), right("ct"), right("worth")}
	timed := slices.ContainsFunc(y.GetPlanned(), func(p *cutterv1.PlannedActual) bool { return p.GetPlannedMinutes()+p.GetMinutes() > 0 })
	if timed {
		columns = append(columns, right("bench"))
	}
	t := table.New(columns...)
	row := func(bench string, cells ...string) {
		if timed {
			cells = append(cells, bench)
		}
		t.Row(cells...)
	}
	for _, p := range y.GetPlanned() {
		planned := ""
		if p.GetPlannedUg() > 0 {
			planned = bareCarats(p.GetPlannedUg())
		}
		row(stated(p.GetPlannedMinutes()), p.GetLabel(), "planned", fmt.Sprint(p.GetPlannedStones()), planned, "")
		row("", "", "by chance", fmt.Sprintf("%d.%02d", p.GetExpectedBp()/10_000, p.GetExpectedBp()%10_000/100), "", amount.Text(p.GetExpectedWorth()))
		row(stated(p.GetMinutes()), "", "so far", fmt.Sprint(p.GetStones()), bareCarats(p.GetFinishedUg()), amount.Text(p.GetWorth()))
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	say(w, "  What was planned is the cutter's estimate, and no valuation.")
	return nil
}

// stated is bench time; nobody has to say it.
func stated(m uint32) string {
	if m == 0 {
		return "not stated"
	}
	return minutes(m)
}

func bareCarats(ug int64) string { return bare(measure.Mass(ug).Carats()) }

func finishedWords(stones uint32) string { return "finished, " + count(int(stones), "stone") }

func isZero(m *gmoney.Money) bool { return m.GetUnits() == 0 && m.GetNanos() == 0 }
