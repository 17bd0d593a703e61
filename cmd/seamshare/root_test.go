package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/rivo/uniseg"
	"github.com/spf13/cobra"
)

// runs runs the program in this process.
func runs(t *testing.T, args ...string) (code exitCode, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	return exitCode(run(t.Context(), args, strings.NewReader(""), &out, &errs)), out.String(), errs.String()
}

// errorOf reads the one JSON document that a failed command leaves on stderr.
func errorOf(t *testing.T, stderr string) (reason, field, message, hint string) {
	t.Helper()
	var d struct {
		Error struct{ Reason, Field, Message, Hint string }
	}
	decoder := json.NewDecoder(strings.NewReader(stderr))
	if err := decoder.Decode(&d); err != nil {
		t.Fatalf("stderr is no JSON (%v): %s", err, stderr)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		t.Fatalf("stderr is more than one document: %s", stderr)
	}
	return d.Error.Reason, d.Error.Field, d.Error.Message, d.Error.Hint
}

// commands gives every command that is shown, with the words that reach it.
func commands(c *cobra.Command, path []string, visit func(c *cobra.Command, path []string)) {
	visit(c, path)
	for _, child := range c.Commands() {
		if child.Name() != "help" && child.Name() != "completion" && !child.Hidden {
			commands(child, append(path[:len(path):len(path)], child.Name()), visit)
		}
	}
}

// Every command has help that fits a terminal of 80 columns, refuses a flag that it doesn't know, and says so as one JSON
// document where that was asked.
func TestEveryCommand(t *testing.T) {
	commands((&session{stdin: strings.NewReader(""), stdout: io.Discard, stderr: io.Discard}).rootCommand(), nil, func(c *cobra.Command, path []string) {
		name := strings.Join(append([]string{"seamshare"}, path...), " ")
		t.Run(name, func(t *testing.T) {
			if c.Short == "" {
				t.Error("it says nothing of itself")
			}
			_, help, _ := runs(t, append(path[:len(path):len(path)], "--help")...)
			for line := range strings.SplitSeq(help, "\n") {
				if w := uniseg.StringWidth(line); w > 80 {
					t.Errorf("a line of its help is %d wide: %q", w, line)
				}
			}
			if !c.Runnable() {
				return
			}
			code, out, errs := runs(t, append(path[:len(path):len(path)], "--json", "--no-such-flag")...)
			reason, _, message, hint := errorOf(t, errs)
			if code != exitUsage || out != "" || reason != "WRONG_USAGE" || message != "unknown flag: --no-such-flag" || !strings.Contains(hint, "--help") {
				t.Errorf("ended with %d, stdout %q, stderr %s", code, out, errs)
			}
		})
	})
}

// brokenWriter is a full disk or a closed pipe.
type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }

func TestOutputThatCantBeWritten(t *testing.T) {
	var errs bytes.Buffer
	code := run(t.Context(), []string{"help", "units"}, strings.NewReader(""), brokenWriter{}, &errs)
	if exitCode(code) != exitStorage || !strings.Contains(errs.String(), "stdout") {
		t.Errorf("ended with %d, stderr %s", code, errs.String())
	}
}
