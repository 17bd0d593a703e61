package main

import (
	"bufio"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/mod/sumdb/note"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/eventstore/natslog"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/coop"
	"seamshare.example/services/photo"
)

func (s *session) backupCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "backup",
		Short: "Copy log and pictures into one file, also while the node serves",
		Long: `backup writes everything that was recorded, with a signed checkpoint and the
pictures that records name, into one file that seamshare restore reads. It holds
prices, parties and all else that is private: keep it as you keep the books. No
private key is in it, and so nothing that is personal can be read from it: copy
the folder personal-keys apart from it (see seamshare help personal-keys).`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error { return s.backup(c.Context(), out) },
	}
	c.Flags().StringVar(&out, "out", "", "the `file` to write; it must not exist")
	need(c, "out")
	return c
}

// backedUp is what backup and restore print.
type backedUp struct {
	Coop    string `json:"coop"`
	File    string `json:"file"`
	Commits uint64 `json:"commits"`
	Records uint64 `json:"records"`
	Root    string `json:"root"`
	Key     string `json:"verifier_key,omitempty"`
}

// backup writes to a file beside the wanted one and renames it when it is whole
// and synced: a crash never leaves half a backup under the name.
func (s *session) backup(ctx context.Context, out string) (err error) {
	if _, err := os.Lstat(out); err == nil {
		return wrongInput("--out", "choose another name; nothing is written over", "%s exists already", out)
	}
	temp, err := os.CreateTemp(filepath.Dir(out), ".seamshare-backup-")
	if err != nil {
		return fmt.Errorf("couldn't make the backup's file: %w", err)
	}
	defer func() {
		if err != nil {
			_ = os.Remove(temp.Name())
		}
	}()
	bar := s.progress("copying the log")
	err = s.atNode(ctx, func(client coopv1.NodeServiceClient) error {
		stream, err := client.Backup(ctx, &coopv1.BackupRequest{})
		var done int64
		for err == nil {
			var m *coopv1.BackupResponse
			if m, err = stream.Recv(); err == nil {
				_, err = temp.Write(m.GetChunk())
				done += int64(len(m.GetChunk()))
				bar.set(done, int64(m.GetTotalBytes()))
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		return err
	}, func(n *openNode) error {
		return coop.WriteBackup(ctx, n.Node, n.photos, temp, bar.sequence)
	})
	bar.done()
	if err = errors.Join(err, temp.Sync(), temp.Close()); err != nil {
		return err
	}
	// What was written is read back before it is called a backup.
	b, err := readBackup(temp.Name(), nil, func(string, eventstore.Message) error { return nil })
	if err != nil {
		return backupFailure(out, b, err)
	}
	if err := os.Rename(temp.Name(), out); err != nil {
		return fmt.Errorf("couldn't name the backup: %w", err)
	}
	return s.showBackup(out, b, "")
}

func (s *session) showBackup(file string, b eventstore.Backup, key string) error {
	d := backedUp{
		Coop: b.Coop, File: file, Commits: uint64(b.Sequence), Records: b.Checkpoint.Size,
		Root: hex.EncodeToString(b.Checkpoint.Root[:]), Key: key,
	}
	return s.document(d, func(w io.Writer) error {
		say(w, "%s: %d records in %d commits of co-op %s", d.File, d.Records, d.Commits, d.Coop)
		say(w, "root %s", d.Root)
		if d.Key != "" {
			say(w, "This node signs with a new key:")
			say(w, "%s", d.Key)
			say(w, "Next: put your copy of personal-keys back (seamshare help personal-keys).")
		}
		return nil
	})
}

func readBackup(file string, key note.Verifier, fn func(coop string, m eventstore.Message) error) (eventstore.Backup, error) {
	f, err := os.Open(file)
	if err != nil {
		return eventstore.Backup{}, err
	}
	defer f.Close()
	r := bufio.NewReaderSize(f, 1<<20)
	b, err := eventstore.ReadBackup(r, key, fn)
	if err != nil {
		return b, err
	}
	return b, readPhotos(r, func(photo.Sum, []byte) error { return nil })
}

// readPhotos reads the pictures behind a backup's log, to the end of the file. A node that
// keeps none writes none.
func readPhotos(r *bufio.Reader, fn func(photo.Sum, []byte) error) error {
	if _, err := r.Peek(1); errors.Is(err, io.EOF) {
		return nil
	}
	if err := photo.Each(r, fn); err != nil {
		if errors.Is(err, photo.ErrDamaged) {
			return fmt.Errorf("%w: %w", eventstore.ErrCorrupt, err)
		}
		return err
	}
	if _, err := r.Peek(1); !errors.Is(err, io.EOF) {
		return fmt.Errorf("%w: the backup goes on after its end", eventstore.ErrCorrupt)
	}
	return nil
}

// fillPhotos puts the pictures of a backup, which was read once to its end, into a node's
// folder.
func fillPhotos(dir, from string) error {
	photos, err := photo.Open(photosDir(dir))
	if err != nil {
		return err
	}
	f, err := os.Open(from)
	if err != nil {
		return err
	}
	defer f.Close()
	r := bufio.NewReaderSize(f, 1<<20)
	if _, err := eventstore.ReadBackup(r, nil, func(string, eventstore.Message) error { return nil }); err != nil {
		return err
	}
	return readPhotos(r, photos.Put)
}

// backupFailure says what is wrong with a backup that was read as far as b.
func backupFailure(file string, b eventstore.Backup, err error) error {
	if !errors.Is(err, eventstore.ErrCorrupt) {
		return err
	}
	f := &failure{Exit: exitUnverified, Reason: "BACKUP", Field: file, Err: err, Hint: "make another backup, or use an older one"}
	why := strings.ReplaceAll(err.Error(), eventstore.ErrCorrupt.Error()+": ", "")
	switch {
	case otherKey(err): // the digest was right
		f.Message = "the file is whole, but not signed with the key that was given: " + maybeWrongKey
		f.Hint = "take the verifier key of the node that made the backup, as init or restore printed it"
	case b.Coop == "":
		f.Message = why
		f.Hint = "check that it is the right file; or make another backup, or use an older one"
	default:
		f.Message = "the backup is damaged: " + why
	}
	return f
}

func (s *session) restoreCommand() *cobra.Command {
	var from, key string
	c := &cobra.Command{
		Use:   "restore",
		Short: "Make a node's folder from a backup file",
		Long: `restore reads a backup into --data, which must be new, applies it and compares
the root. With --verifier it also checks the signature. The restored node signs
with a new key of its own: a signer put back from a copy could contradict itself.
Persons sign in again with the keys they have.

What is personal stays sealed until your copy of the folder personal-keys is put
back into --data; who was erased stays erased: see seamshare help personal-keys.`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error { return s.restore(c.Context(), from, key) },
	}
	c.Flags().StringVar(&from, "from", "", "the backup `file`")
	c.Flags().StringVar(&key, "verifier", "", "the verifier `key` of the node that made it, or a file that holds it")
	need(c, "from")
	return c
}

// restore works in a folder beside the wanted one, which gets its name when all
// is there: a crash leaves nothing under the name.
func (s *session) restore(ctx context.Context, from, key string) (err error) {
	if err := mustBeNew(s.dataDir); err != nil {
		return err
	}
	var verifier note.Verifier
	if key != "" {
		if verifier, err = readVerifier("--verifier", key); err != nil {
			return err
		}
	}
	// Read once to the end first: only then it is known that the file is whole.
	b, err := readBackup(from, verifier, func(string, eventstore.Message) error { return nil })
	if err != nil {
		return backupFailure(from, b, err)
	}
	work, err := os.MkdirTemp(filepath.Dir(filepath.Clean(s.dataDir)), ".seamshare-restore-")
	if err != nil {
		return fmt.Errorf("couldn't make a folder to restore into: %w", err)
	}
	defer os.RemoveAll(work)
	settings := nodeSettings{Coop: b.Coop, Name: "node-1"}
	if err := s.fillLog(ctx, work, settings, from, b); err != nil {
		return err
	}
	if err := fillPhotos(work, from); err != nil {
		return err
	}
	signer, err := createSigner(work, b.Coop)
	if err != nil {
		return err
	}
	if err := writeSettings(work, settings); err != nil {
		return err
	}
	bar := s.progress("applying the log")
	n, err := openData(ctx, work, nodeOptions{progress: bar.sequence})
	bar.done()
	if err != nil {
		return err
	}
	cp, trouble := n.Checkpoint(), n.Trouble()
	if err := n.Close(); err != nil {
		return err
	}
	if trouble != nil {
		return unverified("TROUBLE", trouble.Error(), trouble)
	}
	if uint64(cp.Position) != b.Checkpoint.Size || cp.Root != b.Checkpoint.Root {
		return unverified("ROOT", fmt.Sprintf("the restored node has root %v at %d records, the backup says %v at %d", cp.Root, cp.Position, b.Checkpoint.Root, b.Checkpoint.Size), nil)
	}
	if err := adopt(work, s.dataDir); err != nil {
		return err
	}
	return s.showBackup(from, b, signer.VerifierKey())
}

// fillLog makes the log anew from the backup's commits.
func (s *session) fillLog(ctx context.Context, dir string, settings nodeSettings, from string, b eventstore.Backup) error {
	cfg, err := settings.logConfig(dir, nil)
	if err != nil {
		return err
	}
	defer cfg.Server.Close()
	if err := natslog.Create(ctx, cfg); err != nil {
		return fmt.Errorf("couldn't make the log: %w", err)
	}
	log, err := natslog.Open(ctx, cfg)
	if err != nil {
		return fmt.Errorf("couldn't open the new log: %w", err)
	}
	defer log.Close()
	bar := s.progress("writing the log")
	defer bar.done()
	_, err = readBackup(from, nil, func(coop string, m eventstore.Message) error {
		bar.sequence(m.Sequence, b.Sequence)
		id, err := eventstore.MessageID(coop, m)
		if err != nil {
			return err
		}
		if err := log.Publish(ctx, m.Sequence-1, id, m.Data); err != nil {
			return fmt.Errorf("couldn't write commit %d: %w", m.Sequence, err)
		}
		return nil
	})
	return err
}

// createSigner makes the key with which a co-op's checkpoints are signed here.
func createSigner(dir, coop string) (*merkle.Signer, error) {
	if err := os.MkdirAll(signerDir(dir), 0o700); err != nil {
		return nil, fmt.Errorf("couldn't make the signer's folder: %w", err)
	}
	signer, err := merkle.CreateSigner(merkle.SignerFiles{Dir: signerDir(dir)}, "seamshare/"+coop)
	if err != nil {
		return nil, fmt.Errorf("couldn't make the signing key: %w", err)
	}
	return signer, nil
}

// mustBeNew refuses a folder that holds anything but a person's sign-in.
func mustBeNew(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("couldn't look into %s: %w", dir, err)
	}
	for _, e := range entries {
		if e.Name() != "profile.json" {
			return wrongInput("--data", "name a new folder, or empty this one if nothing in it is needed", "%s is not empty: it holds %s", dir, e.Name())
		}
	}
	return nil
}

// adopt moves what was made in a folder beside into the wanted one. node.json
// comes last: a folder without it is no node's.
func adopt(work, dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("couldn't make %s: %w", dir, err)
	}
	entries, err := os.ReadDir(work)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if e.Name() == filepath.Base(settingsPath(work)) {
			continue
		}
		if err := os.Rename(filepath.Join(work, e.Name()), filepath.Join(dir, e.Name())); err != nil {
			return fmt.Errorf("couldn't move the new node into %s: %w", dir, err)
		}
	}
	if err := os.Rename(settingsPath(work), settingsPath(dir)); err != nil {
		return fmt.Errorf("couldn't move the new node into %s: %w", dir, err)
	}
	return nil
}

// rebuilt is what rebuild prints.
type rebuilt struct {
	verified
	OldStore string `json:"old_store,omitempty"` // the folder where it was set aside
}

func (s *session) rebuildCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "rebuild",
		Short: "Set the store aside and make it again from the log",
		Long: `rebuild moves the store out of the way (nothing is deleted) and derives it anew
from the log. Nothing may be running on the folder. Use it when the store is
damaged, after seamshare verify has shown that the log is not.`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			if _, err := readSettings(s.dataDir); err != nil {
				return err
			}
			old := ""
			if _, err := os.Stat(storeDir(s.dataDir)); err == nil {
				// The log's lock tells whether a node runs here.
				server, err := natslog.StartServer(natslog.Options{StoreDir: logDir(s.dataDir)})
				if errors.Is(err, natslog.ErrInUse) {
					return inUse(s.dataDir)
				}
				if err != nil {
					return err
				}
				aside, err := badgerstore.SetAside(storeDir(s.dataDir), "rebuild was asked for")
				server.Close()
				if err != nil {
					return err
				}
				old = aside.Dir
				if !s.json {
					fmt.Fprintf(s.stderr, "The old store is in %s.\n", old)
				}
			}
			bar := s.progress("applying the log")
			n, err := openData(c.Context(), s.dataDir, nodeOptions{progress: bar.sequence})
			bar.done()
			if err != nil {
				return err
			}
			defer n.Close()
			if t := n.Trouble(); t != nil {
				return unverified("TROUBLE", t.Error(), t)
			}
			cp := n.Checkpoint()
			v := rebuilt{
				verified: verified{Coop: cp.Coop, Records: uint64(cp.Position), Commits: uint64(cp.Sequence), Root: hex.EncodeToString(cp.Root[:]), Verified: true},
				OldStore: old,
			}
			return s.document(v, func(w io.Writer) error {
				say(w, "%d records in %d commits were applied again.\nroot %s", v.Records, v.Commits, v.Root)
				return nil
			})
		},
	}
	return c
}
