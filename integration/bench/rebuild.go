package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
)

// rebuild is how fast a node without its store builds it again from the log, with all
// views, beside the same rows in the same writes put into Badger with nothing else to do.
type rebuild struct {
	Records              uint64  `json:"records"`
	Commits              uint64  `json:"commits"`
	Seconds              float64 `json:"seconds"`
	CPUSeconds           float64 `json:"cpu_seconds"`
	RecordsPerSecond     float64 `json:"records_per_second"`
	Written              rows    `json:"written"`
	BareSeconds          float64 `json:"bare_seconds"`
	BareRecordsPerSecond float64 `json:"bare_records_per_second"`
}

// measureRebuild takes the store of a stopped node away and lets it build a new one.
func measureRebuild(ctx context.Context, dir string, say *progress) (_ *rebuild, err error) {
	if err := os.RemoveAll(storeDir(dir)); err != nil {
		return nil, err
	}
	spool, err := newSpool(filepath.Join(dir, "spool"))
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, spool.close()) }()
	settle()
	begin, used := time.Now(), processorTime()
	n, err := openNode(ctx, dir, nodeOptions{spool: spool, progress: func(done, total eventstore.Sequence) {
		say.part("rebuilding", uint64(done), uint64(total))
	}})
	if err != nil {
		return nil, err
	}
	took := time.Since(begin) - spool.took
	at := n.Checkpoint()
	out := &rebuild{
		Records: uint64(at.Position), Commits: uint64(at.Sequence), Written: n.meter.count,
		CPUSeconds: (processorTime() - used).Seconds(),
		Seconds:    took.Seconds(), RecordsPerSecond: float64(at.Position) / took.Seconds(),
	}
	if err := n.close(); err != nil {
		return nil, err
	}
	settle()
	bare, err := writeBare(filepath.Join(dir, "bare"), spool, say, out.Written.Writes)
	if err != nil {
		return nil, fmt.Errorf("couldn't write the rows to Badger alone: %w", err)
	}
	out.BareSeconds, out.BareRecordsPerSecond = bare.Seconds(), float64(out.Records)/bare.Seconds()
	return out, nil
}

// settle gives memory back, so that one measurement doesn't pay for another's.
func settle() { debug.FreeOSMemory() }

// writeBare is how long the store takes for the spooled writes; reading them back is
// not counted.
func writeBare(dir string, s *spool, say *progress, writes int) (took time.Duration, err error) {
	store, _, err := badgerstore.Open(badgerstore.Options{Dir: dir})
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	done := 0
	err = s.each(func(changes []eventstore.Change) error {
		begin := time.Now()
		defer func() {
			took += time.Since(begin)
			done++
			say.part("writing to Badger alone", uint64(done), uint64(writes))
		}()
		return store.Write(changes)
	})
	return took, errors.Join(err, store.Close())
}

// start is what a fresh process takes to open the node, until it can answer.
type start struct {
	Records  uint64 `json:"records"`
	StartMs  int64  `json:"start_ms"`
	RSSBytes int64  `json:"rss_bytes"`
	// The first commands after the start find nothing in memory: each folds its stream.
	Callers         int     `json:"callers"`
	Commands        int     `json:"commands"`
	CommandsSeconds float64 `json:"commands_seconds"`
	CPUus           float64 `json:"cpu_us"` // processor time of one of them
	RSSAtWorkBytes  int64   `json:"rss_at_work_bytes"`
	RSSPeakBytes    int64   `json:"rss_peak_bytes"`
}

// startMode is the first argument of the process that measures its own start.
const startMode = "start-and-measure"

// startTask is what that process is told.
type startTask struct {
	Dir     string
	Trade   savedTrade
	Callers int
	Each    int    // commands of each caller
	Profile string // of those commands, where it goes; empty: none
}

// measureStart starts this program again on the directory of a stopped node. The files
// are in the page cache, as after a restart of the service, not of the machine.
func measureStart(ctx context.Context, task startTask) (*start, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, fmt.Errorf("couldn't find this program: %w", err)
	}
	arg, err := json.Marshal(task)
	if err != nil {
		return nil, err
	}
	file := filepath.Join(task.Dir, "start.json")
	if err := os.WriteFile(file, arg, 0o600); err != nil {
		return nil, err
	}
	c := exec.CommandContext(ctx, self, startMode, file)
	c.Stderr = os.Stderr
	out, err := c.Output()
	if err != nil {
		return nil, fmt.Errorf("couldn't measure a start: %w", err)
	}
	var s start
	if err := json.Unmarshal(out, &s); err != nil {
		return nil, fmt.Errorf("couldn't read what the started process measured: %w", err)
	}
	return &s, nil
}

// startAndMeasure is that process.
func startAndMeasure(ctx context.Context, file string, stdout io.Writer) (err error) {
	arg, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	var task startTask
	if err := json.Unmarshal(arg, &task); err != nil {
		return err
	}
	begin := time.Now()
	n, err := openNode(ctx, task.Dir, nodeOptions{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, n.close()) }()
	s := start{StartMs: time.Since(begin).Milliseconds(), Records: uint64(n.Checkpoint().Position), Callers: task.Callers}
	s.RSSBytes, _ = memory()
	svc, err := serve(n, task.Trade.open())
	if err != nil {
		return err
	}
	call, err := svc.inProcess(ctx, task.Callers)
	if err != nil {
		return errors.Join(err, svc.stop())
	}
	stop := func() error { return nil }
	if task.Profile != "" {
		if stop, err = profileTo(task.Profile); err != nil {
			return errors.Join(err, svc.stop())
		}
	}
	begin, used := time.Now(), processorTime()
	err = repeat(ctx, task.Callers, call, func(_, done int) bool { return done < task.Each })
	s.Commands, s.CommandsSeconds = task.Callers*task.Each, time.Since(begin).Seconds()
	s.CPUus = float64((processorTime() - used).Microseconds()) / float64(max(1, s.Commands))
	if err = errors.Join(err, stop(), svc.stop()); err != nil {
		return err
	}
	s.RSSAtWorkBytes, s.RSSPeakBytes = memory()
	return json.NewEncoder(stdout).Encode(s)
}

// savedTrade is a trade as another process takes it over.
type savedTrade struct {
	Miner, Cutter, Person string
	Key                   []byte
	Pieces                []savedPiece
}

type savedPiece struct {
	ID, Parcel, Part string
	MassUg           int64
}

func (t *trade) save() savedTrade {
	s := savedTrade{Miner: t.miner, Cutter: t.cutter, Person: t.person, Key: t.key}
	for i := range t.pieces {
		w := &t.pieces[i]
		s.Pieces = append(s.Pieces, savedPiece{w.id, w.parcel, w.part, w.massUg.Load()})
	}
	return s
}

func (s savedTrade) open() *trade {
	t := &trade{miner: s.Miner, cutter: s.Cutter, person: s.Person, key: s.Key, pieces: make([]workpiece, len(s.Pieces))}
	for i, p := range s.Pieces {
		t.pieces[i].id, t.pieces[i].parcel, t.pieces[i].part = p.ID, p.Parcel, p.Part
		t.pieces[i].massUg.Store(p.MassUg)
	}
	return t
}
