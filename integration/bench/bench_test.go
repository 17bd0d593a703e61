package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"seamshare.example/eventstore"
)

// TestMain lets the test's own program be the process that measures its start.
func TestMain(m *testing.M) {
	if len(os.Args) > 1 && os.Args[1] == startMode {
		if err := bench(context.Background(), os.Args[1:], os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// All of it on a real node, small and without the peer. That nothing was counted that
// isn't in the log, the bench checks itself.
func TestBench(t *testing.T) {
	profiles := t.TempDir()
	var out bytes.Buffer
	err := bench(t.Context(), []string{
		"--json", "-peer=false", "-rounds", "2", "-callers", "1,8", "-pieces", "24",
		"-warm", "10ms", "-window", "200ms", "-records", "2000", "-profile", profiles,
	}, &out)
	if err != nil {
		t.Fatal(err)
	}
	decoder := json.NewDecoder(&out)
	var r report
	if err := decoder.Decode(&r); err != nil {
		t.Fatal(err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		t.Errorf("more than one document on stdout: %v", err)
	}
	if len(r.Rounds) != 2 {
		t.Fatalf("%d rounds, want 2", len(r.Rounds))
	}
	for _, round := range r.Rounds {
		if round.Probe.Syncs == 0 || len(round.Runs) != 4 {
			t.Errorf("round %d: %d syncs and %d runs", round.Round, round.Probe.Syncs, len(round.Runs))
		}
		for _, x := range round.Runs {
			if x.Commands == 0 || x.Done < x.Commands || x.P50us > x.P99us {
				t.Errorf("round %d: %+v", round.Round, x)
			}
		}
	}
	// The place in the stream, the request and the view's row, and for each commit its own rows.
	if r.PerCommand.Rows < 3 || r.PerCommand.Rows > 7 {
		t.Errorf("%f rows a command", r.PerCommand.Rows)
	}
	// Each record has its place and its request; rows that several records share are written once.
	if r.Rebuild == nil || r.Rebuild.Records < 2000 || r.Rebuild.Written.Rows < 4000 || r.Rebuild.BareSeconds <= 0 {
		t.Errorf("rebuild: %+v", r.Rebuild)
	}
	if r.Start == nil || r.Start.Records != r.Rebuild.Records || r.Start.RSSBytes == 0 || r.Start.Commands != 80 {
		t.Errorf("start: %+v", r.Start)
	}
	if found, err := filepath.Glob(filepath.Join(profiles, "*.pprof")); err != nil || len(found) != 5 {
		t.Errorf("profiles: %v, %v", found, err)
	}
	if err := r.print(io.Discard); err != nil {
		t.Error(err)
	}
}

func TestRatios(t *testing.T) {
	at := func(path string, perSecond float64) run {
		return run{Callers: 64, Path: path, sample: sample{PerSecond: perSecond}}
	}
	rounds := []round{
		{Runs: []run{at(inProcess, 100), at(peerTransaction, 10), at(peerStatement, 20)}},
		{Runs: []run{at(peerStatement, 50), at(inProcess, 200), at(peerTransaction, 100)}},
		{Runs: []run{at(peerTransaction, 10), at(peerStatement, 10), at(inProcess, 60)}},
	}
	want := []ratio{{64, inProcess, peerTransaction, 6, 2, 10}, {64, inProcess, peerStatement, 5, 4, 6}}
	got := ratios(rounds)
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
	met := aims(got)
	if len(met) != 2 || !met[0].Met || !met[1].Met {
		t.Errorf("5 times the transaction and 3 times the statement are reached: %+v", met)
	}
	t.Run("without a peer: an empty list, not none", func(t *testing.T) {
		data, err := json.Marshal(report{Ratios: ratios(nil)})
		if err != nil || !bytes.Contains(data, []byte(`"ratios":[]`)) {
			t.Errorf("%s, %v", data, err)
		}
	})
}

func TestDrive(t *testing.T) {
	t.Run("counts what was answered", func(t *testing.T) {
		var calls [3]int
		s, err := drive(t.Context(), 3, span{0, 20 * time.Millisecond}, func(_ context.Context, caller int) error {
			calls[caller]++
			return nil
		})
		if sum := calls[0] + calls[1] + calls[2]; err != nil || s.Done != sum || s.Commands == 0 || s.Commands > sum {
			t.Errorf("%+v, %v, after %d calls", s, err, sum)
		}
	})
	t.Run("ends with the first error", func(t *testing.T) {
		broken := errors.New("broken")
		_, err := drive(t.Context(), 3, span{0, time.Hour}, func(_ context.Context, caller int) error {
			if caller == 2 {
				return broken
			}
			return nil
		})
		if !errors.Is(err, broken) {
			t.Errorf("got %v", err)
		}
	})
}

func TestQuantile(t *testing.T) {
	hundred := make([]time.Duration, 100)
	for i := range hundred {
		hundred[i] = time.Duration(i + 1)
	}
	for q, want := range map[float64]time.Duration{0.5: 50, 0.99: 99, 1: 100, 0: 1} {
		if got := quantile(hundred, q); got != want {
			t.Errorf("quantile %g is %d, want %d", q, got, want)
		}
	}
}

func TestCallersDontShareAPiece(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		callers := rapid.IntRange(1, 40).Draw(t, "callers")
		tr := &trade{pieces: make([]workpiece, rapid.IntRange(callers, 200).Draw(t, "pieces"))}
		owner := map[*workpiece]int{}
		for caller := range callers {
			for n := range 300 {
				w := tr.piece(caller, callers, n)
				if before, taken := owner[w]; taken && before != caller {
					t.Fatalf("callers %d and %d share a piece", before, caller)
				}
				owner[w] = caller
			}
		}
	})
}

func TestSpool(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		change := rapid.Custom(func(rt *rapid.T) eventstore.Change {
			c := eventstore.Change{Key: rapid.SliceOfN(rapid.Byte(), 1, 20).Draw(rt, "key")}
			if !rapid.Bool().Draw(rt, "deleted") {
				c.Value = rapid.SliceOfN(rapid.Byte(), 0, 300).Draw(rt, "value")
			}
			return c
		})
		writes := rapid.SliceOf(rapid.SliceOfN(change, 1, 10)).Draw(rt, "writes")
		s, err := newSpool(filepath.Join(t.TempDir(), "spool"))
		if err != nil {
			rt.Fatal(err)
		}
		for _, w := range writes {
			if err := s.keep(w); err != nil {
				rt.Fatal(err)
			}
		}
		var back [][]eventstore.Change
		err = s.each(func(w []eventstore.Change) error {
			back = append(back, w)
			return nil
		})
		if err := errors.Join(err, s.close()); err != nil {
			rt.Fatal(err)
		}
		if len(back) != len(writes) || len(back) > 0 && !reflect.DeepEqual(back, writes) {
			rt.Fatalf("kept %v, got %v", writes, back)
		}
	})
}

func TestFlags(t *testing.T) {
	t.Run("what is given holds with -quick too", func(t *testing.T) {
		c, err := parse([]string{"-quick", "--json", "-records", "7"})
		if err != nil || !c.json || c.records != 7 || c.span.window != 500*time.Millisecond || len(c.callers) != 5 {
			t.Errorf("%+v, %v", c, err)
		}
	})
	for name, args := range map[string][]string{
		"a caller that isn't a number":    {"-callers", "1,x"},
		"fewer pieces than callers":       {"-pieces", "10"},
		"no round":                        {"-rounds", "0"},
		"a word that isn't a flag":        {"fast"},
		"a directory that only memory is": {"-dir", "/dev/shm", "-peer=false"},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			if err := bench(t.Context(), args, io.Discard); err == nil {
				t.Error("accepted")
			}
		})
	}
}
