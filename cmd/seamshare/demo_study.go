package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/planfile"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/draw"
	drawings "seamshare.example/services/domain/saw/example"
	"seamshare.example/services/domain/saw/seam"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/wire"
)

// study looks at the pieces and plans their cuts.
func (d *demo) study() error {
	d.tell("Before anything is cut, each piece is studied and its cuts are planned; only its cutter reads that. Some of them:")
	for _, s := range demoStudies {
		noted, plans, err := d.studyPiece(s)
		if err != nil {
			return fmt.Errorf("piece %s-%s: %w", s.parcel, s.piece, err)
		}
		words := fmt.Sprintf("Piece %s-%s: %s.", s.parcel, s.piece, noted)
		for _, p := range plans {
			words += " " + planWords(p)
		}
		d.tell("%s", words)
		if err := d.drawn(s.parcel + "-" + s.piece); err != nil {
			return err
		}
		if s.decided != nil {
			if err := d.decide(s); err != nil {
				return err
			}
		}
	}
	return nil
}

func planWords(p *typev1.Plan) string {
	now := p.GetRevisions()[len(p.GetRevisions())-1].GetPlan()
	var stones []string
	for _, st := range now.GetStones() {
		planned := word(st.GetOutline()) + " " + bareSize(st.GetSize())
		if st.GetChanceBp() < 10_000 {
			planned += fmt.Sprintf(" (chance 0.%02d)", st.GetChanceBp()/100)
		}
		stones = append(stones, planned)
	}
	words := fmt.Sprintf("The plan “%s”: %s. %s.", now.GetLabel(), joined(stones...), capital(now.GetReason()))
	if p.GetState() == typev1.PlanState_PLAN_STATE_CHOSEN {
		words += fmt.Sprintf(" It is chosen: %s.", p.GetReason())
	}
	return words
}

func capital(words string) string { return strings.ToUpper(words[:1]) + words[1:] }

// studyPiece gives what the node keeps of the study: the note and the plans.
func (d *demo) studyPiece(s demoStudy) (noted string, plans []*typev1.Plan, err error) {
	cutter := d.people[demoParcelOf(s.parcel).buyer].cutter()
	id := d.pieces[s.parcel+"-"+s.piece].GetId()
	request := &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: id, Note: s.note}
	if c, ok := drawings.Demo()[s.parcel+"-"+s.piece]; ok {
		request.Drawing = wire.Drawing(c.Study)
	}
	studied, err := cutter.StudyPiece(d.ctx, request)
	if err != nil {
		return "", nil, err
	}
	for _, study := range studied.GetPiece().GetStudies() {
		noted = study.GetNote()
	}
	for _, p := range s.plans {
		a, err := cutter.MakePlan(d.ctx, &cutterv1.MakePlanRequest{RequestId: d.id(), PieceId: id, Plan: p.draft()})
		if err != nil {
			return "", nil, err
		}
		if p.label != s.chosen {
			continue
		}
		if _, err := cutter.ChoosePlan(d.ctx, &cutterv1.ChoosePlanRequest{RequestId: d.id(), PieceId: id, PlanId: a.GetPlan().GetId(), Reason: s.why}); err != nil {
			return "", nil, err
		}
	}
	a, err := cutter.ListPlans(d.ctx, &cutterv1.ListPlansRequest{PieceId: id})
	return noted, a.GetPlans(), err
}

func (p demoPlan) draft() *typev1.PlanDraft {
	out := &typev1.PlanDraft{Label: p.label, Reason: p.reason, Steps: p.steps}
	if p.measured {
		out.Cut, out.Prices = wire.CutPlan(builtIn(measuredPlan(p.label))), wire.PriceList(drawings.Prices())
	}
	for _, s := range p.stones {
		out.Stones = append(out.Stones, &typev1.PlannedStone{Label: s.label, Outline: s.outline, Size: builtIn(parseSize(s.size)), ChanceBp: s.chance * 100})
	}
	return out
}

// measuredPlan is the plan of that name.
func measuredPlan(name string) (saw.Plan, error) {
	for _, c := range drawings.Demo() {
		for _, p := range c.Plans {
			if p.Name == name {
				return p, nil
			}
		}
	}
	return saw.Plan{}, fmt.Errorf("no plan is called %q", name)
}

// drawn draws a piece that was drawn to measure, its plans step by step, a sheet for the bench, and the plan file.
func (d *demo) drawn(piece string) error {
	c, ok := drawings.Demo()[piece]
	if !ok || d.pictures == "" {
		return nil
	}
	f := planfile.File{Study: c.Study, Prices: drawings.Prices(), Blades: []saw.Blade{drawings.Trim()}, Settings: drawings.Settings(), Plans: c.Plans, Wants: demoWants[piece], SawMinutes: 15}
	name := filepath.Join(d.pictures, fileName(c.Study.Name, "piece"))
	if err := os.WriteFile(name+".json", planfile.Format(f), 0o666); err != nil {
		return fmt.Errorf("couldn't write the plan file: %w", err)
	}
	model, err := saw.NewModel(c.Study)
	if err != nil {
		return err
	}
	planned, err := evaluatePlans(name+".json", f, model, "")
	if err != nil {
		return err
	}
	files, err := drawPlans(d.pictures, c.Study, planned, draw.Options{})
	if err != nil {
		return err
	}
	for i, p := range planned {
		sheet := fmt.Sprintf("%s-sheet-%d.html", name, i+1)
		if err := writeWhole(sheet, func(w io.Writer) error { return draw.Sheet(w, c.Study, p.plan, p.result, draw.Options{}) }); err != nil {
			return err
		}
		files = append(files, sheet)
	}
	if piece == "P1-3" {
		section := name + "-seams.svg"
		if err := writeWhole(section, func(w io.Writer) error { return draw.Seams(w, demoSeams, draw.Options{}) }); err != nil {
			return err
		}
		files = append(files, section)
	}
	d.report.Pictures = append(d.report.Pictures, files...)
	var whole []string
	for _, file := range files {
		if file = filepath.Base(file); !strings.Contains(file, "-step-") {
			whole = append(whole, file)
		}
	}
	d.tell("Drawn: %s; and %s of single steps. The plan file is %s.", joined(whole...), count(len(files)-len(whole), "picture"), filepath.Base(name+".json"))
	return nil
}

// demoWants is what a search may make of a piece, for who tries the demo's plan file with --suggest: a pair of one size, or one
// stone as long as a pendant wants it.
var demoWants = map[string][]search.Want{"P1-1": {
	{
		Pattern: saw.Stone{
			Shape: saw.Oval, DepthUm: 3_000, DomeUm: 1_200, View: saw.Face, Zone: "bright zone", Bar: "bar", Class: "top", Market: "pairs", ChanceBp: 9_000, Minutes: 90,
		},
		Sizes: []search.Size{{LengthUm: 12_000, WidthUm: 9_000}, {LengthUm: 10_000, WidthUm: 8_000}}, Together: 2,
	},
	{
		Pattern: saw.Stone{
			Shape: saw.Oval, LengthUm: 15_000, WidthUm: 9_000, DepthUm: 2_800, DomeUm: 900, View: saw.Face, Zone: "bright zone", Bar: "bar", Class: "top", Market: "singles",
			ChanceBp: 9_000, Minutes: 80,
		},
		FromUm: 12_000, ToUm: 15_900,
	},
}, "P1-2": {{
	Pattern: saw.Stone{
		Shape: saw.Oval, DepthUm: 3_000, DomeUm: 1_100, View: saw.Face, Zone: "bright zone", Bar: "bar", Class: "top", Market: "pairs", ChanceBp: 9_000, Minutes: 90,
	},
	Sizes: []search.Size{{LengthUm: 12_000, WidthUm: 9_000}, {LengthUm: 10_000, WidthUm: 8_000}}, Together: 2,
}}}

// demoSeams are the two seams of piece P1-3, and where its open part is parted from its closed end.
var demoSeams = draw.Angled{
	Name: "P1-3", Seams: seam.Seams{AngleMilliDeg: 14_000, NearUm: 4_000, FarUm: 38_000, FirstBackUm: 1_200, SecBackUm: 1_200, KerfUm: 600},
	Cut: seam.Bisector, PlaceUm: 12_500, First: "lower seam", Second: "upper seam", ThicknessUm: 1_100,
}

// decide keeps a choice with what each option is worth.
func (d *demo) decide(s demoStudy) error {
	options := make([]*typev1.DecisionOption, len(s.decided.options))
	for i, o := range s.decided.options {
		options[i] = &typev1.DecisionOption{Name: o.name, IfHolds: builtIn(amount.Parse(o.holds + " AUD")), IfFails: builtIn(amount.Parse(o.fails + " AUD"))}
	}
	a, err := d.people[demoParcelOf(s.parcel).buyer].cutter().RecordDecision(d.ctx, &cutterv1.RecordDecisionRequest{
		RequestId: d.id(), PieceId: d.pieces[s.parcel+"-"+s.piece].GetId(), Part: s.decided.part, Kind: typev1.DecisionKind_DECISION_KIND_SEAMS,
		About: s.decided.about, ChanceBp: s.decided.chance, Options: options, Chosen: s.decided.chosen, Reason: s.decided.reason,
	})
	if err != nil {
		return err
	}
	d.decisions[s.parcel+"-"+s.piece] = a.GetDecision().GetId()
	d.tell("The choice is kept with its figures:")
	kept := proto.CloneOf(a.GetDecision())
	kept.Id = "" // another in each demo
	return printDecision(d.story, kept)
}

// cameOut says how the choice about a piece came out, once its stones are finished.
func (d *demo) cameOut() error {
	for _, s := range demoStudies {
		if s.decided == nil {
			continue
		}
		piece := s.parcel + "-" + s.piece
		cutter := d.people[demoParcelOf(s.parcel).buyer].cutter()
		a, err := cutter.RecordOutcome(d.ctx, &cutterv1.RecordOutcomeRequest{
			RequestId: d.id(), PieceId: d.pieces[piece].GetId(), DecisionId: d.decisions[piece], Held: s.decided.held, Note: s.decided.note,
		})
		if err != nil {
			return err
		}
		kept, err := cutter.GetDecisionRecord(d.ctx, &cutterv1.GetDecisionRecordRequest{Kind: a.GetDecision().GetKind(), ChanceBp: &s.decided.chance})
		if err != nil {
			return err
		}
		d.tell("The choice about piece %s %s: %s. The co-op's record of such choices:", piece, word(a.GetDecision().GetState()), a.GetDecision().GetNote())
		printDecisionRecord(d.story, kept, &s.decided.chance)
	}
	return nil
}

// revise puts the revised plan of a piece that was looked into in the place of the chosen one. It gives the story of it.
func (d *demo) revise(parcel, piece string) (string, error) {
	i := slices.IndexFunc(demoStudies, func(s demoStudy) bool { return s.parcel == parcel && s.piece == piece && s.revised != nil })
	if i < 0 {
		return "", nil
	}
	s := demoStudies[i]
	cutter := d.people[demoParcelOf(parcel).buyer].cutter()
	id := d.pieces[parcel+"-"+piece].GetId()
	plans, err := cutter.ListPlans(d.ctx, &cutterv1.ListPlansRequest{PieceId: id})
	if err != nil {
		return "", err
	}
	for _, p := range plans.GetPlans() {
		if p.GetState() != typev1.PlanState_PLAN_STATE_CHOSEN {
			continue
		}
		if c, ok := drawings.Demo()[parcel+"-"+piece+" faced"]; ok {
			if _, err := cutter.StudyPiece(d.ctx, &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: id, Note: s.revised.why, Drawing: wire.Drawing(c.Study)}); err != nil {
				return "", err
			}
		}
		a, err := cutter.RevisePlan(d.ctx, &cutterv1.RevisePlanRequest{RequestId: d.id(), PieceId: id, PlanId: p.GetId(), Plan: s.revised.plan.draft(), Why: s.revised.why})
		if err != nil {
			return "", err
		}
		revisions := a.GetPlan().GetRevisions()
		last := revisions[len(revisions)-1]
		return fmt.Sprintf("Piece %s is faced to look, and its plan revised: “%s”. The plan “%s” is now “%s”; the plan's %s are kept.",
			piece, last.GetWhy(), revisions[0].GetPlan().GetLabel(), last.GetPlan().GetLabel(), count(len(revisions), "revision")), nil
	}
	return "", fmt.Errorf("piece %s has no chosen plan", piece)
}

// account shows where all of each parcel's mass went, after the stock keeper has counted.
func (d *demo) account() error {
	if err := d.countStock(); err != nil {
		return err
	}
	for _, p := range demoParcels {
		a, err := d.people[p.buyer].cutter().GetYield(d.ctx, &cutterv1.GetYieldRequest{ParcelId: d.parcels[p.label].GetId()})
		if err != nil {
			return err
		}
		y := a.GetYield()
		d.tell("All of parcel %s's mass, from what the scales said:", p.label)
		if err := printYield(d.story, y); err != nil {
			return err
		}
		d.report.addYield(p, d.parcels[p.label], y)
		if err := d.planned(p, y); err != nil {
			return err
		}
	}
	return nil
}

// planned holds what came out against what was planned.
func (d *demo) planned(p demoParcel, y *cutterv1.Yield) error {
	t := table.New(text("piece"), right("stones planned"), right("expected"), right("finished"), right("revisions"))
	for _, a := range y.GetPlanned() {
		t.Row(p.label+"-"+a.GetLabel(), strconv.Itoa(int(a.GetPlannedStones())), fmt.Sprintf("%d.%02d", a.GetExpectedBp()/10_000, a.GetExpectedBp()%10_000/100),
			strconv.Itoa(int(a.GetStones())), strconv.Itoa(int(a.GetRevisions())))
	}
	d.tell("Planned and had:")
	return d.print(t)
}
