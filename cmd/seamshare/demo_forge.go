package main

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/eventstore/merkle"
)

// forgery is a piece's field changed to another.
type forgery struct {
	piece    string // its id
	from, to string // ids of fields
	chain    []byte // the chain file of a stone of the piece
}

// change changes the field wherever something says it of the piece. Ids have one length, so that nothing moves.
func (f forgery) change(data []byte) ([]byte, bool) {
	if !bytes.Contains(data, []byte(f.piece)) || !bytes.Contains(data, []byte(f.from)) {
		return data, false
	}
	return bytes.ReplaceAll(data, []byte(f.from), []byte(f.to)), true
}

// forge changes the field of a stone in a copy of its chain and in a copy of all the data, and has both checked.
func (d *demo) forge(dir string) error {
	where, err := d.forgeChain()
	if err != nil {
		return err
	}
	says, err := d.forgeData(dir)
	if err != nil {
		return err
	}
	d.report.TamperedCopy = reportForged{demoForged, where.Position, where.Error(), says}
	d.tell("Stone %s comes from %s. Somebody would rather have it from %s, and changes that in a copy of its chain. Checked with the co-op's key: “%v”.", demoForged, demoFields[1].name, demoFields[0].name, where)
	d.tell("They change it in a copy of the whole folder too, wherever the store says so. seamshare verify replays the log and compares: “%s”.", says)
	return nil
}

// forgeChain changes the chain file, as careful as one can be without the co-op's private key.
func (d *demo) forgeChain() (*merkle.ChainError, error) {
	lines := strings.Split(string(d.forgery.chain), "\n")
	const leaf = "extra "
	changed := false
	for i, line := range lines {
		if !strings.HasPrefix(line, leaf) {
			continue
		}
		data, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(line, leaf))
		if err != nil {
			return nil, fmt.Errorf("a leaf of the chain can't be read: %w", err)
		}
		if data, ok := d.forgery.change(data); ok {
			lines[i], changed = leaf+base64.StdEncoding.EncodeToString(data), true
		}
	}
	_, err := merkle.ParseChain([]byte(strings.Join(lines, "\n")), d.verifier)
	refused, ok := errors.AsType[*merkle.ChainError](err)
	if !changed || !ok || refused.Position == 0 {
		return nil, taken("a chain with another field", err)
	}
	return refused, nil
}

// forgeData changes the store in a copy of the folder, and gives what verify says of it.
func (d *demo) forgeData(dir string) (says string, err error) {
	scratch, err := os.MkdirTemp("", "seamshare-demo-copy-")
	if err != nil {
		return "", fmt.Errorf("couldn't make a folder for the copy: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
	copied := filepath.Join(scratch, "data")
	if err := copyFolder(copied, dir); err != nil {
		return "", fmt.Errorf("couldn't copy the folder: %w", err)
	}
	changes, err := d.forgery.changeStore(storeDir(copied))
	if err != nil {
		return "", err
	}
	err = (&session{stdout: io.Discard, stderr: io.Discard, dataDir: copied}).verifyData(d.ctx)
	difference, ok := errors.AsType[*eventstore.Difference](err)
	if changes == 0 || !ok || difference.Position == 0 {
		return "", taken("a copy of the data with another field", err)
	}
	return difference.Error(), nil
}

// copyFolder copies a node's folder; its owner alone may read the copy, as the original.
func copyFolder(to, from string) error {
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		return err
	}
	return filepath.WalkDir(to, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		return os.Chmod(path, 0o600)
	})
}

func (f forgery) changeStore(dir string) (changes int, err error) {
	store, _, err := badgerstore.Open(badgerstore.Options{Dir: dir})
	if err != nil {
		return 0, fmt.Errorf("couldn't open the copy's store: %w", err)
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	var rows []eventstore.Change
	snapshot := store.Snapshot()
	err = snapshot.Scan(nil, nil, false, func(key, value []byte) bool {
		if value, ok := f.change(value); ok {
			rows = append(rows, eventstore.Change{Key: key, Value: value})
		}
		return true
	})
	snapshot.Close()
	if err != nil {
		return 0, fmt.Errorf("couldn't read the copy's store: %w", err)
	}
	if err := store.Write(rows); err != nil {
		return 0, fmt.Errorf("couldn't change the copy's store: %w", err)
	}
	return len(rows), nil
}

// taken: what must be refused was taken, or was refused for another reason.
func taken(what string, err error) *failure {
	said := "nothing was said"
	if err != nil {
		said = err.Error()
	}
	return &failure{Exit: exitUnverified, Reason: "TAMPERING_ACCEPTED", Message: what + " wasn't refused at its position: " + said, Err: err}
}
