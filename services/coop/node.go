package coop

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"

	"google.golang.org/grpc"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/photo"
	"seamshare.example/services/query"
)

// NodeServer implements coopv1.NodeServiceServer. It asks nothing of who calls: that
// is the guard's, or the socket's.
type NodeServer struct {
	coopv1.UnimplementedNodeServiceServer
	node   *eventstore.Node
	photos *photo.Store
}

// NewNode makes the service that tells how a node stands. photos is nil where another
// node keeps them.
func NewNode(node *eventstore.Node, photos *photo.Store) *NodeServer {
	return &NodeServer{node: node, photos: photos}
}

// GetStatus implements coopv1.NodeServiceServer. It answers in trouble too.
func (s *NodeServer) GetStatus(ctx context.Context, req *coopv1.GetStatusRequest) (*coopv1.GetStatusResponse, error) {
	out := &coopv1.GetStatusResponse{CoopId: s.node.Coop()}
	if signer := s.node.Signer(); signer != nil {
		out.Checkpoint, out.VerifierKey = string(signer.Last().Note), signer.VerifierKey()
	}
	if trouble := s.node.Trouble(); trouble != nil {
		at := s.node.Checkpoint()
		out.Sequence, out.Position, out.Trouble = uint64(at.Sequence), uint64(at.Position), trouble.Error()
		return out, nil
	}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		out.Sequence = uint64(q.Checkpoint().Sequence)
		views, err := q.Views()
		for _, v := range views {
			out.Views = append(out.Views, &coopv1.ViewStatus{Name: v.Name, Version: v.Version, Position: uint64(v.Position), Serving: v.Serving})
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// VerifyAt implements coopv1.NodeServiceServer. It waits until the node has the
// position and a checkpoint at or after it is signed.
func (s *NodeServer) VerifyAt(ctx context.Context, req *coopv1.VerifyAtRequest) (*coopv1.VerifyAtResponse, error) {
	last, err := query.At(ctx, s.node, max(req.GetMinPosition(), req.GetAtPosition()), func(*eventstore.Query) error { return nil })
	if err != nil {
		return nil, err
	}
	at := req.GetAtPosition()
	if at == 0 {
		at = last
	}
	signed, err := s.node.Signed(ctx, eventstore.Position(at))
	if err != nil {
		return nil, err
	}
	tree := s.node.Tree() // taken after the checkpoint, so it holds at least what was signed
	root, err := tree.RootAt(at)
	if err != nil {
		return nil, fmt.Errorf("couldn't find the root at position %d: %w", at, err)
	}
	out := &coopv1.VerifyAtResponse{Position: at, Root: root[:], Checkpoint: string(signed.Note)}
	if at == 0 {
		return out, nil // every tree extends the empty one
	}
	proof, err := tree.ConsistencyProof(at, signed.Size)
	if err != nil {
		return nil, fmt.Errorf("couldn't prove that the checkpoint extends position %d: %w", at, err)
	}
	for _, hash := range proof {
		out.Consistency = append(out.Consistency, hash[:])
	}
	return out, nil
}

// ReadLog implements coopv1.NodeServiceServer. It answers in trouble too, with what
// the store holds: the guard has let nobody in then, so only the socket's callers ask.
func (s *NodeServer) ReadLog(req *coopv1.ReadLogRequest, stream grpc.ServerStreamingServer[coopv1.ReadLogResponse]) error {
	q, err := s.node.Inspect()
	if err != nil {
		return err
	}
	defer q.Close()
	last := uint64(q.Checkpoint().Sequence)
	for seq := max(req.GetFromSequence(), 1); seq <= last; seq++ {
		m, err := q.Message(eventstore.Sequence(seq))
		if err != nil {
			return fmt.Errorf("couldn't read commit %d: %w", seq, err)
		}
		if err := stream.Send(&coopv1.ReadLogResponse{Sequence: seq, Data: m.Data, LastSequence: last}); err != nil {
			return err
		}
	}
	return nil
}

// backupChunk is how much of a backup one answer carries.
const backupChunk = 256 << 10

// WriteBackup writes the log and, where the node keeps them, the pictures that its records
// name: those are there before the record that names them.
func WriteBackup(ctx context.Context, node *eventstore.Node, photos *photo.Store, w io.Writer, progress func(done, total eventstore.Sequence)) error {
	if _, err := node.WriteBackup(ctx, w, progress); err != nil || photos == nil {
		return err
	}
	_, err := photos.WriteTo(w)
	return err
}

// Backup implements coopv1.NodeServiceServer.
func (s *NodeServer) Backup(_ *coopv1.BackupRequest, stream grpc.ServerStreamingServer[coopv1.BackupResponse]) error {
	chunks := &chunkWriter{stream: stream}
	w := bufio.NewWriterSize(chunks, backupChunk)
	if err := WriteBackup(stream.Context(), s.node, s.photos, w, chunks.progress); err != nil {
		return err
	}
	return w.Flush()
}

// chunkWriter sends what is written to it.
type chunkWriter struct {
	stream      grpc.ServerStreamingServer[coopv1.BackupResponse]
	sent        uint64
	done, total eventstore.Sequence
}

func (c *chunkWriter) progress(done, total eventstore.Sequence) { c.done, c.total = done, total }

// Write implements io.Writer. The buffer before it is used again when it returns,
// while gRPC may still hold what was sent, so it sends a copy.
func (c *chunkWriter) Write(chunk []byte) (int, error) {
	c.sent += uint64(len(chunk))
	total := c.sent
	if c.done > 0 {
		// Commits differ in size, so this is a guess that gets better.
		total = max(total, uint64(float64(c.sent)*float64(c.total)/float64(c.done)))
	}
	if err := c.stream.Send(&coopv1.BackupResponse{Chunk: bytes.Clone(chunk), TotalBytes: total}); err != nil {
		return 0, err
	}
	return len(chunk), nil
}
