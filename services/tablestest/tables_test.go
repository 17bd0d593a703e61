package tablestest_test

import (
	"bytes"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.uber.org/goleak"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"

	"seamshare.example/services/domain/stage"
	"seamshare.example/services/stream"
	"seamshare.example/services/tablestest"
)

var update = flag.Bool("update", false, "write the tables into DEVELOPERS.md")

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestTables(t *testing.T) {
	for _, trial := range tablestest.All() {
		t.Run(trial.About().Thing, func(t *testing.T) {
			t.Parallel()
			trial.Run(t)
		})
	}
}

// TestEveryTable: no table of the domain is left untried.
func TestEveryTable(t *testing.T) {
	var tried []string
	for _, trial := range tablestest.All() {
		thing := trial.About().Thing
		if slices.Contains(tried, thing) {
			t.Errorf("two tables are of a %s", thing)
		}
		tried = append(tried, thing)
	}
	named := map[string]bool{}
	source(t, ".", func(file *ast.File, n ast.Node) {
		if s, ok := n.(*ast.SelectorExpr); ok {
			named[fmt.Sprintf("%s.%s", imported(file, fmt.Sprint(s.X)), s.Sel.Name)] = true
		}
	})
	tables := 0
	source(t, filepath.Join("..", "domain"), func(file *ast.File, n ast.Node) {
		of, ok := n.(*ast.ValueSpec)
		if !ok {
			return
		}
		for _, name := range of.Names {
			if !name.IsExported() || !strings.HasSuffix(name.Name, "Table") {
				continue
			}
			tables++
			if table := file.Name.Name + "." + name.Name; !named[table] {
				t.Errorf("%s has no trial in services/tablestest", table)
			}
		}
	})
	if tables != len(tried) {
		t.Errorf("the domain has %d tables, and %d are tried", tables, len(tried))
	}
}

// imported is what a file's name of a package stands for.
func imported(file *ast.File, name string) string {
	for _, i := range file.Imports {
		if i.Name != nil && i.Name.Name == name {
			return strings.Trim(path.Base(i.Path.Value), `"`)
		}
	}
	return name
}

// source shows each node of the Go files below a folder, tests left out.
func source(t *testing.T, dir string, show func(file *ast.File, n ast.Node)) {
	t.Helper()
	files := token.NewFileSet()
	err := filepath.WalkDir(dir, func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(files, name, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if n != nil {
				show(file, n)
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestCommands: what tables name is an rpc, and each rpc that changes something is in a
// table or has its reason here.
func TestCommands(t *testing.T) {
	changes := map[string]bool{}
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			for j := range f.Services().Get(i).Methods().Len() {
				m := f.Services().Get(i).Methods().Get(j)
				if !strings.HasPrefix(string(m.FullName()), "seamshare.") {
					continue
				}
				http, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
				options, _ := m.Options().(*descriptorpb.MethodOptions)
				changes[fmt.Sprintf("%s/%s", m.Parent().Name(), m.Name())] = http.GetGet() == "" && !m.IsStreamingServer() && options.GetIdempotencyLevel() != descriptorpb.MethodOptions_NO_SIDE_EFFECTS
			}
		}
		return true
	})
	listed := map[string]bool{}
	for _, trial := range tablestest.All() {
		for _, do := range trial.About().Commands() {
			listed[do] = true
			if !changes[do] {
				t.Errorf("the table of %s: %s is no rpc that changes something", trial.About().Thing, do)
			}
		}
	}
	for do, change := range changes {
		if change && !listed[do] && tablestest.NoTable[do] == "" {
			t.Errorf("%s changes something, but is in no table, and tablestest.NoTable has no reason", do)
		}
	}
	for do := range tablestest.NoTable {
		if !changes[do] || listed[do] {
			t.Errorf("tablestest.NoTable has %s, which is in a table or is no rpc that changes something", do)
		}
	}
}

const (
	begin = "<!-- The tables: go test ./services/tablestest -update -->"
	end   = "<!-- The end of the tables. -->"
)

func TestPage(t *testing.T) {
	page := filepath.Join("..", "..", "DEVELOPERS.md")
	was, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	head, rest, ok := strings.Cut(string(was), begin)
	_, tail, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		t.Fatalf("DEVELOPERS.md has no place for the tables between %q and %q", begin, end)
	}
	var b strings.Builder
	for _, trial := range tablestest.All() {
		table := trial.About()
		fmt.Fprintf(&b, "\n### %s\n\n```mermaid\n%s```\n\n%s", title(table), table.Picture(), table.Markdown())
	}
	b.WriteString(howPutRight())
	now := []byte(head + begin + "\n" + b.String() + "\n" + end + tail)
	if bytes.Equal(was, now) {
		return
	}
	if !*update {
		t.Fatal("DEVELOPERS.md shows other tables than the code; run go test ./services/tablestest -update")
	}
	if err := os.WriteFile(page, now, 0o644); err != nil {
		t.Fatal(err)
	}
}

// howPutRight lists what each type of event records and how it is put right.
func howPutRight() string {
	var b strings.Builder
	b.WriteString("\n### What is recorded, and how it is put right\n\nWho corrects a record names its number (`seamshare history`); both are shown ever after.\n\n| type | event | in words | put right by |\n|---|---|---|---|\n")
	for _, e := range stream.Events() {
		types := e.ProtoReflect().Descriptor().Oneofs().Get(0).Fields()
		for i := range types.Len() {
			name := strings.TrimPrefix(string(types.Get(i).Message().FullName()), "seamshare.event.")
			f := stream.Facts[name]
			fmt.Fprintf(&b, "| %d | %s | %s | %s |\n", types.Get(i).Number(), name, f.Words, f.PutRight)
		}
	}
	return b.String()
}

func title(t stage.Table) string { return strings.ToUpper(t.Thing[:1]) + t.Thing[1:] }
