package coop

import (
	"context"
	"errors"
	"slices"

	"google.golang.org/grpc"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/fault"
	"seamshare.example/services/photo"
	"seamshare.example/services/query"
)

// PhotoServer implements coopv1.PhotoServiceServer.
type PhotoServer struct {
	coopv1.UnimplementedPhotoServiceServer
	node   *eventstore.Node
	photos *photo.Store
}

// NewPhotos makes the service of pictures; photos is nil where another node keeps them.
func NewPhotos(node *eventstore.Node, photos *photo.Store) *PhotoServer {
	return &PhotoServer{node: node, photos: photos}
}

// stands refuses callers who don't stand any more, as decisions do.
func (s *PhotoServer) stands(ctx context.Context) error {
	if s.photos == nil {
		return fault.New(fault.NodeKeepsNoPhotos, "%s", fault.NodeKeepsNoPhotos.About())
	}
	_, err := query.At(ctx, s.node, 0, func(q *eventstore.Query) error { return access.Recheck(q, access.Caller(ctx)) })
	return err
}

// AddPhoto implements coopv1.PhotoServiceServer.
func (s *PhotoServer) AddPhoto(ctx context.Context, req *coopv1.AddPhotoRequest) (*coopv1.AddPhotoResponse, error) {
	if err := s.stands(ctx); err != nil {
		return nil, err
	}
	if err := s.node.CheckSpace(); err != nil {
		return nil, err
	}
	received, kept, err := s.photos.Add(photo.Chunk{
		Member: access.Caller(ctx).Member, Upload: req.GetUpload(), Offset: req.GetOffset(), Bytes: req.GetChunk(), Last: req.GetLast(),
	})
	if err != nil {
		return nil, err
	}
	out := &coopv1.AddPhotoResponse{Received: received}
	if kept != nil {
		out.Sha256, out.MediaType, out.Width, out.Height = kept.Sum[:], photo.MediaType, uint32(kept.Width), uint32(kept.Height)
	}
	return out, nil
}

// GetPhoto implements coopv1.PhotoServiceServer. Only who was shown a record knows the
// sum that its picture goes by, so the sum is the right to see it.
func (s *PhotoServer) GetPhoto(req *coopv1.GetPhotoRequest, stream grpc.ServerStreamingServer[coopv1.GetPhotoResponse]) error {
	if err := s.stands(stream.Context()); err != nil {
		return err
	}
	sum, _ := photo.SumOf(req.GetSha256()) // its length was checked before
	data, err := s.photos.Read(sum)
	if errors.Is(err, photo.ErrNone) {
		return rule.NotThere("sha256", "picture")
	}
	if err != nil {
		return err
	}
	for chunk := range slices.Chunk(data, backupChunk) {
		if err := stream.Send(&coopv1.GetPhotoResponse{Chunk: chunk, TotalBytes: uint64(len(data))}); err != nil {
			return err
		}
	}
	return nil
}
