package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"image"
	_ "image/jpeg" // the two kinds of picture that are taken
	_ "image/png"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
)

// maxPhoto is how long a picture's file may be.
const maxPhoto = 15 << 20

// photoNamed is the picture that --photo names: a file, or the SHA-256 of one. Nothing typed: none.
func (s *session) photoNamed(_ call, typed, light string, wet bool) (*typev1.Photo, error) {
	if typed == "" {
		return nil, nil
	}
	p := &typev1.Photo{MediaType: "image/jpeg", Light: light, Wet: wet}
	if sum, err := hex.DecodeString(typed); err == nil && len(sum) == sha256.Size {
		p.Sha256 = sum
		return p, nil
	}
	data, err := s.readInput(typed, maxPhoto)
	if err != nil {
		return nil, err
	}
	_, kind, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, wrongInput("--photo", "name a JPEG or PNG file", "%s: %v", typed, err)
	}
	sum := sha256.Sum256(data)
	p.Sha256, p.MediaType = sum[:], "image/"+kind
	return p, nil
}
