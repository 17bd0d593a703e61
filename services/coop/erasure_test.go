package coop_test

import (
	"bufio"
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
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

func TestErasure(t *testing.T) {
	d := openDesks(t)
	ctx := t.Context()
	d.trade(t)
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
	before, err := d.desk1.Coop().GetBalances(ctx, &coopv1.GetBalancesRequest{})
	if err != nil {
		t.Fatal(err)
	}
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
	})

	var backup bytes.Buffer
	if _, err := d.Node.WriteBackup(ctx, &backup, func(_, _ eventstore.Sequence) {}); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	restored, stop := restore(t, dir, backup.Bytes())
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
	})
	stop()
	t.Run("OK: it is nowhere in log, store, backup and keys", func(t *testing.T) {
		places := map[string][]byte{"the backup": backup.Bytes()}
		for _, folder := range []string{dir, copied, d.Keys} {
			for _, f := range files(t, folder) {
				data, err := os.ReadFile(f)
				if err != nil {
					t.Fatal(err)
				}
				places[f] = data
			}
		}
		for _, f := range []string{"log", "store"} {
			if len(files(t, filepath.Join(dir, f))) == 0 {
				t.Fatalf("the restored node has no files in %s", f)
			}
		}
		for name, data := range places {
			for _, canary := range append([]string{bankCanary}, canaries[1], canaries[2], canaries[3]) {
				if bytes.Contains(data, []byte(canary)) {
					t.Errorf("%s holds %s", name, canary)
				}
			}
		}
	})
}

// restore makes a node of a backup, with a real log and store in a folder.
func restore(t *testing.T, dir string, backup []byte) (node *eventstore.Node, stop func()) {
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
	_, err = eventstore.ReadBackup(bufio.NewReader(bytes.NewReader(backup)), nil, func(coop string, m eventstore.Message) error {
		id, err := eventstore.MessageID(coop, m)
		if err != nil {
			return err
		}
		return log.Publish(ctx, m.Sequence-1, id, m.Data)
	})
	must(err)
	store, _, err := badgerstore.Open(badgerstore.Options{Dir: filepath.Join(dir, "store")})
	must(err)
	node, err = eventstore.Open(ctx, eventstore.Config{
		Coop: storetest.Coop, Name: "restored", Log: log, Store: store, Codec: eventstore.NewCodec(stream.Events()...), Views: view.All(),
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
