package main

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"seamshare.example/eventstore"
)

// meter counts what is written to a store, and keeps a copy of it where it is asked to.
// Like Write itself it is used by one caller at a time.
type meter struct {
	eventstore.Store
	spool *spool
	count rows
}

// rows is what was written: one count for each key that was set or deleted in a write.
type rows struct {
	Writes int   `json:"writes"`
	Rows   int   `json:"rows"`
	Bytes  int64 `json:"bytes"` // of keys and values
}

func (r rows) minus(o rows) rows {
	return rows{r.Writes - o.Writes, r.Rows - o.Rows, r.Bytes - o.Bytes}
}

func (r *rows) add(changes []eventstore.Change) {
	r.Writes++
	r.Rows += len(changes)
	for _, c := range changes {
		r.Bytes += int64(len(c.Key) + len(c.Value))
	}
}

// Write counts and writes.
func (m *meter) Write(changes []eventstore.Change) error {
	m.count.add(changes)
	if m.spool != nil {
		if err := m.spool.keep(changes); err != nil {
			return err
		}
	}
	return m.Store.Write(changes)
}

// spool is a file of writes, to be written again elsewhere.
type spool struct {
	file *os.File
	w    *bufio.Writer
	took time.Duration // time that keeping took, not part of what is measured
}

func newSpool(path string) (*spool, error) {
	f, err := os.Create(path)
	if err != nil {
		return nil, fmt.Errorf("couldn't make a spool: %w", err)
	}
	return &spool{file: f, w: bufio.NewWriterSize(f, 1<<20)}, nil
}

// keep writes the number of changes, then for each key and value: its length, one more
// for a value so that 0 is a deletion, and its bytes.
func (s *spool) keep(changes []eventstore.Change) error {
	begin := time.Now()
	defer func() { s.took += time.Since(begin) }()
	head := binary.AppendUvarint(nil, uint64(len(changes)))
	if _, err := s.w.Write(head); err != nil {
		return err
	}
	for _, c := range changes {
		head = binary.AppendUvarint(head[:0], uint64(len(c.Key)))
		head = append(head, c.Key...)
		if c.Value == nil {
			head = append(head, 0)
		} else {
			head = binary.AppendUvarint(head, uint64(len(c.Value))+1)
			head = append(head, c.Value...)
		}
		if _, err := s.w.Write(head); err != nil {
			return err
		}
	}
	return nil
}

// each gives the kept writes again, in order, from the start.
func (s *spool) each(fn func([]eventstore.Change) error) error {
	if err := s.w.Flush(); err != nil {
		return err
	}
	if _, err := s.file.Seek(0, io.SeekStart); err != nil {
		return err
	}
	r := bufio.NewReaderSize(s.file, 1<<20)
	take := func(n uint64) ([]byte, error) {
		b := make([]byte, n)
		_, err := io.ReadFull(r, b)
		return b, err
	}
	for {
		count, err := binary.ReadUvarint(r)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		changes := make([]eventstore.Change, count)
		for i := range changes {
			n, err := binary.ReadUvarint(r)
			if err != nil {
				return err
			}
			if changes[i].Key, err = take(n); err != nil {
				return err
			}
			if n, err = binary.ReadUvarint(r); err != nil {
				return err
			}
			if n == 0 {
				continue
			}
			if changes[i].Value, err = take(n - 1); err != nil {
				return err
			}
		}
		if err := fn(changes); err != nil {
			return err
		}
	}
}

func (s *spool) close() error { return errors.Join(s.file.Close(), os.Remove(s.file.Name())) }
