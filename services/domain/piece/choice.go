package piece

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw/risk"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
)

// Bounds of choices.
const (
	MaxChoices = 200 // that a member keeps of a piece
	MaxOptions = 5   // of a choice
)

// Choice is a decision between options when nobody knew how it would come out.
type Choice struct {
	ID, Part, About string
	Kind            piecev1.DecisionKind
	ChanceBp        int64 // that it holds, the cutter's own estimate
	Currency        string
	Options         []*piecev1.DecisionOption
	Chosen          int // from 0
	Reason          string

	Stage ChoiceStage
	Note  string // what was said of how it came out
}

// ChoiceStage is where a choice stands.
type ChoiceStage int

// The stages of a choice.
const (
	ChoiceOpen ChoiceStage = iota + 1
	ChoiceHeld
	ChoiceFailed
	ChoiceSure
)

func (c ChoiceStage) String() string {
	return []string{"", "open", "held", "failed", "sure"}[c]
}

// Offered is an option as it is asked for.
type Offered struct {
	Name             string
	IfHolds, IfFails *eventv1.Amount
}

// Choosing is a choice as it is asked for.
type Choosing struct {
	Member, ID, Part, About string
	Kind                    piecev1.DecisionKind
	ChanceBp                int64
	Options                 []Offered
	Chosen                  uint32 // from 1
	Reason                  string
}

// Choose records a choice (rule 21). The part may be in work, on the shelf, or waiting for a decision. currency is that of
// the piece's parcel.
func (s State) Choose(c Choosing, currency string) (*piecev1.Event, error) {
	part, err := s.there(c.Part)
	if err != nil {
		return nil, err
	}
	if !slices.Contains([]Fate{InWork, Shelf, Waiting}, part.Fate) {
		return nil, rule.Broken{Reason: rule.PartNotInWork, Field: "part", Value: c.Part, Rule: "the part is " + part.Fate.String(), Hint: "only about a part that isn't finished is there something to decide"}
	}
	if n := len(s.Of(c.Member).Choices); n >= MaxChoices {
		return nil, rule.Broken{Reason: rule.TooManyPlans, Value: fmt.Sprintf("%d decisions", n), Rule: fmt.Sprintf("a cutter keeps %d decisions of a piece", MaxChoices), Hint: "write it into a plan or a step's note"}
	}
	var broken rule.All
	broken.Answered("kind", int32(c.Kind), piecev1.DecisionKind_name)
	broken.Text("about", c.About, 200)
	broken.Text("reason", c.Reason, 500)
	if c.ChanceBp < 0 || c.ChanceBp > risk.Certain {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "chance_bp", Value: fmt.Sprint(c.ChanceBp), Rule: "a chance is 0 to 10000 basis points", Hint: "7000 for seven in ten"})
	}
	n := len(c.Options)
	if n < 2 || n > MaxOptions {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "options", Value: fmt.Sprint(n), Rule: fmt.Sprintf("a decision is between 2 to %d options", MaxOptions), Hint: "leave out what nobody would do"})
	}
	if c.Kind == piecev1.DecisionKind_DECISION_KIND_INCLUSION && n != 2 {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "options", Value: fmt.Sprint(n), Rule: "an inclusion is kept or ground away", Hint: "give two options: keep it, then grind it away"})
	}
	if c.Chosen < 1 || int(c.Chosen) > n {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "chosen", Value: fmt.Sprint(c.Chosen), Rule: fmt.Sprintf("it is one of the options, 1 to %d", n), Hint: "give the number of the option"})
	}
	private := &piecev1.DecisionRecorded_Private{
		MemberId: c.Member, DecisionId: c.ID, Kind: c.Kind, About: c.About, ChanceBp: c.ChanceBp, Currency: currency, Chosen: c.Chosen, Reason: c.Reason,
	}
	for i, o := range c.Options {
		at := fmt.Sprintf("options[%d].", i)
		broken.Text(at+"name", o.Name, 120)
		broken.Amount(at+"if_holds", o.IfHolds)
		broken.Currency(at+"if_holds", o.IfHolds, currency)
		broken.Amount(at+"if_fails", o.IfFails)
		broken.Currency(at+"if_fails", o.IfFails, currency)
		private.Options = append(private.Options, &piecev1.DecisionOption{Name: o.Name, IfHoldsMinor: o.IfHolds.GetMinor(), IfFailsMinor: o.IfFails.GetMinor()})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	inclusion := c.Kind == piecev1.DecisionKind_DECISION_KIND_INCLUSION
	return &piecev1.Event{Event: &piecev1.Event_DecisionRecorded{DecisionRecorded: &piecev1.DecisionRecorded{
		Public:  &piecev1.DecisionRecorded_Public{PieceId: s.ID, Part: c.Part, Inclusion: inclusion, Kept: inclusion && c.Chosen == 1},
		Private: private,
	}}}, nil
}

// ComeOut says how a choice came out. Said anew it needs a reason, and takes the place of what was said before. What
// brings the same either way shows nothing.
func (s State) ComeOut(member, id string, held bool, note string) (*piecev1.Event, error) {
	c, ok := s.Of(member).Choice(id)
	switch {
	case !ok:
		return nil, rule.NotThere("decision_id", "decision")
	case c.Stage == ChoiceSure:
		return nil, rule.Broken{Reason: rule.NothingToDecide, Field: "decision_id", Value: id, Rule: "what was chosen brings the same either way, so that nothing shows", Hint: "nothing needs to be done"}
	case c.Stage != ChoiceOpen && note == "":
		return nil, rule.Broken{Reason: rule.AlreadyThere, Field: "note", Rule: "how it came out is recorded: it " + c.Stage.String(), Hint: "to say it anew, say why"}
	}
	var broken rule.All
	optional(&broken, "note", note, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	private := &piecev1.OutcomeRecorded_Private{MemberId: member, DecisionId: id, Kind: c.Kind, Held: held, Note: note}
	if c.Stage != ChoiceOpen {
		private.HeldBefore = proto.Bool(c.Stage == ChoiceHeld)
	}
	return &piecev1.Event{Event: &piecev1.Event_OutcomeRecorded{OutcomeRecorded: &piecev1.OutcomeRecorded{
		Public: &piecev1.OutcomeRecorded_Public{PieceId: s.ID}, Private: private,
	}}}, nil
}

// Choice finds a choice.
func (p Papers) Choice(id string) (Choice, bool) {
	i := slices.IndexFunc(p.Choices, func(c Choice) bool { return c.ID == id })
	if i < 0 {
		return Choice{}, false
	}
	return p.Choices[i], true
}

// Decision is the choice as package risk weighs it: the first state holds, the second fails; the acts are the options.
func (c Choice) Decision() risk.Decision {
	d := risk.Decision{States: []risk.State{{Name: "holds", Chance: c.ChanceBp}, {Name: "fails", Chance: risk.Certain - c.ChanceBp}}}
	for _, o := range c.Options {
		d.Acts = append(d.Acts, risk.Act{Name: o.GetName(), Values: []int64{o.GetIfHoldsMinor(), o.GetIfFailsMinor()}})
	}
	return d
}

// evolveChoices folds what happens to choices.
func evolveChoices(s State, event *piecev1.Event) State {
	switch e := event.GetEvent().(type) {
	case *piecev1.Event_DecisionRecorded:
		p := e.DecisionRecorded.GetPrivate()
		c := Choice{
			ID: p.GetDecisionId(), Part: e.DecisionRecorded.GetPublic().GetPart(), About: p.GetAbout(), Kind: p.GetKind(), ChanceBp: p.GetChanceBp(), Currency: p.GetCurrency(),
			Options: p.GetOptions(), Chosen: int(p.GetChosen()) - 1, Reason: p.GetReason(), Stage: ChoiceOpen,
		}
		if c.Chosen >= 0 && c.Chosen < len(c.Options) {
			if o := c.Options[c.Chosen]; o.GetIfHoldsMinor() == o.GetIfFailsMinor() {
				c.Stage = ChoiceSure
			}
		}
		return s.withPapers(p.GetMemberId(), func(own *Papers) { own.Choices = append(slices.Clip(own.Choices), c) })
	case *piecev1.Event_OutcomeRecorded:
		p := e.OutcomeRecorded.GetPrivate()
		return s.withPapers(p.GetMemberId(), func(own *Papers) {
			own.Choices = slices.Clone(own.Choices)
			for i := range own.Choices {
				if own.Choices[i].ID == p.GetDecisionId() {
					own.Choices[i].Stage, own.Choices[i].Note = ChoiceFailed, p.GetNote()
					if p.GetHeld() {
						own.Choices[i].Stage = ChoiceHeld
					}
				}
			}
		})
	}
	return s
}
