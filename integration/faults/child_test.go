package faults_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// patience is how long a test waits for what must come. Nothing is judged by how
// long it took.
const patience = 2 * time.Minute

// ran is what a command left.
type ran struct {
	code           int
	stdout, stderr string
}

// failure is the error document that --json gives.
type failure struct {
	Reason  string `json:"reason"`
	Field   string `json:"field"`
	Message string `json:"message"`
}

func (r ran) failure(t testing.TB) failure {
	t.Helper()
	// Warnings may stand before it.
	at := strings.LastIndex(r.stderr, "{\n  \"error\"")
	if at < 0 {
		t.Fatalf("exit code %d without an error document:\n%s", r.code, r.stderr)
	}
	var doc struct {
		Error failure `json:"error"`
	}
	if err := json.Unmarshal([]byte(r.stderr[at:]), &doc); err != nil {
		t.Fatalf("couldn't read the error document: %v\n%s", err, r.stderr)
	}
	return doc.Error
}

// run runs a command of the binary to its end.
func run(t testing.TB, binary string, args ...string) ran {
	t.Helper()
	p := start(t, "", exec.Command(binary, args...))
	code := p.wait(t)
	return ran{code, p.stdout.String(), p.stderr.String()}
}

// runOK is run for a command that must succeed. It prints --json into out.
func runOK(t testing.TB, out any, binary string, args ...string) {
	t.Helper()
	r := run(t, binary, append(args, "--json")...)
	if r.code != 0 {
		t.Fatalf("%s: exit code %d\n%s", strings.Join(args, " "), r.code, r.stderr)
	}
	if out == nil {
		return
	}
	if err := json.Unmarshal([]byte(r.stdout), out); err != nil {
		t.Fatalf("%s printed no such document: %v\n%.2000s", strings.Join(args, " "), err, r.stdout)
	}
}

// process is a child.
type process struct {
	cmd            *exec.Cmd
	stdout, stderr *output
	done           chan struct{}
	code           int // set when done is closed; -1: a signal ended it
	signal         syscall.Signal
}

// start starts a child that dies with the test at the latest.
func start(t testing.TB, env string, cmd *exec.Cmd) *process {
	t.Helper()
	p := &process{cmd: cmd, stdout: newOutput(), stderr: newOutput(), done: make(chan struct{})}
	cmd.Stdout, cmd.Stderr = p.stdout, p.stderr
	if env != "" {
		cmd.Env = append(os.Environ(), env)
	}
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	begun := make(chan error, 1)
	go func() {
		// The kernel means the thread that made the child, not the process.
		runtime.LockOSThread()
		err := cmd.Start()
		begun <- err
		if err != nil {
			return
		}
		err = cmd.Wait()
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			p.code = exit.ExitCode()
			if status, ok := exit.Sys().(syscall.WaitStatus); ok && status.Signaled() {
				p.signal = status.Signal()
			}
		} else if err != nil {
			p.code = 255
			fmt.Fprintln(p.stderr, "couldn't wait for the child:", err)
		}
		close(p.done)
	}()
	if err := <-begun; err != nil {
		t.Fatalf("couldn't start %s: %v", cmd.Path, err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it may have ended
		<-p.done
		if text := p.stderr.String(); t.Failed() && text != "" && contains(cmd.Args, "serve") {
			t.Logf("%s said at the end:\n%s", cmd.Args[0], text[max(0, len(text)-500):])
		}
	})
	return p
}

func (p *process) wait(t testing.TB) int {
	t.Helper()
	select {
	case <-p.done:
		return p.code
	case <-time.After(patience):
		_ = p.cmd.Process.Signal(syscall.SIGQUIT) // its goroutines tell why
		select {
		case <-p.done:
		case <-time.After(10 * time.Second):
		}
		t.Fatalf("%s did not end\n%s", strings.Join(p.cmd.Args, " "), p.stderr)
		return 0
	}
}

// kill is kill -9.
func (p *process) kill(t testing.TB) {
	t.Helper()
	_ = p.cmd.Process.Kill() // it may have ended
	p.wait(t)
}

// stop is what a service manager does.
func (p *process) stop(t testing.TB) {
	t.Helper()
	_ = p.cmd.Process.Signal(syscall.SIGTERM)
	if code := p.wait(t); code != 0 {
		t.Fatalf("stopped with exit code %d\n%s", code, p.stderr)
	}
}

// output collects what a child prints, and tells when there is a whole document.
type output struct {
	mu   sync.Mutex
	text bytes.Buffer // under mu
	more chan struct{}
}

func newOutput() *output { return &output{more: make(chan struct{}, 1)} }

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	select {
	case o.more <- struct{}{}:
	default:
	}
	return o.text.Write(p)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.String()
}

// ready is what serve prints.
type ready struct {
	Coop     string `json:"coop"`
	GRPC     string `json:"grpc"`
	HTTP     string `json:"http"`
	Position uint64 `json:"position"`
	Trouble  string `json:"trouble"`
}

// served is a running node.
type served struct {
	*process
	ready
	dir string
}

// serveOptions are what a test changes of a node's start.
type serveOptions struct {
	env  string   // one more variable
	args []string // after serve's own
	with []string // a command that runs the node, with its arguments
}

// launch starts serve and waits for its ready line; nil where it ended before
// that: p then tells how.
func launch(t testing.TB, binary, dir string, o serveOptions) (*served, *process) {
	t.Helper()
	args := append(o.with[:len(o.with):len(o.with)], binary, "serve", "--data", dir, "--listen", "127.0.0.1:0", "--http", "127.0.0.1:0", "--json")
	if !contains(o.args, "--min-free-mib") {
		args = append(args, "--min-free-mib", "192")
	}
	args = append(args, o.args...)
	p := start(t, o.env, exec.Command(args[0], args[1:]...))
	limit := time.After(patience)
	for {
		var r ready
		if json.Unmarshal([]byte(p.stdout.String()), &r) == nil && r.GRPC != "" {
			return &served{process: p, ready: r, dir: dir}, p
		}
		select {
		case <-p.stdout.more:
		case <-p.done:
			return nil, p
		case <-limit:
			p.kill(t)
			t.Fatalf("serve printed no ready line\n%s\n%s", p.stdout, p.stderr)
		}
	}
}

// serve starts a node that must come up and work.
func serve(t testing.TB, binary, dir string, o serveOptions) *served {
	t.Helper()
	s, p := launch(t, binary, dir, o)
	if s == nil {
		t.Fatalf("serve ended with exit code %d\n%s", p.code, p.stderr)
	}
	if s.Trouble != "" {
		t.Fatalf("the node refuses to work: %s", s.Trouble)
	}
	return s
}

func contains(args []string, flag string) bool {
	for _, a := range args {
		if a == flag {
			return true
		}
	}
	return false
}

// verified is what verify prints.
type verified struct {
	Records uint64 `json:"records"`
	Commits uint64 `json:"commits"`
	Root    string `json:"root"`
}

// verify runs verify on the folder of a stopped node; it must find nothing.
func verify(t testing.TB, binary, dir string) verified {
	t.Helper()
	var v verified
	runOK(t, &v, binary, "verify", "--data", dir)
	return v
}

func dataDir(folder string) string { return filepath.Join(folder, "node") }
