package eventstore_test

import (
	"testing"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/eventstore/natslog"
	"seamshare.example/eventstore/storetest"
)

func TestMemoryLog(t *testing.T) {
	storetest.TestLog(t, func(*testing.T) func() eventstore.Log {
		log := storetest.NewMemoryLog(true)
		return func() eventstore.Log { return log }
	})
}

func TestNATSLog(t *testing.T) {
	storetest.TestLog(t, func(t *testing.T) func() eventstore.Log {
		server := startServer(t, t.TempDir(), "")
		return func() eventstore.Log { return openLog(t, natslog.Config{Server: server}) }
	})
}

func TestMemoryStore(t *testing.T) {
	storetest.TestStore(t, func(*testing.T) func() eventstore.Store {
		store := storetest.NewMemoryStore()
		return func() eventstore.Store { return store }
	})
}

func TestBadgerStore(t *testing.T) {
	storetest.TestStore(t, func(t *testing.T) func() eventstore.Store {
		dir := t.TempDir()
		return func() eventstore.Store { return openBadger(t, badgerstore.Options{Dir: dir}) }
	})
}
