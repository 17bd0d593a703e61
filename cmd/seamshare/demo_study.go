package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
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
	studied, err := cutter.StudyPiece(d.ctx, &cutterv1.StudyPieceRequest{RequestId: d.id(), PieceId: id, Note: s.note})
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
	for _, s := range p.stones {
		out.Stones = append(out.Stones, &typev1.PlannedStone{Label: s.label, Outline: s.outline, Size: builtIn(parseSize(s.size)), ChanceBp: s.chance * 100})
	}
	return out
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
