package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/wire"
)

func (s *session) planCommand() *cobra.Command {
	return s.withPlanFiles(group("plan", "Plans of how to cut a piece, in a file or kept (cutter)",
		s.planMakeCommand(), s.planReviseCommand(), s.planChooseCommand(), s.planDropCommand(), s.planListCommand(),
		s.planEvaluateCommand(), s.planSuggestCommand(), s.planDrawCommand(), s.planDecideCommand(), s.planOutcomeCommand(), s.planDecisionsCommand(), s.planRecordCommand()))
}

// planFlags are all that a plan says.
func planFlags(c *cobra.Command, d *typev1.PlanDraft) {
	f := c.Flags()
	f.StringVar(&d.Label, "label", "", "what you call it")
	f.Var(&parsed[[]*typev1.PlannedStone]{into: &d.Stones, kind: "stone", parse: func(text string) ([]*typev1.PlannedStone, error) {
		stone, err := parsePlannedStone(text)
		return append(d.Stones, stone), err
	}}, "stone", "a stone it should give; again for each")
	f.StringArrayVar(&d.Steps, "step", nil, "a step, in words; again for each, in order")
	f.Uint32Var(&d.Minutes, "minutes", 0, "bench minutes it should take")
	f.StringVar(&d.Reason, "reason", "", "what speaks for it")
}

const stoneShape = `--stone is the stone's name, outline, size and the chance that it comes out, and what
else you expect, separated by commas: its worth, its mass, for whom it is, its tone,
and words for its transparency, pattern and brightness. In full:

  --stone "A, oval, 12x9x3 mm, 70 %, worth 740.00 AUD, mass 3.04 ct,
    for pairs, tone 4, crystal, broad-flash, strong"
`

const estimatesLine = `Chance and worth are your own estimates; they are no valuation.
`

func (s *session) planMakeCommand() *cobra.Command {
	var d typev1.PlanDraft
	var file fromFile
	c := &cobra.Command{
		Use:   "make PIECE --reason TEXT (--file FILE | --label NAME …)",
		Short: "Make a plan for a piece; it may have several, side by side",
		Long: "Makes a plan for a piece. A piece may have several, that stand side by side until one is chosen.\nIt is measured on the piece as last drawn, from a plan file, or said in words.\n\n" +
			stoneShape + "\n" + estimatesLine + "\n" + safetyLine,
		Example: `  seamshare plan make PIECE --file piece-4.json --reason "clear of the crack"
  seamshare plan make PIECE --label "one large" \
    --stone "A, oval, 12x9x3 mm, 70 %, worth 740.00 AUD" \
    --step "saw along the seam" --step "trim to the bar" --minutes 150 \
    --reason "the bar is even, and ovals sell"`,
		Args: exactly("PIECE"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := file.into(s, &d); err != nil {
				return err
			}
			return change(c, s, func(q call) (*cutterv1.MakePlanResponse, error) {
				if d.Cut != nil {
					own, err := cutterv1.NewCutterServiceClient(q.conn).GetPiece(q.ctx, &cutterv1.GetPieceRequest{PieceId: args[0]})
					if err != nil {
						return nil, asFailure(err)
					}
					if err := file.isOf(s, own.GetPiece(), &d); err != nil {
						return nil, err
					}
				}
				return cutterv1.NewCutterServiceClient(q.conn).MakePlan(q.ctx, &cutterv1.MakePlanRequest{RequestId: q.requestID, PieceId: args[0], Plan: &d})
			}, showPlan)
		},
	}
	planFlags(c, &d)
	file.flags(c)
	need(c, "reason")
	return c
}

func (s *session) planReviseCommand() *cobra.Command {
	var d typev1.PlanDraft
	var why string
	var file fromFile
	c := &cobra.Command{
		Use:   "revise PIECE PLAN --why TEXT [--file FILE --stone STONE… …]",
		Short: "Put another revision in a plan's place; the one before is kept",
		Long: "Revises a plan. What you leave out stays as it was; stones and steps that you give take the place of all before. A plan file gives all of it, its name too, unless --label says another; what a measured plan gives is changed with one.\n\n" +
			stoneShape + "\n" + estimatesLine + "\n" + safetyLine,
		Example: `  seamshare plan revise PIECE PLAN --stone "A, oval, 11x8x3 mm, 80 %" \
    --why "the crack runs deeper"`,
		Args: exactly("PIECE", "PLAN"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.RevisePlanResponse, error) {
				cutter := cutterv1.NewCutterServiceClient(q.conn)
				now, err := cutter.ListPlans(q.ctx, &cutterv1.ListPlansRequest{PieceId: args[0]})
				if err != nil {
					return nil, asFailure(err)
				}
				next, etag := revised(c, now.GetPlans(), args[1], &d)
				worded := c.Flags().Changed("stone") || c.Flags().Changed("step") || c.Flags().Changed("minutes")
				switch {
				case file.file != "":
					was := next.Label
					next.Label, next.Stones, next.Steps, next.Minutes = d.Label, d.Stones, d.Steps, d.Minutes
					if err := file.into(s, next); err != nil {
						return nil, err
					}
					next.Label = cmp.Or(next.Label, was) // the plan in the file may have no name
				case measured(now.GetPlans(), args[1]) && worded:
					return nil, wrongUsage("--file", "give the plan file with the stones and steps changed, or make another plan in words", "is needed: the plan is measured on a drawing, which its stones, steps and minutes are taken from")
				case measured(now.GetPlans(), args[1]): // it stays measured as it was
					kept, err := cutter.GetPlan(q.ctx, &cutterv1.GetPlanRequest{PieceId: args[0], PlanId: args[1]})
					if err != nil {
						return nil, asFailure(err)
					}
					was := kept.GetRevision().GetPlan()
					next.Cut, next.Prices, next.StudyId = was.GetCut(), was.GetPrices(), was.GetStudyId()
				}
				return cutter.RevisePlan(q.ctx, &cutterv1.RevisePlanRequest{RequestId: q.requestID, PieceId: args[0], PlanId: args[1], Why: why, Plan: next, Etag: etag})
			}, showPlan)
		},
	}
	planFlags(c, &d)
	file.flags(c)
	c.Flags().StringVar(&why, "why", "", "why")
	need(c, "why")
	return c
}

// revised is the plan as it stands, with what was typed in its place, and the etag it stands at. A plan that isn't there is the server's to refuse.
func revised(c *cobra.Command, plans []*typev1.Plan, id string, typed *typev1.PlanDraft) (out *typev1.PlanDraft, etag string) {
	out = &typev1.PlanDraft{}
	for _, p := range plans {
		if p.GetId() == id && len(p.GetRevisions()) > 0 {
			out, etag = proto.CloneOf(standing(p)), p.GetEtag()
		}
	}
	f := c.Flags()
	if f.Changed("label") {
		out.Label = typed.Label
	}
	if f.Changed("stone") {
		out.Stones = typed.Stones
	}
	if f.Changed("step") {
		out.Steps = typed.Steps
	}
	if f.Changed("minutes") {
		out.Minutes = typed.Minutes
	}
	if f.Changed("reason") {
		out.Reason = typed.Reason
	}
	return out, etag
}

// measured tells whether the plan was measured on a drawing, as it stands.
func measured(plans []*typev1.Plan, id string) bool {
	for _, p := range plans {
		if n := len(p.GetRevisions()); p.GetId() == id && n > 0 {
			return p.GetRevisions()[n-1].GetMeasured()
		}
	}
	return false
}

// standing is the revision that stands.
func standing(p *typev1.Plan) *typev1.PlanDraft {
	if n := len(p.GetRevisions()); n > 0 {
		return p.GetRevisions()[n-1].GetPlan()
	}
	return nil
}

func (s *session) planChooseCommand() *cobra.Command {
	var reason string
	c := &cobra.Command{
		Use:     "choose PIECE PLAN --reason TEXT",
		Short:   "Choose the plan that is followed; the one before is open again",
		Example: `  seamshare plan choose PIECE PLAN --reason "one sure stone beats two"`,
		Args:    exactly("PIECE", "PLAN"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.ChoosePlanResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).ChoosePlan(q.ctx, &cutterv1.ChoosePlanRequest{RequestId: q.requestID, PieceId: args[0], PlanId: args[1], Reason: reason})
			}, showPlan)
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "why this one")
	need(c, "reason")
	return c
}

func (s *session) planDropCommand() *cobra.Command {
	var reason string
	c := &cobra.Command{
		Use:     "drop PIECE PLAN --reason TEXT",
		Short:   "Set a plan aside for good",
		Example: `  seamshare plan drop PIECE PLAN --reason "the saw is too wide for it"`,
		Args:    exactly("PIECE", "PLAN"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.DropPlanResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).DropPlan(q.ctx, &cutterv1.DropPlanRequest{RequestId: q.requestID, PieceId: args[0], PlanId: args[1], Reason: reason})
			}, showPlan)
		},
	}
	c.Flags().StringVar(&reason, "reason", "", "why")
	need(c, "reason")
	return c
}

func (s *session) planListCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "list PIECE",
		Short:   "Set a piece's plans side by side, with the chosen one and why",
		Example: "  seamshare plan list PIECE",
		Args:    exactly("PIECE"),
		RunE: func(c *cobra.Command, args []string) error {
			return look(c, s, func(q call) (*cutterv1.ListPlansResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).ListPlans(q.ctx, &cutterv1.ListPlansRequest{PieceId: args[0]})
			}, printPlans)
		},
	}
}

// ofPlan is an answer that shows a plan.
type ofPlan interface{ GetPlan() *typev1.Plan }

func showPlan[A ofPlan](w io.Writer, a A) error {
	if err := printPlan(w, a.GetPlan()); err != nil {
		return err
	}
	sayCaution(w)
	return nil
}

func printPlans(w io.Writer, a *cutterv1.ListPlansResponse) error {
	if len(a.GetPlans()) == 0 {
		say(w, "No plans.")
		return nil
	}
	t := table.New(wrapped("plan"), text("stands"), right("stones"), right("expected"), right("worth by chance"), right("minutes"))
	for _, p := range a.GetPlans() {
		d := standing(p)
		expected := uint32(0)
		for _, st := range d.GetStones() {
			expected += st.GetChanceBp()
		}
		t.Row(d.GetLabel(), word(p.GetState()), fmt.Sprint(len(d.GetStones())), fmt.Sprintf("%d.%02d", expected/10_000, expected%10_000/100), worthByChance(d), fmt.Sprint(d.GetMinutes()))
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	for _, p := range a.GetPlans() {
		say(w, "")
		if err := printPlan(w, p); err != nil {
			return err
		}
	}
	say(w, "%s", strings.TrimSuffix(estimatesLine, "\n"))
	sayCaution(w)
	return nil
}

// worthByChance is what a plan's stones should bring, each by its chance, rounded down; empty where none is valued.
func worthByChance(d *typev1.PlanDraft) string {
	const certain = 10_000
	var sum int64
	currency := ""
	for _, st := range d.GetStones() {
		minor, err := amount.Minor(st.GetWorth())
		if st.GetWorth() == nil || err != nil {
			continue
		}
		currency = st.GetWorth().GetCurrencyCode()
		chance := int64(st.GetChanceBp())
		// An amount is at most 10¹⁵, so that times 10⁴ doesn't fit.
		sum += minor/certain*chance + minor%certain*chance/certain
	}
	if currency == "" {
		return ""
	}
	return amount.Text(wire.Money(currency, sum))
}

func printPlan(w io.Writer, p *typev1.Plan) error {
	d := standing(p)
	sayLong(w, "Plan %s (%s): %s", plain(d.GetLabel()), p.GetId(), word(p.GetState()))
	if p.GetReason() != "" {
		sayLong(w, "  %s because: %s", word(p.GetState()), plain(p.GetReason()))
	}
	sayLong(w, "  what speaks for it: %s", plain(d.GetReason()))
	if len(d.GetStones()) > 0 {
		t := table.New(wrapped("stone"), text("outline"), text("size"), right("chance"), right("worth"), right("ct"), wrapped("like"))
		for _, st := range d.GetStones() {
			mass := ""
			if st.GetMassUg() > 0 {
				mass = bare(carats(&typev1.Weighing{MassUg: st.GetMassUg()}))
			}
			like := gradeWords(st.GetGrade())
			if st.GetMarket() != "" {
				like = strings.TrimPrefix(like+", for "+st.GetMarket(), ", ")
			}
			t.Row(st.GetLabel(), word(st.GetOutline()), strings.TrimSuffix(size(st.GetSize()), " mm"), percent(st.GetChanceBp()), amount.Text(st.GetWorth()), mass, like)
		}
		if _, err := t.WriteTo(w); err != nil {
			return err
		}
	}
	for i, step := range d.GetSteps() {
		sayLong(w, "  %d. %s", i+1, plain(step))
	}
	if d.GetMinutes() > 0 {
		say(w, "  planned: %s at the bench", minutes(d.GetMinutes()))
	}
	if n := len(p.GetRevisions()); n > 0 && p.GetRevisions()[n-1].GetMeasured() {
		if slices.ContainsFunc(d.GetSteps(), func(step string) bool { return strings.HasPrefix(step, "look at ") }) {
			say(w, "  measured on a drawing, with the likeliest outcome of each look")
		} else {
			say(w, "  measured on a drawing")
		}
		if p.GetRevisions()[n-1].GetInfeasible() {
			say(w, "  it can't be made as written: see seamshare plan evaluate")
		}
	}
	for i, r := range p.GetRevisions() {
		if i > 0 {
			sayLong(w, "  revised (%d): %s", i, plain(r.GetWhy()))
		}
	}
	return nil
}

// gradeWords is a grade in one line.
func gradeWords(g *typev1.Grade) string {
	var all []string
	if g.GetBodyTone() > 0 {
		all = append(all, fmt.Sprintf("N%d", g.GetBodyTone()))
	}
	for _, one := range []string{word(g.GetTransparency()), word(g.GetPattern()), word(g.GetBrightness()), plain(g.GetColours())} {
		if one != "" {
			all = append(all, one)
		}
	}
	return strings.Join(all, ", ")
}

func percent(bp uint32) string {
	if bp%100 == 0 {
		return fmt.Sprintf("%d %%", bp/100)
	}
	return fmt.Sprintf("%d.%02d %%", bp/100, bp%100)
}

func parsePercent(text string) (uint32, error) {
	number, ok := strings.CutSuffix(text, "%")
	whole, part, _ := strings.Cut(strings.TrimSpace(number), ".")
	n, err := strconv.ParseUint(whole+(part + "00")[:max(2, len(part))], 10, 32)
	if !ok || err != nil || len(part) > 2 || n < 1 || n > 10_000 {
		return 0, fmt.Errorf("%q: write a chance above zero and up to 100 %%, such as \"70 %%\"", text)
	}
	return uint32(n), nil
}

// minutes is bench time as one says it: "1 h 40 min".
func minutes(n uint32) string {
	if n < 60 {
		return fmt.Sprintf("%d min", n)
	}
	return fmt.Sprintf("%d h %02d min", n/60, n%60)
}

// parsePlannedStone reads "A, oval, 12x9x3 mm, 70 %, worth 740.00 AUD, mass 3.04 ct, for pairs, tone 4, broad-flash".
func parsePlannedStone(typed string) (*typev1.PlannedStone, error) {
	fields := strings.Split(typed, ",")
	for i := range fields {
		fields[i] = strings.TrimSpace(fields[i])
	}
	if len(fields) < 4 {
		return nil, fmt.Errorf("%q: write name, outline, size and chance, such as \"A, oval, 12x9x3 mm, 70 %%\"", typed)
	}
	st := &typev1.PlannedStone{Label: fields[0]}
	var err error
	if st.Outline, err = parseWord[typev1.Outline](fields[1]); err != nil {
		return nil, err
	}
	if st.Size, err = parseSize(fields[2]); err != nil {
		return nil, err
	}
	if st.ChanceBp, err = parsePercent(fields[3]); err != nil {
		return nil, err
	}
	for _, field := range fields[4:] {
		if err := alsoExpected(st, field); err != nil {
			return nil, err
		}
	}
	return st, nil
}

// alsoExpected reads one more thing that is expected of a planned stone.
func alsoExpected(st *typev1.PlannedStone, field string) (err error) {
	name, value, _ := strings.Cut(field, " ")
	switch name {
	case "worth":
		st.Worth, err = parseAmount(value)
		return err
	case "mass":
		mass, err := parseMass(value)
		st.MassUg = int64(mass)
		return err
	case "for":
		st.Market = value
		return nil
	}
	if st.Grade == nil {
		st.Grade = &typev1.Grade{}
	}
	return judged(st.Grade, field)
}

// judged reads one thing of a grade: "tone 4", "crystal", "broad-flash", "strong".
func judged(g *typev1.Grade, field string) error {
	if tone, ok := strings.CutPrefix(field, "tone "); ok {
		n, err := strconv.ParseUint(tone, 10, 8)
		if err != nil || n < 1 || n > 9 {
			return fmt.Errorf("%q: write tone 1 (darkest) to tone 9 (lightest)", field)
		}
		g.BodyTone = uint32(n)
		return nil
	}
	if v, err := parseWord[typev1.Transparency](field); err == nil {
		g.Transparency = v
		return nil
	}
	if v, err := parseWord[typev1.Pattern](field); err == nil {
		g.Pattern = v
		return nil
	}
	if v, err := parseWord[typev1.Brightness](field); err == nil {
		g.Brightness = v
		return nil
	}
	all := append(append(choices[typev1.Transparency](), choices[typev1.Pattern]()...), choices[typev1.Brightness]()...)
	return fmt.Errorf("%q: write worth, mass, for or tone with its value, or one of %s", field, strings.Join(all, ", "))
}
