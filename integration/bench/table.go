package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/dustin/go-humanize"
)

// print writes the report as a person reads it.
func (r *report) print(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	line := func(cells ...any) {
		text := make([]string, len(cells))
		for i, c := range cells {
			text[i] = fmt.Sprint(c)
		}
		fmt.Fprintln(t, strings.Join(text, "\t")+"\t")
	}
	m := r.Machine
	fmt.Fprintf(t, "%s, %d CPUs, %s, %s, %s\n", m.Processor, m.CPUs, humanize.IBytes(uint64(m.MemoryBytes)), m.FileSystem, m.Go)
	if m.busy() {
		fmt.Fprintf(t, "The machine was busy with something else (load %s): these numbers say little.\n", m.LoadAtStart)
	}
	fmt.Fprintf(t, "%s: %.2f rows and %.0f bytes in the store for each", r.Command, r.PerCommand.Rows, r.PerCommand.Bytes)
	if m.PostgreSQL != "" {
		fmt.Fprintf(t, "; PostgreSQL %s: %d rows, at most %d connections (transaction), %d (statement)",
			m.PostgreSQL, r.PerCommand.PeerRows, r.Settings.Pools[peerTransaction], r.Settings.Pools[peerStatement])
	}
	fmt.Fprint(t, "\n\nMedian of the rounds:\n\n")
	line("callers", "path", "durable commands/s", "p50 ms", "p99 ms", "least/s", "most/s", "CPU µs each")
	for _, callers := range r.Settings.Callers {
		for _, path := range []string{inProcess, overGRPC, peerTransaction, peerStatement} {
			rate := r.of(callers, path, func(x run) float64 { return x.PerSecond })
			if len(rate) == 0 {
				continue
			}
			p50 := r.of(callers, path, func(x run) float64 { return float64(x.P50us) })
			p99 := r.of(callers, path, func(x run) float64 { return float64(x.P99us) })
			cpu := ""
			if path == inProcess || path == overGRPC {
				cpu = fmt.Sprintf("%.0f", median(r.of(callers, path, func(x run) float64 { return x.CPUus })))
			}
			line(callers, path, count(median(rate)), ms(median(p50)), ms(median(p99)), count(rate[0]), count(rate[len(rate)-1]), cpu)
		}
	}
	fmt.Fprintln(t)
	line("round", "load before", "fdatasync/s (4 KiB)", "p50 ms", "p99 ms")
	for _, round := range r.Rounds {
		before, _, _ := strings.Cut(round.Load, " ")
		line(round.Round, before, count(round.Probe.PerSecond), ms(float64(round.Probe.P50us)), ms(float64(round.Probe.P99us)))
	}
	if len(r.Ratios) > 0 {
		fmt.Fprint(t, "\nTimes as many commands/s as the peer:\n\n")
		line("callers", "path", "peer", "median", "least", "most", "aim")
		for _, x := range r.Ratios {
			line(x.Callers, x.Path, x.Peer, fmt.Sprintf("%.2f", x.Median), fmt.Sprintf("%.2f", x.Least), fmt.Sprintf("%.2f", x.Most), r.aimOf(x))
		}
	}
	if b := r.Rebuild; b != nil {
		fmt.Fprintf(t, "\nRebuild of %s records from the log: %s records/s (%.1f s, %s rows, %s)\n", count(float64(b.Records)),
			count(b.RecordsPerSecond), b.Seconds, count(float64(b.Written.Rows)), humanize.IBytes(uint64(b.Written.Bytes)))
		fmt.Fprintf(t, "The same rows written to Badger alone: %.1f s, so %.0f %% of the rebuild; %s records/s\n", b.BareSeconds, 100*b.BareSeconds/b.Seconds, count(b.BareRecordsPerSecond))
	}
	if s := r.Start; s != nil {
		fmt.Fprintf(t, "Start with %s records: %s; memory %s then, %s after the first %s commands by %d callers, which took %.2f s, %.0f µs of CPU each\n", count(float64(s.Records)),
			(time.Duration(s.StartMs) * time.Millisecond).Round(10*time.Millisecond), humanize.IBytes(uint64(s.RSSBytes)),
			humanize.IBytes(uint64(s.RSSAtWorkBytes)), count(float64(s.Commands)), s.Callers, s.CommandsSeconds, s.CPUus)
	}
	return t.Flush()
}

// of collects a number of a path's runs at so many callers, sorted.
func (r *report) of(callers int, path string, number func(run) float64) (all []float64) {
	for _, round := range r.Rounds {
		for _, x := range round.Runs {
			if x.Callers == callers && x.Path == path {
				all = append(all, number(x))
			}
		}
	}
	slices.Sort(all)
	return all
}

func (r *report) aimOf(x ratio) string {
	for _, a := range r.Aims {
		if a.Callers == x.Callers && a.Peer == x.Peer && x.Path == inProcess {
			if a.Met {
				return fmt.Sprintf("%g: met", a.AtLeast)
			}
			return fmt.Sprintf("%g: MISSED", a.AtLeast)
		}
	}
	return ""
}

func count(n float64) string { return humanize.Comma(int64(n + 0.5)) }

func ms(us float64) string { return fmt.Sprintf("%.2f", us/1000) }
