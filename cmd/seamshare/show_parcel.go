package main

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"seamshare.example/cmd/seamshare/internal/amount"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

// paidWords is what was paid of a parcel's price, and by when the rest is due.
func paidWords(p *typev1.Parcel) string {
	if p.GetPaid() == nil {
		return ""
	}
	paid := amount.Text(p.GetPaid()) + " of " + amount.Text(p.GetAgreement().GetPrice())
	if p.GetDueAt() != "" {
		paid += ", due by " + p.GetDueAt()
	}
	return paid
}

// printDifference shows what both sides of a handover counted and weighed. A difference beyond what the scales allow is
// an exception, with both sides' words.
func printDifference(w io.Writer, h *typev1.Handover) {
	for _, side := range []struct {
		name string
		word *typev1.HandoverWord
	}{{"seller", h.GetSeller()}, {"buyer", h.GetBuyer()}} {
		if side.word == nil {
			continue
		}
		said := ""
		if note := side.word.GetNote(); note != "" {
			said = ", and says: " + plain(note)
		}
		sayLong(w, "  the %s counted %s and weighed %s (%s)%s", side.name, count(int(side.word.GetCount()), "stone"),
			grams(side.word.GetTotal()), carats(side.word.GetTotal()), said)
	}
	if h.GetSeller() != nil && h.GetBuyer() != nil {
		sayDifference(w, "difference", h.GetDifferenceUg(), h.GetCountDifference(), h.GetBeyondTolerance())
	}
}

// sayDifference says what is missing, or too much, against what should have come.
func sayDifference(w io.Writer, name string, ug, stones int64, beyond bool) {
	var parts []string
	if stones != 0 {
		parts = append(parts, count(int(max(stones, -stones)), "stone")+missing(stones))
	}
	if ug != 0 {
		parts = append(parts, both(max(ug, -ug))+missing(ug))
	}
	if len(parts) == 0 {
		return
	}
	allowed := "no more than the scales allow"
	if beyond {
		allowed = "an exception, beyond what the scales allow"
	}
	sayLong(w, "  %s: %s; %s", name, strings.Join(parts, ", "), allowed)
}

func missing(difference int64) string {
	if difference < 0 {
		return " too much"
	}
	return " missing"
}

// printListed shows the pieces of a parcel as its seller listed them. fields gives the fields their names.
func printListed(w io.Writer, pieces []*typev1.Piece, fields map[string]string, next string) {
	for _, p := range pieces {
		sayLong(w, "Piece %s (%s): %s (%s), %s %s", plain(p.GetLabel()), p.GetId(), grams(p.GetWeighing()), carats(p.GetWeighing()), word(p.GetKind()), size(p.GetSize()))
		if p.GetCount() != 1 {
			sayLong(w, "  %s%s", count(int(p.GetCount()), "stone"), sizeRange(p.GetSmallestUm(), p.GetLargestUm()))
		}
		from := fieldOf(p, fields)
		if p.GetClaimId() != "" {
			from += ", claim " + p.GetClaimId()
		}
		sayLong(w, "  %s", from)
		for _, f := range []struct{ name, value string }{
			{"seen", p.GetSeen()}, {"taken out of", p.GetOpenedFrom()}, {"part " + p.GetOriginPart() + " of the older piece", p.GetOriginPieceId()},
		} {
			if f.value != "" {
				sayLong(w, "  %s: %s", f.name, plain(f.value))
			}
		}
	}
	more(w, next)
}

// fieldOf says which field a piece is of, or of which it may be. fields gives the fields their names, where they are known.
func fieldOf(p *typev1.Piece, fields map[string]string) string {
	name := func(id string) string {
		if id == "" {
			return "one not shown"
		}
		return plain(cmp.Or(fields[id], id))
	}
	var may []string
	for _, id := range p.GetMayBeOfFieldIds() {
		may = append(may, name(id))
	}
	switch {
	case len(may) > 0:
		return "mixed up, may be of field " + strings.Join(may, " or ")
	case p.GetFieldId() == "":
		return "field not shown"
	}
	return "field " + name(p.GetFieldId())
}

func sizeRange(smallestUm, largestUm int64) string {
	if largestUm == 0 {
		return ""
	}
	return fmt.Sprintf(", %s to %s", measure.Length(smallestUm), measure.Length(largestUm))
}
