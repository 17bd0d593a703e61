package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/planfile"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/wire"
)

// fromFile is a plan of a plan file.
type fromFile struct {
	file, plan string
	massUg     int64 // of the piece in the file that was read; 0: it has none
}

func (f *fromFile) flags(c *cobra.Command) {
	c.Flags().StringVar(&f.file, "file", "", "a plan `file` that measures it: see seamshare help plan-files")
	c.Flags().StringVar(&f.plan, "named", "", "the plan of this name in the file, where it has several")
}

// read gives the file's plan and prices.
func (f *fromFile) read(s *session) (saw.Plan, *typev1.PriceList, error) {
	file, err := s.readPlanFile(f.file)
	if err != nil {
		return saw.Plan{}, nil, err
	}
	f.massUg = file.Study.MassUg
	plan, ok := file.Plan(f.plan)
	switch {
	case !ok && f.plan == "":
		return plan, nil, wrongUsage("--named", "name one: "+planNames(file), "the file has %d plans", len(file.Plans))
	case !ok:
		return plan, nil, wrongUsage("--named", "its plans are: "+planNames(file), "the file has no plan %q", f.plan)
	}
	return plan, wire.PriceList(file.Prices), nil
}

// isOf refuses a measured plan that is of another piece than this one, by what it calls the whole, and warns where the piece in
// its file weighs something else.
func (f *fromFile) isOf(s *session, p *typev1.Piece, d *typev1.PlanDraft) error {
	if was, now := f.massUg, p.GetWeighing().GetMassUg(); was > 0 && now > 0 && max(was, now)-min(was, now) > now/10 {
		sayLong(s.stderr, "Note: the piece in %s weighs %s, piece %s %s: is it the right file?", plain(f.file), both(was), plain(p.GetLabel()), both(now))
	}
	whole := d.GetCut().GetPart()
	if whole == "" || whole == saw.Whole {
		return nil
	}
	var names []string
	for _, part := range p.GetParts() {
		if part.GetName() == whole {
			return nil
		}
		names = append(names, part.GetName())
	}
	if len(names) == 0 || p.GetLabel() == whole {
		return nil
	}
	return wrongInput("--file", "give the file of this piece, or call its whole "+saw.Whole, "its plan is of part %s, and piece %s has %s: it is another piece's", plain(whole), plain(p.GetLabel()), plain(strings.Join(names, ", ")))
}

// into measures a draft by the file's plan, if there is a file.
func (f *fromFile) into(s *session, d *typev1.PlanDraft) error {
	if f.file == "" {
		if d.GetLabel() == "" {
			return wrongUsage("--label", "say what you call it, or give a plan file with --file", "is needed")
		}
		return nil
	}
	plan, prices, err := f.read(s)
	if err != nil {
		return err
	}
	d.Cut, d.Prices, d.StudyId = wire.CutPlan(plan), prices, ""
	if d.GetLabel() == "" {
		d.Label = plan.Name
	}
	return nil
}

func (s *session) planEvaluateCommand() *cobra.Command {
	var r cutterv1.EvaluatePlanRequest
	var file fromFile
	c := &cobra.Command{
		Use:   "evaluate PIECE (PLAN | --file FILE)",
		Short: "Say what would come of a plan on a piece as last drawn",
		Long: `Says what would come of a plan on a piece as it was last drawn: every part with its
mass, what is lost, which stones fit, and what they bring. The plan is one that is
kept, or stands in a file. Nothing is recorded.

` + estimatesLine,
		Example: `  seamshare plan evaluate PIECE PLAN
  seamshare plan evaluate PIECE --file piece-4.json --named "two halves"`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(c *cobra.Command, args []string) error {
			if (len(args) == 2) == (file.file != "") {
				return wrongUsage("PLAN", "give the id of a kept plan, or --file", "is one of the two")
			}
			r.PieceId = args[0]
			if len(args) == 2 {
				r.PlanId = args[1]
			} else {
				plan, prices, err := file.read(s)
				if err != nil {
					return err
				}
				r.Cut, r.Prices = wire.CutPlan(plan), prices
			}
			return look(c, s, func(q call) (*cutterv1.EvaluatePlanResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).EvaluatePlan(q.ctx, &r)
			}, func(w io.Writer, a *cutterv1.EvaluatePlanResponse) error {
				if err := printCutResult(w, a.GetResult()); err != nil {
					return err
				}
				say(w, "%s", strings.TrimSpace(estimatesLine))
				sayCaution(w)
				return nil
			})
		},
	}
	file.flags(c)
	c.Flags().StringVar(&r.StudyId, "study", "", "on the drawing of this study, not the last one")
	c.Flags().BoolVar(&r.WithoutOutlines, "without-outlines", false, "leave the outlines of parts and stones out of --json")
	return c
}

func (s *session) planDecideCommand() *cobra.Command {
	var r cutterv1.RecordDecisionRequest
	var chance uint32
	c := &cobra.Command{
		Use:   "decide PIECE PART --kind WORD --about TEXT --option OPTION… …",
		Short: "Keep a choice when nobody knows how it comes out, all valued",
		Long: `Keeps a choice between options when nobody knows how it comes out, and says what each
is worth by your own chance: what it brings on average and how surely, the chance of
nothing, at which chance it is worth as much as what you choose, and what knowing
beforehand would be worth. What is better on average can still lose the stone.

--option is a name, what it brings if it holds, and what if it doesn't (nothing said:
the same either way). Of an inclusion the first keeps it, the second grinds it away.

` + estimatesLine + "\n" + safetyLine,
		Example: `  seamshare plan decide PIECE 1A --kind seams --about "two seams at an angle" \
    --chance "70 %" --option "the first only = 1350.00 AUD" \
    --option "both = 2400.00 AUD or 300.00 AUD" --choose 2 \
    --reason "the angle opens outward"`,
		Args: exactly("PIECE", "PART"),
		RunE: func(c *cobra.Command, args []string) error {
			return change(c, s, func(q call) (*cutterv1.RecordDecisionResponse, error) {
				r.RequestId, r.PieceId, r.Part, r.ChanceBp = q.requestID, args[0], args[1], int64(chance)
				return cutterv1.NewCutterServiceClient(q.conn).RecordDecision(q.ctx, &r)
			}, showDecision)
		},
	}
	f := c.Flags()
	wordFlag(c, &r.Kind, "kind", "what it is about")
	f.StringVar(&r.About, "about", "", "what there is to decide")
	f.Var(&parsed[uint32]{into: &chance, parse: parsePercent, kind: "percent"}, "chance", "the chance that it holds, your own estimate")
	f.Var(&parsed[[]*typev1.DecisionOption]{into: &r.Options, kind: "option", parse: func(text string) ([]*typev1.DecisionOption, error) {
		o, err := parseOption(text)
		return append(r.Options, o), err
	}}, "option", "what can be done; again for each")
	f.Uint32Var(&r.Chosen, "choose", 0, "the `number` of the option that you choose, from 1")
	f.StringVar(&r.Reason, "reason", "", "why")
	etagFlag(c, &r.Etag, "piece")
	need(c, "kind", "about", "chance", "option", "choose", "reason")
	return c
}

// parseOption reads "both = 2400.00 AUD or 300.00 AUD".
func parseOption(text string) (*typev1.DecisionOption, error) {
	name, values, ok := strings.Cut(text, "=")
	holds, fails, both := strings.Cut(values, " or ")
	if !both {
		fails = holds
	}
	if !ok {
		return nil, fmt.Errorf("%q: write a name, =, and what it brings, such as \"both = 2400.00 AUD or 300.00 AUD\"", text)
	}
	o := &typev1.DecisionOption{Name: strings.TrimSpace(name)}
	var err error
	if o.IfHolds, err = parseAmount(strings.TrimSpace(holds)); err != nil {
		return nil, err
	}
	o.IfFails, err = parseAmount(strings.TrimSpace(fails))
	return o, err
}

func (s *session) planOutcomeCommand() *cobra.Command {
	var r cutterv1.RecordOutcomeRequest
	c := &cobra.Command{
		Use:   "outcome PIECE DECISION (held | failed) [--note TEXT]",
		Short: "Say how a decision came out, for the co-op's record too",
		Long: `Says how a decision came out; it counts in the co-op's record of its kind. Where it
was said wrong, say it anew: --note is needed then, and what is said last counts.`,
		Example: `  seamshare plan outcome PIECE DECISION held --note "both came out"
  seamshare plan outcome PIECE DECISION failed --note "I took it for another"`,
		Args: exactly("PIECE", "DECISION", "OUTCOME"),
		RunE: func(c *cobra.Command, args []string) error {
			if args[2] != "held" && args[2] != "failed" {
				return wrongInput("OUTCOME", "", "%q: choose one of held, failed", args[2])
			}
			return change(c, s, func(q call) (*cutterv1.RecordOutcomeResponse, error) {
				r.RequestId, r.PieceId, r.DecisionId, r.Held = q.requestID, args[0], args[1], args[2] == "held"
				return cutterv1.NewCutterServiceClient(q.conn).RecordOutcome(q.ctx, &r)
			}, showDecision)
		},
	}
	c.Flags().StringVar(&r.Note, "note", "", "what showed; said anew, why")
	return c
}

func (s *session) planDecisionsCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "decisions PIECE",
		Short:   "List a piece's decisions, and how they came out",
		Example: "  seamshare plan decisions PIECE",
		Args:    exactly("PIECE"),
		RunE: func(c *cobra.Command, args []string) error {
			return look(c, s, func(q call) (*cutterv1.ListDecisionsResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).ListDecisions(q.ctx, &cutterv1.ListDecisionsRequest{PieceId: args[0]})
			}, func(w io.Writer, a *cutterv1.ListDecisionsResponse) error {
				if len(a.GetDecisions()) == 0 {
					say(w, "No decisions.")
				}
				for i, d := range a.GetDecisions() {
					if i > 0 {
						say(w, "")
					}
					if err := printDecision(w, d); err != nil {
						return err
					}
				}
				return nil
			})
		},
	}
}

func (s *session) planRecordCommand() *cobra.Command {
	var kind typev1.DecisionKind
	var chance uint32
	c := &cobra.Command{
		Use:   "record --kind WORD [--chance PERCENT]",
		Short: "Set the co-op's record of a kind of decision beside your chance",
		Long: `Shows how often the co-op tried one kind of decision and how often it held: counts
only, nobody is named. The chance by that record is set beside your own. Tries are
never quite alike, so it is for you to weigh.`,
		Example: `  seamshare plan record --kind seams --chance "70 %"`,
		Args:    exactly(),
		RunE: func(c *cobra.Command, args []string) error {
			r := &cutterv1.GetDecisionRecordRequest{Kind: kind}
			if chance > 0 {
				own := int64(chance)
				r.ChanceBp = &own
			}
			return look(c, s, func(q call) (*cutterv1.GetDecisionRecordResponse, error) {
				return cutterv1.NewCutterServiceClient(q.conn).GetDecisionRecord(q.ctx, r)
			}, func(w io.Writer, a *cutterv1.GetDecisionRecordResponse) error {
				printDecisionRecord(w, a, r.ChanceBp)
				return nil
			})
		},
	}
	wordFlag(c, &kind, "kind", "the kind")
	c.Flags().Var(&parsed[uint32]{into: &chance, parse: parsePercent, kind: "percent"}, "chance", "your own chance")
	need(c, "kind")
	return c
}

// printDecisionRecord sets the co-op's record beside a cutter's own chance, if one is given.
func printDecisionRecord(w io.Writer, a *cutterv1.GetDecisionRecordResponse, own *int64) {
	n := a.GetRecord()
	say(w, "%s: held %d of %d times", word(n.GetKind()), n.GetHeld(), n.GetTried())
	if n.GetTried() == 0 {
		say(w, "there is no record yet to set a chance beside")
		return
	}
	say(w, "chance by that record: %s, 9 times of 10 between %s and %s", hundredths(n.GetMeanBp()), hundredths(n.GetLowBp()), hundredths(n.GetHighBp()))
	if own != nil {
		say(w, "your own: %s, %s percentage points apart", hundredths(*own), strings.TrimSuffix(hundredths(a.GetApartBp()), " %"))
	}
	if a.GetOutside() {
		say(w, "That lies outside: worth a word with others who cut.")
	}
}

// ofDecision is an answer that shows a decision.
type ofDecision interface{ GetDecision() *typev1.Decision }

func showDecision[A ofDecision](w io.Writer, a A) error {
	if err := printDecision(w, a.GetDecision()); err != nil {
		return err
	}
	sayCaution(w)
	return nil
}

func printDecision(w io.Writer, d *typev1.Decision) error {
	sayLong(w, "%s about part %s (%s): %s", strings.TrimSpace("Decision "+d.GetId()), plain(d.GetPart()), word(d.GetKind()), plain(d.GetAbout()))
	say(w, "  chance that it holds, by the cutter: %s", hundredths(d.GetChanceBp()))
	t := table.New(right(""), wrapped("option"), right("if it holds"), right("if not"), right("expected"), right("spread"), right("nothing"), right("as good at"))
	for i, o := range d.GetOptions() {
		worth := d.GetWorths()[i]
		number, as := fmt.Sprint(i+1), ""
		if uint32(i+1) == d.GetChosen() {
			number += " *"
		}
		if worth.IndifferentBp != nil {
			as = hundredths(worth.GetIndifferentBp())
		}
		t.Row(number, o.GetName(), bare(amount.Text(o.GetIfHolds())), bare(amount.Text(o.GetIfFails())), bare(amount.Text(worth.GetExpected())), bare(amount.Text(worth.GetSpread())), hundredths(worth.GetNothingBp()), as)
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	say(w, "  * chosen. Knowing beforehand would be worth %s.", amount.Text(d.GetKnowing()))
	sayLong(w, "  because: %s", plain(d.GetReason()))
	switch d.GetState() {
	case typev1.DecisionState_DECISION_STATE_HELD, typev1.DecisionState_DECISION_STATE_FAILED:
		sayLong(w, "  it %s. %s", word(d.GetState()), plain(d.GetNote()))
	case typev1.DecisionState_DECISION_STATE_OPEN:
		say(w, "  how it came out isn't recorded yet")
	}
	say(w, "%s", strings.TrimSpace(estimatesLine))
	return nil
}

// suggested is what a search on the server answered, for --json.
type suggested struct {
	Plans []json.RawMessage `json:"plans"`
	End   json.RawMessage   `json:"end"`
}

func raw(m proto.Message) (json.RawMessage, error) {
	var out bytes.Buffer
	err := writeMessage(&out, m)
	return out.Bytes(), err
}

func (s *session) planSuggestCommand() *cobra.Command {
	var r cutterv1.SuggestPlansRequest
	var file, write string
	c := &cobra.Command{
		Use:   "suggest PIECE --file FILE [--seconds N --write FILE]",
		Short: "Let the server search plans for a piece as last drawn",
		Long: `Searches plans for a piece as it was last drawn: the best few that differ in kind, each
priced for every market, by number of stones, not by rank. Prices, blade, rules and the
stones that may be planned are the file's. Ctrl-C stops the search.

` + estimatesLine,
		Example: `  seamshare plan suggest PIECE --file piece-4.json --seconds 20`,
		Args:    exactly("PIECE"),
		RunE: func(c *cobra.Command, args []string) error {
			if err := worthwhile(c); err != nil {
				return err
			}
			f, err := s.readPlanFile(file)
			if err != nil {
				return err
			}
			s.timeout = longer(s.timeout, r.GetSeconds())
			task := f.Task()
			r.PieceId, r.Prices, r.Blade, r.Settings, r.SawMinutes = args[0], wire.PriceList(task.Prices), wire.Blade(task.Blade), wire.Settings(task.Settings), task.SawMinutes
			r.Wants = nil
			for _, w := range task.Wants {
				r.Wants = append(r.Wants, wire.WantedStone(w))
			}
			all, err := query(c.Context(), s, func(q call) ([]*cutterv1.SuggestPlansResponse, error) { return s.suggestions(q, &r) })
			if err != nil {
				return err
			}
			var plans []*cutterv1.SuggestedPlan
			document := suggested{Plans: []json.RawMessage{}}
			end := &cutterv1.SuggestEnd{}
			for _, m := range all {
				if m.GetEnd() != nil {
					end = m.GetEnd()
					continue
				}
				one, err := raw(m.GetPlan())
				if err != nil {
					return err
				}
				plans, document.Plans = append(plans, m.GetPlan()), append(document.Plans, one)
			}
			if document.End, err = raw(end); err != nil {
				return err
			}
			if write != "" {
				f.Plans = nil
				var broken rule.All
				for _, p := range plans {
					f.Plans = append(f.Plans, wire.ReadCutPlan(&broken, "cut", p.GetCut()))
				}
				if err := writeFile(write, planfile.Format(f)); err != nil {
					return err
				}
			}
			return s.document(document, func(w io.Writer) error { return printServerSuggested(w, plans, end) })
		},
	}
	f := c.Flags()
	f.StringVar(&file, "file", "", "a plan `file` with prices, blade, rules and stones wanted")
	f.Uint32Var(&r.Seconds, "seconds", 10, "search no longer than this, at most 30")
	f.Uint32Var(&r.Changes, "changes", 20_000, "search no more than so many changes")
	f.Uint64Var(&r.Seed, "seed", 1, "the search's seed: the same seed and changes find the same plans")
	f.StringVar(&r.StudyId, "study", "", "on the drawing of this study, not the last one")
	f.StringVar(&write, "write", "", "keep the suggested plans in this plan `file`")
	need(c, "file")
	return c
}

// longer is a time to wait that a search of so many seconds goes on top of, within what a call may take. One that is out of
// range is refused as typed.
func longer(timeout time.Duration, seconds uint32) time.Duration {
	if timeout <= 0 || timeout > longestCall {
		return timeout
	}
	return min(timeout+time.Duration(seconds)*time.Second, longestCall)
}

// suggestions are all that a search says, but for its progress, which is shown as it goes.
func (s *session) suggestions(q call, r *cutterv1.SuggestPlansRequest) (all []*cutterv1.SuggestPlansResponse, err error) {
	stream, err := cutterv1.NewCutterServiceClient(q.conn).SuggestPlans(q.ctx, r)
	if err != nil {
		return nil, err
	}
	bar := s.progress("searching")
	defer bar.done()
	for {
		m, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return all, nil
		case err != nil:
			return nil, err
		case m.GetProgress() != nil:
			bar.set(int64(m.GetProgress().GetChanges()), int64(m.GetProgress().GetOf()))
		default:
			all = append(all, m)
		}
	}
}

func printServerSuggested(w io.Writer, plans []*cutterv1.SuggestedPlan, end *cutterv1.SuggestEnd) error {
	if len(plans) == 0 {
		say(w, "No plan was found that is worth more than leaving the piece whole.")
		return nil
	}
	if err := printSuggested(w, plans, end); err != nil {
		return err
	}
	for _, p := range plans {
		say(w, "")
		if err := printCutResult(w, p.GetResult()); err != nil {
			return err
		}
	}
	say(w, "%s", strings.TrimSpace(estimatesLine))
	sayCaution(w)
	return nil
}

func (s *session) planDrawCommand() *cobra.Command {
	var r cutterv1.DrawPlanRequest
	var to string
	var photos bool
	c := &cobra.Command{
		Use:   "draw PIECE [PLAN] --to FILE [--step STEP | --sheet] [--photos]",
		Short: "Draw a piece or a measured plan, or a page to take to the saw",
		Long: `Draws a piece as it was studied, or a measured plan of it. With --photos the pictures
that the study places lie under their views: they are fetched, and all is drawn here,
since an answer of the node has no room for them.`,
		Example: `  seamshare plan draw PIECE --to piece.svg
  seamshare plan draw PIECE PLAN --to bench.html --sheet`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(c *cobra.Command, args []string) error {
			r.PieceId = args[0]
			if len(args) == 2 {
				r.PlanId = args[1]
			}
			return look(c, s, func(q call) (*cutterv1.DrawPlanResponse, error) {
				drawn := cutterv1.NewCutterServiceClient(q.conn).DrawPlan
				if photos {
					drawn = s.drawWithPhotos(q)
				}
				a, err := drawn(q.ctx, &r)
				if err != nil {
					return nil, err
				}
				return a, writeWhole(to, func(w io.Writer) error {
					_, err := w.Write(a.GetPicture())
					return err
				})
			}, func(w io.Writer, _ *cutterv1.DrawPlanResponse) error {
				say(w, "Drawn: %s", to)
				sayCaution(w)
				return nil
			})
		},
	}
	f := c.Flags()
	f.StringVar(&to, "to", "", "write it to this `file`")
	f.StringVar(&r.Step, "step", "", "only this step, such as steps[0]")
	f.StringVar(&r.StudyId, "study", "", "the drawing of this study, not the last one")
	f.BoolVar(&r.Sheet, "sheet", false, "a page to print on A4, with steps to tick off")
	f.BoolVar(&photos, "photos", false, "the study's photos under their views")
	need(c, "to")
	return c
}
