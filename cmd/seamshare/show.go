package main

import (
	"encoding/hex"
	"fmt"
	"io"
	"strings"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

func text(title string) table.Column    { return table.Column{Title: title} }
func wrapped(title string) table.Column { return table.Column{Title: title, Wrap: true} }
func right(title string) table.Column   { return table.Column{Title: title, Right: true} }

// grams is a weighing as its scale shows it.
func grams(w *typev1.Weighing) string {
	if w == nil {
		return ""
	}
	return measure.Mass(w.GetMassUg()).OnScale(measure.Mass(w.GetDivisionUg()))
}

// carats stand beside grams everywhere.
func carats(w *typev1.Weighing) string {
	if w == nil {
		return ""
	}
	return measure.Mass(w.GetMassUg()).Carats()
}

// bare is a mass without its unit, for columns that are named after it.
func bare(mass string) string {
	number, _, _ := strings.Cut(mass, " ")
	return number
}

// both is one mass in grams and carats.
func both(ug int64) string { return measure.Mass(ug).GramsAndCarats() }

func size(s *typev1.Size) string {
	if s == nil {
		return ""
	}
	mm := func(um int64) string { return strings.TrimSuffix(measure.Length(um).String(), " mm") }
	return fmt.Sprintf("%s × %s × %s mm", mm(s.GetLengthUm()), mm(s.GetWidthUm()), mm(s.GetDepthUm()))
}

// more says how a list goes on.
func more(w io.Writer, next string) {
	if next != "" {
		say(w, "There is more: --page %s", next)
	}
}

func printParcels(w io.Writer, parcels []*typev1.Parcel, next string) error {
	if len(parcels) == 0 {
		say(w, "No parcels.")
		return nil
	}
	t := table.New(text("parcel"), wrapped("label"), wrapped("state"), right("g"), right("ct"), right("asked"))
	for _, p := range parcels {
		t.Row(p.GetId(), p.GetLabel(), word(p.GetState()), bare(grams(p.GetTotal())), bare(carats(p.GetTotal())), amount.Text(p.GetAsking()))
	}
	_, err := t.WriteTo(w)
	more(w, next)
	return err
}

func printParcel(w io.Writer, p *typev1.Parcel) error {
	say(w, "Parcel %s (%s): %s", p.GetLabel(), p.GetId(), word(p.GetState()))
	say(w, "  total %s (%s), treatment: %s", grams(p.GetTotal()), carats(p.GetTotal()), treatmentWords(p.GetTreatment()))
	if p.GetAsking() != nil {
		open := ""
		if p.GetOpenAtAsking() {
			open = ", and the first to take it at that price gets it"
		}
		say(w, "  asked %s%s", amount.Text(p.GetAsking()), open)
	}
	for _, f := range []struct{ name, value string }{
		{"seller", p.GetSellerId()},
		{"buyer", p.GetBuyerId()},
		{"the rough is with", p.GetCustodyId()},
		{"the rough is owned by", p.GetTitleId()},
		{"paid", paidWords(p)},
		{"mined", p.GetMined()},
		{"split", p.GetSplit()},
		{"note", p.GetNote()},
		{"why", p.GetWhy()},
		{"etag", p.GetEtag()},
	} {
		if f.value != "" {
			sayLong(w, "  %s: %s", f.name, plain(f.value))
		}
	}
	printDifference(w, p.GetHandover())
	if p.GetKeptWet() {
		say(w, "  The rough is kept wet.")
	}
	t := table.New(text("piece"), right("mass"), right("carats"), right("count"))
	for _, l := range p.GetLines() {
		t.Row(l.GetPieceId(), grams(l.GetWeighing()), carats(l.GetWeighing()), fmt.Sprint(l.GetCount()))
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	if p.GetAgreement() == nil {
		return nil
	}
	say(w, "")
	return printAgreement(w, p.GetAgreement())
}

func printOffers(w io.Writer, offers []*typev1.Offer) error {
	if len(offers) == 0 {
		say(w, "No offers.")
		return nil
	}
	for _, o := range offers {
		what, from := "Offer", "from"
		if o.GetAnswersId() != "" {
			what, from = "Counter-offer", "to"
		}
		say(w, "%s %s: %s, %s", what, o.GetId(), amount.Text(o.GetAgreement().GetPrice()), word(o.GetState()))
		say(w, "  %s %s, ends %s", from, o.GetBuyerId(), o.GetEndsAt())
		say(w, "  for parcel %s", o.GetParcelId())
		if o.GetAnswersId() != "" {
			say(w, "  answers offer %s", o.GetAnswersId())
		}
		if o.GetWhy() != "" {
			sayLong(w, "  why: %s", plain(o.GetWhy()))
		}
	}
	return nil
}

func printStones(w io.Writer, stones []*typev1.Stone, next string) error {
	if len(stones) == 0 {
		say(w, "No stones.")
		return nil
	}
	t := table.New(text("stone"), wrapped("what"), text("state"), right("ct"), right("g"), right("price"))
	for _, s := range stones {
		t.Row(s.GetId(), s.GetLabel()+", "+word(s.GetOutline()), word(s.GetState()), s.GetCarat(), bare(grams(s.GetWeighing())), amount.Text(s.GetPrice()))
	}
	_, err := t.WriteTo(w)
	more(w, next)
	return err
}

func printStone(w io.Writer, s *typev1.Stone) error {
	say(w, "Stone %s (%s): %s", plain(s.GetLabel()), s.GetId(), word(s.GetState()))
	say(w, "  %s ct, %s, %s, %s", strings.TrimSuffix(s.GetCarat(), " ct"), grams(s.GetWeighing()), word(s.GetOutline()), size(s.GetSize()))
	g := s.GetGrade()
	for _, f := range []struct{ name, value string }{
		{"kind", word(s.GetKind())},
		{"treatment", treatmentWords(s.GetTreatment())},
		{"takes up water", word(s.GetHydrophane())},
		{"assembled", word(s.GetComposite())},
		{"body tone", tone(g.GetBodyTone())},
		{"transparency", word(g.GetTransparency())},
		{"pattern", word(g.GetPattern())},
		{"brightness", word(g.GetBrightness())},
		{"colours", g.GetColours()},
		{"judged under", g.GetJudgedUnder()},
		{"class", s.GetClass()},
		{"final check", checkWords(s)},
		{"photo", hex.EncodeToString(s.GetPhoto().GetSha256())},
		{"taken in", s.GetPhoto().GetLight()},
		{"remarks", s.GetRemarks()},
		{"price", amount.Text(s.GetPrice())},
		{"lot", s.GetLotId()},
		{"cut again", timesCut(s.GetRecuts())},
		{"offered as", setWords(s)},
		{"now", availability(s)},
		{"cut from part", strings.TrimSpace(s.GetPart() + " of piece " + s.GetPieceId())},
		{"parcel", s.GetParcelId()},
		{"etag", s.GetEtag()},
	} {
		if f.value != "" {
			sayLong(w, "  %s: %s", f.name, plain(f.value))
		}
	}
	return nil
}

func checkWords(s *typev1.Stone) string {
	if s.GetCheck() == typev1.CheckState_CHECK_STATE_CHECKED {
		return "made; a second person has to confirm it"
	}
	return word(s.GetCheck())
}

func timesCut(n uint32) string {
	if n == 0 {
		return ""
	}
	return count(int(n), "time") + "; papers from before the last are void"
}

func treatmentWords(t typev1.Treatment) string {
	switch t {
	case typev1.Treatment_TREATMENT_NONE_KNOWN:
		return "none known to the seller"
	case typev1.Treatment_TREATMENT_NOT_KNOWN:
		return "not known"
	}
	return word(t)
}

// sayLong prints a line, broken to the width of the screen; what follows stands deeper.
func sayLong(w io.Writer, format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	trimmed := strings.TrimLeft(text, " ")
	lead := text[:len(text)-len(trimmed)]
	for i, line := range table.Break(trimmed, table.Width-len(lead)-2) {
		if i == 1 {
			lead += "  "
		}
		say(w, "%s%s", lead, line)
	}
}

// count is a number of things: "1 parcel", "2 parcels".
func count(n int, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}

// plain is text of others made safe for a terminal: what moves the cursor or turns text round is dropped.
func plain(s string) string { return table.OneLine(s) }

// title begins with a capital letter.
func title(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// between is a length that may be bounded on either side.
func between(leastUm, mostUm int64) string {
	least, most := measure.Length(leastUm).String(), measure.Length(mostUm).String()
	switch {
	case leastUm > 0 && mostUm > 0:
		return least + " to " + most
	case leastUm > 0:
		return least + " or longer"
	case mostUm > 0:
		return most + " or shorter"
	}
	return ""
}
