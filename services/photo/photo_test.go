package photo_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/rule/ruletest"
	"seamshare.example/services/photo"
)

func open(t *testing.T) (*photo.Store, string) {
	t.Helper()
	dir := t.TempDir()
	s, err := photo.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return s, dir
}

// corners is a picture of 32 × 48 pixels, red in its first row's first corner and blue in
// its last, white elsewhere.
func corners() *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, 32, 48))
	draw.Draw(m, m.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(m, image.Rect(0, 0, 16, 16), image.NewUniform(color.RGBA{R: 255, A: 255}), image.Point{}, draw.Src)
	draw.Draw(m, image.Rect(16, 0, 32, 16), image.NewUniform(color.RGBA{B: 255, A: 255}), image.Point{}, draw.Src)
	return m
}

func asJPEG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func asPNG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// withExif puts an Exif segment behind a JPEG's first marker: the orientation and a text.
func withExif(raw []byte, orientation uint16, text string) []byte {
	tiff := append([]byte("MM\x00*\x00\x00\x00\x08\x00\x02"), 0x01, 0x12, 0, 3, 0, 0, 0, 1, byte(orientation>>8), byte(orientation), 0, 0)
	tiff = append(tiff, 0x01, 0x0E, 0, 2, 0, 0, 0, byte(len(text)), 0, 0, 0, 38, 0, 0, 0, 0)
	body := slices.Concat([]byte("Exif\x00\x00"), tiff, []byte(text))
	segment := binary.BigEndian.AppendUint16([]byte{0xFF, 0xE1}, uint16(2+len(body)))
	return slices.Concat(raw[:2], segment, body, raw[2:])
}

func corner(m image.Image, name string) string {
	b := m.Bounds()
	x, y := b.Min.X+2, b.Min.Y+2
	if strings.Contains(name, "right") {
		x = b.Max.X - 3
	}
	if strings.Contains(name, "bottom") {
		y = b.Max.Y - 3
	}
	switch r, g, bl, _ := m.At(x, y).RGBA(); {
	case r > 0xC000 && g < 0x6000 && bl < 0x6000:
		return "red"
	case bl > 0xC000 && r < 0x6000 && g < 0x6000:
		return "blue"
	}
	return "white"
}

// Where the first row and its ends lie for the eye: Exif 2.3 (CIPA DC-008-2012), 4.6.4 A,
// tag Orientation: the side on which the 0th row lies, and that of the 0th column.
func TestUpright(t *testing.T) {
	for _, c := range []struct {
		orientation uint16
		first, last string
		onItsSide   bool
	}{
		{1, "top left", "top right", false},       // row top, column left
		{2, "top right", "top left", false},       // row top, column right
		{3, "bottom right", "bottom left", false}, // row bottom, column right
		{4, "bottom left", "bottom right", false}, // row bottom, column left
		{5, "top left", "bottom left", true},      // row left, column top
		{6, "top right", "bottom right", true},    // row right, column top
		{7, "bottom right", "top right", true},    // row right, column bottom
		{8, "bottom left", "top left", true},      // row left, column bottom
		{9, "top left", "top right", false},
	} {
		t.Run(fmt.Sprint(c.orientation), func(t *testing.T) {
			s, _ := open(t)
			kept, err := s.Keep(withExif(asJPEG(t, corners()), c.orientation, "somewhere"))
			if err != nil {
				t.Fatal(err)
			}
			data, err := s.Read(kept.Sum)
			if err != nil {
				t.Fatal(err)
			}
			m, err := jpeg.Decode(bytes.NewReader(data))
			if err != nil {
				t.Fatal(err)
			}
			if size := m.Bounds().Size(); (size.X > size.Y) != c.onItsSide || kept.Width != size.X || kept.Height != size.Y {
				t.Errorf("it is %v, said to be %d × %d", size, kept.Width, kept.Height)
			}
			if corner(m, c.first) != "red" || corner(m, c.last) != "blue" {
				t.Errorf("%s is %s, %s is %s", c.first, corner(m, c.first), c.last, corner(m, c.last))
			}
			if bytes.Contains(data, []byte("Exif")) || bytes.Contains(data, []byte("somewhere")) {
				t.Error("what the camera noted is still there")
			}
		})
	}
}

func TestKeep(t *testing.T) {
	t.Run("OK: a picture that is there twice is kept once", func(t *testing.T) {
		s, _ := open(t)
		a, err := s.Keep(asPNG(t, corners()))
		if err != nil {
			t.Fatal(err)
		}
		b, err := s.Keep(asPNG(t, corners()))
		if err != nil || *a != *b {
			t.Errorf("%v, then %v, %v", a, b, err)
		}
		n := 0
		if err := s.Each(func(sum photo.Sum) error { n++; return nil }); err != nil || n != 1 {
			t.Errorf("%d are kept, %v", n, err)
		}
	})
	t.Run("OK: what is transparent becomes white", func(t *testing.T) {
		s, _ := open(t)
		kept, err := s.Keep(asPNG(t, image.NewRGBA(image.Rect(0, 0, 8, 8))))
		if err != nil {
			t.Fatal(err)
		}
		data, err := s.Read(kept.Sum)
		if err != nil {
			t.Fatal(err)
		}
		m, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		if r, g, b, _ := m.At(4, 4).RGBA(); r < 0xF000 || g < 0xF000 || b < 0xF000 {
			t.Errorf("it is %v", m.At(4, 4))
		}
	})
	for name, raw := range map[string][]byte{
		"no picture":          []byte("%PDF-1.7"),
		"cut short":           asPNG(t, corners())[:60],
		"more pixels than 40": bomb(t, 40_001, 1000),
		"cut JPEG":            asJPEG(t, corners())[:300],
		"empty":               nil,
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			s, _ := open(t)
			_, err := s.Keep(raw)
			ruletest.Refused(t, err, rule.PhotoInvalid, "chunk")
		})
	}
}

// bomb is a PNG whose head says that it is larger than it is.
func bomb(t testing.TB, width, height uint32) []byte {
	raw := asPNG(t, image.NewGray(image.Rect(0, 0, 1, 1)))
	binary.BigEndian.PutUint32(raw[16:], width)
	binary.BigEndian.PutUint32(raw[20:], height)
	binary.BigEndian.PutUint32(raw[29:], crc32.ChecksumIEEE(raw[12:29]))
	return raw
}

func TestAdd(t *testing.T) {
	whole := asJPEG(t, corners())
	half := len(whole) / 2
	first := photo.Chunk{Member: "wet-wheel", Upload: "face-0001", Bytes: whole[:half]}
	last := photo.Chunk{Member: "wet-wheel", Upload: "face-0001", Offset: uint64(half), Bytes: whole[half:], Last: true}
	t.Run("OK: in pieces, each repeated, and what was under way is gone", func(t *testing.T) {
		s, dir := open(t)
		for range 2 {
			if n, kept, err := s.Add(first); err != nil || n != uint64(half) || kept != nil {
				t.Fatalf("%d, %v, %v", n, kept, err)
			}
		}
		var before photo.Photo
		for i := range 2 {
			n, kept, err := s.Add(last)
			if err != nil || n != uint64(len(whole)) || kept == nil {
				t.Fatalf("%d, %v, %v", n, kept, err)
			}
			if i > 0 && *kept != before {
				t.Fatalf("%v, then %v", before, *kept)
			}
			before = *kept
		}
		if !s.Has(before.Sum) {
			t.Error("it isn't kept")
		}
		if _, err := os.Stat(filepath.Join(dir, "coming", "wet-wheel.face-0001")); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("what came is still there: %v", err)
		}
	})
	t.Run("refused: another picture under a name that was used, whole or under way", func(t *testing.T) {
		s, _ := open(t)
		if _, _, err := s.Add(first); err != nil {
			t.Fatal(err)
		}
		other := first
		other.Bytes = bytes.Clone(first.Bytes)
		other.Bytes[9] ^= 1
		_, _, err := s.Add(other)
		ruletest.Refused(t, err, rule.PhotoInvalid, "upload")
		if _, _, err := s.Add(last); err != nil {
			t.Fatal(err)
		}
		_, _, err = s.Add(other)
		ruletest.Refused(t, err, rule.PhotoInvalid, "upload")
		other = last
		other.Bytes = append(bytes.Clone(last.Bytes), 0)
		_, _, err = s.Add(other)
		ruletest.Refused(t, err, rule.PhotoInvalid, "upload")
	})
	t.Run("refused: a gap", func(t *testing.T) {
		s, _ := open(t)
		_, _, err := s.Add(last)
		ruletest.Refused(t, err, rule.PhotoInvalid, "offset")
	})
	t.Run("refused: too large", func(t *testing.T) {
		s, _ := open(t)
		c := first
		c.Offset = photo.MaxBytes
		_, _, err := s.Add(c)
		ruletest.Refused(t, err, rule.PhotoInvalid, "chunk")
	})
	t.Run("refused: too many under way, of one member only", func(t *testing.T) {
		s, _ := open(t)
		for i := range 8 {
			c := first
			c.Upload = fmt.Sprint("face-000", i)
			if _, _, err := s.Add(c); err != nil {
				t.Fatal(err)
			}
		}
		c := first
		c.Upload = "one-more-1"
		_, _, err := s.Add(c)
		ruletest.Refused(t, err, rule.PhotoInvalid, "upload")
		c.Member = "two-dops"
		if _, _, err := s.Add(c); err != nil {
			t.Error(err)
		}
	})
	t.Run("OK: what nobody went on with is dropped after a day", func(t *testing.T) {
		s, dir := open(t)
		if _, _, err := s.Add(first); err != nil {
			t.Fatal(err)
		}
		at := filepath.Join(dir, "coming", "wet-wheel.face-0001")
		old := time.Now().Add(-25 * time.Hour)
		if err := os.Chtimes(at, old, old); err != nil {
			t.Fatal(err)
		}
		if _, err := photo.Open(dir); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(at); !errors.Is(err, fs.ErrNotExist) {
			t.Error("it is still there")
		}
	})
	t.Run("refused: no picture, and then it may be added anew", func(t *testing.T) {
		s, _ := open(t)
		c := photo.Chunk{Member: "m", Upload: "face-0001", Bytes: []byte("none"), Last: true}
		_, _, err := s.Add(c)
		ruletest.Refused(t, err, rule.PhotoInvalid, "chunk")
		c.Bytes = whole
		if _, kept, err := s.Add(c); err != nil || kept == nil {
			t.Errorf("%v, %v", kept, err)
		}
	})
}

func TestCopy(t *testing.T) {
	s, _ := open(t)
	sums := map[photo.Sum]bool{}
	for i := range 3 {
		m := corners()
		m.Set(20, 30+i, color.Black)
		kept, err := s.Keep(asPNG(t, m))
		if err != nil {
			t.Fatal(err)
		}
		sums[kept.Sum] = true
	}
	var file bytes.Buffer
	if _, err := s.WriteTo(&file); err != nil {
		t.Fatal(err)
	}
	whole := file.Bytes()
	t.Run("OK: all come back", func(t *testing.T) {
		to, _ := open(t)
		if err := photo.Each(bytes.NewReader(whole), to.Put); err != nil {
			t.Fatal(err)
		}
		for sum := range sums {
			if _, err := to.Read(sum); err != nil {
				t.Error(err)
			}
		}
	})
	none := func(photo.Sum, []byte) error { return nil }
	t.Run("refused: each changed byte", func(t *testing.T) {
		for i := range whole {
			changed := bytes.Clone(whole)
			changed[i] ^= 0x20
			if err := photo.Each(bytes.NewReader(changed), none); !errors.Is(err, photo.ErrDamaged) {
				t.Fatalf("byte %d: %v", i, err)
			}
		}
	})
	t.Run("refused: cut short anywhere", func(t *testing.T) {
		for i := range whole {
			if err := photo.Each(bytes.NewReader(whole[:i]), none); !errors.Is(err, photo.ErrDamaged) {
				t.Fatalf("cut at %d: %v", i, err)
			}
		}
	})
	t.Run("refused: a file that was changed", func(t *testing.T) {
		s, dir := open(t)
		kept, err := s.Keep(asPNG(t, corners()))
		if err != nil {
			t.Fatal(err)
		}
		name := kept.Sum.String()
		at := filepath.Join(dir, name[:2], name+".jpg")
		data, err := os.ReadFile(at)
		if err != nil {
			t.Fatal(err)
		}
		data[len(data)/2] ^= 1
		if err := os.WriteFile(at, data, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Read(kept.Sum); !errors.Is(err, photo.ErrDamaged) {
			t.Errorf("got %v", err)
		}
		if _, err := s.WriteTo(&bytes.Buffer{}); !errors.Is(err, photo.ErrDamaged) {
			t.Errorf("got %v", err)
		}
	})
}

func TestCheck(t *testing.T) {
	s, _ := open(t)
	kept, err := s.Keep(asPNG(t, corners()))
	if err != nil {
		t.Fatal(err)
	}
	there, gone := &typev1.Photo{Sha256: kept.Sum[:]}, &typev1.Photo{Sha256: make([]byte, 32)}
	ruletest.Refused(t, s.Check(&cutterv1.StudyPieceRequest{Photos: []*typev1.Photo{there, gone}}), rule.PhotoNotThere, "photos[1].sha256")
	under := &typev1.Drawing{Underlays: []*typev1.Underlay{{Sha256: kept.Sum[:]}, {Sha256: make([]byte, 32)}}}
	ruletest.Refused(t, s.Check(&cutterv1.StudyPieceRequest{Drawing: under}), rule.PhotoNotThere, "drawing.underlays[1].sha256")
	for _, err := range []error{
		s.Check(&cutterv1.StudyPieceRequest{Photos: []*typev1.Photo{there}}),
		s.Check(&coopv1.GetPhotoRequest{Sha256: gone.GetSha256()}), // asks, and names none
		(*photo.Store)(nil).Check(&cutterv1.StudyPieceRequest{Photos: []*typev1.Photo{gone}}),
	} {
		if err != nil {
			t.Error(err)
		}
	}
}

func FuzzKeep(f *testing.F) {
	whole := asJPEG(f, corners())
	f.Add(whole)
	f.Add(withExif(whole, 6, "x"))
	f.Add(asPNG(f, corners()))
	s, err := photo.Open(f.TempDir())
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, raw []byte) {
		kept, err := s.Keep(raw)
		var broken rule.Broken
		switch {
		case err == nil && !s.Has(kept.Sum):
			t.Error("what was kept isn't there")
		case err != nil && !errors.As(err, &broken):
			t.Errorf("it isn't refused by a rule: %v", err)
		}
	})
}
