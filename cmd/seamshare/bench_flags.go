package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/table"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

// restLine stands where a part that was shaped goes on to its polish.
const restLine = `A shaped part rests, three days unless your co-op has set another time, so that a
strained one cracks before work is put into its polish. Earlier, say --why-early.
`

// sayCaution ends what is shown of bench work.
func sayCaution(w io.Writer) {
	for _, line := range table.Break(safetyLine, table.Width) {
		say(w, "%s", line)
	}
}

// stepDone are the flags that say when bench work was done and how long it took.
type stepDone struct {
	minutes      uint32
	at, whyEarly string
}

func (d *stepDone) flags(c *cobra.Command, what string) {
	f := c.Flags()
	f.Uint32Var(&d.minutes, "minutes", 0, "minutes at the bench")
	f.Var(&parsed[string]{into: &d.at, parse: parsePast, again: parsePastAgain, kind: "time"}, "done-at", "when it was done, such as \"4 days ago\"; without it, now")
	f.StringVar(&d.whyEarly, "why-early", "", "why it is "+what+" before it rested")
}

// gradeFlags are what a stone or part is judged by, and the co-op's own word for it.
func gradeFlags(c *cobra.Command, g *typev1.Grade, class *string) {
	judgedFlags(c, g)
	c.Flags().StringVar(class, "class", "", "your co-op's own word for its class")
}

func judgedFlags(c *cobra.Command, g *typev1.Grade) {
	f := c.Flags()
	f.Uint32Var(&g.BodyTone, "body-tone", 0, "1 (darkest) to 9 (lightest)")
	wordFlag(c, &g.Transparency, "transparency", "how much light goes through")
	wordFlag(c, &g.Pattern, "pattern", "the play-of-colour's pattern")
	wordFlag(c, &g.Brightness, "brightness", "in words")
	f.StringVar(&g.Colours, "colours", "", "the colours, brightest first")
	f.StringVar(&g.JudgedUnder, "judged-under", "", "the light and distance it was judged at")
}

func lengthFlag(c *cobra.Command, um *int64, name, usage string) {
	c.Flags().Var(&parsed[int64]{into: um, kind: "length", parse: parseUm}, name, usage)
}

// parseUm reads a length with its unit, in micrometres.
func parseUm(text string) (int64, error) {
	l, err := measure.ParseLength(text)
	if wrong, ok := errors.AsType[*measure.ParseError](err); ok {
		return 0, fmt.Errorf("%q: %s", text, wrong.Problem)
	}
	return int64(l), err
}
