package piece

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"seamshare.example/services/domain/rule"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// What bounds plans.
const (
	MaxPlans     = 20 // that a member has of a piece
	MaxRevisions = 50 // of a plan
	MaxPlanned   = 30 // stones of a plan
	MaxSteps     = 60 // of a plan
)

// Plan is a plan with all its revisions.
type Plan struct {
	ID        string
	Stage     PlanStage
	Reason    string     // why it was chosen or dropped
	Revisions []Revision // oldest first; the last one stands
}

// Revision is a plan as it stood.
type Revision struct {
	Plan *piecev1.Plan
	Why  string // why it was revised; empty in the first
}

// Now is the revision that stands.
func (p Plan) Now() Revision { return p.Revisions[len(p.Revisions)-1] }

// PlanStage is where a plan stands.
type PlanStage int

// The stages of a plan.
const (
	PlanOpen PlanStage = iota + 1
	PlanChosen
	PlanDropped
)

func (p PlanStage) String() string {
	switch p {
	case PlanOpen:
		return "open"
	case PlanChosen:
		return "chosen"
	case PlanDropped:
		return "dropped"
	}
	return ""
}

// Plan finds a plan.
func (p Papers) Plan(id string) (Plan, bool) {
	i := p.planIndex(id)
	if i < 0 {
		return Plan{}, false
	}
	return p.Plans[i], true
}

// Chosen is the plan that is followed, if one is.
func (p Papers) Chosen() (Plan, bool) {
	i := slices.IndexFunc(p.Plans, func(plan Plan) bool { return plan.Stage == PlanChosen })
	if i < 0 {
		return Plan{}, false
	}
	return p.Plans[i], true
}

func (p Papers) planIndex(id string) int {
	return slices.IndexFunc(p.Plans, func(plan Plan) bool { return plan.ID == id })
}

// MakePlan makes a plan (rule 15). currency is that of the piece's parcel; measured is nil for a plan in words.
func (s State) MakePlan(member, id string, plan *piecev1.Plan, measured *Measured, currency string) (*piecev1.Event, error) {
	if s.ID == "" {
		return nil, rule.NotThere("piece_id", "piece")
	}
	own := s.Of(member)
	if len(own.Plans) >= MaxPlans {
		return nil, rule.Broken{Reason: rule.TooManyPlans, Value: fmt.Sprintf("%d plans", len(own.Plans)), Rule: fmt.Sprintf("a cutter has at most %d plans of a piece", MaxPlans), Hint: "revise one of them"}
	}
	plan, err := own.checkPlan(plan, measured, currency)
	if err != nil {
		return nil, err
	}
	return s.planned(member, id, 1, plan, "")
}

// RevisePlan puts another revision in the place of the one that stood, which is kept
// (rule 15). A chosen plan may be revised too, as after a look.
func (s State) RevisePlan(member, id string, plan *piecev1.Plan, measured *Measured, why, currency string) (*piecev1.Event, error) {
	own := s.Of(member)
	p, err := own.livePlan(id)
	if err != nil {
		return nil, err
	}
	if len(p.Revisions) >= MaxRevisions {
		return nil, rule.Broken{Reason: rule.TooManyPlans, Field: "plan_id", Value: id, Rule: fmt.Sprintf("a plan keeps at most %d revisions", MaxRevisions), Hint: "drop it and make a new one"}
	}
	var broken rule.All
	broken.Text("why", why, 500)
	plan, err = own.checkPlan(plan, measured, currency)
	if err := broken.Merge("", err); err != nil {
		return nil, err
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return s.planned(member, id, uint32(len(p.Revisions)+1), plan, why)
}

func (s State) planned(member, id string, revision uint32, plan *piecev1.Plan, why string) (*piecev1.Event, error) {
	planned := &piecev1.Planned{
		Public:  &piecev1.Planned_Public{PieceId: s.ID},
		Private: &piecev1.Planned_Private{MemberId: member, PlanId: id, Revision: revision, Plan: plan, Why: why},
	}
	if err := s.Of(member).keeps(planned); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_Planned{Planned: planned}}, nil
}

// ChoosePlan makes a plan the one that is followed; the one before is open again (rule
// 15).
func (s State) ChoosePlan(member, id, reason string) (*piecev1.Event, error) {
	p, err := s.Of(member).livePlan(id)
	if err != nil {
		return nil, err
	}
	if p.Stage == PlanChosen {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Field: "plan_id", Value: id, Rule: "the plan is chosen already", Hint: "nothing needs to be done"}
	}
	var broken rule.All
	broken.Text("reason", reason, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_PlanChosen{PlanChosen: &piecev1.PlanChosen{
		Public:  &piecev1.PlanChosen_Public{PieceId: s.ID},
		Private: &piecev1.PlanChosen_Private{MemberId: member, PlanId: id, Revision: uint32(len(p.Revisions)), Reason: reason},
	}}}, nil
}

// DropPlan sets a plan aside for good (rule 15).
func (s State) DropPlan(member, id, reason string) (*piecev1.Event, error) {
	if _, err := s.Of(member).livePlan(id); err != nil {
		return nil, err
	}
	var broken rule.All
	broken.Text("reason", reason, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &piecev1.Event{Event: &piecev1.Event_PlanDropped{PlanDropped: &piecev1.PlanDropped{
		Public:  &piecev1.PlanDropped_Public{PieceId: s.ID},
		Private: &piecev1.PlanDropped_Private{MemberId: member, PlanId: id, Reason: reason},
	}}}, nil
}

func (p Papers) livePlan(id string) (Plan, error) {
	plan, ok := p.Plan(id)
	if !ok {
		return plan, rule.NotThere("plan_id", "plan")
	}
	if plan.Stage == PlanDropped {
		return plan, rule.Broken{Reason: rule.PlanIsDropped, Field: "plan_id", Value: id, Rule: "the plan was dropped", Hint: "make a new one"}
	}
	return plan, nil
}

// checkPlan gives the plan as it is kept: that in words, or the measured one under the label and reason of that in words.
func (p Papers) checkPlan(plan *piecev1.Plan, measured *Measured, currency string) (*piecev1.Plan, error) {
	if measured == nil {
		return plan, checkWords(plan, currency)
	}
	if _, _, err := p.Drawing(measured.studyID); err != nil {
		return nil, err
	}
	if got := measured.Result.Money.Currency; got != currency {
		return nil, rule.Broken{Reason: rule.CurrencyDiffers, Field: "plan.cut.settings.currency", Value: got, Rule: "all money of one parcel is in one currency, here " + currency, Hint: "plan in " + currency}
	}
	return measured.under(plan)
}

func checkWords(p *piecev1.Plan, currency string) error {
	var broken rule.All
	broken.Text("plan.label", p.GetLabel(), 80)
	broken.Text("plan.reason", p.GetReason(), 2000)
	if n := len(p.GetStones()); n > MaxPlanned {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "plan.stones", Value: fmt.Sprint(n), Rule: fmt.Sprintf("a plan has at most %d stones", MaxPlanned), Hint: "plan the rest as a counted lot"})
	}
	if n := len(p.GetSteps()); n > MaxSteps {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "plan.steps", Value: fmt.Sprint(n), Rule: fmt.Sprintf("a plan has at most %d steps", MaxSteps), Hint: "say several in one"})
	}
	for i, step := range p.GetSteps() {
		broken.Text(fmt.Sprintf("plan.steps[%d]", i), step, 500)
	}
	if p.GetMinutes() > maxMinutes*10 {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "plan.minutes", Value: fmt.Sprint(p.GetMinutes()), Rule: fmt.Sprintf("a plan takes at most %d minutes", maxMinutes*10), Hint: "give bench minutes, rest not counted"})
	}
	for i, st := range p.GetStones() {
		at := fmt.Sprintf("plan.stones[%d].", i)
		broken.Text(at+"label", st.GetLabel(), 40)
		broken.Answered(at+"outline", int32(st.GetOutline()), stonev1.Outline_name)
		broken.Size(at+"size", st.GetSize())
		CheckGrade(&broken, at+"grade", st.GetGrade())
		if c := st.GetChanceBp(); c < 1 || c > 10_000 {
			broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: at + "chance_bp", Value: fmt.Sprint(c), Rule: "a chance is 1 to 10000 basis points", Hint: "10000 where it is sure, 7000 for seven in ten"})
		}
		optional(&broken, at+"market", st.GetMarket(), 80)
		if w := st.GetWorth(); w != nil {
			broken.Amount(at+"worth", w)
			broken.Currency(at+"worth", w, currency)
		}
		if m := st.GetMassUg(); m < 0 || m > rule.MaxMassUg {
			broken.Add(rule.Broken{Reason: rule.MassInvalid, Field: at + "mass_ug", Value: fmt.Sprint(m), Rule: "a mass is not below zero", Hint: "0 where it isn't estimated"})
		}
	}
	return broken.Err()
}

// evolvePlans folds what happens to plans.
func evolvePlans(s State, e *piecev1.Event) State {
	switch e := e.GetEvent().(type) {
	case *piecev1.Event_Planned:
		p := e.Planned.GetPrivate()
		revision := Revision{Plan: p.GetPlan(), Why: p.GetWhy()}
		return s.withPapers(p.GetMemberId(), func(own *Papers) {
			own.keptBytes += proto.Size(e.Planned)
			if own.planIndex(p.GetPlanId()) < 0 {
				own.Plans = append(slices.Clip(own.Plans), Plan{ID: p.GetPlanId(), Stage: PlanOpen, Revisions: []Revision{revision}})
				return
			}
			own.change(p.GetPlanId(), func(plan *Plan) { plan.Revisions = append(slices.Clip(plan.Revisions), revision) })
		})
	case *piecev1.Event_PlanChosen:
		p := e.PlanChosen.GetPrivate()
		return s.withPapers(p.GetMemberId(), func(own *Papers) {
			if before, ok := own.Chosen(); ok {
				own.change(before.ID, func(plan *Plan) { plan.Stage, plan.Reason = PlanOpen, "" })
			}
			own.change(p.GetPlanId(), func(plan *Plan) { plan.Stage, plan.Reason = PlanChosen, p.GetReason() })
		})
	case *piecev1.Event_PlanDropped:
		p := e.PlanDropped.GetPrivate()
		return s.withPapers(p.GetMemberId(), func(own *Papers) {
			own.change(p.GetPlanId(), func(plan *Plan) { plan.Stage, plan.Reason = PlanDropped, p.GetReason() })
		})
	}
	return s
}

// change changes one plan in a list of its own.
func (p *Papers) change(id string, change func(*Plan)) {
	if i := p.planIndex(id); i >= 0 {
		p.Plans = slices.Clone(p.Plans)
		change(&p.Plans[i])
	}
}
