package piece

import (
	"crypto/sha256"
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// Bounds of what is kept of a piece beside its parts.
const (
	MaxStudies     = 100 // that a member keeps of a piece
	MaxPhotos      = 20  // of one study
	MaxLookedAgain = 50  // parts of a piece that one second look goes over
)

// Study is what a cutter learnt of a piece by looking at it.
type Study struct {
	ID, Member string
	Size       *eventv1.Size // nil: not measured
	Photos     []*eventv1.Photo
	Seen, Note string
	Drawn      *Drawn // nil: not drawn
}

// Study records a study. The photos and the size may be shown to anyone, the words are
// the cutter's own.
func (s State) Study(st Study) (*piecev1.Event, error) {
	if s.ID == "" {
		return nil, rule.NotThere("piece_id", "piece")
	}
	var broken rule.All
	own := s.Of(st.Member)
	if len(own.Studies) >= MaxStudies {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Value: fmt.Sprint(len(own.Studies)), Rule: fmt.Sprintf("a cutter keeps %d studies of a piece", MaxStudies), Hint: "write it into a plan or a step's note"})
	}
	if st.Size != nil {
		broken.Size("size", st.Size)
	}
	CheckPhotos(&broken, "photos", st.Photos)
	if st.Size == nil && len(st.Photos) == 0 && st.Seen == "" && st.Note == "" && st.Drawn == nil {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "note", Value: `""`, Rule: "a study holds something", Hint: "say what is seen, measure or draw it, or name a photo"})
	}
	optional(&broken, "seen", st.Seen, 4000)
	optional(&broken, "note", st.Note, 4000)
	var drawing *piecev1.Drawing
	var drawnUg int64
	if st.Drawn != nil {
		drawing, drawnUg = st.Drawn.stored, st.Drawn.model.DrawnUg()
		if most := s.Weighing.GetMassUg() + s.Weighing.GetDivisionUg(); drawing.GetMassUg() > most {
			broken.Add(rule.Broken{
				Reason: rule.HeavierThanBefore, Field: "drawing.mass_ug", Value: measure.Mass(drawing.GetMassUg()).GramsAndCarats(),
				Rule: "a piece or a part of it isn't heavier than the piece as it was weighed, " + measure.Mass(s.Weighing.GetMassUg()).String(), Hint: "check that it is this piece, and the weighing",
			})
		}
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	studied := &piecev1.Studied{
		Public:  &piecev1.Studied_Public{PieceId: s.ID, Size: st.Size, Photos: st.Photos},
		Private: &piecev1.Studied_Private{MemberId: st.Member, StudyId: st.ID, Seen: st.Seen, Note: st.Note, Drawing: drawing, DrawnUg: drawnUg},
	}
	if err := own.keeps(studied); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_Studied{Studied: studied}}, nil
}

// CheckPhotos checks what is said of photos; the pictures themselves are looked at
// where they are kept.
func CheckPhotos(broken *rule.All, field string, photos []*eventv1.Photo) {
	if len(photos) > MaxPhotos {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: field, Value: fmt.Sprint(len(photos)), Rule: fmt.Sprintf("at most %d photos at once", MaxPhotos), Hint: "leave out the weaker ones"})
	}
	for i, p := range photos {
		at := fmt.Sprintf("%s[%d].", field, i)
		if len(p.GetSha256()) != sha256.Size {
			broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: at + "sha256", Value: fmt.Sprintf("%x", p.GetSha256()), Rule: "a photo is named by the SHA-256 of its bytes, 32 of them", Hint: "take it from where the photo was stored"})
		}
		switch p.GetMediaType() {
		case "image/jpeg", "image/png", "image/webp":
		default:
			broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: at + "media_type", Value: fmt.Sprintf("%q", p.GetMediaType()), Rule: "a photo is image/jpeg, image/png or image/webp", Hint: "save it as one of these"})
		}
		broken.Text(at+"light", p.GetLight(), 80)
	}
}

// optional checks a text that may be empty.
func optional(broken *rule.All, field, text string, most int) {
	if text != "" {
		broken.Text(field, text, most)
	}
}

// LookAgain records the second look at the end of a batch: each of the parts is the one
// that its tray or dop says.
func (s State) LookAgain(member string, parts []string, note string) (*piecev1.Event, error) {
	if s.ID == "" {
		return nil, rule.NotThere("piece_id", "piece")
	}
	var broken rule.All
	if n := len(parts); n < 1 || n > MaxLookedAgain {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "parts", Value: fmt.Sprint(n), Rule: fmt.Sprintf("a second look goes over 1 to %d parts of a piece", MaxLookedAgain), Hint: "name the parts of the batch"})
	}
	for i, name := range parts {
		if _, err := s.there(name); err != nil {
			if err := broken.Merge("", inParts(err, i)); err != nil {
				return nil, err
			}
		}
	}
	optional(&broken, "note", note, 2000)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_LookedAgain{LookedAgain: &piecev1.LookedAgain{
		Public:  &piecev1.LookedAgain_Public{PieceId: s.ID, Parts: parts},
		Private: &piecev1.LookedAgain_Private{MemberId: member, Note: note},
	}}}, nil
}

// inParts names the entry of a list that a refusal is about.
func inParts(err error, i int) error {
	all, ok := rule.Of(err)
	if !ok {
		return err
	}
	out := make(rule.All, len(all))
	for j, b := range all {
		b.Field = fmt.Sprintf("parts[%d]", i)
		out[j] = b
	}
	return out
}

// Expectation is what a part is expected to grade.
type Expectation struct {
	Member, Part string
	Grade        *stonev1.Grade
	Class        string   // one of Classes, or empty
	Classes      []string // the co-op's own words
	Why          string
}

// Regrade revises what a part is expected to grade. A stone has a grade of its own.
func (s State) Regrade(x Expectation) (*piecev1.Event, error) {
	part, err := s.there(x.Part)
	if err != nil {
		return nil, err
	}
	if part.Fate == Stone || part.Fate == MovedOn {
		return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "part", Value: x.Part, Rule: "the part is " + part.Fate.String(), Hint: "grade the stone, or choose another part"}
	}
	var broken rule.All
	CheckGrade(&broken, "grade", x.Grade)
	CheckClass(&broken, "class", x.Class, x.Classes)
	broken.Text("why", x.Why, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_Graded{Graded: &piecev1.Graded{
		Public:  &piecev1.Graded_Public{PieceId: s.ID, Part: x.Part},
		Private: &piecev1.Graded_Private{MemberId: x.Member, Grade: x.Grade, Class: x.Class, Why: x.Why},
	}}}, nil
}

// CheckClass: a class is one of the co-op's own words, or not said.
func CheckClass(broken *rule.All, field, class string, classes []string) {
	if class == "" {
		return
	}
	for _, c := range classes {
		if c == class {
			return
		}
	}
	broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: field, Value: fmt.Sprintf("%q", class), Rule: fmt.Sprintf("the co-op's classes are %q", classes), Hint: "use one of these, or none"})
}

// CheckGrade: every attribute may be left unjudged, but a judged one is one of the
// words.
func CheckGrade(broken *rule.All, field string, g *stonev1.Grade) {
	if t := g.GetBodyTone(); t > 9 {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: field + ".body_tone", Value: fmt.Sprint(t), Rule: "body tone is 1 (darkest) to 9 (lightest)", Hint: "0 where it isn't judged"})
	}
	for _, a := range []struct {
		name   string
		number int32
		known  map[int32]string
	}{
		{"transparency", int32(g.GetTransparency()), stonev1.Transparency_name},
		{"pattern", int32(g.GetPattern()), stonev1.Pattern_name},
		{"brightness", int32(g.GetBrightness()), stonev1.Brightness_name},
	} {
		if _, ok := a.known[a.number]; !ok {
			broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: field + "." + a.name, Value: fmt.Sprint(a.number), Rule: "it is one of the words offered", Hint: "0 where it isn't judged"})
		}
	}
	optional(broken, field+".colours", g.GetColours(), 120)
	optional(broken, field+".judged_under", g.GetJudgedUnder(), 120)
}
