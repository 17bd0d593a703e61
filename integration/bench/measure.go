package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime/pprof"
	"slices"

	"seamshare.example/eventstore"
)

// poolSizes are those tried for the peer, whose best differs with the machine.
var poolSizes = []int{8, 16, 32, 64, 100}

// measurer runs the rounds.
type measurer struct {
	config
	say      *progress
	report   *report
	node     *node
	trade    *trade
	services *services
	peer     *peer // nil: left out
}

// measure does all that was asked for in c.dir.
func measure(ctx context.Context, c config, say *progress) (*report, error) {
	defer say.end()
	m := &measurer{config: c, say: say, report: &report{
		Machine: thisMachine(c.dir), Command: "WorkPart",
		Settings: settings{
			Dir: filepath.Dir(c.dir), Rounds: c.rounds, Callers: c.callers, Pieces: c.pieces, PerGRPCConn: callersPerConnection,
			WarmMs: c.span.warm.Milliseconds(), WindowMs: c.span.window.Milliseconds(), ProfilesKept: c.profile != "",
		},
	}}
	dir := filepath.Join(c.dir, "node")
	if err := m.live(ctx, dir); err != nil {
		return nil, err
	}
	m.report.Ratios = ratios(m.report.Rounds)
	m.report.Aims = aims(m.report.Ratios)
	if c.records == 0 {
		return m.report, nil
	}
	var err error
	if m.report.Rebuild, err = measureRebuild(ctx, dir, say); err != nil {
		return nil, fmt.Errorf("couldn't measure a rebuild: %w", err)
	}
	say.say("starting a fresh process")
	task := startTask{Dir: dir, Trade: m.trade.save(), Callers: slices.Max(c.callers), Each: 10}
	if c.profile != "" {
		task.Profile = filepath.Join(c.profile, "start.pprof")
	}
	m.report.Start, err = measureStart(ctx, task)
	return m.report, err
}

// live does all that is measured while node and peer run.
func (m *measurer) live(ctx context.Context, dir string) (err error) {
	m.say.say("preparing %d pieces", m.pieces)
	if m.node, err = createNode(ctx, dir); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, m.node.close()) }()
	if m.trade, err = found(ctx, m.node.Node, m.pieces); err != nil {
		return err
	}
	if m.services, err = serve(m.node, m.trade); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, m.services.stop()) }()
	if m.config.peer {
		if m.peer, err = newPeer(ctx, filepath.Join(m.dir, "postgres"), m.trade); err != nil {
			return err
		}
		defer func() { err = errors.Join(err, m.peer.stop()) }()
		if err := m.describePeer(ctx); err != nil {
			return err
		}
	}
	if err := m.rounds(ctx); err != nil {
		return err
	}
	if err := m.fill(ctx); err != nil {
		return fmt.Errorf("couldn't fill the log: %w", err)
	}
	return nil
}

// describePeer finds the sizes of the pools with which each form does best.
func (m *measurer) describePeer(ctx context.Context) error {
	m.report.Machine.PostgreSQL, m.report.Machine.PostgresUser = m.peer.version, m.peer.user
	m.report.Settings.PostgreSQL = postgresSettings
	m.report.Settings.Pools = map[string]int{}
	m.report.PerCommand.PeerRows = peerRows
	callers := min(256, slices.Max(m.callers))
	for path, how := range forms {
		best := 0.0
		for _, size := range poolSizes {
			m.say.say("trying PostgreSQL, %s, with %d connections", path, min(size, callers))
			x, err := m.runPeer(ctx, how, callers, min(size, callers))
			if err != nil {
				return err
			}
			if x.PerSecond > best {
				best, m.report.Settings.Pools[path] = x.PerSecond, size
			}
		}
	}
	return nil
}

// rounds runs every path at every number of callers, round by round. The paths at one
// number of callers follow each other at once, in an order that moves on with the round.
func (m *measurer) rounds(ctx context.Context) error {
	paths := []string{inProcess, overGRPC}
	if m.peer != nil {
		paths = append(paths, peerTransaction, peerStatement)
	}
	first, written, done := m.node.Checkpoint().Position, m.node.meter.count, 0
	for n := range m.config.rounds {
		m.say.say("round %d: fdatasync", n+1)
		r := round{Round: n + 1, Load: firstLine("/proc/loadavg")}
		var err error
		if r.Probe, err = probeDisk(m.dir, max(m.span.window/4, minProbe)); err != nil {
			return err
		}
		for _, callers := range m.callers {
			for i := range paths {
				path := paths[(i+n)%len(paths)]
				m.say.say("round %d of %d: %d callers, %s", n+1, m.config.rounds, callers, path)
				x, err := m.run(ctx, n+1, path, callers)
				if err != nil {
					return fmt.Errorf("round %d, %d callers, %s: %w", n+1, callers, path, err)
				}
				if path == inProcess || path == overGRPC {
					done += x.Done
				}
				r.Runs = append(r.Runs, x)
			}
		}
		m.report.Rounds = append(m.report.Rounds, r)
	}
	// What was answered is there, here and there, or the numbers mean nothing.
	if recorded := int(m.node.Checkpoint().Position - first); recorded != done {
		return fmt.Errorf("%d commands were answered and %d recorded", done, recorded)
	}
	written = m.node.meter.count.minus(written)
	m.report.PerCommand.Rows = float64(written.Rows) / float64(done)
	m.report.PerCommand.Bytes = float64(written.Bytes) / float64(done)
	if m.peer != nil {
		return m.peer.check(ctx)
	}
	return nil
}

func (m *measurer) run(ctx context.Context, round int, path string, callers int) (run, error) {
	settle()
	switch path {
	case inProcess:
		call, err := m.services.inProcess(ctx, callers)
		if err != nil {
			return run{}, err
		}
		stop, err := m.startProfile(callers, round)
		if err != nil {
			return run{}, err
		}
		x, err := m.drive(ctx, path, callers, call)
		return x, errors.Join(err, stop())
	case overGRPC:
		call, connections, done, err := m.services.overGRPC(ctx, callers)
		if err != nil {
			return run{}, err
		}
		x, err := m.drive(ctx, path, callers, call)
		x.Connections = connections
		return x, errors.Join(err, done())
	}
	connections := min(callers, m.report.Settings.Pools[path])
	s, err := m.runPeer(ctx, forms[path], callers, connections)
	return run{Callers: callers, Path: path, Connections: connections, sample: s}, err
}

// drive runs one of our own paths.
func (m *measurer) drive(ctx context.Context, path string, callers int, call do) (run, error) {
	before := processorTime()
	s, err := drive(ctx, callers, m.span, call)
	took := processorTime() - before
	return run{Callers: callers, Path: path, CPUus: float64(took.Microseconds()) / float64(max(1, s.Done)), sample: s}, err
}

func (m *measurer) runPeer(ctx context.Context, how form, callers, connections int) (sample, error) {
	call, done, err := m.peer.calls(ctx, how, callers, connections)
	if err != nil {
		return sample{}, err
	}
	defer done()
	s, err := drive(ctx, callers, m.span, call)
	m.peer.answered += s.Done
	return s, err
}

func (m *measurer) startProfile(callers, round int) (stop func() error, err error) {
	if m.profile == "" {
		return func() error { return nil }, nil
	}
	return profileTo(filepath.Join(m.profile, fmt.Sprintf("in_process-%04d-%d.pprof", callers, round)))
}

func profileTo(path string) (stop func() error, err error) {
	f, err := os.Create(path)
	if err != nil {
		return nil, fmt.Errorf("-profile: %w", err)
	}
	if err := pprof.StartCPUProfile(f); err != nil {
		return nil, errors.Join(fmt.Errorf("-profile: %w", err), f.Close())
	}
	return func() error {
		pprof.StopCPUProfile()
		return f.Close()
	}, nil
}

// fill lets many callers work until the log holds the records asked for.
func (m *measurer) fill(ctx context.Context) error {
	callers := slices.Max(m.callers)
	call, err := m.services.inProcess(ctx, callers)
	if err != nil {
		return err
	}
	want := eventstore.Position(m.records)
	return repeat(ctx, callers, call, func(caller, _ int) bool {
		at := m.node.Checkpoint().Position
		if caller == 0 {
			m.say.part("filling the log", uint64(at), uint64(want))
		}
		return at < want
	})
}
