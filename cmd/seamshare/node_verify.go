package main

import (
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

	"seamshare.example/cmd/seamshare/internal/table"
	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/eventstore/merkle"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/photo"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

func (s *session) verifyCommand() *cobra.Command {
	var chainFile, key string
	var at uint64
	var expect expected
	c := &cobra.Command{
		Use:   "verify",
		Short: "Check that nothing recorded was altered",
		Long: `Without more, verify replays the log in --data from its first record and
compares: the bytes of the log with those in the store, every key of every view
with the replay, the tree's root with the one that was signed, and every share
with what the agreement gives for the money received. Nothing may be running on
that folder.

With --server it asks a running node for the root at a position (--at) and checks
the node's signature and that its later records extend that root. A node can only
vouch for itself, so give what you hold yourself: --verifier, the key that the co-op
published, and --root, the root that verify printed for your copy at that position.

With --chain FILE --key KEY it checks a stone's chain file and needs no data at
all. KEY is the co-op's verifier key, or a file that holds it.

That a record was not altered does not show that this stone is that stone: that
rests on measures, photos and honest trays.`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			switch {
			case chainFile != "":
				return s.verifyChain(chainFile, key)
			case s.server != "":
				return s.verifyServer(c.Context(), at, key, expect)
			default:
				return s.verifyData(c.Context())
			}
		},
	}
	c.Flags().StringVar(&chainFile, "chain", "", "check this stone's chain `file`")
	// The verifier key is not the person's key that the global --key names.
	c.Flags().StringVar(&key, "key", "", "the co-op's verifier `key`, or a file that holds it (with --server: your own private key's file)")
	c.Flags().StringVar(&expect.verifier, "verifier", "", "with --server: the verifier `key` that the co-op published, or a file that holds it")
	c.Flags().StringVar(&expect.root, "root", "", "with --server: the `root` that the position must have, such as your own copy's")
	c.Flags().Uint64Var(&at, "at", 0, "with --server: the `position`; 0: the last")
	return c
}

// verified is what verify prints.
type verified struct {
	Coop     string `json:"coop"`
	Records  uint64 `json:"records"`
	Commits  uint64 `json:"commits,omitempty"`
	Root     string `json:"root"`
	Parcels  int    `json:"parcels_recomputed,omitempty"`
	Photos   int    `json:"photos,omitempty"`
	Verified bool   `json:"verified"`
}

func unverified(reason, message string, err error) *failure {
	return &failure{
		Exit: exitUnverified, Reason: reason, Message: message, Err: err,
		Hint: "change nothing; keep a copy of the folder, and compare with a backup or another node",
	}
}

// verifyData checks a folder that no node runs on.
func (s *session) verifyData(ctx context.Context) error {
	bar := s.progress("replaying the log")
	n, err := openData(ctx, s.dataDir, nodeOptions{progress: bar.sequence})
	if err != nil {
		return err
	}
	defer n.Close()
	if t := n.Trouble(); t != nil {
		return unverified("TROUBLE", t.Error(), t)
	}
	scratch, err := os.MkdirTemp(filepath.Dir(filepath.Clean(s.dataDir)), ".seamshare-verify-")
	if err != nil {
		return fmt.Errorf("couldn't make a folder for the replay: %w", err)
	}
	defer os.RemoveAll(scratch)
	replay, _, err := badgerstore.Open(badgerstore.Options{Dir: filepath.Join(scratch, "store")})
	if err != nil {
		return fmt.Errorf("couldn't open a store for the replay: %w", err)
	}
	defer replay.Close()
	cp, err := n.Verify(ctx, replay, bar.sequence)
	bar.done()
	var difference *eventstore.Difference
	if errors.As(err, &difference) {
		return unverified("DIFFERENCE", difference.Error(), err)
	}
	if err != nil {
		return err
	}
	parcels, err := recompute(ctx, n.Node)
	if err != nil {
		return err
	}
	photos, err := s.checkPhotos(n)
	if err != nil {
		return err
	}
	v := verified{
		Coop: n.settings.Coop, Records: uint64(cp.Position), Commits: uint64(cp.Sequence), Root: hex.EncodeToString(cp.Root[:]),
		Parcels: parcels, Photos: photos, Verified: true,
	}
	return s.document(v, func(w io.Writer) error {
		say(w, "%d records in %d commits: log, store and every view agree.", v.Records, v.Commits)
		say(w, "Shares of %s recomputed to the cent.", count(v.Parcels, "parcel"))
		if v.Photos > 0 {
			say(w, "%s checked against the records that name them.", count(v.Photos, "picture"))
		}
		say(w, "root %s", v.Root)
		return nil
	})
}

// checkPhotos holds each picture against its name, and looks for each that a record names.
// It returns how many the records name.
func (s *session) checkPhotos(n *openNode) (int, error) {
	q, err := n.Inspect()
	if err != nil {
		return 0, err
	}
	defer q.Close()
	bar := s.progress("checking pictures")
	defer bar.done()
	codec, found := eventstore.NewCodec(stream.Events()...), map[photo.Sum]bool{}
	last := q.Checkpoint().Sequence
	for seq := eventstore.Sequence(1); seq <= last; seq++ {
		bar.sequence(seq, last)
		m, err := q.Message(seq)
		if err != nil {
			return 0, err
		}
		_, records, err := eventstore.ReadMessage(codec, n.settings.Coop, m)
		if err != nil {
			return 0, err
		}
		for _, r := range records {
			photo.Named(r.Event, func(field string, sum photo.Sum) {
				if found[sum] || err != nil {
					return
				}
				found[sum] = true
				if _, failed := n.photos.Read(sum); failed != nil {
					err = unverified("PHOTO", fmt.Sprintf("position %d, %s: %v", r.Position, field, failed), failed)
				}
			})
			if err != nil {
				return 0, err
			}
		}
	}
	return len(found), nil
}

// recompute computes the shares of every parcel from the records alone and holds them
// against the view, and every payout run against what was earned and bound then.
func recompute(ctx context.Context, n *eventstore.Node) (int, error) {
	q, err := n.Query(ctx, 0)
	if err != nil {
		return 0, err
	}
	defer q.Close()
	count, err := view.Recompute(q)
	if err != nil {
		return 0, unverified("SHARES", err.Error(), err)
	}
	if _, err := view.CheckPayouts(q); err != nil {
		return 0, unverified("PAYOUTS", err.Error(), err)
	}
	return count, nil
}

// expected is what a person holds of their own against a node's word.
type expected struct{ verifier, root string }

// verifyServer asks a running node.
func (s *session) verifyServer(ctx context.Context, at uint64, key string, expect expected) error {
	if key != "" {
		s.keyFile = key
	}
	answer, err := query(ctx, s, func(q call) (*coopv1.VerifyAtResponse, error) {
		return coopv1.NewNodeServiceClient(q.conn).VerifyAt(q.ctx, &coopv1.VerifyAtRequest{AtPosition: at})
	})
	if err != nil {
		return err
	}
	status, err := query(ctx, s, func(q call) (*coopv1.GetStatusResponse, error) {
		return coopv1.NewNodeServiceClient(q.conn).GetStatus(q.ctx, &coopv1.GetStatusRequest{})
	})
	if err != nil {
		return err
	}
	verifier, err := note.NewVerifier(status.GetVerifierKey())
	if expect.verifier != "" {
		verifier, err = readVerifier("--verifier", expect.verifier)
	}
	if err != nil {
		return err
	}
	root, err := checkAnswer(answer, verifier)
	if err == nil && expect.root != "" && !strings.EqualFold(expect.root, hex.EncodeToString(root[:])) {
		err = fmt.Errorf("the node's root at position %d is %x, not the one that was expected", answer.GetPosition(), root)
	}
	if otherKey(err) {
		return &failure{
			Exit: exitUnverified, Reason: "DIFFERENCE", Field: "--verifier", Message: "the node's checkpoint is not signed with the key that was given: " + maybeWrongKey, Err: err,
			Hint: "take the key that this co-op publishes; if it is that, don't rely on this node",
		}
	}
	if err != nil {
		return unverified("DIFFERENCE", err.Error(), err)
	}
	v := verified{Coop: status.GetCoopId(), Records: answer.GetPosition(), Root: hex.EncodeToString(root[:]), Verified: true}
	return s.document(v, func(w io.Writer) error {
		say(w, "The node's signed checkpoint extends its first %d records.", v.Records)
		say(w, "root %s", v.Root)
		if expect == (expected{}) {
			say(w, "A node can only vouch for itself: give --verifier and --root to hold it to your own.")
		}
		return nil
	})
}

// checkAnswer checks the signature and that the signed tree extends the root.
func checkAnswer(a *coopv1.VerifyAtResponse, verifier note.Verifier) (root merkle.Hash, err error) {
	signed, err := merkle.OpenCheckpoint([]byte(a.GetCheckpoint()), verifier)
	if err != nil {
		return root, fmt.Errorf("the node's checkpoint does not check: %w", err)
	}
	if len(a.GetRoot()) != len(root) {
		return root, fmt.Errorf("the node's root has %d bytes", len(a.GetRoot()))
	}
	copy(root[:], a.GetRoot())
	if a.GetPosition() == 0 {
		return root, nil
	}
	proof := make([]merkle.Hash, 0, len(a.GetConsistency()))
	for _, h := range a.GetConsistency() {
		if len(h) != len(root) {
			return root, fmt.Errorf("a hash of the node's proof has %d bytes", len(h))
		}
		proof = append(proof, merkle.Hash(h))
	}
	if err := merkle.VerifyConsistency(proof, a.GetPosition(), signed.Size, root, signed.Root); err != nil {
		return root, fmt.Errorf("the node's signed tree does not extend its own root: %w", err)
	}
	return root, nil
}

// chainVerified is what verify --chain prints.
type chainVerified struct {
	Stone    string      `json:"stone,omitempty"`
	Lot      string      `json:"lot,omitempty"`
	Records  uint64      `json:"records"`
	Root     string      `json:"root"`
	Chain    []chainLine `json:"chain"`
	Verified bool        `json:"verified"`
}

type chainLine struct {
	Position uint64 `json:"position"`
	Says     string `json:"says"`
}

// maxChainFile is more than a chain file ever has.
const maxChainFile = 2 << 20

// verifyChain checks a chain file with nothing but the co-op's key.
func (s *session) verifyChain(file, key string) error {
	if key == "" {
		return wrongUsage("--key", "the co-op publishes its verifier key; whoever is signed in gets it with seamshare status", "is needed to check a chain")
	}
	verifier, err := readVerifier("--key", key)
	if err != nil {
		return err
	}
	data, err := s.readInput(file, maxChainFile)
	if err != nil {
		return err
	}
	chain, err := merkle.ParseChain(data, verifier)
	if otherKey(err) {
		return &failure{
			Exit: exitUnverified, Reason: "CHAIN_REFUSED", Field: file, Message: "it is not signed with the key that was given: " + maybeWrongKey, Err: err,
			Hint: "take the key that this stone's co-op publishes; if it is that, don't rely on what the file says",
		}
	}
	if err != nil {
		return &failure{
			Exit: exitUnverified, Reason: "CHAIN_REFUSED", Field: file, Message: err.Error(), Err: err,
			Hint: "ask the co-op for the file again; if it still fails, don't rely on what it says",
		}
	}
	kind, id, _ := strings.Cut(chain.Subject, "/")
	v := chainVerified{Records: chain.Checkpoint.Size, Root: hex.EncodeToString(chain.Checkpoint.Root[:]), Verified: true}
	if kind == stream.Lot.Name {
		v.Lot = id
	} else {
		v.Stone = id
	}
	codec := eventstore.NewCodec(stream.Events()...)
	for _, leaf := range chain.Leaves {
		position, event, err := codec.OpenLeaf(leaf.Data)
		if err != nil {
			return unverified("CHAIN_UNREADABLE", fmt.Sprintf("the record at position %d can't be read: %v", leaf.Index+1, err), err)
		}
		v.Chain = append(v.Chain, chainLine{uint64(position), view.Words(event)})
	}
	return s.document(v, func(w io.Writer) error {
		say(w, "The chain of %s %s checks: %d records of a log of %d.", kind, id, len(v.Chain), v.Records)
		t := table.New(right("record"), wrapped("what it says"))
		for _, l := range v.Chain {
			t.Row(fmt.Sprint(l.Position), l.Says)
		}
		if _, err := t.WriteTo(w); err != nil {
			return err
		}
		if v.Lot != "" {
			say(w, "This shows what was recorded of all that went into the lot. Which of it a portion")
			say(w, "holds nobody knows; the rest rests on weighings and honest trays.")
			return nil
		}
		say(w, "This shows what was recorded. That this stone is that stone rests on its")
		say(w, "measures, photos and honest trays.")
		return nil
	})
}

// maybeWrongKey is all that can be said where a signature is of a key that isn't known: a wrong key and a forged file look
// the same.
const maybeWrongKey = "the key may be wrong, or another co-op's"

// otherKey tells that something was signed, but not with the key it was checked with.
func otherKey(err error) bool {
	_, other := errors.AsType[*note.UnverifiedNoteError](err)
	return other
}

// readVerifier takes a verifier key, or the name of a file that holds one.
func readVerifier(flag, key string) (note.Verifier, error) {
	if data, err := os.ReadFile(key); err == nil {
		key = string(data)
	}
	verifier, err := note.NewVerifier(strings.TrimSpace(key))
	if err != nil {
		return nil, wrongInput(flag, "give the key as the co-op publishes it, such as name+1a2b3c4d+AbC…, or a file that holds it", "is not a verifier key: %v", err)
	}
	return verifier, nil
}
