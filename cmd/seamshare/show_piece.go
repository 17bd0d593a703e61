package main

import (
	"fmt"
	"io"
	"strings"

	"seamshare.example/cmd/seamshare/internal/table"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

func printPiece(w io.Writer, p *typev1.Piece) error {
	sayLong(w, "Piece %s (%s) of parcel %s:", plain(p.GetLabel()), p.GetId(), p.GetParcelId())
	sayLong(w, "  %s (%s) as listed, %s %s", grams(p.GetWeighing()), carats(p.GetWeighing()), word(p.GetKind()), size(p.GetSize()))
	if p.GetSeen() != "" {
		sayLong(w, "  seen: %s", plain(p.GetSeen()))
	}
	sayLong(w, "  %s", fieldOf(p, nil))
	for _, st := range p.GetStudies() {
		printStudy(w, st)
	}
	for _, f := range []struct{ name, value string }{
		{"chosen plan", p.GetChosenPlanId()},
		{"was part", strings.TrimSpace(p.GetOriginPart() + " of piece " + p.GetOriginPieceId())},
		{"at the bench", minutes(p.GetMinutes())},
		{"etag", p.GetEtag()},
	} {
		if f.value != "" && f.value != "of piece" && f.value != "0 min" {
			sayLong(w, "  %s: %s", f.name, plain(f.value))
		}
	}
	t := table.New(text("part"), right("mass"), right("carats"), text("stands"), text("stone"))
	for _, part := range p.GetParts() {
		t.Row(part.GetName(), grams(part.GetWeighing()), carats(part.GetWeighing()), word(part.GetFate()), part.GetStoneId())
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	for _, part := range p.GetParts() {
		if said := partWords(part); said != "" {
			sayLong(w, "  %s: %s", part.GetName(), said)
		}
	}
	for _, l := range p.GetLosses() {
		say(w, "  lost %s: %s", both(l.GetMassUg()), word(l.GetReason()))
	}
	if p.GetUnexplainedUg() != 0 {
		say(w, "  weighings of its parts disagree by %s", both(p.GetUnexplainedUg()))
	}
	return nil
}

// lookAgain is what is said where a drawing is off by more than densities explain.
const lookAgain = "Look again: that is more than the density of rock explains. Check outline, thickness, densities and the weighing."

func printStudy(w io.Writer, st *typev1.Study) {
	drawn := ""
	if st.GetDrawn() {
		drawn = "drawn to measure; "
	}
	sayLong(w, "  studied: %s", plain(strings.Trim(drawn+size(st.GetSize())+"; "+st.GetSeen(), "; ")))
	if st.GetDrawn() {
		sayLong(w, "    as drawn it would weigh %s, %s", estimated(st.GetDrawnUg()), offScale(st.GetErrorBp()))
	}
	if st.GetLookAgain() {
		sayLong(w, "    %s", lookAgain)
	}
	if st.GetNote() != "" {
		sayLong(w, "    note: %s", plain(st.GetNote()))
	}
	for _, photo := range st.GetPhotos() {
		how := "dry"
		if photo.GetWet() {
			how = "wet"
		}
		sayLong(w, "    photo %x, %s, %s", photo.GetSha256(), how, plain(photo.GetLight()))
	}
}

// partWords is what else is known of a part, in one line.
func partWords(p *typev1.PiecePart) string {
	var said []string
	add := func(format, value string) {
		if value != "" {
			said = append(said, fmt.Sprintf(format, plain(value)))
		}
	}
	add("last step %s", word(p.GetLastStep()))
	add("tray %s", p.GetTray())
	add("dop %s", p.GetDop())
	if p.GetStoneId() == "" {
		add("rests until %s", p.GetRestsUntil())
	}
	add("waits for: %s", p.GetWaitsFor())
	add("expected: %s", gradeWords(p.GetGrade()))
	add("class %s", p.GetClass())
	add("in lot %s", p.GetLotId())
	add("now piece %s", p.GetNewPieceId())
	var may []string
	for _, m := range p.GetMayBe() {
		may = append(may, m.GetPart()+" of piece "+m.GetLabel())
	}
	add("mixed up, may be %s", strings.Join(may, " or "))
	return strings.Join(said, "; ")
}
