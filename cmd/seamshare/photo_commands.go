package main

import (
	"bytes"
	"crypto/rand"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // the two kinds of picture that are taken
	_ "image/png"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"seamshare.example/cmd/seamshare/internal/table"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/photo"
)

func (s *session) photoCommand() *cobra.Command {
	return group("photo", "Pictures that records name", s.photoAddCommand(), s.photoGetCommand())
}

// addedPhoto is one line of photo add.
type addedPhoto struct {
	File   string `json:"file"`
	Photo  string `json:"photo"`
	Width  uint32 `json:"width"`
	Height uint32 `json:"height"`
}

func (s *session) photoAddCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "add FILE...",
		Short: "Add pictures, to be named in a study, a final check or an approval",
		Long: `add brings JPEG or PNG files to the node, at most 15 MiB and 40 million pixels
each. They are kept upright and without what the camera noted in them, such as
the place. What it prints is the picture's name: the SHA-256 of what is kept. Who
knows it can see the picture. Where a command takes --photo it takes a file too.`,
		Example: `  seamshare photo add face.jpg back.jpg`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return wrongUsage("FILE", "name one picture or more", "is missing; the command is seamshare photo add FILE...")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			var added []addedPhoto
			for _, file := range args {
				a, err := command(c.Context(), s, func(q call) (*coopv1.AddPhotoResponse, error) { return s.addPhoto(q, file) })
				if err != nil {
					return err
				}
				added = append(added, addedPhoto{file, hex.EncodeToString(a.GetSha256()), a.GetWidth(), a.GetHeight()})
			}
			if s.printID {
				for _, a := range added {
					say(s.stdout, "%s", a.Photo)
				}
				return nil
			}
			return s.document(added, func(w io.Writer) error {
				for _, a := range added {
					say(w, "%s, %d × %d pixels:\n  %s", a.File, a.Width, a.Height, a.Photo)
				}
				return nil
			})
		},
	}
}

// photoChunk is how much of a picture one call carries.
const photoChunk = 512 << 10

// addPhoto brings a file to the node, in pieces.
func (s *session) addPhoto(q call, file string) (*coopv1.AddPhotoResponse, error) {
	data, err := s.readInput(file, photo.MaxBytes)
	if err != nil {
		return nil, err
	}
	// The node looks too; what is no picture at all needn't travel there.
	if _, _, err := image.DecodeConfig(bytes.NewReader(data)); err != nil {
		return nil, wrongInput("--photo", "name a JPEG or PNG file", "%s: %v", file, err)
	}
	bar := s.progress("adding " + filepath.Base(file))
	defer bar.done()
	id := "cli-" + strings.ToLower(rand.Text())
	var answer *coopv1.AddPhotoResponse
	for at := 0; at < len(data); at += photoChunk {
		end := min(at+photoChunk, len(data))
		answer, err = coopv1.NewPhotoServiceClient(q.conn).AddPhoto(q.ctx, &coopv1.AddPhotoRequest{
			Upload: id, Offset: uint64(at), Chunk: data[at:end], Last: end == len(data),
		})
		if err != nil {
			return nil, err
		}
		bar.set(int64(end), int64(len(data)))
	}
	return answer, nil
}

// photoName reads a picture's name: 64 digits and letters a to f, or as JSON documents have it, in base64.
func photoName(typed string) (sum photo.Sum, ok bool) {
	if raw, err := hex.DecodeString(typed); err == nil {
		return photo.SumOf(raw)
	}
	raw, err := base64.StdEncoding.DecodeString(typed)
	if err != nil {
		return sum, false
	}
	return photo.SumOf(raw)
}

// photoNamed is the picture that --photo names: a file, which is added, or the name of one
// that was added before. Nothing typed: none.
func (s *session) photoNamed(q call, typed, light string, wet bool) (*typev1.Photo, error) {
	if typed == "" {
		return nil, nil
	}
	p := &typev1.Photo{MediaType: photo.MediaType, Light: light, Wet: wet}
	if sum, ok := photoName(typed); ok {
		p.Sha256 = sum[:]
		return p, nil
	}
	a, err := s.addPhoto(q, typed)
	p.Sha256, p.MediaType = a.GetSha256(), a.GetMediaType()
	return p, err
}

func (s *session) photoGetCommand() *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:     "get PHOTO --out FILE",
		Short:   "Fetch a picture that a record names",
		Example: "  seamshare photo get PHOTO --out face.jpg",
		Args:    exactly("PHOTO"),
		RunE: func(c *cobra.Command, args []string) error {
			sum, ok := photoName(args[0])
			if !ok {
				return wrongInput("PHOTO", "take it from what names the picture, such as seamshare stone show", "%q is not 64 digits and letters a to f", args[0])
			}
			data, err := query(c.Context(), s, func(q call) ([]byte, error) { return fetchPhoto(q, sum) })
			if err != nil {
				return err
			}
			f, err := os.OpenFile(out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
			if err != nil {
				return wrongInput("--out", "choose another name; nothing is written over", "%v", err)
			}
			if _, err = f.Write(data); err != nil {
				return errors.Join(err, f.Close())
			}
			if err := f.Close(); err != nil {
				return err
			}
			return s.document(map[string]any{"photo": sum.String(), "file": out, "bytes": len(data)}, func(w io.Writer) error {
				for _, line := range table.Break(fmt.Sprintf("%s: %d bytes", out, len(data)), table.Width) {
					say(w, "%s", line)
				}
				return nil
			})
		},
	}
	c.Flags().StringVar(&out, "out", "", "the `file` to write; it must not exist")
	need(c, "out")
	return c
}

func fetchPhoto(q call, sum photo.Sum) ([]byte, error) {
	stream, err := coopv1.NewPhotoServiceClient(q.conn).GetPhoto(q.ctx, &coopv1.GetPhotoRequest{Sha256: sum[:]})
	var data []byte
	for err == nil {
		var m *coopv1.GetPhotoResponse
		if m, err = stream.Recv(); err == nil {
			data = append(data, m.GetChunk()...)
		}
	}
	if errors.Is(err, io.EOF) {
		return data, nil
	}
	return nil, err
}
