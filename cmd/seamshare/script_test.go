package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// The scripts run the program as people do: as a process of its own.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"seamshare": func() {
		os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
	}})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits": exits, "keep": keep, "line": line, "joins": joins, "serve": serveInBackground, "rows": rows,
			"picture": picture, "fill": fill, "stop": stop, "later": later,
		},
		Setup: func(e *testscript.Env) error {
			e.Setenv("XDG_DATA_HOME", e.WorkDir+"/home")
			return nil
		},
	})
}

// exits CODE COMMAND… runs the command and holds its exit code to CODE.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND…")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		exit, ok := errors.AsType[*exec.ExitError](err)
		if !ok {
			ts.Fatalf("couldn't run: %v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d", got, want)
	}
}

// keep NAME PATH sets a variable from the JSON on stdout: keep PARCEL parcel.id.
func keep(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: keep NAME PATH")
	}
	var at any
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &at))
	for name := range strings.SplitSeq(args[1], ".") {
		switch v := at.(type) {
		case map[string]any:
			at = v[name]
		case []any:
			i, err := strconv.Atoi(name)
			ts.Check(err)
			if i >= len(v) {
				ts.Fatalf("%s: there are only %d", args[1], len(v))
			}
			at = v[i]
		}
	}
	text := fmt.Sprint(at)
	if at == nil || text == "" {
		ts.Fatalf("%s is not there", args[1])
	}
	ts.Setenv(args[0], text)
}

// line NAME sets a variable to the one line on stdout.
func line(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: line NAME")
	}
	text := strings.TrimSpace(ts.ReadFile("stdout"))
	if text == "" || strings.Contains(text, "\n") {
		ts.Fatalf("stdout is not one line: %q", text)
	}
	ts.Setenv(args[0], text)
}

// joins NAME MEMBER ROLES has the registrar add a person, who signs in in the folder NAME; person_NAME is their id.
func joins(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: joins NAME MEMBER ROLES")
	}
	name := args[0]
	ts.Check(ts.Exec("seamshare", "person", "add", args[1], name, "--role", args[2], "--new-key", name+".pem", "--data", "registrar", "--print-id"))
	line(ts, false, []string{"person_" + name})
	ts.Check(ts.Exec("seamshare", "sign-in", "--data", name, "--server", ts.Getenv("SERVER"), "--coop", "two-fields",
		"--person", ts.Getenv("person_"+name), "--member", args[1], "--key", name+".pem"))
}

// serve FOLDER starts a node in the background, and sets SERVER to where it is.
func serveInBackground(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: serve FOLDER")
	}
	c := exec.Command("seamshare", "serve", "--data", ts.MkAbs(args[0]), "--listen", "127.0.0.1:0", "--http", "", "--min-free-mib", "200")
	for _, dir := range strings.Split(ts.Getenv("PATH"), string(os.PathListSeparator)) {
		if _, err := os.Stat(dir + "/seamshare"); err == nil {
			c.Path, c.Err = dir+"/seamshare", nil
			break
		}
	}
	out, err := c.StdoutPipe()
	ts.Check(err)
	ts.Check(c.Start())
	end := sync.OnceFunc(func() {
		_ = c.Process.Signal(syscall.SIGTERM)
		_ = c.Wait()
	})
	ts.Defer(end)
	served.Store(ts.MkAbs(args[0]), end)
	line, err := bufio.NewReader(out).ReadString('\n')
	ts.Check(err)
	_, rest, _ := strings.Cut(line, "gRPC on ")
	addr, ok := strings.CutSuffix(rest, ".\n")
	if !ok {
		ts.Fatalf("serve said %q", line)
	}
	ts.Setenv("SERVER", addr)
}

// rows N FILE writes a CSV of N good pieces.
func rows(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: rows N FILE")
	}
	n, err := strconv.Atoi(args[0])
	ts.Check(err)
	f, err := os.Create(ts.MkAbs(args[1]))
	ts.Check(err)
	w := bufio.NewWriter(f)
	fmt.Fprintln(w, "label,mass_g,kind")
	for i := range n {
		fmt.Fprintf(w, "%d,1.00,boulder\n", i)
	}
	ts.Check(w.Flush())
	ts.Check(f.Close())
}

// picture FILE writes a small PNG.
func picture(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: picture FILE")
	}
	f, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	ts.Check(png.Encode(f, image.NewGray(image.Rect(0, 0, 8, 6))))
	ts.Check(f.Close())
}

// fill FILE puts what was kept where the file names it as $NAME.
func fill(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: fill FILE")
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(os.Expand(ts.ReadFile(args[0]), ts.Getenv)), 0o666))
}

// served holds how the node of a folder is stopped.
var served sync.Map

// stop FOLDER ends the node that serves the folder.
func stop(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: stop FOLDER")
	}
	end, ok := served.Load(ts.MkAbs(args[0]))
	if !ok {
		ts.Fatalf("nothing serves %s", args[0])
	}
	end.(func())()
}

// later DAYS FOLDER starts a node in this process whose clock is some days ahead, and sets SERVER to where it is.
func later(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: later DAYS FOLDER")
	}
	days, err := strconv.Atoi(args[0])
	ts.Check(err)
	r, err := startNode(context.Background(), nodeConfig{
		dir: ts.MkAbs(args[1]), listen: "127.0.0.1:0", minFree: lowestMinFree, fatal: func(err error) { panic(err) },
		clock: func() time.Time { return time.Now().AddDate(0, 0, days) },
	})
	ts.Check(err)
	end := sync.OnceFunc(func() { _ = r.Close() })
	ts.Defer(end)
	served.Store(ts.MkAbs(args[1]), end)
	ts.Setenv("SERVER", r.grpcAt)
}
