package coop_test

import (
	"seamshare.example/eventstore"
	"seamshare.example/eventstore/storetest"
)

// memory is the rows of one view in a store of their own.
type memory struct {
	store *storetest.MemoryStore
}

func (m *memory) open() *storetest.MemoryStore {
	if m.store == nil {
		m.store = storetest.NewMemoryStore()
	}
	return m.store
}

func (m *memory) Get(key []byte) ([]byte, error) { return m.open().Snapshot().Get(key) }

func (m *memory) Scan(prefix, start []byte, reverse bool, fn func(key, value []byte) bool) error {
	return m.open().Snapshot().Scan(prefix, start, reverse, fn)
}

func (m *memory) Set(key, value []byte) { m.change(eventstore.Change{Key: key, Value: value}) }

func (m *memory) Delete(key []byte) { m.change(eventstore.Change{Key: key}) }

func (m *memory) change(c eventstore.Change) {
	if err := m.open().Write([]eventstore.Change{c}); err != nil {
		panic(err) // a memory store fails only where a test asked for it
	}
}
