package wholetest_test

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"

	"seamshare.example/eventstore/merkle"
	"seamshare.example/services/tablestest"
)

// canary is a word that occurs once in the world: in one field of one request.
type canary struct {
	field  string // "MinerService/PublishParcel.note"
	member string // who wrote it
}

// aviary plants a canary in every free text of every request, and looks for them.
type aviary struct {
	mu      sync.Mutex
	planted []canary                     // guarded by mu
	readers map[string]string            // guarded by mu: who a member is
	members map[*grpc.ClientConn]string  // guarded by mu
	seen    map[string]map[string]string // guarded by mu: by field and reader, the rpc that showed it to another than its writer
	errors  map[string]bool              // guarded by mu: fields that stood in another member's error
	known   known                        // guarded by mu
	random  *rand.Rand
}

var bird = regexp.MustCompile(`cny([0-9]{6})x`)

// quiet are free texts that must say something of their own.
var quiet = []protoreflect.Name{
	"part", "name", "kind", "class", "market", "trading_name", "classes", "done_at", "effective_date", "ends_at", "due_at", "at", "mined", "split", "currency", "country", "etag", "page_token", "from", "assertion", "basis",
}

// short are such texts whose names are right elsewhere: they name parts, and places that
// are named again.
var short = []protoreflect.FullName{
	"seamshare.miner.v1.NewPiece.label", "seamshare.type.v1.TakenOut.label", "seamshare.miner.v1.DraftLine.label", "seamshare.type.v1.TakenOut.label", "seamshare.cutter.v1.RoughLine.label",
	"seamshare.coop.v1.MoveStockRequest.place", "seamshare.coop.v1.CountStockRequest.place",
}

// plant writes canaries into a request.
func (a *aviary) plant(method string, conn *grpc.ClientConn, req proto.Message) {
	a.mu.Lock()
	defer a.mu.Unlock()
	rpc := method[strings.LastIndexByte(method[:strings.LastIndexByte(method, '/')], '.')+1:]
	if req.ProtoReflect().Descriptor().Fields().ByName("request_id") == nil {
		return
	}
	a.plantIn(rpc, a.members[conn], req.ProtoReflect())
}

func (a *aviary) plantIn(path, member string, m protoreflect.Message) {
	for i := range m.Descriptor().Fields().Len() {
		f := m.Descriptor().Fields().Get(i)
		below := path + "." + string(f.Name())
		switch {
		case f.IsMap() || f.Message() != nil && !m.Has(f):
		case f.Message() != nil && f.IsList():
			for i := range m.Get(f).List().Len() {
				a.plantIn(below, member, m.Get(f).List().Get(i).Message())
			}
		case f.Message() != nil:
			a.plantIn(below, member, m.Get(f).Message())
		case f.Kind() == protoreflect.StringKind && !f.IsList() && f.ContainingOneof() == nil && roomFor(f, m.Get(f).String()):
			m.Set(f, protoreflect.ValueOfString(strings.TrimSpace(m.Get(f).String()+fmt.Sprintf(" cny%06dx", len(a.planted)))))
			a.planted = append(a.planted, canary{below, member})
		}
	}
}

// roomFor tells whether a canary may stand in a field after what it says.
func roomFor(f protoreflect.FieldDescriptor, text string) bool {
	rules, _ := proto.GetExtension(f.Options(), validate.E_Field).(*validate.FieldRules)
	s := rules.GetString()
	return s != nil && s.Pattern == nil && s.MaxLen != nil && s.GetMaxLen() >= uint64(len(text))+11 && !slices.Contains(quiet, f.Name()) && !slices.Contains(short, f.FullName())
}

// look searches what a member got.
func (a *aviary) look(member, rpc string, text []byte, err error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, c := range a.in(text) {
		if c.member == member {
			continue
		}
		if a.seen[c.field] == nil {
			a.seen[c.field] = map[string]string{}
		}
		a.seen[c.field][a.readers[member]] = rpc
	}
	if err != nil {
		for _, c := range a.in([]byte(err.Error())) {
			if c.member != member {
				a.errors[c.field+" in an error of "+rpc] = true
			}
		}
	}
}

// in are the canaries in a text.
func (a *aviary) in(text []byte) (found []canary) {
	for _, m := range bird.FindAllSubmatch(text, -1) {
		var n int
		if _, err := fmt.Sscanf(string(m[1]), "%d", &n); err == nil && n < len(a.planted) {
			found = append(found, a.planted[n])
		}
	}
	return found
}

func wordsOf(m proto.Message) []byte {
	data, err := proto.Marshal(m)
	if err != nil {
		panic(err) // it was just received
	}
	return data
}

// logged is a test whose output is kept, so that it can be searched.
type logged struct {
	testing.TB
	out *output
}

func (l logged) Output() io.Writer { return l.out }

type output struct {
	mu   sync.Mutex
	text bytes.Buffer // guarded by mu
}

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.Write(p)
}

// TestCanaries plays every recipe of every state table with a canary in each free text,
// lets everybody look at all they can, and searches.
func TestCanaries(t *testing.T) {
	a := &aviary{
		members: map[*grpc.ClientConn]string{}, readers: map[string]string{}, seen: map[string]map[string]string{}, errors: map[string]bool{}, known: newKnown(), random: rand.New(rand.NewPCG(1, 1)),
	}
	out := &output{}
	traffic := &tablestest.Traffic{Change: a.plant}
	w := tablestest.NewWorld(logged{t, out}, traffic.Dial())
	for _, p := range w.People() {
		a.members[p.Conn] = p.Member
	}
	for _, who := range cast(w) {
		a.readers[who.Member] = who.name
	}
	a.readers[w.Desk.Member] = "the desk"
	traffic.Hear = func(h tablestest.Heard) {
		a.mu.Lock()
		member, known := a.members[h.Conn]
		if h.Err == nil {
			a.known.learn(h.Answer, a.random)
		}
		a.mu.Unlock()
		if known {
			a.look(member, h.Method[strings.LastIndexByte(h.Method, '.')+1:], wordsOf(h.Answer), h.Err)
		}
	}
	for _, trial := range tablestest.All() {
		for _, state := range trial.About().States {
			trial.Bring(w, state, func(int) int { return 0 })
		}
		for _, do := range trial.About().Commands() {
			if call := trial.Ready(w, do); call != nil {
				if err := call(); err != nil {
					t.Errorf("%s: %v", do, err)
				}
			}
		}
	}
	for _, r := range commandsOf() {
		if make, ok := fixtures[r.name()]; ok {
			x := make(w)
			if err := send(w.Ctx(), x.own, r, x.req); err != nil {
				t.Errorf("%s: %v", r.name(), err)
			}
		}
	}
	traffic.Hear = nil
	files := map[string]bool{}
	readers := cast(w)
	sweep(w, &a.known, readers, func(who reader, r rpc, answer proto.Message, err error) {
		a.look(who.Member, r.name(), wordsOf(answer), err)
		if chain, ok := answer.(*coopv1.GetStoneChainResponse); ok {
			for _, leaf := range leaves(t, chain) {
				for _, c := range a.in(leaf) {
					files[c.field] = true
				}
			}
		}
	})
	if len(a.planted) < 100 {
		t.Errorf("only %d canaries were planted", len(a.planted))
	}
	a.judge(t)
	for _, field := range slices.Sorted(maps.Keys(files)) {
		if !slices.Contains(handed, field) {
			t.Errorf("%s stands in chain files, which strangers are handed", field)
		}
	}
	for _, what := range slices.Sorted(maps.Keys(a.errors)) {
		t.Errorf("%s, which is another member's", what)
	}
	for _, c := range a.in(out.text.Bytes()) {
		t.Errorf("%s stands in a log", c.field)
	}
	var backup bytes.Buffer
	if _, err := w.Node.WriteBackup(w.Ctx(), &backup, nil); err != nil {
		t.Fatal(err)
	}
	clear := map[string]bool{}
	for _, c := range a.in(backup.Bytes()) {
		clear[c.field] = true
	}
	for _, field := range personal {
		if clear[field] {
			t.Errorf("%s stands in the clear in a backup", field)
		}
		if !slices.ContainsFunc(a.planted, func(c canary) bool { return c.field == field }) {
			t.Errorf("no canary was planted in %s", field)
		}
	}
	if len(clear) < 50 {
		t.Errorf("only %d fields were found in the backup, which holds the whole log: the search misses something", len(clear))
	}
}

// leaves are what a chain file hands over.
func leaves(t *testing.T, chain *coopv1.GetStoneChainResponse) (data [][]byte) {
	t.Helper()
	if len(chain.GetFile()) == 0 {
		return nil // it was refused
	}
	key, err := note.NewVerifier(chain.GetVerifierKey())
	if err != nil {
		t.Fatal(err)
	}
	parsed, err := merkle.ParseChain(chain.GetFile(), key)
	if err != nil {
		t.Fatal(err)
	}
	for _, leaf := range parsed.Leaves {
		data = append(data, leaf.Data)
	}
	return data
}

// judge holds what was seen against the table of who may see what.
func (a *aviary) judge(t *testing.T) {
	for _, field := range slices.Sorted(maps.Keys(a.seen)) {
		for _, who := range slices.Sorted(maps.Keys(a.seen[field])) {
			if !slices.Contains(open, field) && !slices.Contains(shown[field], who) {
				t.Errorf("%s was shown to %s by %s", field, who, a.seen[field][who])
			}
		}
	}
	for field, readers := range shown {
		for _, who := range readers {
			if a.seen[field][who] == "" {
				t.Errorf("%s is listed as shown to %s, who never saw it", field, who)
			}
		}
	}
}
