package coop_test

import (
	"bufio"
	"bytes"
	"errors"
	"expvar"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/eventstore/natslog"
	"seamshare.example/eventstore/storetest"
	"seamshare.example/services/command"
	"seamshare.example/services/coop"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/personal"
	"seamshare.example/services/stream"
	"seamshare.example/services/tradetest"
	"seamshare.example/services/view"
)

// canaries are what must be nowhere; each is found by itself in any file.
var canaries = map[typev1.PersonalField]string{
	typev1.PersonalField_PERSONAL_FIELD_NAME:    "canary-name-7f3a9c",
	typev1.PersonalField_PERSONAL_FIELD_ADDRESS: "canary-address-51d0e8",
	typev1.PersonalField_PERSONAL_FIELD_PHONE:   "canary-phone-c2b6f4",
}

const bankCanary = "canary-bank-90aa17"

// TestErasure erases a person on a node with a real log and store, and searches every
// file that it keeps, that a backup holds, and that a restored node keeps.
func TestErasure(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(os.Mkdir(filepath.Join(dir, "signer"), 0o700))
	signer, err := merkle.CreateSigner(merkle.SignerFiles{Dir: filepath.Join(dir, "signer")}, "log.example/"+storetest.Coop)
	must(err)
	clock := &movedClock{now: time.Now().UTC()}
	node, stopNode := onDisk(t, dir, nil, signer, clock.read)
	defer stopNode()
	d := desksOf(t, cooptest.OpenOn(t, node, signer, filepath.Join(dir, "personal-keys")), clock)
	_, stone := d.trade(t)
	who := d.billycart
	record := func(by cooptest.Person, field typev1.PersonalField, value string) error {
		_, err := by.Coop().RecordPersonal(ctx, &coopv1.RecordPersonalRequest{RequestId: command.NewID(), PersonId: who.Person, Field: field, Value: value})
		return err
	}
	for field, value := range canaries {
		if err := record(who, field, value); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := who.Coop().SetBankDetails(ctx, &coopv1.SetBankDetailsRequest{RequestId: command.NewID(), MemberId: who.Member, Value: bankCanary}); err != nil {
		t.Fatal(err)
	}
	facts := func(by cooptest.Person) (*coopv1.GetPersonalResponse, error) {
		return by.Coop().GetPersonal(ctx, &coopv1.GetPersonalRequest{PersonId: who.Person})
	}
	t.Run("OK: the person themselves and a registrar read it", func(t *testing.T) {
		for _, by := range []cooptest.Person{who, d.Desk} {
			got, err := facts(by)
			if err != nil || len(got.GetFacts()) != len(canaries) {
				t.Fatalf("got %v, %v", got, err)
			}
			for _, f := range got.GetFacts() {
				if f.GetValue() != canaries[f.GetField()] {
					t.Errorf("got %v", f)
				}
			}
		}
	})
	t.Run("refused: anyone else, who learns nothing of whether it is there", func(t *testing.T) {
		for _, by := range []cooptest.Person{d.ninth, d.desk1, d.audit} {
			_, err := facts(by)
			tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
			tradetest.Refused(t, record(by, typev1.PersonalField_PERSONAL_FIELD_NAME, "x"), codes.NotFound, "NOT_FOUND")
		}
		_, err := d.ninth.Coop().GetBankDetails(ctx, &coopv1.GetBankDetailsRequest{MemberId: who.Member})
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
	})
	t.Run("OK: a bookkeeper reads the bank details", func(t *testing.T) {
		got, err := d.desk1.Coop().GetBankDetails(ctx, &coopv1.GetBankDetailsRequest{MemberId: who.Member})
		if err != nil || got.GetValue() != bankCanary {
			t.Errorf("got %v, %v", got, err)
		}
	})
	chain := func() *coopv1.GetStoneChainResponse {
		got, err := d.audit.Coop().GetStoneChain(ctx, &coopv1.GetStoneChainRequest{StoneId: stone.GetId()})
		must(err)
		return got
	}
	before, err := d.desk1.Coop().GetBalances(ctx, &coopv1.GetBalancesRequest{})
	must(err)
	chainBefore, rootBefore := chain(), node.Checkpoint()
	key, err := os.ReadFile(filepath.Join(d.Keys, who.Person+".key"))
	must(err)
	t.Run("OK: on disk it is sealed from the first, in the log and in the store", func(t *testing.T) {
		none(t, search(t, dir, secrets(nil)))
		sealed := sealedOf(t, node, who)
		for _, part := range []string{"log", "store"} {
			all(t, sealed, search(t, filepath.Join(dir, part), sealed))
		}
		if file := search(t, d.Keys, map[string][]byte{"key": key}); len(file) != 1 {
			t.Errorf("the search finds the key in %v", file)
		}
	})
	copied := copyFolder(t, d.Keys) // by somebody, before the erasure
	erased, err := d.Desk.Coop().ErasePerson(ctx, &coopv1.ErasePersonRequest{RequestId: command.NewID(), PersonId: who.Person, Reason: "they asked for it"})
	if err != nil {
		t.Fatal(err)
	}
	t.Run("OK: the receipt says what can't be read any more", func(t *testing.T) {
		r := erased.GetReceipt()
		if len(r.GetFields()) != len(canaries) || len(r.GetBankDetailsOf()) != 1 || r.GetBankDetailsOf()[0] != who.Member || r.GetPosition() == 0 {
			t.Errorf("got %v", r)
		}
		again, err := d.audit.Coop().GetErasure(ctx, &coopv1.GetErasureRequest{PersonId: who.Person})
		if err != nil || again.GetReceipt().GetPosition() != r.GetPosition() {
			t.Errorf("got %v, %v", again, err)
		}
	})
	t.Run("OK: nothing is left to read, and nothing more is kept", func(t *testing.T) {
		got, err := facts(who)
		if err != nil || len(got.GetFacts()) != 0 || !got.GetErased() {
			t.Errorf("got %v, %v", got, err)
		}
		bank, err := d.desk1.Coop().GetBankDetails(ctx, &coopv1.GetBankDetailsRequest{MemberId: who.Member})
		if err != nil || bank.GetValue() != "" {
			t.Errorf("got %v, %v", bank, err)
		}
		tradetest.Refused(t, record(who, typev1.PersonalField_PERSONAL_FIELD_NAME, "x"), codes.FailedPrecondition, "PERSON_ERASED")
		if left := files(t, d.Keys); len(left) != 0 {
			t.Errorf("keys are left: %v", left)
		}
	})
	t.Run("OK: books and proofs stand", func(t *testing.T) {
		after, err := d.desk1.Coop().GetBalances(ctx, &coopv1.GetBalancesRequest{})
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range after.GetShares() {
			if minor(s.GetAmount()) != minor(before.GetShares()[i].GetAmount()) {
				t.Errorf("got %v, before it was %v", s, before.GetShares()[i])
			}
		}
		d.recomputes(t)
		if _, err := d.Node.Verify(ctx, storetest.NewMemoryStore(), func(_, _ eventstore.Sequence) {}); err != nil {
			t.Error(err)
		}
		for when, c := range map[string]*coopv1.GetStoneChainResponse{"before": chainBefore, "after": chain()} {
			if _, err := merkle.ParseChain(c.GetFile(), signer.Verifier()); err != nil {
				t.Errorf("a stone's chain from %s the erasure: %v", when, err)
			}
		}
		root, err := node.Tree().RootAt(uint64(rootBefore.Position))
		if err != nil || root != rootBefore.Root {
			t.Errorf("the root at position %d is %x, %v; it was %x", rootBefore.Position, root, err, rootBefore.Root)
		}
	})
	t.Run("OK: what is told of the person has nothing of it", func(t *testing.T) {
		told, err := d.audit.Coop().GetHistory(ctx, &coopv1.GetHistoryRequest{Thing: "person/" + who.Person})
		must(err)
		none(t, inside("their history", []byte(told.String()), secrets(key)))
		expvar.Do(func(kv expvar.KeyValue) {
			none(t, inside("the metric "+kv.Key, []byte(kv.Value.String()), secrets(key)))
		})
	})

	var backup bytes.Buffer
	if _, err := d.Node.WriteBackup(ctx, &backup, func(_, _ eventstore.Sequence) {}); err != nil {
		t.Fatal(err)
	}
	again := t.TempDir()
	restored, stop := onDisk(t, again, backup.Bytes(), nil, nil)
	defer stop()
	t.Run("OK: a copy of the keys that is put back goes before the restored node serves", func(t *testing.T) {
		keys, err := personal.Open(copied)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := coop.ReplayErasures(ctx, restored, keys, 0); err != nil {
			t.Fatal(err)
		}
		for _, f := range files(t, copied) {
			if strings.Contains(f, who.Person) {
				t.Errorf("%s is left", f)
			}
		}
	})
	t.Run("OK: the restored node verifies", func(t *testing.T) {
		if _, err := restored.Verify(ctx, storetest.NewMemoryStore(), func(_, _ eventstore.Sequence) {}); err != nil {
			t.Error(err)
		}
		if restored.Checkpoint().Position != d.Node.Checkpoint().Position || restored.Tree().Root() != d.Node.Tree().Root() {
			t.Error("it has another root")
		}
		q, err := restored.Query(ctx, 0)
		must(err)
		defer q.Close()
		if _, err := view.Recompute(q); err != nil {
			t.Error(err)
		}
	})
	t.Run("OK: it is nowhere while the node runs", func(t *testing.T) {
		none(t, search(t, dir, secrets(key)))
		none(t, inside("the backup", backup.Bytes(), secrets(key)))
	})
	stop()
	stopNode()
	t.Run("OK: it is nowhere once the nodes have put everything in its place", func(t *testing.T) {
		public := map[string][]byte{"trading name": []byte("Billycart Diggings")}
		for _, folder := range []string{dir, again} {
			none(t, search(t, folder, secrets(key)))
			for _, part := range []string{"log", "store"} {
				all(t, public, search(t, filepath.Join(folder, part), public))
			}
		}
		none(t, search(t, copied, secrets(key)))
	})
}

// sealedOf are the sealed facts about a person, and their bank details, as they are kept.
func sealedOf(t *testing.T, node *eventstore.Node, who cooptest.Person) map[string][]byte {
	t.Helper()
	q, err := node.Query(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	defer q.Close()
	person, _, err := eventstore.Load(q, stream.Person, who.Person)
	if err != nil {
		t.Fatal(err)
	}
	of, _, err := eventstore.Load(q, stream.Member, who.Member)
	if err != nil {
		t.Fatal(err)
	}
	sealed := map[string][]byte{"bank details": of.Bank.Data}
	for _, f := range person.Sealed {
		sealed[f.Field.String()] = f.Data
	}
	if len(sealed) != len(canaries)+1 {
		t.Fatalf("got %d sealed facts", len(sealed))
	}
	return sealed
}

// secrets are what must be nowhere, by name; with the person's key, unless that is nil.
func secrets(key []byte) map[string][]byte {
	all := map[string][]byte{"bank details": []byte(bankCanary)}
	for field, c := range canaries {
		all[field.String()] = []byte(c)
	}
	if key != nil {
		all["key"] = key
	}
	return all
}

// inside tells which of some texts stand in data, and where that is.
func inside(where string, data []byte, texts map[string][]byte) map[string]string {
	found := map[string]string{}
	for name, text := range texts {
		if bytes.Contains(data, text) {
			found[name] = where
		}
	}
	return found
}

// search tells which of some texts stand in the files of a folder, byte for byte, and in
// which file.
func search(t *testing.T, folder string, texts map[string][]byte) map[string]string {
	t.Helper()
	longest := 0
	for _, text := range texts {
		longest = max(longest, len(text))
	}
	found := map[string]string{}
	buffer := make([]byte, 1<<20)
	for _, name := range files(t, folder) {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		for kept := 0; ; {
			n, err := io.ReadFull(f, buffer[kept:])
			window := buffer[:kept+n]
			maps.Copy(found, inside(name, window, texts))
			if err != nil {
				if !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
					t.Fatal(err)
				}
				break
			}
			// A text may lie across the end of the window.
			kept = copy(buffer, window[len(window)-longest:])
		}
		f.Close()
	}
	return found
}

func none(t *testing.T, found map[string]string) {
	t.Helper()
	for name, where := range found {
		t.Errorf("%s holds the %s", where, name)
	}
}

func all(t *testing.T, texts map[string][]byte, found map[string]string) {
	t.Helper()
	for name := range texts {
		if found[name] == "" {
			t.Errorf("the search doesn't find the %s", name)
		}
	}
}

// onDisk makes a node with a real log and store in a folder: of a backup, or empty.
func onDisk(t *testing.T, dir string, backup []byte, signer *merkle.Signer, clock func() time.Time) (node *eventstore.Node, stop func()) {
	t.Helper()
	ctx := t.Context()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	server, err := natslog.StartServer(natslog.Options{StoreDir: filepath.Join(dir, "log")})
	must(err)
	cfg := natslog.Config{Coop: storetest.Coop, Server: server}
	must(natslog.Create(ctx, cfg))
	log, err := natslog.Open(ctx, cfg)
	must(err)
	if backup != nil {
		_, err = eventstore.ReadBackup(bufio.NewReader(bytes.NewReader(backup)), nil, func(coop string, m eventstore.Message) error {
			id, err := eventstore.MessageID(coop, m)
			if err != nil {
				return err
			}
			return log.Publish(ctx, m.Sequence-1, id, m.Data)
		})
		must(err)
	}
	store, _, err := badgerstore.Open(badgerstore.Options{Dir: filepath.Join(dir, "store")})
	must(err)
	node, err = eventstore.Open(ctx, eventstore.Config{
		Coop: storetest.Coop, Name: "on disk", Log: log, Store: store, Signer: signer, Clock: clock,
		Codec: eventstore.NewCodec(stream.Events()...), Views: view.All(),
	})
	must(err)
	return node, sync.OnceFunc(func() {
		node.Close()
		must(errors.Join(store.Close(), log.Close()))
		server.Close()
	})
}

func files(t *testing.T, dir string) (all []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err == nil && e.Type().IsRegular() {
			all = append(all, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func copyFolder(t *testing.T, from string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	return to
}
