package coop_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
	"seamshare.example/services/command"
	"seamshare.example/services/coop"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/personal"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// TestErasureReachesOtherNodes: a node that has keys of its own destroys them as it
// applies an erasure that another node recorded.
func TestErasureReachesOtherNodes(t *testing.T) {
	log := storetest.NewMemoryLog(true)
	node := func() *eventstore.Node {
		return storetest.OpenNode(t, eventstore.Config{
			Log: log, Store: storetest.NewMemoryStore(), Codec: eventstore.NewCodec(stream.Events()...), Views: view.All(),
		})
	}
	h := cooptest.OpenOn(t, node(), nil, filepath.Join(t.TempDir(), "personal-keys"))
	follows(t, h, node())
}

// TestErasureOfOneNode: a node that is alone follows the erasures that it recorded itself,
// so that a key that a caller left behind is destroyed too.
func TestErasureOfOneNode(t *testing.T) {
	h := cooptest.Open(t, nil)
	follows(t, h, h.Node)
}

// follows holds a node to destroying a key of its own as it applies an erasure.
func follows(t *testing.T, h *cooptest.House, second *eventstore.Node) {
	t.Helper()
	who := h.Join(t, "Billycart Diggings", miner)
	if _, err := who.Coop().RecordPersonal(t.Context(), &coopv1.RecordPersonalRequest{RequestId: command.NewID(), PersonId: who.Person, Field: typev1.PersonalField_PERSONAL_FIELD_NAME, Value: "a name"}); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	keys, err := personal.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := keys.Seal(personal.Bound{Coop: h.Node.Coop(), Person: who.Person, Seal: "s", Field: "f"}, []byte("kept here too")); err != nil {
		t.Fatal(err)
	}
	key := filepath.Join(dir, who.Person+".key")
	if _, err := os.Stat(key); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- coop.FollowErasures(ctx, second, keys, 0) }()
	if _, err := h.Desk.Coop().ErasePerson(t.Context(), &coopv1.ErasePersonRequest{RequestId: command.NewID(), PersonId: who.Person, Reason: "they asked"}); err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if _, err := os.Stat(key); errors.Is(err, os.ErrNotExist) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the node still has the key")
		}
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
