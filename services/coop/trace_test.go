package coop_test

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
	"seamshare.example/services/view"
)

func TestStoneChain(t *testing.T) {
	h := open(t)
	ctx := t.Context()
	p := h.Cut(t, h.miner, h.cutter, 74000, 42000)
	sold, unsold := p.Stones[0], p.Stones[1]
	h.Order(t, h.jeweller, sold)
	trace := func(who cooptest.Person, stone *typev1.Stone) (*coopv1.GetStoneChainResponse, error) {
		return who.Coop().GetStoneChain(ctx, &coopv1.GetStoneChainRequest{StoneId: stone.GetId()})
	}
	t.Run("is a file that checks without the server", func(t *testing.T) {
		got, err := trace(h.jeweller, sold)
		if err != nil {
			t.Fatal(err)
		}
		key, err := note.NewVerifier(got.GetVerifierKey())
		if err != nil {
			t.Fatal(err)
		}
		chain, err := merkle.ParseChain(got.GetFile(), key)
		if err != nil {
			t.Fatal(err)
		}
		if chain.Subject != "stone/"+sold.GetId() || len(chain.Leaves) != len(got.GetLinks()) {
			t.Errorf("it is of %s, with %d leaves and %d links", chain.Subject, len(chain.Leaves), len(got.GetLinks()))
		}
		for i, leaf := range chain.Leaves {
			if leaf.Index+1 != got.GetLinks()[i].GetPosition() {
				t.Errorf("leaf %d has index %d, its link position %d", i, leaf.Index, got.GetLinks()[i].GetPosition())
			}
			var l eventv1.Leaf
			if err := proto.Unmarshal(leaf.Data, &l); err != nil {
				t.Fatal(err)
			}
			if bytes.Contains(leaf.Data, []byte("Claim 4")) || bytes.Contains(leaf.Data, []byte("Marrow")) {
				t.Errorf("leaf %d shows what is private", i)
			}
		}
		if first := got.GetLinks()[0].GetWhat(); first != "The field: Ashbarrel Rise, ironstone country" {
			t.Errorf("it begins with %q", first)
		}
	})
	partner := h.Add(t, h.cutter.Member, cutter)
	anotherMiner, anotherCutter := h.Join(t, "Ninth Shaft Mining", miner), h.Join(t, "Two Dops Lapidary", cutter)
	for name, c := range map[string]struct {
		who   cooptest.Person
		stone *typev1.Stone
		sees  bool
	}{
		"its buyer":                        {h.jeweller, sold, true},
		"any jeweller while it is on sale": {h.other, unsold, true},
		"not another jeweller once sold":   {h.other, sold, false},
		"the miner of its parcel":          {h.miner, sold, true},
		"not another miner":                {anotherMiner, unsold, false},
		"its cutter's other person":        {partner, sold, true},
		"not another cutter":               {anotherCutter, unsold, false},
		"the auditor":                      {h.audit, sold, true},
		"the bookkeeper":                   {h.books, unsold, true},
		"nobody a stone that isn't there":  {h.audit, &typev1.Stone{Id: "nothing"}, false},
	} {
		t.Run("shown to "+name, func(t *testing.T) {
			_, err := trace(c.who, c.stone)
			if c.sees && err != nil {
				t.Errorf("got %v", err)
			}
			if !c.sees {
				tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND")
			}
		})
	}
	t.Run("not yours reads like missing", func(t *testing.T) {
		_, notMine := trace(h.other, sold)
		_, missing := trace(h.other, &typev1.Stone{Id: "nothing"})
		if notMine.Error() != missing.Error() {
			t.Errorf("%v\n%v", notMine, missing)
		}
	})
}

func TestNode(t *testing.T) {
	h := open(t)
	ctx := t.Context()
	h.Cut(t, h.miner, h.cutter, 74000)
	node := h.audit.Node()
	t.Run("tells how it stands", func(t *testing.T) {
		got, err := node.GetStatus(ctx, &coopv1.GetStatusRequest{})
		if err != nil {
			t.Fatal(err)
		}
		at := h.Node.Checkpoint()
		if got.GetCoopId() != h.Node.Coop() || got.GetPosition() != uint64(at.Position) || got.GetSequence() != uint64(at.Sequence) || got.GetTrouble() != "" {
			t.Errorf("got %v", got)
		}
		if len(got.GetViews()) != len(view.All()) || !got.GetViews()[0].GetServing() || got.GetVerifierKey() != h.Signer.VerifierKey() {
			t.Errorf("got %v", got)
		}
	})
	t.Run("a signed checkpoint extends the root at any position", func(t *testing.T) {
		last := uint64(h.Node.Checkpoint().Position)
		for at := uint64(1); at <= last; at++ {
			got, err := node.VerifyAt(ctx, &coopv1.VerifyAtRequest{AtPosition: at})
			if err != nil {
				t.Fatal(err)
			}
			signed, err := merkle.OpenCheckpoint([]byte(got.GetCheckpoint()), h.Signer.Verifier())
			if err != nil {
				t.Fatal(err)
			}
			var proof []merkle.Hash
			for _, hash := range got.GetConsistency() {
				proof = append(proof, merkle.Hash(hash))
			}
			root, err := h.Node.Tree().RootAt(at)
			if err != nil || !bytes.Equal(root[:], got.GetRoot()) {
				t.Fatalf("at %d the root is %x, %v; want %x", at, got.GetRoot(), err, root)
			}
			if err := merkle.VerifyConsistency(proof, at, signed.Size, merkle.Hash(got.GetRoot()), signed.Root); err != nil {
				t.Fatalf("at %d: %v", at, err)
			}
		}
		got, err := node.VerifyAt(ctx, &coopv1.VerifyAtRequest{})
		if err != nil || got.GetPosition() != last {
			t.Errorf("got %v, %v", got, err)
		}
	})
	t.Run("the log is read as it was published", func(t *testing.T) {
		stream, err := node.ReadLog(ctx, &coopv1.ReadLogRequest{FromSequence: 3})
		if err != nil {
			t.Fatal(err)
		}
		q, err := h.Node.Query(ctx, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer q.Close()
		next := uint64(3)
		for {
			m, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			want, err := q.Message(eventstore.Sequence(next))
			if err != nil || m.GetSequence() != next || !bytes.Equal(m.GetData(), want.Data) {
				t.Fatalf("commit %d: %v", next, err)
			}
			next++
		}
		if next != uint64(q.Checkpoint().Sequence)+1 {
			t.Errorf("it ended before %d", next)
		}
	})
	t.Run("a backup reads back", func(t *testing.T) {
		stream, err := node.Backup(ctx, &coopv1.BackupRequest{})
		if err != nil {
			t.Fatal(err)
		}
		var file bytes.Buffer
		for {
			m, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			file.Write(m.GetChunk())
			if m.GetTotalBytes() < uint64(file.Len()) {
				t.Errorf("%d bytes came, %d were announced", file.Len(), m.GetTotalBytes())
			}
		}
		commits := 0
		_, err = eventstore.ReadBackup(bufio.NewReader(&file), h.Signer.Verifier(), func(coop string, m eventstore.Message) error {
			commits++
			return nil
		})
		if err != nil || commits != int(h.Node.Checkpoint().Sequence) {
			t.Errorf("%d commits, %v", commits, err)
		}
	})
	t.Run("refused: the log to one who is no auditor", func(t *testing.T) {
		stream, err := h.cutter.Node().ReadLog(ctx, &coopv1.ReadLogRequest{})
		if err == nil {
			_, err = stream.Recv()
		}
		tradetest.Refused(t, err, codes.PermissionDenied, "ROLE_MISSING")
	})
}
