package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// typedWords splits a line as a shell would, without its pipes and redirections.
func typedWords(line string) (words []string) {
	var word strings.Builder
	begun, quote := false, rune(0)
	end := func() {
		if begun {
			words = append(words, word.String())
		}
		word.Reset()
		begun = false
	}
	for _, r := range line {
		switch {
		case quote != 0 && r == quote:
			quote = 0
		case quote != 0:
			word.WriteRune(r)
		case r == '"' || r == '\'':
			begun, quote = true, r
		case r == ' ':
			end()
		case r == '|' || r == '>' || r == '<':
			end()
			return words
		default:
			begun = true
			word.WriteRune(r)
		}
	}
	end()
	return words
}

// TestExamplesParse: every example is of its own command, with arguments and flags that there are and all that are needed.
func TestExamplesParse(t *testing.T) {
	s := func() *cobra.Command {
		return (&session{stdin: strings.NewReader(""), stdout: io.Discard, stderr: io.Discard}).rootCommand()
	}
	examples := 0
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for line := range strings.SplitSeq(strings.ReplaceAll(c.Example, "\\\n", " "), "\n") {
			words := typedWords(line)
			if len(words) == 0 || words[0] != "seamshare" {
				if len(words) > 0 && !strings.HasPrefix(words[0], "#") && !strings.Contains(line, "seamshare") {
					t.Errorf("%s: %q is no command of ours", c.CommandPath(), line)
				}
				continue
			}
			examples++
			root := s() // flags remember
			found, rest, err := root.Find(words[1:])
			if err != nil || !strings.HasPrefix(found.CommandPath(), c.CommandPath()) {
				t.Errorf("%s: the example is of %s: %v", c.CommandPath(), found.CommandPath(), err)
				continue
			}
			if err := found.ParseFlags(rest); err != nil {
				t.Errorf("%s: %q: %v", c.CommandPath(), line, err)
				continue
			}
			if err := found.ValidateArgs(found.Flags().Args()); err != nil {
				t.Errorf("%s: %q: %v", c.CommandPath(), line, err)
			}
			if found.PreRunE != nil {
				if err := found.PreRunE(found, found.Flags().Args()); err != nil {
					t.Errorf("%s: %q: %v", c.CommandPath(), line, err)
				}
			}
		}
		for _, child := range c.Commands() {
			walk(child)
		}
	}
	walk(s())
	if examples < 100 {
		t.Errorf("there are only %d examples", examples)
	}
}

// TestHelpOfNoCommand: asking for the help of a command that there isn't is a mistake, and names the nearest one.
func TestHelpOfNoCommand(t *testing.T) {
	for typed, want := range map[string]string{
		"parcle --help":     "did you mean seamshare parcel?",
		"parcel lst --help": "did you mean seamshare parcel list?",
		"--help parcle":     "did you mean seamshare parcel?",
	} {
		var stdout, stderr strings.Builder
		code := run(t.Context(), strings.Fields(typed), strings.NewReader(""), &stdout, &stderr)
		if code != int(exitUsage) || !strings.Contains(stderr.String(), want) || stdout.Len() != 0 {
			t.Errorf("%s: exit code %d, stderr %q, stdout %q", typed, code, stderr.String(), stdout.String())
		}
	}
	var stdout strings.Builder
	if code := run(t.Context(), []string{"parcel", "--help"}, strings.NewReader(""), &stdout, io.Discard); code != 0 || !strings.Contains(stdout.String(), "seamshare parcel") {
		t.Errorf("help of a group: exit code %d, %q", code, stdout.String())
	}
}

// TestFieldWords: a path of the API is named by what was typed.
func TestFieldWords(t *testing.T) {
	root := (&session{stdin: strings.NewReader(""), stdout: io.Discard, stderr: io.Discard}).rootCommand()
	for _, c := range []struct{ command, path, want string }{
		{"parcel list", "total.mass_ug", "--total"},
		{"parcel list", "pieces[2].weighing.mass_ug", "piece 3, mass"},
		{"parcel list", "agreement.tiers[0].up_to", "--agreement, tier 1, up to"},
		{"parcel handover", "parcel_id", "PARCEL"},
		{"sale send", "stones[1].weighing.mass_ug", "--stone, the 2nd, mass"},
		{"stock", "filter.max_price", "--max-price"},
		{"stone finish", "why_early", "--why-early"},
		{"parcel offer", "ends_at", "--for"},
		{"correction mass", "reason", "--why"},
		{"draft publish", "treatment", "treatment"},
		{"verify", "--key", "--key"},
		{"parcel list", "line 2, column claim", "line 2, column claim"},
	} {
		found, _, err := root.Find(strings.Fields(c.command))
		if err != nil {
			t.Fatal(err)
		}
		if got := fieldWords(found, c.path); got != c.want {
			t.Errorf("%s: %s is %q, want %q", c.command, c.path, got, c.want)
		}
	}
}

// TestEveryKindGoesOn: each kind of thing to do has a command that goes on from it, and there is that command.
func TestEveryKindGoesOn(t *testing.T) {
	file, err := parser.ParseFile(token.NewFileSet(), "../../services/coop/today.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok || len(spec.Values) != 1 {
			return true
		}
		if value, ok := spec.Values[0].(*ast.BasicLit); ok && value.Kind == token.STRING && ast.IsExported(spec.Names[0].Name) {
			kinds = append(kinds, strings.Trim(value.Value, `"`))
		}
		return true
	})
	if len(kinds) < 30 || len(kinds) != len(goOn) {
		t.Errorf("there are %d kinds, and %d have a command", len(kinds), len(goOn))
	}
	for _, role := range []typev1.Role{typev1.Role_ROLE_MINER, typev1.Role_ROLE_CUTTER, typev1.Role_ROLE_BOOKKEEPER} {
		for _, kind := range kinds {
			next := nextCommand(role, kind)
			for one := range strings.SplitSeq(next, ", or ") {
				root := (&session{stdin: strings.NewReader(""), stdout: io.Discard, stderr: io.Discard}).rootCommand()
				found, rest, err := root.Find(strings.Fields(one))
				if next == "" || err != nil || found.HasSubCommands() || found.ParseFlags(rest) != nil || found.ValidateArgs(found.Flags().Args()) != nil || !strings.HasPrefix(found.UseLine(), "seamshare "+one) {
					t.Errorf("%s as %v: no command %q", kind, role, one)
				}
			}
		}
	}
}
