package wholetest_test

import (
	"bytes"
	"expvar"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"

	"seamshare.example/eventstore/merkle"
	"seamshare.example/services/tablestest"
)

// canary is a word that occurs once in the world: in one field of one request.
type canary struct {
	field   string // "MinerService/PublishParcel.note"
	member  string // who wrote it
	swapped bool   // while those of each trade had changed places
}

// aviary plants a canary in every free text of every request, and looks for them.
type aviary struct {
	mu      sync.Mutex
	planted []canary                     // guarded by mu
	readers map[string]string            // guarded by mu: who a member is
	members map[*grpc.ClientConn]string  // guarded by mu
	seen    map[string]map[string]string // guarded by mu: by field and reader, the rpc that showed it to another than its writer
	wrote   map[string]bool              // guarded by mu: fields that a canary stood in
	named   map[string]string            // guarded by mu: what a text of again became
	swapped bool                         // guarded by mu
	errors  map[string]bool              // guarded by mu: fields that stood in another member's error
	known   known                        // guarded by mu
	random  *rand.Rand
}

var bird = regexp.MustCompile(`cny([0-9]{6})x`)

// wordless are texts of commands in which no canary can stand, with the reason: by the name
// of the field, or its full name. What has a pattern is a code or an id by its form.
var wordless = map[string][]string{
	"a moment or a day": {"done_at", "effective_date", "ends_at", "due_at", "at", "mined", "split", "from"},
	"a word of a list that the settings or the agreement hold": {"class", "kind", "market"},
	"an etag": {"etag"},
	"a name by which a thing is named again": {
		"part", "seamshare.type.v1.Feature.name", "seamshare.type.v1.DrawnLayer.name", "seamshare.type.v1.Blade.name", "blade", "stone", "zone", "bar",
		"seamshare.type.v1.CutStone.name", "seamshare.type.v1.Market.name", "seamshare.miner.v1.NewPiece.label", "seamshare.miner.v1.DraftLine.label", "seamshare.type.v1.TakenOut.label",
	},
}

// again are texts by which a place is named again: the same text gets the same canary.
var again = []protoreflect.FullName{
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
		case f.Kind() == protoreflect.StringKind && !f.IsList() && roomFor(f, m.Get(f).String()) && (f.ContainingOneof() == nil || m.Has(f)):
			m.Set(f, protoreflect.ValueOfString(a.with(canary{below, member, a.swapped}, f, m.Get(f).String())))
		}
	}
}

// with is a text with a canary.
func (a *aviary) with(c canary, f protoreflect.FieldDescriptor, text string) string {
	a.wrote[c.field] = true
	named := slices.Contains(again, f.FullName())
	if with, ok := a.named[text]; ok && named {
		return with
	}
	with := strings.TrimSpace(text + fmt.Sprintf(" cny%06dx", len(a.planted)))
	a.planted = append(a.planted, c)
	if named {
		a.named[text] = with
	}
	return with
}

// roomFor tells whether a canary may stand in a field after what it says.
func roomFor(f protoreflect.FieldDescriptor, text string) bool {
	rules, _ := proto.GetExtension(f.Options(), validate.E_Field).(*validate.FieldRules)
	s := rules.GetString()
	if s == nil || s.Pattern != nil || s.MaxLen == nil || s.GetMaxLen() < uint64(len(text))+11 {
		return false
	}
	for _, names := range wordless {
		if slices.Contains(names, string(f.Name())) || slices.Contains(names, string(f.FullName())) {
			return false
		}
	}
	return true
}

// texts are the fields of all commands that have room for a canary.
func texts() (fields []string) {
	open := map[protoreflect.FullName]bool{} // a type may hold itself; its texts are the same then
	var walk func(path string, m protoreflect.MessageDescriptor)
	walk = func(path string, m protoreflect.MessageDescriptor) {
		if open[m.FullName()] {
			return
		}
		open[m.FullName()] = true
		defer delete(open, m.FullName())
		for i := range m.Fields().Len() {
			f := m.Fields().Get(i)
			below := path + "." + string(f.Name())
			switch {
			case f.IsMap():
				panic("a request has a map: teach this test maps")
			case f.Message() != nil:
				walk(below, f.Message())
			case f.Kind() == protoreflect.StringKind && !f.IsList() && roomFor(f, ""):
				fields = append(fields, below)
			}
		}
	}
	for _, r := range commandsOf() {
		walk(r.name(), r.Input())
	}
	return fields
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
		a.seen[c.field][c.seenBy(a.readers[member])] = rpc
	}
	if err != nil {
		for _, c := range a.in(wordsOf(status.Convert(err).Proto())) {
			if c.member != member {
				a.errors[c.field+" in an error of "+rpc] = true
			}
		}
	}
}

// seenBy is what a reader is to a canary: for one written while they had changed places, the
// miner is another miner.
func (c canary) seenBy(reader string) string {
	trade, another := strings.CutPrefix(reader, "another ")
	switch {
	case !c.swapped || !slices.Contains([]string{"miner", "cutter", "jeweller"}, strings.TrimPrefix(trade, "the ")):
		return reader
	case another:
		return "the " + trade
	}
	return "another " + strings.TrimPrefix(trade, "the ")
}

// in are the canaries in a text.
func (a *aviary) in(text []byte) (found []canary) {
	for _, n := range numbers(text) {
		if n < len(a.planted) {
			found = append(found, a.planted[n])
		}
	}
	return found
}

func numbers(text []byte) (all []int) {
	for _, m := range bird.FindAllSubmatch(text, -1) {
		if n, err := strconv.Atoi(string(m[1])); err == nil {
			all = append(all, n)
		}
	}
	return all
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
		members: map[*grpc.ClientConn]string{}, readers: map[string]string{}, seen: map[string]map[string]string{}, named: map[string]string{}, wrote: map[string]bool{}, errors: map[string]bool{}, known: newKnown(), random: rand.New(rand.NewPCG(1, 1)),
	}
	out := &output{}
	traffic := &tablestest.Traffic{Change: a.plant}
	traffic.Hear = func(h tablestest.Heard) {
		a.mu.Lock()
		member, known := a.members[h.Conn]
		if h.Err == nil {
			a.known.learn(h.Answer, a.random)
			a.christen(h)
		}
		a.mu.Unlock()
		if known {
			a.look(member, h.Method[strings.LastIndexByte(h.Method, '.')+1:], wordsOf(h.Answer), h.Err)
		}
	}
	w := tablestest.NewWorld(logged{t, out}, traffic.Dial())
	for _, p := range w.People() {
		a.members[p.Conn] = p.Member
		a.known.protect(p.Person, p.Member)
	}
	for _, who := range cast(w) {
		a.readers[who.Member] = who.name
	}
	a.readers[w.Desk.Member] = "the desk"
	other := w.Swapped()
	worlds := []*tablestest.World{w, other}
	for i, w := range worlds {
		a.swap(i == 1)
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
	}
	for i, w := range worlds {
		a.swap(i == 1)
		for _, r := range commandsOf() {
			if make, ok := fixtures[r.name()]; ok {
				x := make(w)
				if err := send(w.Ctx(), x.own, r, x.req); err != nil {
					t.Errorf("%s: %v", r.name(), err)
				}
			}
		}
	}
	traffic.Hear = nil
	files := map[string]bool{}
	readers := cast(w)
	sweep(w, &a.known, readers, func(who reader, r rpc, answer proto.Message, err error) {
		a.look(who.Member, r.name(), wordsOf(answer), err)
		if chain, ok := answer.(chainFile); ok {
			for _, leaf := range leaves(t, chain) {
				for _, c := range a.in(leaf) {
					files[c.field] = true
				}
			}
		}
	})
	a.judge(t)
	for _, field := range texts() {
		if !a.wrote[field] {
			t.Errorf("no canary was planted in %s: let a recipe or a fixture write it", field)
		}
	}
	for _, who := range readers {
		if !slices.ContainsFunc(a.planted, func(c canary) bool { return c.member == who.Member }) {
			t.Errorf("no canary is %s's", who.name)
		}
	}
	for _, field := range slices.Sorted(maps.Keys(files)) {
		if !slices.Contains(handed, field) {
			t.Errorf("%s stands in chain files, which strangers are handed", field)
		}
	}
	for _, field := range handed {
		if !files[field] {
			t.Errorf("%s is listed as standing in chain files, but stands in none", field)
		}
	}
	for _, what := range slices.Sorted(maps.Keys(a.errors)) {
		t.Errorf("%s, which is another member's", what)
	}
	for _, c := range a.in(out.text.Bytes()) {
		t.Errorf("%s stands in a log", c.field)
	}
	expvar.Do(func(kv expvar.KeyValue) {
		for _, c := range a.in([]byte(kv.Key + kv.Value.String())) {
			t.Errorf("%s stands in the metric %s", c.field, kv.Key)
		}
	})
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
	}
	if len(clear) < 50 {
		t.Errorf("only %d fields were found in the backup, which holds the whole log: the search misses something", len(clear))
	}
}

// chainFile is the answer with a stone's or a lot's chain.
type chainFile interface {
	GetFile() []byte
	GetVerifierKey() string
}

// leaves are what a chain file hands over: the file itself and what it holds.
func leaves(t *testing.T, chain chainFile) (data [][]byte) {
	t.Helper()
	if len(chain.GetFile()) == 0 {
		return nil // it was refused
	}
	data = append(data, chain.GetFile())
	for _, leaf := range parse(t, chain).Leaves {
		data = append(data, leaf.Data)
	}
	return data
}

// parse checks a chain file as a stranger does.
func parse(t *testing.T, chain chainFile) merkle.Chain {
	t.Helper()
	key, err := note.NewVerifier(chain.GetVerifierKey())
	if err != nil {
		t.Fatal(err)
	}
	parsed, err := merkle.ParseChain(chain.GetFile(), key)
	if err != nil {
		t.Fatal(err)
	}
	return parsed
}

func (a *aviary) swap(swapped bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.swapped = swapped
}

// christen makes a trading name its member's own, though the desk wrote it. a.mu is held.
func (a *aviary) christen(h tablestest.Heard) {
	admitted, ok := h.Answer.(*coopv1.AdmitMemberResponse)
	if !ok {
		return
	}
	for _, n := range numbers(wordsOf(h.Req)) {
		a.planted[n].member = admitted.GetMember().GetId()
	}
}

// judge holds what was seen against the table of who may see what.
func (a *aviary) judge(t *testing.T) {
	for _, field := range slices.Sorted(maps.Keys(a.seen)) {
		for _, who := range slices.Sorted(maps.Keys(a.seen[field])) {
			if !slices.Contains(open, field) && !slices.Contains(shown[field], who) && !slices.Contains(shown[field], atTimes+who) {
				t.Errorf("%s was shown to %s by %s", field, who, a.seen[field][who])
			}
		}
	}
	for _, field := range open {
		if len(a.seen[field]) == 0 {
			t.Errorf("%s is listed as open to all, but nobody saw it", field)
		}
	}
	for field, readers := range shown {
		for _, who := range readers {
			if !strings.HasPrefix(who, atTimes) && a.seen[field][who] == "" {
				t.Errorf("%s is listed as shown to %s, who never saw it", field, who)
			}
		}
	}
}
