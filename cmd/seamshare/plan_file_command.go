package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/planfile"
	"seamshare.example/cmd/seamshare/internal/table"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/saw"
	"seamshare.example/services/wire"
)

const planFileLong = `Says what would come of the plans in a file, without a server: every part with its
outline and mass, what is lost and why, which stones fit and where one doesn't and
by how much, carats, hours, money and risk. Plans stand in the order you wrote them.
The form of the file: seamshare help plan-files.

The other commands keep plans with the co-op, where only you see them.

`

// planDocument is what plan FILE prints as JSON.
type planDocument struct {
	Results []jsonMessage `json:"results"`
}

// planFileFlags are what plan FILE takes.
type planFileFlags struct {
	plan string
}

func (s *session) planFile(c *cobra.Command, path string, flags planFileFlags) error {
	f, err := s.readPlanFile(path)
	if err != nil {
		return err
	}
	if !f.HasPiece() {
		return wrongUsage(path, "add it, see seamshare help plan-files", "the file has no piece")
	}
	plans := f.Plans
	if flags.plan != "" {
		plan, ok := f.Plan(flags.plan)
		if !ok {
			return wrongUsage("--plan", "its plans are: "+planNames(f), "the file has no plan %q", flags.plan)
		}
		plans = []saw.Plan{plan}
	}
	model, err := saw.NewModel(f.Study)
	if err != nil {
		return planProblem(path, "piece", err)
	}
	var results []*typev1.CutResult
	for _, plan := range plans {
		r, err := model.Evaluate(plan, f.Prices)
		if err != nil {
			return planProblem(path, placeOf(f, plan.Name), err)
		}
		results = append(results, wire.CutResult(r))
	}
	document := planDocument{}
	for _, r := range results {
		document.Results = append(document.Results, jsonMessage{r})
	}
	return s.document(document, func(w io.Writer) error { return printPlanFile(w, f.Study, results) })
}

func printPlanFile(w io.Writer, study saw.Study, results []*typev1.CutResult) error {
	say(w, "Piece: %s, %s", table.OneLine(study.Name), both(study.MassUg))
	if len(results) == 0 {
		say(w, "The file has no plans yet; the piece is drawn well.")
		return nil
	}
	if len(results) > 1 {
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
	say(w, "%s", strings.TrimSpace(safetyLine))
	return nil
}

func (s *session) readPlanFile(path string) (planfile.File, error) {
	data, err := s.readInput(path, planfile.MaxBytes)
	if err != nil {
		return planfile.File{}, err
	}
	f, err := planfile.Parse(data)
	if problems, ok := errors.AsType[planfile.Problems](err); ok {
		return f, badFile(path, problems)
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

// placeOf is where a plan stands in its file.
func placeOf(f planfile.File, name string) string {
	for i, p := range f.Plans {
		if p.Name == name {
			return fmt.Sprintf("plans[%d]", i)
		}
	}
	return ""
}

// planProblem says in a file's words what the domain found wrong with it.
func planProblem(path, within string, err error) error {
	wrong, ok := errors.AsType[*saw.Invalid](err)
	if !ok {
		return fmt.Errorf("couldn't reckon with %s: %w", filepath.Base(path), err)
	}
	rule := wrong.Rule
	if wrong.Value != "" {
		rule = "is " + wrong.Value + ": " + rule
	}
	return badFile(path, planfile.Problems{{Path: planfile.Place(within, wrong.Path), Rule: rule}})
}
