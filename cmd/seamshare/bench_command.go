package main

import (
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/table"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// jobs are the parts of the bench list in the order in which work goes on.
var jobs = []struct {
	job   cutterv1.Job
	title string
}{
	{cutterv1.Job_JOB_DECIDE, "To decide"},
	{cutterv1.Job_JOB_STUDY, "To study: not touched yet"},
	{cutterv1.Job_JOB_PLAN, "To plan: studied, no plan chosen"},
	{cutterv1.Job_JOB_BEGIN, "To begin: the plan is chosen"},
	{cutterv1.Job_JOB_OPEN, "Counted lines: to open, or to sell as a lot"},
	{cutterv1.Job_JOB_GO_ON, "To go on with, by the step that was done last"},
	{cutterv1.Job_JOB_REST, "Resting after shaping"},
	{cutterv1.Job_JOB_POLISH, "Rested: to sand, polish and finish"},
	{cutterv1.Job_JOB_CHECK, "Finished: to check"},
	{cutterv1.Job_JOB_CONFIRM, "Checked: a second person has to confirm"},
	{cutterv1.Job_JOB_SELL, "Confirmed: to put on sale"},
}

func (s *session) benchCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "bench",
		Short: "Today's list by step: what there is to do with what (cutter)",
		Long: `Lists what there is to do next with each part and stone of the rough in your hands,
by step, because work goes in batches by machine: what waits for which step, what
rests until when, what is to be decided, checked, confirmed. What lies on the shelf
or is kept as an off-cut isn't listed.

` + safetyLine,
		Example: "  seamshare bench",
		Args:    exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			return look(c, s, wholeBench, printBench)
		},
	}
}

// wholeBench puts all pages together: a list by step is none before its end.
func wholeBench(q call) (*cutterv1.ListBenchResponse, error) {
	all := &cutterv1.ListBenchResponse{}
	for {
		a, err := cutterv1.NewCutterServiceClient(q.conn).ListBench(q.ctx, &cutterv1.ListBenchRequest{PageSize: 200, PageToken: all.NextPageToken, MinPosition: all.Position})
		if err != nil {
			return nil, err
		}
		all.Lines, all.NextPageToken, all.Position = append(all.Lines, a.GetLines()...), a.GetNextPageToken(), a.GetPosition()
		if all.NextPageToken == "" {
			return all, nil
		}
	}
}

func printBench(w io.Writer, a *cutterv1.ListBenchResponse) error {
	if len(a.GetLines()) == 0 {
		say(w, "Nothing is on the bench.")
		return nil
	}
	for _, j := range jobs {
		for _, step := range stepsOf(j.job) {
			t := table.New(wrapped("piece"), text("part"), right("mass"), text("tray"), text("dop"), wrapped(column(j.job)))
			rows := 0
			for _, l := range a.GetLines() {
				if l.GetJob() != j.job || step != typev1.Step_STEP_UNSPECIFIED && l.GetLastStep() != step {
					continue
				}
				rows++
				t.Row(l.GetParcelLabel()+" "+l.GetPieceLabel(), l.GetPart(), grams(l.GetWeighing()), l.GetTray(), l.GetDop(), benchNote(l))
			}
			if rows == 0 {
				continue
			}
			title := j.title
			if step != typev1.Step_STEP_UNSPECIFIED {
				title = "To go on with, last step: " + word(step)
			}
			say(w, "%s", title)
			if _, err := t.WriteTo(w); err != nil {
				return err
			}
			say(w, "")
		}
	}
	sayCaution(w)
	return nil
}

// stepsOf are the lists that a job makes: what is in the middle of work, one for each step.
func stepsOf(job cutterv1.Job) []typev1.Step {
	if job != cutterv1.Job_JOB_GO_ON {
		return []typev1.Step{typev1.Step_STEP_UNSPECIFIED}
	}
	var steps []typev1.Step
	values := typev1.Step(0).Descriptor().Values()
	for i := range values.Len() {
		if step := typev1.Step(values.Get(i).Number()); step != typev1.Step_STEP_UNSPECIFIED {
			steps = append(steps, step)
		}
	}
	return steps
}

func column(job cutterv1.Job) string {
	switch job {
	case cutterv1.Job_JOB_DECIDE:
		return "what"
	case cutterv1.Job_JOB_REST, cutterv1.Job_JOB_POLISH:
		return "rests until"
	case cutterv1.Job_JOB_CHECK, cutterv1.Job_JOB_CONFIRM, cutterv1.Job_JOB_SELL:
		return "stone"
	}
	return "piece id"
}

func benchNote(l *cutterv1.BenchLine) string {
	switch l.GetJob() {
	case cutterv1.Job_JOB_DECIDE:
		return l.GetWaitsFor()
	case cutterv1.Job_JOB_REST, cutterv1.Job_JOB_POLISH:
		return l.GetRestsUntil()
	case cutterv1.Job_JOB_CHECK, cutterv1.Job_JOB_CONFIRM, cutterv1.Job_JOB_SELL:
		return l.GetStoneLabel() + " " + l.GetStoneId()
	}
	return l.GetPieceId()
}
