package main

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"io"
	"io/fs"
	"math/big"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/planfile"
	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/draw"
	"seamshare.example/services/domain/saw/search"
	"seamshare.example/services/wire"
)

const planFilesHint = "see seamshare help plan-files"

const planFileLong = `plan FILE says what would come of the plans in a file, without a server: every part
with its outline and mass, what is lost and why, which stones fit, where one doesn't
and by how much, carats, hours, money and risk. Plans stand in the order you wrote
them. The form of the file: seamshare help plan-files.

With --suggest it searches for plans of its own: the best few that differ in kind,
each priced for every market, by number of stones, not by rank. Ctrl-C stops the
search; what was found so far is shown.

The other commands keep plans with the co-op, where only you see them.`

// planFileFlags are what plan FILE takes.
type planFileFlags struct {
	plan     string
	pictures string
	sheet    string
	photos   []string
	suggest  bool
	seconds  uint32
	steps    uint32
	seed     uint64
	write    string
	mirror   string
	over     string
}

// filePlanned is a plan with what comes of it.
type filePlanned struct {
	plan   saw.Plan
	result saw.Result
	place  string // in the file: "plans[0]"
}

// planDocument is what plan FILE prints as JSON.
type planDocument struct {
	Results  []json.RawMessage `json:"results"`
	Markets  []planMarkets     `json:"markets,omitempty"` // of each suggested plan
	Best     string            `json:"best,omitempty"`
	Bound    string            `json:"bound,omitempty"` // absent: none is known
	Stopped  bool              `json:"stopped,omitempty"`
	Pictures []string          `json:"pictures"`
}

type planMarkets struct {
	Plan    string            `json:"plan"`
	Kind    string            `json:"kind"`
	Markets map[string]string `json:"markets"`
}

// withPlanFiles lets the group of plan commands take a file.
func (s *session) withPlanFiles(c *cobra.Command) *cobra.Command {
	var flags planFileFlags
	f := c.Flags()
	f.StringVar(&flags.plan, "plan", "", "only the plan of this name")
	f.StringVar(&flags.pictures, "pictures", "", "draw the piece and each plan, step by step, as SVG files in this `directory`")
	f.StringVar(&flags.sheet, "sheet", "", "write a page to print on A4 and take to the saw, as this HTML `file`; for one plan")
	f.StringArrayVar(&flags.photos, "photo", nil, "a photo `file` that the piece's photos name by its SHA-256; again for each")
	f.BoolVar(&flags.suggest, "suggest", false, "search for plans")
	f.Uint32Var(&flags.seconds, "seconds", 30, "search no longer than this")
	f.Uint32Var(&flags.steps, "changes", 20_000, "search no more than so many changes")
	f.Uint64Var(&flags.seed, "seed", 1, "the search's seed: the same seed and changes find the same plans")
	f.StringVar(&flags.write, "write", "", "keep the suggested plans in this plan `file`")
	f.StringVar(&flags.mirror, "mirror", "", "plan a mirrored pair from two halves: the plan `file` of the other half; with --suggest")
	f.StringVar(&flags.over, "over", "0, 0", "where the other half's origin is under this face, `X, Y` in mm: its point is (X − x, y + Y)")
	c.Use = "plan FILE"
	c.Long = planFileLong
	c.Example = `  seamshare plan piece-4.json
  seamshare plan piece-4.json --plan "one each side of the crack" \
    --pictures . --sheet bench.html
  seamshare plan piece-4.json --suggest --seconds 10 --write piece-4-plans.json`
	c.RunE = func(c *cobra.Command, args []string) error {
		if len(args) != 1 || !looksLikeFile(args[0]) {
			return knownOnly(c, args)
		}
		if err := worthwhile(c); err != nil {
			return err
		}
		if flags.mirror != "" {
			return s.planMirrored(c.Context(), args[0], flags)
		}
		return s.planFile(c.Context(), args[0], flags)
	}
	return c
}

// worthwhile refuses a search that has no time, or no changes, to find anything.
func worthwhile(c *cobra.Command) error {
	for _, name := range []string{"seconds", "changes"} {
		if c.Flags().Lookup(name).Value.String() == "0" {
			return wrongUsage("--"+name, "give 1 or more", "is 0: a search needs some to find anything")
		}
	}
	return nil
}

// looksLikeFile tells a file from a mistyped command.
func looksLikeFile(arg string) bool {
	if arg == "-" || strings.ContainsAny(arg, "./\\") {
		return true
	}
	_, err := os.Stat(arg)
	return err == nil
}

func (s *session) planFile(ctx context.Context, path string, flags planFileFlags) error {
	f, err := s.readPlanFile(path)
	if err != nil {
		return err
	}
	if !f.HasPiece() {
		return wrongInput(path, planFilesHint, "the file has no piece")
	}
	model, err := saw.NewModel(f.Study)
	if err != nil {
		return planProblem(f, path, "piece", err)
	}
	var found *search.Suggestion
	if flags.suggest {
		if found, err = s.suggest(ctx, path, f, flags); err != nil {
			return err
		}
		f.Plans = nil
		for _, o := range found.Offers {
			f.Plans = append(f.Plans, o.Plan)
		}
		if flags.write != "" {
			if err := writeFile(flags.write, planfile.Format(f)); err != nil {
				return err
			}
		}
	} else if flags.write != "" {
		return wrongUsage("--write", "add --suggest", "keeps suggested plans, and none are asked for")
	}
	planned, err := evaluatePlans(path, f, model, flags.plan)
	if err != nil {
		return err
	}
	options, err := planOptions(flags.photos)
	if err != nil {
		return err
	}
	var pictures []string
	if flags.pictures != "" {
		if pictures, err = drawPlans(flags.pictures, f.Study, planned, options); err != nil {
			return err
		}
	}
	if flags.sheet != "" {
		if len(planned) != 1 {
			return wrongUsage("--sheet", "name one with --plan: "+planNames(f), "is for one plan, there are %d", len(planned))
		}
		one := planned[0]
		if err := writeWhole(flags.sheet, func(w io.Writer) error { return draw.Sheet(w, f.Study, one.plan, one.result, options) }); err != nil {
			return err
		}
		pictures = append(pictures, flags.sheet)
	}
	results := make([]*typev1.CutResult, len(planned))
	for i, p := range planned {
		results[i] = wire.CutResult(p.result)
	}
	document, err := documentOf(f, results, found, pictures)
	if err != nil {
		return err
	}
	return s.document(document, func(w io.Writer) error {
		if err := printPlanFile(w, f.Study, results, found); err != nil {
			return err
		}
		for _, p := range pictures {
			say(w, "Drawn: %s", p)
		}
		return nil
	})
}

// evaluatePlans evaluates the file's plans, or the one of a name.
func evaluatePlans(path string, f planfile.File, model *saw.Model, name string) ([]filePlanned, error) {
	plans := f.Plans
	if name != "" {
		plan, ok := f.Plan(name)
		if !ok {
			return nil, wrongUsage("--plan", "its plans are: "+planNames(f), "the file has no plan %q", name)
		}
		plans = []saw.Plan{plan}
	}
	var out []filePlanned
	for _, plan := range plans {
		place := fmt.Sprintf("plans[%d]", slices.IndexFunc(f.Plans, func(p saw.Plan) bool { return p.Name == plan.Name }))
		result, err := model.Evaluate(plan, f.Prices)
		if err != nil {
			return nil, planProblem(f, path, place, err)
		}
		out = append(out, filePlanned{plan, result, place})
	}
	return out, nil
}

func (s *session) suggest(ctx context.Context, path string, f planfile.File, flags planFileFlags) (*search.Suggestion, error) {
	ctx, stop := context.WithTimeout(ctx, time.Duration(flags.seconds)*time.Second)
	defer stop()
	bar := s.progress("searching")
	defer bar.done()
	found, err := search.Suggest(ctx, f.Task(), search.Seeded(flags.seed), int(flags.steps), func(p search.Progress) { bar.set(int64(p.Step), int64(p.Of)) })
	if err != nil {
		return nil, planProblem(f, path, "", err)
	}
	return &found, nil
}

// mirroredDocument is what plan FILE --mirror prints as JSON.
type mirroredDocument struct {
	Halves []planDocument `json:"halves"`
	Best   string         `json:"best"`
	Bound  string         `json:"bound,omitempty"` // absent: none is known
}

// planMirrored searches plans for two halves of a piece that give a mirrored pair.
func (s *session) planMirrored(ctx context.Context, path string, flags planFileFlags) error {
	over, err := planfile.ParsePoint(flags.over)
	if err != nil {
		return wrongInput("--over", "", "%v", err)
	}
	if !flags.suggest || flags.pictures != "" || flags.sheet != "" || flags.write != "" || flags.plan != "" {
		return wrongUsage("--mirror", "give --suggest, --seconds, --changes and --seed", "goes with a search only")
	}
	var files [2]planfile.File
	for i, name := range []string{path, flags.mirror} {
		if files[i], err = s.readPlanFile(name); err != nil {
			return err
		}
		if !files[i].HasPiece() {
			return wrongInput(name, planFilesHint, "the file has no piece")
		}
	}
	pair, a, b, ok := planfile.Pair(files[0], files[1], over)
	if !ok {
		return wrongInput(path, planFilesHint, "each of the two files needs a want that comes \"together\": 2, for the pair")
	}
	ctx, stop := context.WithTimeout(ctx, time.Duration(flags.seconds)*time.Second)
	defer stop()
	bar := s.progress("searching")
	defer bar.done()
	m, ok, err := search.SuggestMirrored(ctx, a, b, pair, search.Seeded(flags.seed), int(flags.steps), func(p search.Progress) { bar.set(int64(p.Step), int64(p.Of)) })
	if err != nil {
		return planProblem(files[0], path, "", err)
	}
	if !ok {
		return wrongInput(path, "try a smaller size, or look at --over", "no pair of a wanted size goes into both halves at the same place")
	}
	document := mirroredDocument{Best: wire.Text(files[0].Prices.Currency, m.Best)}
	if m.Bound != search.Unbounded {
		document.Bound = wire.Text(files[0].Prices.Currency, m.Bound)
	}
	var results [2][]*typev1.CutResult
	for i, half := range []*search.Suggestion{&m.A, &m.B} {
		for _, o := range half.Offers {
			results[i] = append(results[i], wire.CutResult(o.Result))
		}
		one, err := documentOf(files[i], results[i], half, nil)
		if err != nil {
			return err
		}
		document.Halves = append(document.Halves, one)
	}
	return s.document(document, func(w io.Writer) error {
		for i, half := range []*search.Suggestion{&m.A, &m.B} {
			stone := []saw.Stone{m.Left, m.Right}[i]
			say(w, "Half %d: %s, its stone of the pair %s × %s mm at (%s, %s)", i+1, table.OneLine(files[i].Study.Name), mm(stone.LengthUm), mm(stone.WidthUm), mm(stone.At.X), mm(stone.At.Y))
			if err := printPlanFile(w, files[i].Study, results[i], half); err != nil {
				return err
			}
			say(w, "")
		}
		sayLong(w, "Both together: %s; %s.", document.Best, boundWords("no plans", wire.SuggestEnd(files[0].Prices.Currency, search.Suggestion{Offers: m.A.Offers, Best: m.Best, Bound: m.Bound})))
		return nil
	})
}

func documentOf(f planfile.File, results []*typev1.CutResult, found *search.Suggestion, pictures []string) (planDocument, error) {
	d := planDocument{Results: []json.RawMessage{}, Pictures: append([]string{}, pictures...)}
	for _, r := range results {
		var one bytes.Buffer
		if err := writeMessage(&one, r); err != nil {
			return d, err
		}
		d.Results = append(d.Results, one.Bytes())
	}
	if found == nil {
		return d, nil
	}
	end := wire.SuggestEnd(f.Prices.Currency, *found)
	d.Best, d.Bound, d.Stopped = amount.Text(end.GetBest()), amount.Text(end.GetBound()), end.GetStopped()
	for _, o := range found.Offers {
		m := planMarkets{o.Plan.Name, o.Kind.String(), map[string]string{}}
		for _, one := range o.Markets {
			if one.Stones == 0 {
				continue
			}
			m.Markets[one.Market] = wire.Text(one.Money.Currency, one.Money.Expected)
		}
		d.Markets = append(d.Markets, m)
	}
	return d, nil
}

func printPlanFile(w io.Writer, study saw.Study, results []*typev1.CutResult, found *search.Suggestion) error {
	say(w, "Piece: %s, %s", table.OneLine(study.Name), both(study.MassUg))
	switch {
	case found != nil && len(found.Offers) == 0:
		say(w, "No plan was found that is worth more than leaving the piece whole.")
		return nil
	case len(results) == 0:
		say(w, "The piece is drawn well. The file has no plans yet.")
		return nil
	}
	if found != nil {
		plans := make([]*cutterv1.SuggestedPlan, len(found.Offers))
		for i, o := range found.Offers {
			plans[i] = wire.SuggestedPlan(o)
		}
		if err := printSuggested(w, plans, wire.SuggestEnd(found.Offers[0].Result.Money.Currency, *found)); err != nil {
			return err
		}
	} else if len(results) > 1 {
		if err := printCutResults(w, results); err != nil {
			return err
		}
	}
	for _, r := range results {
		say(w, "")
		if err := printCutResult(w, r); err != nil {
			return err
		}
	}
	say(w, "")
	say(w, "All of it is estimated from a drawing; it is no valuation.")
	sayCaution(w)
	return nil
}

// printSuggested sets suggested plans side by side, with what each would bring if all that a market takes were sold there.
// Markets that want none of it are left out.
func printSuggested(w io.Writer, plans []*cutterv1.SuggestedPlan, end *cutterv1.SuggestEnd) error {
	columns, shown := []table.Column{wrapped("plan")}, map[string]bool{}
	for i, m := range plans[0].GetMarkets() {
		if slices.ContainsFunc(plans, func(p *cutterv1.SuggestedPlan) bool { return isPositive(p.GetMarkets()[i].GetExpected()) }) {
			columns, shown[m.GetMarket()] = append(columns, right(m.GetMarket())), true
		}
	}
	t := table.New(columns...)
	for _, p := range plans {
		row := []string{p.GetCut().GetName()}
		for _, m := range p.GetMarkets() {
			if !shown[m.GetMarket()] {
				continue
			}
			cell := "–"
			if m.GetExpected() != nil {
				cell = bare(amount.Text(m.GetExpected()))
			}
			if m.GetBest() {
				cell += " *"
			}
			row = append(row, cell)
		}
		t.Row(row...)
	}
	if _, err := t.WriteTo(w); err != nil {
		return err
	}
	sayLong(w, "  Expected after levy, selling and bench, all stones that a market takes sold there; – it takes none of them.")
	say(w, "  * no plan found brings more in that market.")
	sayLong(w, "  The best found, each stone in the market it is planned for, is worth %s after the same; %s.", amount.Text(end.GetBest()), boundWords("no plan of saw cuts", end))
	if end.GetStopped() {
		say(w, "  The search was stopped early; there may be better ones.")
	}
	return nil
}

func isPositive(m *money.Money) bool {
	return m.GetUnits() > 0 || m.GetUnits() == 0 && m.GetNanos() > 0
}

// boundWords says what no plan passes, and how far that is above the best.
func boundWords(plans string, end *cutterv1.SuggestEnd) string {
	if end.GetBound() == nil {
		return "no bound is known yet on what others could bring"
	}
	words := fmt.Sprintf("%s for these wants can be worth more than %s", plans, amount.Text(end.GetBound()))
	best, err := amount.Minor(end.GetBest())
	bound, failed := amount.Minor(end.GetBound())
	if err != nil || failed != nil || best <= 0 {
		return words
	}
	// Rounded up, so that it bounds too; in whole numbers that don't overflow.
	gap := new(big.Int).Mul(big.NewInt(bound-best), big.NewInt(1000))
	gap.Add(gap, big.NewInt(best-1)).Div(gap, big.NewInt(best))
	tenth := new(big.Int)
	gap.DivMod(gap, big.NewInt(10), tenth)
	return fmt.Sprintf("%s, at most %v.%v %% above it", words, gap, tenth)
}

func (s *session) readPlanFile(path string) (planfile.File, error) {
	data, err := s.readInput(path, planfile.MaxBytes)
	if err != nil {
		return planfile.File{}, err
	}
	f, err := planfile.Parse(data)
	if problems, ok := errors.AsType[planfile.Problems](err); ok {
		return f, fileFailure(path, "plan file", planFilesHint, fieldProblems(problems))
	}
	return f, err
}

func planNames(f planfile.File) string {
	names := make([]string, len(f.Plans))
	for i, p := range f.Plans {
		names[i] = fmt.Sprintf("%q", p.Name)
	}
	return strings.Join(names, ", ")
}

// planProblem says in a file's words what the domain found wrong with it.
func planProblem(f planfile.File, path, within string, err error) error {
	wrong, ok := errors.AsType[*saw.Invalid](err)
	if !ok {
		return fmt.Errorf("couldn't reckon with %s: %w", path, err)
	}
	place, rule := f.Problem(within, wrong)
	return fileFailure(path, "plan file", planFilesHint, []fieldProblem{{place, rule}})
}

// planOptions reads the photos that may lie under the drawings.
func planOptions(files []string) (draw.Options, error) {
	photos := map[[32]byte]draw.Photo{}
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			return draw.Options{}, fmt.Errorf("couldn't read the photo: %w", err)
		}
		if photos[sha256.Sum256(data)], err = drawable(data); err != nil {
			return draw.Options{}, wrongInput(name, "give a JPEG or PNG file", "%v", err)
		}
	}
	return photosBySum(photos), nil
}

// drawable is a photo as it goes into a drawing.
func drawable(data []byte) (draw.Photo, error) {
	size, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return draw.Photo{}, fmt.Errorf("is no picture that can be read: %w", err)
	}
	href := "data:" + http.DetectContentType(data) + ";base64," + base64.StdEncoding.EncodeToString(data)
	return draw.Photo{Href: href, Width: int64(size.Width), Height: int64(size.Height)}, nil
}

func photosBySum(photos map[[32]byte]draw.Photo) draw.Options {
	return draw.Options{Photo: func(sum [32]byte) (draw.Photo, bool) {
		p, ok := photos[sum]
		return p, ok
	}}
}

// drawPlans draws a piece and its plans step by step, and gives the files' names.
func drawPlans(dir string, study saw.Study, planned []filePlanned, o draw.Options) ([]string, error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, cantMake(dir, err)
	}
	var names []string
	picture := func(name string, write func(io.Writer) error) error {
		path := filepath.Join(dir, name+".svg")
		names = append(names, path)
		return writeWhole(path, write)
	}
	piece := fileName(study.Name, "piece")
	if err := picture(piece, func(w io.Writer) error { return draw.Study(w, study, o) }); err != nil {
		return names, err
	}
	for i, p := range planned {
		name := fmt.Sprintf("%s-plan-%d", piece, i+1)
		if err := picture(name, func(w io.Writer) error { return draw.Plan(w, study, p.plan, p.result, o) }); err != nil {
			return names, err
		}
		err := eachStep("", "", p.plan.Steps, func(path, step string, work saw.Work) error {
			if _, ok := work.(saw.Look); ok {
				return picture(name+step+"-outcomes", func(w io.Writer) error { return draw.Outcomes(w, study, p.plan, p.result, path, o) })
			}
			return picture(name+step, func(w io.Writer) error { return draw.Step(w, study, p.plan, p.result, path, o) })
		})
		if err != nil {
			return names, err
		}
	}
	return names, nil
}

// eachStep goes through a plan's steps and those of its looks' outcomes, with their paths and what a file calls them.
func eachStep(path, name string, steps []saw.Step, do func(path, name string, work saw.Work) error) error {
	for i, step := range steps {
		at, called := fmt.Sprintf("%ssteps[%d]", path, i), fmt.Sprintf("%s-step-%d", name, i+1)
		if err := do(at, called, step.Do); err != nil {
			return err
		}
		if look, ok := step.Do.(saw.Look); ok {
			for j, o := range look.Outcomes {
				if err := eachStep(fmt.Sprintf("%s.look.outcomes[%d].", at, j), fmt.Sprintf("%s-outcome-%d", called, j+1), o.Steps, do); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// fileName makes a file's name of what a cutter called a thing.
func fileName(name, empty string) string {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') })
	joined := strings.Join(words, "-")
	return cmp.Or(joined[:min(len(joined), 40)], empty)
}

// writeWhole writes a file that is there whole or not at all.
func writeWhole(path string, write func(io.Writer) error) error {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return fmt.Errorf("couldn't draw %s: %w", path, err)
	}
	return writeFile(path, b.Bytes())
}

// writeFile writes a file that was asked for.
func writeFile(path string, data []byte) error {
	if err := os.WriteFile(path, data, 0o666); err != nil {
		return cantMake(path, err)
	}
	return nil
}

// cantMake says that a file or folder can't be made where it was asked for; a disk that fails is another matter.
func cantMake(path string, err error) error {
	why := err
	if deep, ok := errors.AsType[*fs.PathError](err); ok {
		why = deep.Err
	}
	for _, theirs := range []error{fs.ErrNotExist, fs.ErrPermission, fs.ErrExist, syscall.ENOTDIR, syscall.EISDIR, syscall.EROFS} {
		if errors.Is(err, theirs) {
			return &failure{Exit: exitUsage, Reason: "FILE", Field: path, Message: fmt.Sprintf("it can't be made or written there: %v", why), Hint: "name a place in a folder that is there and that you may write to", Err: err}
		}
	}
	return fmt.Errorf("couldn't write %s: %w", path, err)
}
