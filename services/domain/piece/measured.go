package piece

import (
	"errors"
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// What bounds drawings and measured plans, in bytes as they are stored: decisions and answers have bounds too.
const (
	MaxDrawnBytes = 128 << 10 // of one drawing, or one plan with its prices
	MaxKeptBytes  = 1_500_000 // of all studies and plans that a member keeps of a piece
	// MaxCorners is how many points a drawing and a plan on it have in all: those of rings and lines, not those of the shapes
	// that a stone only names. An evaluation takes as long as the square of the corners of the stones in one part; with two
	// stones of 2000 corners, and as many round the piece and in its features, it took 1.3 s.
	MaxCorners = 10_000
)

// Drawn is a drawing that can be reckoned with.
type Drawn struct {
	Study  saw.Study
	model  *saw.Model
	stored *piecev1.Drawing
}

// Draw checks a drawing. What can't be is refused with its path below field, what is too large before it is reckoned with.
func Draw(field string, s saw.Study) (*Drawn, error) {
	d := &Drawn{Study: s, stored: StoreDrawing(s)}
	if err := small(field, proto.Size(d.stored), "leave out points that lie on straight stretches"); err != nil {
		return nil, err
	}
	if err := few(field, drawnCorners(s)); err != nil {
		return nil, err
	}
	var err error
	if d.model, err = saw.NewModel(s); err != nil {
		return nil, Refused(err, func(path string) string { return below(field, path) })
	}
	return d, nil
}

// Evaluate says what comes of a plan on the drawing. What can't be is refused with its path below plan or
// prices, in the words of the API, what is too large before it is reckoned.
func (d *Drawn) Evaluate(plan string, p saw.Plan, prices string, at saw.Prices) (saw.Result, error) {
	if err := small(plan, proto.Size(&piecev1.Plan{Cut: StoreCut(p), Prices: StorePrices(at)}), leaveOut); err != nil {
		return saw.Result{}, err
	}
	if err := few(plan, drawnCorners(d.Study)+cutCorners(p.Steps, p.Ends)); err != nil {
		return saw.Result{}, err
	}
	r, err := d.model.Evaluate(p, at)
	if err != nil {
		return r, Refused(err, func(path string) string {
			if strings.HasPrefix(path, "markets") {
				return below(prices, path)
			}
			return below(plan, path)
		})
	}
	return r, nil
}

// Measured is a plan that was evaluated on a drawing.
type Measured struct {
	Result  saw.Result
	Words   *piecev1.Plan // its stones, steps and minutes, by the likeliest outcomes
	studyID string
}

// Measure evaluates a plan on a study's drawing and puts it in words.
func (d *Drawn) Measure(studyID, plan string, p saw.Plan, prices string, at saw.Prices) (*Measured, error) {
	r, err := d.Evaluate(plan, p, prices, at)
	if err != nil {
		return nil, err
	}
	m := &Measured{Result: r, studyID: studyID, Words: &piecev1.Plan{
		Cut: StoreCut(p), Prices: StorePrices(at), StudyId: studyID, Infeasible: r.Infeasible,
	}}
	minutes := m.way(p.Steps, p.Ends, r.Trunk, certain)
	if minutes > maxMinutes*10 {
		return nil, rule.Broken{Reason: rule.FieldInvalid, Field: plan, Value: fmt.Sprintf("%d minutes", minutes), Rule: fmt.Sprintf("a plan takes at most %d minutes", maxMinutes*10), Hint: "give bench minutes, rest not counted"}
	}
	m.Words.Minutes = uint32(minutes)
	return m, small(plan, proto.Size(m.Words), leaveOut) // with its words
}

const leaveOut = "leave out prices that no part or stone of it is sold by, and points on straight stretches"

// drawnCorners are the points of a drawing.
func drawnCorners(s saw.Study) int {
	return len(s.Outline) + len(s.Profile) + featureCorners(s.Features)
}

func featureCorners(features []saw.Feature) (n int) {
	for _, f := range features {
		n += len(f.Points)
	}
	return n
}

// cutCorners are the points that a plan draws: rings of stones and of parts that are kept, and what looks may find.
func cutCorners(steps []saw.Step, ends []saw.End) (n int) {
	for _, e := range ends {
		for _, s := range e.Stones {
			n += len(s.Ring)
		}
	}
	for _, s := range steps {
		switch do := s.Do.(type) {
		case saw.Trim:
			for _, k := range do.Keep {
				n += len(k.Ring)
			}
		case saw.Look:
			for _, o := range do.Outcomes {
				n += featureCorners(o.Features) + cutCorners(o.Steps, o.Ends)
			}
		}
	}
	return n
}

// few refuses what would take long to reckon.
func few(field string, corners int) error {
	if corners > MaxCorners {
		return rule.Broken{
			Reason: rule.DrawingInvalid, Field: field, Value: fmt.Sprintf("%d points", corners), Rule: fmt.Sprintf("a drawing and a plan on it have at most %d points in all", MaxCorners),
			Hint: "leave out points that hardly change a shape, or name one of the seven shapes",
		}
	}
	return nil
}

// way puts into words what happens for certain in a branch, then goes on with the likeliest outcome of each look,
// and gives the minutes of it all. A stone's chance is that of coming out in the end: its own, times that of the way to it
// in basis points, rounded down.
func (m *Measured) way(steps []saw.Step, ends []saw.End, b saw.Branch, chance int64) (minutes int64) {
	minutes = b.Minutes
	results := map[string]saw.Planned{}
	for _, e := range b.Ends {
		for _, s := range e.Stones {
			results[s.Name] = s
		}
	}
	looks := 0
	for _, s := range steps {
		m.Words.Steps = append(m.Words.Steps, shorten(stepWords(s), 500))
		look, ok := s.Do.(saw.Look)
		if !ok || looks >= len(b.Looks) {
			continue
		}
		i := likeliest(b.Looks[looks].Outcomes)
		minutes += m.way(look.Outcomes[i].Steps, look.Outcomes[i].Ends, b.Looks[looks].Outcomes[i], chance*look.Outcomes[i].ChanceBp/certain)
		looks++
	}
	for _, e := range ends {
		for _, s := range e.Stones {
			m.Words.Stones = append(m.Words.Stones, m.planned(s, results[s.Name], chance))
		}
	}
	return minutes
}

// likeliest is the likeliest outcome, the first where two are as likely.
func likeliest(outcomes []saw.Branch) (best int) {
	for i, o := range outcomes {
		if o.ChanceBp > outcomes[best].ChanceBp {
			best = i
		}
	}
	return best
}

// certain is a chance of one, in basis points.
const certain = 10_000

func (m *Measured) planned(s saw.Stone, r saw.Planned, chance int64) *piecev1.PlannedStone {
	out := &piecev1.PlannedStone{
		Label: shorten(s.Name, 40), Outline: stonev1.Outline(Shapes.Number(s.Shape)), ChanceBp: uint32(max(1, s.ChanceBp*chance/certain)), Market: shorten(s.Market, 80), MassUg: r.MassUg,
		Size: &eventv1.Size{LengthUm: s.LengthUm, WidthUm: s.WidthUm, DepthUm: s.DepthUm},
	}
	if r.Priced {
		out.Worth = &eventv1.Amount{Currency: m.Result.Money.Currency, Minor: r.PriceMinor}
	}
	return out
}

func stepWords(s saw.Step) string {
	var text string
	switch do := s.Do.(type) {
	case saw.Saw:
		text = fmt.Sprintf("saw %s with %s as drawn in the %s: %s left, %s right", s.Part, do.Blade, do.View, strings.Join(do.Left, ", "), strings.Join(do.Right, ", "))
	case saw.Split:
		text = fmt.Sprintf("split %s as drawn in the %s: %s left, %s right", s.Part, do.View, strings.Join(do.Left, ", "), strings.Join(do.Right, ", "))
	case saw.Trim:
		parts := make([]string, len(do.Keep))
		for i, k := range do.Keep {
			parts[i] = k.Part
		}
		text = fmt.Sprintf("trim %s as drawn in the %s to %s", s.Part, do.View, strings.Join(parts, ", "))
	case saw.Grind:
		text = fmt.Sprintf("grind %s of %s off the %s of %s", millimetres(do.ThicknessUm), do.What, do.View, s.Part)
	case saw.Look:
		names := make([]string, len(do.Outcomes))
		for i, o := range do.Outcomes {
			names[i] = o.Name
		}
		text = fmt.Sprintf("look at %s, %s: %s", s.Part, do.Kind, strings.Join(names, " or "))
	}
	if s.Note != "" {
		text += "; " + s.Note
	}
	return text
}

// millimetres is a length as people say it.
func millimetres(um int64) string {
	return strings.TrimRight(strings.TrimRight(fmt.Sprintf("%d.%03d", um/1000, um%1000), "0"), ".") + " mm"
}

// shorten cuts a text to so many characters.
func shorten(text string, most int) string {
	if r := []rune(text); len(r) > most {
		return string(r[:most])
	}
	return text
}

// under puts label and reason of a draft to a measured plan. What the draft says in words too has to be the same.
func (m *Measured) under(draft *piecev1.Plan) (*piecev1.Plan, error) {
	var broken rule.All
	out := proto.CloneOf(m.Words)
	out.Label, out.Reason = draft.GetLabel(), draft.GetReason()
	differs := func(field string, given bool, same bool) {
		if given && !same {
			broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "plan." + field, Value: "another", Rule: "it is taken from the measured plan, and differs from that", Hint: "leave it out"})
		}
	}
	stones, steps := &piecev1.Plan{Stones: draft.GetStones()}, &piecev1.Plan{Steps: draft.GetSteps()}
	differs("stones", len(stones.GetStones()) > 0, proto.Equal(stones, &piecev1.Plan{Stones: out.GetStones()}))
	differs("steps", len(steps.GetSteps()) > 0, proto.Equal(steps, &piecev1.Plan{Steps: out.GetSteps()}))
	differs("minutes", draft.GetMinutes() > 0, draft.GetMinutes() == out.GetMinutes())
	broken.Text("plan.label", out.GetLabel(), 80)
	broken.Text("plan.reason", out.GetReason(), 2000)
	return out, broken.Err()
}

// Drawing finds the drawing of a study; of the last that has one, where no study is named.
func (p Papers) Drawing(studyID string) (id string, d saw.Study, err error) {
	for i := len(p.Studies) - 1; i >= 0; i-- {
		st := p.Studies[i].GetPrivate()
		if st.GetDrawing() != nil && (studyID == "" || st.GetStudyId() == studyID) {
			return st.GetStudyId(), Drawing(st.GetDrawing()), nil
		}
	}
	if studyID != "" {
		return "", d, rule.NotThere("study_id", "study with a drawing")
	}
	return "", d, rule.Broken{Reason: rule.NotDrawn, Field: "piece_id", Value: p.pieceID, Rule: "no study of the piece has a drawing", Hint: "study it with a drawing first, or give one to try"}
}

// MeasuredPlan finds the revision of a plan that stands, if it was measured.
func (p Papers) MeasuredPlan(id string) (Revision, error) {
	plan, ok := p.Plan(id)
	if !ok {
		return Revision{}, rule.NotThere("plan_id", "plan")
	}
	now := plan.Now()
	if now.Plan.GetCut() == nil {
		return now, rule.Broken{Reason: rule.NotMeasured, Field: "plan_id", Value: id, Rule: "the plan is in words only", Hint: "revise it with a plan that is measured on the drawing: seamshare plan revise takes one with --file"}
	}
	return now, nil
}

// keeps refuses what would make a member keep more of a piece than they may.
func (p Papers) keeps(more proto.Message) error {
	if n := p.keptBytes + proto.Size(more); n > MaxKeptBytes {
		return rule.Broken{
			Reason: rule.KeepsTooMuch, Value: fmt.Sprintf("%d bytes", n), Rule: fmt.Sprintf("a cutter keeps studies and plans of a piece of %d bytes in all", MaxKeptBytes),
			Hint: "draw with fewer points, and give only prices that are needed",
		}
	}
	return nil
}

func small(field string, n int, hint string) error {
	if n > MaxDrawnBytes {
		return rule.Broken{Reason: rule.DrawingInvalid, Field: field, Value: fmt.Sprintf("%d bytes", n), Rule: fmt.Sprintf("it takes at most %d bytes as it is stored", MaxDrawnBytes), Hint: hint}
	}
	return nil
}

func below(field, path string) string {
	if field == "" || path == "" {
		return field + path
	}
	return field + "." + path
}

// Refused turns what package saw finds that can't be into a refusal; in makes the request's path of saw's, whose fields the
// API has, but for money. Another error is given back.
func Refused(err error, in func(path string) string) error {
	var found *saw.Invalid
	if !errors.As(err, &found) {
		return err
	}
	path := found.Path
	for stored, shown := range map[string]string{"hour_minor": "hour", "selling_minor": "selling", "minor": "price"} {
		if before, ok := strings.CutSuffix(path, "."+stored); ok {
			path = before + "." + shown
		}
	}
	holds, hint, _ := strings.Cut(found.Rule, "; ")
	if hint == "" {
		hint = "put it right and try again"
	}
	return rule.Broken{Reason: rule.DrawingInvalid, Field: in(path), Value: found.Value, Rule: holds, Hint: hint}
}
