package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/choicefile"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/saw/draw"
	"seamshare.example/services/estimate"
)

const noAdvice = "What is better on average can still lose the stone: see the spread."

func (s *session) estimateSeamsCommand() *cobra.Command {
	r := &cutterv1.EstimateSeamsRequest{Cut: cutterv1.SeamCut_SEAM_CUT_BISECTOR}
	var second int64
	var wager cutterv1.Wager
	var picture string
	c := &cobra.Command{
		Use:   "seams --angle DEGREES --backing MM --kerf MM --from MM …",
		Short: "Where two seams at an angle both give a stone",
		Long: `Says from where outward two seams of colour that meet at an angle both leave a stone
with its backing, what backing is left at a place, and what each choice recovers: one
seam only, both from there on, or both on the open part and one at the closed end.

All places are measured from where the seams meet, or would if they went on: along the
line midway for a cut midway (bisector), along the first seam for one parallel to it.
The saw's reach and how the piece is gripped are not looked at.

With --one, --holds, --fails and --chance it also says what one and both are worth by
your own estimates, before levy and work.

` + strings.TrimSpace(safetyLine),
		Example: `  seamshare estimate seams --angle 14 --backing 1.2 --kerf 0.6 --from 4 --to 38
  seamshare estimate seams --angle 14 --backing 1.2 --kerf 0.6 --from 4 \
    --to 38 --at 12.5 --one "1350 AUD" --holds "1910 AUD" --fails "420 AUD" \
    --chance "70 %" --picture seams.svg`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if c.Flags().Changed("second-backing") {
				r.SecondBackingUm = &second
			}
			if c.Flags().Changed("one") {
				r.Wager = &wager
			}
			answer, err := reckoned(r, estimate.Seams, map[string]string{
				"angle_mdeg": "--angle", "from_um": "--from", "to_um": "--to", "backing_um": "--backing", "second_backing_um": "--second-backing", "kerf_um": "--kerf",
				"wander_um": "--wander", "cut": "--cut", "at_um": "--at", "wager.one": "--one", "wager.holds": "--holds", "wager.fails": "--fails", "wager.chance_bp": "--chance",
			})
			if err != nil {
				return err
			}
			if picture != "" {
				if err := drawSeams(picture, r, answer); err != nil {
					return err
				}
			}
			return s.estimated(answer, func(w io.Writer) error {
				if err := printSeams(w, r, answer); err != nil {
					return err
				}
				if picture != "" {
					say(w, "Drawn: %s", picture)
				}
				sayCaution(w)
				return nil
			})
		},
	}
	c.Flags().Var(&parsed[int64]{into: &r.AngleMdeg, parse: parseAngle, kind: "degrees"}, "angle", "the angle between the seams")
	mmFlag(c, &r.BackingUm, "backing", "the backing that each stone needs")
	mmFlag(c, &second, "second-backing", "that of the second, where it differs")
	mmFlag(c, &r.KerfUm, "kerf", "the blade's kerf, measured")
	mmFlag(c, &r.WanderUm, "wander", "how far the blade may wander to either side")
	mmFlag(c, &r.FromUm, "from", "where the piece begins")
	mmFlag(c, &r.ToUm, "to", "where it ends")
	mmFlag(c, &r.AtUm, "at", "where the open part is to be parted from the closed end; without it, where both can first be had")
	wordFlag(c, &r.Cut, "cut", "how the cut runs, midway where it isn't said")
	moneyFlag(c, &wager.One, "one", "what one seam only brings")
	moneyFlag(c, &wager.Holds, "holds", "what both bring if it holds")
	moneyFlag(c, &wager.Fails, "fails", "what they bring if it doesn't")
	chanceFlag(c, &wager.ChanceBp, "chance", "the chance that it holds, your own estimate")
	c.Flags().StringVar(&picture, "picture", "", "draw the section, to scale, as this SVG `file`")
	need(c, "angle", "backing", "kerf", "from", "to")
	together(c, "one", "holds", "fails", "chance")
	return c
}

// drawSeams draws the section, parted where that can be done.
func drawSeams(path string, r *cutterv1.EstimateSeamsRequest, a *cutterv1.EstimateSeamsResponse) error {
	seams, cut := estimate.Angled(r)
	angled := draw.Angled{Name: "the piece", Seams: seams, Cut: cut, PlaceUm: r.GetAtUm()}
	return writeWhole(path, func(w io.Writer) error { return draw.Seams(w, angled, draw.Options{}) })
}

func printSeams(w io.Writer, r *cutterv1.EstimateSeamsRequest, a *cutterv1.EstimateSeamsResponse) error {
	if a.GetBothFromUm() > r.GetToUm() {
		sayLong(w, "Both stones could be had from %s outward, which is beyond the piece's end at %s: one seam only.", micrometres(a.GetBothFromUm()), measure.Length(r.GetToUm()))
	} else {
		sayLong(w, "Both stones can be had from %s outward; the piece ends at %s.", micrometres(a.GetBothFromUm()), measure.Length(r.GetToUm()))
	}
	first, second := a.GetFirstLeftUm(), a.GetSecondLeftUm()
	left := fmt.Sprintf("%s of backing is left on each side", micrometres(first))
	if first != second {
		left = fmt.Sprintf("the first is left with %s of backing, the second with %s", micrometres(first), micrometres(second))
	}
	sayLong(w, "At %s %s.", measure.Length(a.GetAtUm()), left)
	if !a.GetBothAt() {
		say(w, "There both can't be had.")
	} else {
		say(w, "")
		t := table.New(wrapped("choice"), right("first mm"), right("second mm"), right("closed end mm"))
		for _, y := range a.GetChoices() {
			closed := ""
			if one, two := y.GetClosedFirstUm(), y.GetClosedSecondUm(); one != two {
				closed = mm(one) + " or " + mm(two)
			} else if one > 0 {
				closed = mm(one)
			}
			t.Row(y.GetChoiceLabel(), mm(y.GetFirstUm()), mm(y.GetSecondUm()), closed)
		}
		if _, err := t.WriteTo(w); err != nil {
			return err
		}
		say(w, "  Lengths along the seams that keep their backing; the closed end gives one.")
	}
	if a.GetWorth() != nil {
		say(w, "")
		return printWorth(w, a.GetWorth())
	}
	return nil
}

// printWorth sets acts beside each other.
func printWorth(w io.Writer, worth *cutterv1.ChoiceWorth) error {
	currency := worth.GetKnowing().GetCurrencyCode()
	t := table.New(wrapped("choice"), right("expected "+currency), right("spread"), right("chance of nothing"), right("as good as * at"))
	for _, a := range worth.GetActs() {
		name, as := a.GetActLabel(), ""
		if name == worth.GetBestLabel() {
			name += " *"
		}
		if a.IndifferentBp != nil {
			as = percentOf(a.GetIndifferentBp())
		}
		t.Row(name, bare(amount.Text(a.GetExpected())), bare(amount.Text(a.GetSpread())), percentOf(a.GetNothingBp()), as)
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	sayLong(w, "  * the most on average. Knowing beforehand would be worth %s, the most that any look can be.", amount.Text(worth.GetKnowing()))
	sayLong(w, "%s By your own chances and prices, estimated; no valuation.", noAdvice)
	return nil
}

// percentOf is basis points as a percentage with all they have.
func percentOf(bp int64) string { return fmt.Sprintf("%d.%02d %%", bp/100, bp%100) }

func (s *session) estimateChoiceCommand() *cobra.Command {
	r := &cutterv1.EstimateChoiceRequest{}
	look := &cutterv1.ChoiceLook{}
	c := &cobra.Command{
		Use:   "choice [FILE] [--state STATE… --act ACT…]",
		Short: "Which choice is worth more when nobody knows how it comes out",
		Long: `Weighs what can be done against how it can come out: what each act brings on average
and how surely, what knowing beforehand would be worth, and what a look is worth: a
face, a window, a trial cut, which shows signs of how it will come out.

A state is a name and its chance; all of them make 100 %. An act is a name and what it
brings in each state, in their order. A finding is a name and the chance that the look
shows it in each state.

All of it can stand in a JSON file instead:

` + choicefile.Help,
		Example: `  seamshare estimate choice --state "holds = 70 %" --state "fails = 30 %" \
    --act "one only = 1350 AUD or 1350 AUD" --act "both = 1910 AUD or 420 AUD" \
    --look "40 AUD" --finding "clear = 90 % or 20 %" \
    --finding "cloudy = 10 % or 80 %"
  seamshare estimate choice choice.json`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return wrongUsage("", "see "+c.CommandPath()+" --help", "%q is one word too many; there is one file", args[1])
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			typed := c.Flags().Changed("state") || c.Flags().Changed("act") || c.Flags().Changed("look") || c.Flags().Changed("finding")
			fields := map[string]string{"states": "--state", "acts": "--act", "look.findings": "--finding", "look": "--look"}
			switch {
			case typed && len(args) > 0:
				return wrongUsage("FILE", "give a file or flags", "states and acts stand in it already")
			case len(args) > 0:
				var err error
				if r, err = s.readChoice(args[0]); err != nil {
					return err
				}
				fields = nil
			default:
				if c.Flags().Changed("look") || c.Flags().Changed("finding") {
					r.Look = look
				}
			}
			answer, err := reckoned(r, estimate.Choice, fields)
			if err != nil {
				return err
			}
			return s.estimated(answer, func(w io.Writer) error { return printChoice(w, answer) })
		},
	}
	listFlag(c, &r.States, "state", "state", "a way it can come out, as \"NAME = CHANCE\"; again for each", func(text string) (*cutterv1.ChoiceState, error) {
		name, chance, err := namedValues(text, parseChance, "holds = 70 %")
		if err == nil && len(chance) > 1 {
			err = fmt.Errorf("%q: a state has one chance", text)
		}
		if err != nil {
			return nil, err
		}
		return &cutterv1.ChoiceState{Name: name, ChanceBp: chance[0]}, nil
	})
	listFlag(c, &r.Acts, "act", "act", "something that can be done, as \"NAME = AMOUNT or AMOUNT …\"; again for each", func(text string) (*cutterv1.ChoiceAct, error) {
		name, values, err := namedValues(text, amount.Parse, "both = 1910 AUD or 420 AUD")
		return &cutterv1.ChoiceAct{Name: name, Values: values}, err
	})
	moneyFlag(c, &look.Cost, "look", "what a look costs")
	listFlag(c, &look.Findings, "finding", "finding", "what a look can show, as \"NAME = CHANCE or CHANCE …\"; again for each", func(text string) (*cutterv1.LookFinding, error) {
		name, given, err := namedValues(text, parseChance, "clear = 90 % or 20 %")
		return &cutterv1.LookFinding{Name: name, GivenBp: given}, err
	})
	return c
}

// namedValues reads "both = 1910 AUD or 420 AUD".
func namedValues[T any](text string, parse func(string) (T, error), example string) (name string, values []T, err error) {
	name, rest, ok := strings.Cut(text, "=")
	if name = strings.TrimSpace(name); !ok || name == "" {
		return "", nil, fmt.Errorf("%q: write a name, = and what there is in each state, such as %q", text, example)
	}
	for one := range strings.SplitSeq(rest, " or ") {
		v, err := parse(strings.TrimSpace(one))
		if err != nil {
			return "", nil, err
		}
		values = append(values, v)
	}
	return name, values, nil
}

func (s *session) readChoice(path string) (*cutterv1.EstimateChoiceRequest, error) {
	data, err := s.readInput(path, choicefile.MaxBytes)
	if err != nil {
		return nil, err
	}
	r, problems := choicefile.Parse(data, parseChance)
	if len(problems) > 0 {
		return nil, fileFailure(path, "choice file", "see seamshare estimate choice --help", fieldProblems(problems))
	}
	return r, nil
}

func printChoice(w io.Writer, a *cutterv1.EstimateChoiceResponse) error {
	if err := printWorth(w, a.GetWorth()); err != nil {
		return err
	}
	l := a.GetLook()
	if l == nil {
		return nil
	}
	say(w, "")
	t := table.New(wrapped("if the look shows"), right("chance"), wrapped("then"), right("worth "+l.GetWorth().GetCurrencyCode()))
	for _, f := range l.GetFindings() {
		t.Row(f.GetFindingLabel(), percentOf(f.GetChanceBp()), f.GetActLabel(), bare(amount.Text(f.GetExpected())))
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	verdict := "less than it costs"
	if l.GetWorth().GetUnits() > 0 || l.GetWorth().GetNanos() > 0 {
		verdict = "more than it costs"
	}
	sayLong(w, "The look is worth %s before its cost, %s: %s with it, its cost taken off.", amount.Text(l.GetGross()), verdict, amount.Text(l.GetExpected()))
	return nil
}

func (s *session) estimateInclusionCommand() *cobra.Command {
	r := &cutterv1.EstimateInclusionRequest{Per: typev1.PricedBy_PRICED_BY_CARAT}
	var mass measure.Mass
	c := &cobra.Command{
		Use:   "inclusion --mass MASS --take-off MM --kept AMOUNT …",
		Short: "Something in the face: keep it, or grind it off",
		Long: `Values both: a stone that keeps what is in its face, and one that is ground thinner by
--take-off, which costs mass and may clear it, leave it, or spoil the stone. --kept and
--cleared are prices for a carat, or for a mm² of the face with --per face-mm2; boulder
is usually judged by its face, which grinding hardly changes.

` + strings.TrimSpace(safetyLine),
		Example: `  seamshare estimate inclusion --mass "3.04 ct" --face "84.8 mm2" \
    --gravity 2.1 --take-off 0.3 --kept "240 AUD" --cleared "420 AUD" \
    --clears "70 %" --spoils "10 %" --spoilt "60 AUD" --cost "25 AUD"`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			r.MassUg = int64(mass)
			answer, err := reckoned(r, estimate.Inclusion, map[string]string{
				"mass_ug": "--mass", "thickness_um": "--take-off", "face_um2": "--face", "sg_milli": "--gravity", "per": "--per", "kept": "--kept", "cleared": "--cleared",
				"clears_bp": "--clears", "spoils_bp": "--spoils", "spoilt": "--spoilt", "cost": "--cost",
			})
			if err != nil {
				return err
			}
			return s.estimated(answer, func(w io.Writer) error { return printInclusion(w, r, answer) })
		},
	}
	massFlag(c, &mass, "mass", "what the stone weighs as it is")
	faceFlag(c, &r.FaceUm2, "face", "its face")
	mmFlag(c, &r.ThicknessUm, "take-off", "how thick a layer would be ground off the face")
	gravityFlag(c, &r.SgMilli, "gravity", "the specific gravity of what is ground off")
	moneyFlag(c, &r.Kept, "kept", "the price with it in the face")
	moneyFlag(c, &r.Cleared, "cleared", "the price without it")
	c.Flags().Var(&parsed[typev1.PricedBy]{into: &r.Per, kind: "word", parse: parsePer}, "per", "what the prices are for, a carat where it isn't said: face-mm2, carat")
	complete(c, "per", []string{"face-mm2", "carat"})
	chanceFlag(c, &r.ClearsBp, "clears", "the chance that it is gone then")
	chanceFlag(c, &r.SpoilsBp, "spoils", "the chance that the colour is ground through or the stone breaks")
	moneyFlag(c, &r.Spoilt, "spoilt", "what the spoilt stone still brings; without it, nothing")
	moneyFlag(c, &r.Cost, "cost", "what the work costs; without it, nothing")
	need(c, "mass", "face", "take-off", "gravity", "kept", "cleared", "clears", "spoils")
	return c
}

// parsePer reads what a stone is priced by, its face or its mass.
func parsePer(text string) (typev1.PricedBy, error) {
	per, err := parseWord[typev1.PricedBy](text)
	if err != nil || per > typev1.PricedBy_PRICED_BY_CARAT {
		return 0, fmt.Errorf("%q: choose one of face-mm2, carat", text)
	}
	return per, nil
}

func printInclusion(w io.Writer, r *cutterv1.EstimateInclusionRequest, a *cutterv1.EstimateInclusionResponse) error {
	sayLong(w, "Grinding %s off %s mm² of face takes %s and leaves %s.", measure.Length(r.GetThicknessUm()), mm2(r.GetFaceUm2()), roughly(a.GetLossUg()), roughly(a.GetLeftUg()))
	say(w, "")
	currency := a.GetWorth().GetKnowing().GetCurrencyCode()
	t := table.New(text("if it is ground"), right("chance"), right("kept "+currency), right("ground "+currency))
	for _, o := range a.GetOutcomes() {
		t.Row(o.GetOutcomeLabel(), percentOf(o.GetChanceBp()), bare(amount.Text(o.GetKept())), bare(amount.Text(o.GetGround())))
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	say(w, "")
	if err := printWorth(w, a.GetWorth()); err != nil {
		return err
	}
	sayCaution(w)
	return nil
}
