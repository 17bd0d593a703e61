package wire

import (
	"fmt"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw/risk"
)

// Decision shows a choice with what each of its options is worth by the cutter's own chance.
func Decision(c piece.Choice) (*typev1.Decision, error) {
	out := &typev1.Decision{
		Id: c.ID, Kind: typev1.DecisionKind(c.Kind), Part: c.Part, State: typev1.DecisionState(c.Stage), About: c.About, ChanceBp: c.ChanceBp, Chosen: uint32(c.Chosen + 1),
		Reason: c.Reason, Note: c.Note,
	}
	for _, o := range c.Options {
		out.Options = append(out.Options, &typev1.DecisionOption{
			Name: o.GetName(), IfHolds: Money(c.Currency, o.GetIfHoldsMinor()), IfFails: Money(c.Currency, o.GetIfFailsMinor()),
		})
	}
	d := c.Decision()
	compared, err := d.Compare()
	if err != nil {
		return nil, fmt.Errorf("couldn't weigh decision %s: %w", c.ID, err)
	}
	for i, o := range c.Options {
		moments := compared.Acts[i]
		worth := &typev1.OptionWorth{
			OptionLabel: o.GetName(), Expected: Money(c.Currency, risk.Round(moments.Mean)), Spread: Money(c.Currency, moments.Deviation()), NothingBp: d.AtMost(i, 0),
		}
		if i != c.Chosen {
			at, err := d.Indifferent(i, c.Chosen)
			if err != nil {
				return nil, fmt.Errorf("couldn't weigh decision %s: %w", c.ID, err)
			}
			if at != nil {
				bp := risk.BasisPoints(at)
				worth.IndifferentBp = &bp
			}
		}
		out.Worths = append(out.Worths, worth)
	}
	out.Knowing = Money(c.Currency, risk.Round(compared.Worth()))
	return out, nil
}

// DecisionRecord shows what the co-op saw of a kind of decision, beside the caller's own chance.
func DecisionRecord(kind typev1.DecisionKind, r risk.Record, own int64) (*typev1.DecisionRecord, risk.Estimate, error) {
	e, err := r.Estimate(own)
	if err != nil {
		return nil, e, err
	}
	return &typev1.DecisionRecord{Kind: kind, Tried: r.Tried, Held: r.Held, MeanBp: risk.BasisPoints(e.Mean), LowBp: e.Low, HighBp: e.High}, e, nil
}

// ReadOptions reads the options of a decision.
func ReadOptions(broken *rule.All, field string, in []*typev1.DecisionOption) (out []piece.Offered) {
	for i, o := range in {
		at := fmt.Sprintf("%s[%d].", field, i)
		out = append(out, piece.Offered{Name: o.GetName(), IfHolds: Amount(broken, at+"if_holds", o.GetIfHolds()), IfFails: Amount(broken, at+"if_fails", o.GetIfFails())})
	}
	return out
}
