// Package integration_test holds the house to its plan.
package integration_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

const module = "seamshare.example/"

// rule says what the packages below a folder may import of a kind.
type rule struct {
	name  string
	of    func(pkg string) bool // whom it binds
	about func(imp string) bool // which imports it is about
	may   func(pkg, imp string) bool
}

// below: the package, or one under it.
func below(path string, roots ...string) bool {
	return slices.ContainsFunc(roots, func(root string) bool {
		return path == module+root || strings.HasPrefix(path, module+root+"/")
	})
}

func ours(imp string) bool { return strings.HasPrefix(imp, module) }

func outside(prefix string) func(string) bool {
	return func(imp string) bool { return imp == prefix || strings.HasPrefix(imp, prefix+"/") }
}

func in(roots ...string) func(string) bool {
	return func(path string) bool { return below(path, roots...) }
}

func everybody(string) bool { return true }

func nobody(string, string) bool { return false }

const domain = "services/domain"

// aggregates of the domain: each stands by itself.
var aggregates = []string{
	domain + "/member", domain + "/parcel", domain + "/piece", domain + "/stone", domain + "/order", domain + "/payout",
}

var rules = []rule{
	{
		"the domain imports only domain and event messages of ours", in(domain), ours,
		func(_, imp string) bool { return below(imp, domain, "proto/gen/seamshare/event") },
	},
	{
		"the domain does no I/O", in(domain),
		func(imp string) bool {
			return slices.Contains([]string{"os", "net", "net/http", "io/fs", "os/exec", "syscall", "math/rand", "math/rand/v2", "crypto/rand", "log", "log/slog", "google.golang.org/grpc"}, imp)
		},
		nobody,
	},
	{
		"aggregates don't import each other", in(aggregates...), in(aggregates...),
		func(pkg, imp string) bool { return aggregateOf(pkg) == aggregateOf(imp) },
	},
	{
		"streams import only the domain, event messages and the store's root", in("services/stream"), ours,
		func(_, imp string) bool {
			return below(imp, "services/stream", domain, "proto/gen/seamshare/event") || imp == module+"eventstore"
		},
	},
	{
		"views import only streams, the domain, messages and the store", in("services/view"), ours,
		func(_, imp string) bool {
			return below(imp, "services/view", "services/stream", domain, "proto/gen/seamshare", "eventstore/merkle") || imp == module+"eventstore"
		},
	},
	{
		"the event store knows nothing of the trade", in("eventstore"), ours,
		func(pkg, imp string) bool {
			// storetest records some event: the store knows none of its own.
			return below(imp, "eventstore", "proto/gen/seamshare/event/v1") ||
				below(pkg, "eventstore/storetest") && below(imp, "proto/gen/seamshare/event")
		},
	},
	{
		"the event store's root does not import its two seams", func(pkg string) bool { return pkg == module+"eventstore" },
		in("eventstore/natslog", "eventstore/badgerstore", "eventstore/storetest"), nobody,
	},
	{
		"a Merkle tree is a thing of its own", in("eventstore/merkle"), ours,
		func(_, imp string) bool { return below(imp, "eventstore/merkle") },
	},
	{"only natslog imports NATS", everybody, outside("github.com/nats-io"), func(pkg, _ string) bool { return below(pkg, "eventstore/natslog") }},
	{
		// The benchmark measures Badger alone, beside ours.
		"only badgerstore imports Badger", everybody, outside("github.com/dgraph-io/badger"),
		func(pkg, _ string) bool { return below(pkg, "eventstore/badgerstore", "integration/bench") },
	},
	{
		"services don't import what stands before them", in("services"), in("cmd", "gateway", "integration"), nobody,
	},
	{
		"the four services don't import each other", in(four...), in(four...),
		func(pkg, imp string) bool {
			return slices.ContainsFunc(four, func(s string) bool { return below(pkg, s) && below(imp, s) })
		},
	},
	{
		"services meet log and store only through the node", in("services"), in("eventstore/natslog", "eventstore/badgerstore"), nobody,
	},
	{
		"the gateway imports only generated clients of ours", in("gateway"), ours,
		func(_, imp string) bool {
			return below(imp, "gateway", "proto/gen/seamshare") && !below(imp, "proto/gen/seamshare/event")
		},
	},
	{
		"API and event messages share no message of ours", in("proto/gen/seamshare"), in("proto/gen/seamshare"),
		func(pkg, imp string) bool {
			return below(pkg, "proto/gen/seamshare/event") == below(imp, "proto/gen/seamshare/event")
		},
	},
	{"nothing imports what is only for tests of the whole", everybody, in("integration"), func(pkg, _ string) bool { return below(pkg, "integration") }},
	{
		"only plane geometry imports the overlay library", everybody, outside("github.com/peterstace/simplefeatures"),
		func(pkg, _ string) bool { return below(pkg, domain+"/measure/plane") },
	},
}

var four = []string{"services/miner", "services/cutter", "services/jeweller", "services/coop"}

func aggregateOf(path string) string {
	for _, a := range aggregates {
		if below(path, a) {
			return a
		}
	}
	return ""
}

// graph is what each package of ours imports itself, tests left out.
type graph map[string][]string

func readGraph(t *testing.T) graph {
	t.Helper()
	var stderr bytes.Buffer
	list := exec.Command("go", "list", "-json=ImportPath,Imports,GoFiles", module+"...")
	list.Stderr = &stderr
	out, err := list.Output()
	if err != nil {
		t.Fatalf("couldn't list the packages: %v\n%s", err, &stderr)
	}
	g := graph{}
	for decoder := json.NewDecoder(bytes.NewReader(out)); ; {
		var p struct {
			ImportPath string
			Imports    []string
			GoFiles    []string
		}
		if err := decoder.Decode(&p); errors.Is(err, io.EOF) {
			return g
		} else if err != nil {
			t.Fatalf("couldn't read the list of packages: %v", err)
		}
		if len(p.GoFiles) > 0 {
			g[p.ImportPath] = p.Imports
		}
	}
}

// broken lists what breaks a rule.
func (g graph) broken(r rule) (lines []string) {
	for pkg, imports := range g {
		for _, imp := range imports {
			if r.of(pkg) && r.about(imp) && !r.may(pkg, imp) {
				lines = append(lines, fmt.Sprintf("%s imports %s", pkg, imp))
			}
		}
	}
	slices.Sort(lines)
	return lines
}

func TestImportsGoOneWay(t *testing.T) {
	g := readGraph(t)
	for _, r := range rules {
		t.Run(r.name, func(t *testing.T) {
			if !slices.ContainsFunc(slices.Collect(maps.Keys(g)), r.of) {
				t.Fatal("the rule binds no package: has one been renamed?")
			}
			for _, line := range g.broken(r) {
				t.Error(line)
			}
		})
	}
}

// The negative control: each rule is shown an import that it must find.
func TestRulesFindAForbiddenImport(t *testing.T) {
	forbidden := map[string][2]string{
		rules[0].name:  {domain + "/parcel", module + "services/view"},
		rules[1].name:  {domain + "/share", "os"},
		rules[2].name:  {domain + "/parcel", module + domain + "/stone"},
		rules[3].name:  {"services/stream", module + "services/view"},
		rules[4].name:  {"services/view", module + "services/access"},
		rules[5].name:  {"eventstore", module + domain + "/share"},
		rules[6].name:  {"eventstore", module + "eventstore/natslog"},
		rules[7].name:  {"eventstore/merkle", module + "eventstore"},
		rules[8].name:  {"eventstore", "github.com/nats-io/nats.go/jetstream"},
		rules[9].name:  {"services/view", "github.com/dgraph-io/badger/v4"},
		rules[10].name: {"services/server", module + "cmd/seamshare"},
		rules[11].name: {"services/miner", module + "services/cutter"},
		rules[12].name: {"services/command", module + "eventstore/badgerstore"},
		rules[13].name: {"gateway", module + "services/fault"},
		rules[14].name: {"proto/gen/seamshare/miner/v1", module + "proto/gen/seamshare/event/v1"},
		rules[15].name: {"cmd/seamshare", module + "integration/bench"},
		rules[16].name: {domain + "/piece", "github.com/peterstace/simplefeatures/geom"},
	}
	for _, r := range rules {
		t.Run("found: not "+r.name, func(t *testing.T) {
			f, ok := forbidden[r.name]
			if !ok {
				t.Fatal("no import is given that breaks the rule")
			}
			if g := (graph{module + f[0]: {f[1]}}); len(g.broken(r)) != 1 {
				t.Fatalf("%s may import %s", f[0], f[1])
			}
		})
	}
}
