package estimate

import (
	"fmt"
	"strings"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/saw/risk"
)

// Choice estimates what acts are worth against states, and what a look is.
func Choice(req *cutterv1.EstimateChoiceRequest) (*cutterv1.EstimateChoiceResponse, error) {
	var d risk.Decision
	var purse purse
	for _, s := range req.GetStates() {
		d.States = append(d.States, risk.State{Name: s.GetName(), Chance: s.GetChanceBp()})
	}
	for i, a := range req.GetActs() {
		act := risk.Act{Name: a.GetName()}
		for j, v := range a.GetValues() {
			act.Values = append(act.Values, purse.minor(fmt.Sprintf("acts[%d].values[%d]", i, j), v))
		}
		d.Acts = append(d.Acts, act)
	}
	cost := purse.minor("look.cost", req.GetLook().GetCost())
	if err := purse.broken.Err(); err != nil {
		return nil, err
	}
	out := &cutterv1.EstimateChoiceResponse{}
	var err error
	if out.Worth, err = worth(d, &purse); err != nil {
		return nil, renamed(err, choiceField)
	}
	if req.GetLook() == nil {
		return out, nil
	}
	look := risk.Look{Cost: cost}
	for _, f := range req.GetLook().GetFindings() {
		look.Findings = append(look.Findings, risk.Finding{Name: f.GetName(), Given: f.GetGivenBp()})
	}
	looked, err := d.Look(look)
	if err != nil {
		return nil, renamed(err, func(field string) string { return "look." + choiceField(field) })
	}
	out.Look = &cutterv1.LookWorth{
		Expected: purse.show(risk.Round(looked.With)), Worth: purse.show(risk.Round(looked.Worth)), Gross: purse.show(risk.Round(looked.Gross(cost))),
	}
	for i, f := range looked.Findings {
		shown := &cutterv1.FindingWorth{FindingLabel: look.Findings[i].Name, ChanceBp: risk.BasisPoints(f.Chance)}
		if f.Mean != nil {
			shown.ActLabel, shown.Expected = d.Acts[f.Best].Name, purse.show(risk.Round(f.Mean))
		}
		out.Look.Findings = append(out.Look.Findings, shown)
	}
	return out, nil
}

// choiceField is what the request calls a field of package risk.
func choiceField(field string) string {
	if at, ok := strings.CutSuffix(field, ".chance"); ok {
		return at + ".chance_bp"
	}
	field, state, in := strings.Cut(field, ", in state ")
	if in {
		return field + ", in states[" + state + "]"
	}
	return strings.Replace(field, ".given", ".given_bp", 1)
}

// worth compares a decision's acts.
func worth(d risk.Decision, purse *purse) (*cutterv1.ChoiceWorth, error) {
	compared, err := d.Compare()
	if err != nil {
		return nil, err
	}
	out := &cutterv1.ChoiceWorth{BestLabel: d.Acts[compared.Best].Name, Knowing: purse.show(risk.Round(compared.Worth()))}
	for i, a := range d.Acts {
		m := compared.Acts[i]
		shown := &cutterv1.ActWorth{
			ActLabel: a.Name, Expected: purse.show(risk.Round(m.Mean)), Spread: purse.show(m.Deviation()), NothingBp: d.AtMost(i, 0),
		}
		if i != compared.Best && len(d.States) == 2 {
			at, err := d.Indifferent(i, compared.Best)
			if err != nil {
				return nil, err
			}
			if at != nil {
				bp := risk.BasisPoints(at)
				shown.IndifferentBp = &bp
			}
		}
		out.Acts = append(out.Acts, shown)
	}
	return out, nil
}

// Inclusion estimates whether to keep something in the face or to grind it off.
func Inclusion(req *cutterv1.EstimateInclusionRequest) (*cutterv1.EstimateInclusionResponse, error) {
	var purse purse
	i := risk.Inclusion{
		MassUg: req.GetMassUg(), Clears: req.GetClearsBp(), Spoils: req.GetSpoilsBp(),
		Kept: purse.minor("kept", req.GetKept()), Cleared: purse.minor("cleared", req.GetCleared()),
		Spoilt: purse.minor("spoilt", req.GetSpoilt()), Cost: purse.minor("cost", req.GetCost()),
	}
	names := named(map[string]string{"clears": "clears_bp", "spoils": "spoils_bp", "loss_ug": "thickness_um", "density_ug_per_mm3": "sg_milli"})
	loss, err := risk.Ground(req.GetFaceUm2(), req.GetThicknessUm(), req.GetSgMilli())
	if err != nil {
		return nil, renamed(err, names)
	}
	i.LossUg = loss
	if req.GetPer() == typev1.PricedBy_PRICED_BY_FACE_MM2 {
		i.FaceUm2 = req.GetFaceUm2()
	}
	d, err := i.Decision()
	if wrong := purse.broken.Merge("", err); wrong != nil {
		return nil, wrong
	}
	if err := purse.broken.Err(); err != nil {
		return nil, renamed(err, names)
	}
	out := &cutterv1.EstimateInclusionResponse{LossUg: loss, LeftUg: i.MassUg - loss}
	for s, state := range d.States {
		out.Outcomes = append(out.Outcomes, &cutterv1.InclusionOutcome{
			OutcomeLabel: state.Name, ChanceBp: state.Chance, Kept: purse.show(d.Acts[0].Values[s]), Ground: purse.show(d.Acts[1].Values[s]),
		})
	}
	out.Worth, err = worth(d, &purse)
	return out, err
}
