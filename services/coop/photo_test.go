package coop_test

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"testing"

	"google.golang.org/grpc/codes"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tradetest"
)

func fetch(ctx context.Context, c coopv1.PhotoServiceClient, sum []byte) ([]byte, error) {
	s, err := c.GetPhoto(ctx, &coopv1.GetPhotoRequest{Sha256: sum})
	var data []byte
	for err == nil {
		var m *coopv1.GetPhotoResponse
		if m, err = s.Recv(); err == nil {
			data = append(data, m.GetChunk()...)
		}
	}
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return data, err
}

func TestPhotos(t *testing.T) {
	h := cooptest.Open(t, nil)
	ctx := t.Context()
	cutter := h.Join(t, "Wet Wheel Workshop", typev1.Role_ROLE_CUTTER)
	jeweller := h.Join(t, "Marrow & Pin Jewellers", typev1.Role_ROLE_JEWELLER)
	mine, theirs := coopv1.NewPhotoServiceClient(cutter.Conn), coopv1.NewPhotoServiceClient(jeweller.Conn)
	var file bytes.Buffer
	if err := png.Encode(&file, image.NewGray(image.Rect(0, 0, 1200, 900))); err != nil {
		t.Fatal(err)
	}
	half := file.Len() / 2
	t.Run("OK: added in two pieces, and fetched by another", func(t *testing.T) {
		if _, err := mine.AddPhoto(ctx, &coopv1.AddPhotoRequest{Upload: "face-0001", Chunk: file.Bytes()[:half]}); err != nil {
			t.Fatal(err)
		}
		a, err := mine.AddPhoto(ctx, &coopv1.AddPhotoRequest{Upload: "face-0001", Offset: uint64(half), Chunk: file.Bytes()[half:], Last: true})
		if err != nil || a.GetWidth() != 1200 || a.GetHeight() != 900 || a.GetMediaType() != "image/jpeg" {
			t.Fatalf("got %v, %v", a, err)
		}
		data, err := fetch(ctx, theirs, a.GetSha256())
		if err != nil {
			t.Fatal(err)
		}
		if m, err := jpeg.DecodeConfig(bytes.NewReader(data)); err != nil || m.Width != 1200 {
			t.Errorf("got %v, %v", m, err)
		}
	})
	t.Run("refused: a picture that isn't there", func(t *testing.T) {
		_, err := fetch(ctx, theirs, make([]byte, 32))
		tradetest.Refused(t, err, codes.NotFound, "NOT_FOUND", "sha256")
	})
	t.Run("refused: what is no picture", func(t *testing.T) {
		_, err := mine.AddPhoto(ctx, &coopv1.AddPhotoRequest{Upload: "face-0002", Chunk: []byte("no picture"), Last: true})
		tradetest.Refused(t, err, codes.InvalidArgument, "PHOTO_INVALID", "chunk")
	})
}
