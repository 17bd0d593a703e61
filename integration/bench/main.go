// Bench measures durable commands a second: of a node, called in process and through
// gRPC, and of PostgreSQL doing the same command over the same facts. Then how fast a
// node builds its store from the log, and what a start takes.
//
//	go run ./integration/bench            a table, in about ten minutes
//	go run ./integration/bench -quick     small numbers, in about a minute
//	go run ./integration/bench -json      one document on stdout
//	go run ./integration/bench -plans     cut plans instead: evaluation and search; some eight minutes
//
// It needs Debian's package postgresql, or -peer=false, and a directory on a real disk.
package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := bench(ctx, os.Args[1:], os.Stdout); err != nil && !errors.Is(err, flag.ErrHelp) {
		fmt.Fprintln(os.Stderr, "bench:", err)
		stop()
		os.Exit(1)
	}
}

// config is what was asked for.
type config struct {
	json    bool
	peer    bool
	dir     string
	rounds  int
	callers []int
	pieces  int
	span    span
	records int // in the log when it is rebuilt
	profile string
	plans   bool
	quick   bool
}

func parse(args []string) (config, error) {
	c := config{}
	f := flag.NewFlagSet("bench", flag.ContinueOnError)
	f.BoolVar(&c.plans, "plans", false, "measure the evaluation and search of cut plans instead, in memory")
	f.BoolVar(&c.quick, "quick", false, "small numbers, in about a minute, for CI: the shape of the result, not its last digit")
	callers := f.String("callers", "1,8,64,256,1024", "how many call at once, each its own `list` of runs")
	f.BoolVar(&c.json, "json", false, "print one JSON document")
	f.BoolVar(&c.peer, "peer", true, "measure PostgreSQL too")
	f.StringVar(&c.dir, "dir", "", "keep the data in a new folder below this `directory`, on the disk to measure; it is removed at the end")
	f.IntVar(&c.rounds, "rounds", 3, "how many `rounds`; each holds all runs, and ratios are medians over them")
	f.IntVar(&c.pieces, "pieces", 12_000, "how many `pieces` of rough are worked on")
	f.DurationVar(&c.span.warm, "warm", time.Second, "the `time` before counting in each run")
	f.DurationVar(&c.span.window, "window", 4*time.Second, "the `time` of counting in each run")
	f.IntVar(&c.records, "records", 1_000_000, "how many `records` the log holds for rebuild and start; 0: leave them out")
	f.StringVar(&c.profile, "profile", "", "write a CPU profile of each run in process to this `directory`")
	if err := f.Parse(args); err != nil {
		return c, err
	}
	if f.NArg() > 0 {
		return c, fmt.Errorf("%q is not a flag; see -help", f.Arg(0))
	}
	if c.quick {
		given := map[string]bool{}
		f.Visit(func(f *flag.Flag) { given[f.Name] = true })
		for name, value := range map[string]string{"warm": "150ms", "window": "500ms", "pieces": "4000", "records": "100000"} {
			if given[name] {
				continue
			}
			if err := f.Set(name, value); err != nil {
				return c, err
			}
		}
	}
	for text := range strings.SplitSeq(*callers, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(text))
		if err != nil || n < 1 {
			return c, fmt.Errorf("-callers: %q is not a number above 0", text)
		}
		c.callers = append(c.callers, n)
	}
	switch most := slices.Max(c.callers); {
	case c.pieces < most:
		return c, fmt.Errorf("-pieces: %d are too few for %d callers, each of whom works on its own", c.pieces, most)
	case c.rounds < 1:
		return c, fmt.Errorf("-rounds: %d is not a number above 0", c.rounds)
	case c.span.window <= 0 || c.span.warm < 0:
		return c, errors.New("-window must be above 0 and -warm not below")
	}
	return c, nil
}

func bench(ctx context.Context, args []string, stdout io.Writer) (err error) {
	if len(args) == 2 && args[0] == startMode {
		return startAndMeasure(ctx, args[1], stdout)
	}
	c, err := parse(args)
	if err != nil {
		return err
	}
	if c.plans {
		r, err := measurePlans(ctx, c.quick, os.TempDir(), newProgress(os.Stderr))
		if err != nil {
			return err
		}
		return write(stdout, c.json, r)
	}
	if c.profile != "" {
		if err := os.MkdirAll(c.profile, 0o755); err != nil {
			return fmt.Errorf("-profile: %w", err)
		}
	}
	if c.dir, err = benchDir(c.dir); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(c.dir)) }()
	r, err := measure(ctx, c, newProgress(os.Stderr))
	if err != nil {
		return err
	}
	return write(stdout, c.json, r)
}

// write prints a report, for people or as one document.
func write(w io.Writer, asJSON bool, r interface{ print(io.Writer) error }) error {
	if asJSON {
		e := json.NewEncoder(w)
		e.SetIndent("", "  ")
		return e.Encode(r)
	}
	return r.print(w)
}
