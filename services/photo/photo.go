// Package photo keeps pictures beside the log. A picture is a file named by the SHA-256
// of its bytes, which is all that records hold of it: so a record proves that a picture
// wasn't changed, and a picture that is there twice is kept once.
//
// What comes in is never kept as it came: it is decoded within limits, turned upright
// and written anew as JPEG, which leaves out what a camera notes in it (place, device,
// time) and whatever else hides in the file.
package photo

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	_ "image/png" // a format that is read
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"seamshare.example/services/domain/rule"
)

// What a picture may be.
const (
	MaxBytes  = 15 << 20   // as it comes
	MaxPixels = 40_000_000 // width × height
	MediaType = "image/jpeg"

	quality   = 90 // of the JPEG that is kept
	atOnce    = 2  // pictures decoded at a time: each may take some 160 MB meanwhile
	perMember = 8  // pictures under way at a time
	forgotten = 24 * time.Hour
)

// ErrNone: there is no picture under this name.
var ErrNone = errors.New("there is no such picture")

// ErrDamaged: a picture isn't what its name says.
var ErrDamaged = errors.New("the picture was changed")

// Sum is the SHA-256 of a picture's bytes.
type Sum [sha256.Size]byte

// SumOf reads a sum from a record or request; ok is false where it is none.
func SumOf(b []byte) (sum Sum, ok bool) {
	return sum, copy(sum[:], b) == len(sum) && len(b) == len(sum)
}

func (s Sum) String() string { return hex.EncodeToString(s[:]) }

// Photo is a picture that is kept.
type Photo struct {
	Sum           Sum
	Width, Height int // pixels
}

// Store is a folder of pictures. Its methods may be called from any goroutine; one
// process at a time has the folder.
type Store struct {
	dir     string
	decodes chan struct{}
	uploads chan struct{} // held while one upload's files are touched
}

// Open opens the folder, makes it where it isn't there, and drops what was left of
// pictures that never became whole.
func Open(dir string) (*Store, error) {
	s := &Store{dir: dir, decodes: make(chan struct{}, atOnce), uploads: make(chan struct{}, 1)}
	for _, d := range []string{dir, s.coming("")} {
		if err := makeDir(d); err != nil {
			return nil, fmt.Errorf("couldn't make the folder of pictures: %w", err)
		}
	}
	return s, s.forget(time.Now())
}

func (s *Store) coming(name string) string { return filepath.Join(s.dir, "coming", name) }

func (s *Store) path(sum Sum) string {
	name := sum.String()
	return filepath.Join(s.dir, name[:2], name+".jpg")
}

// forget drops uploads that nobody went on with for a day.
func (s *Store) forget(now time.Time) error {
	entries, err := os.ReadDir(s.coming(""))
	if err != nil {
		return fmt.Errorf("couldn't look for pictures under way: %w", err)
	}
	for _, e := range entries {
		info, err := e.Info()
		if err == nil && now.Sub(info.ModTime()) > forgotten {
			err = os.Remove(s.coming(e.Name()))
		}
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("couldn't drop a picture that never became whole: %w", err)
		}
	}
	return nil
}

// Chunk is some bytes of a picture under way.
type Chunk struct {
	Member, Upload string // whose, and their name for it: [a-z0-9_-]
	Offset         uint64
	Bytes          []byte
	Last           bool
}

var safe = regexp.MustCompile(`^[a-z0-9_-]{1,64}$`)

// Add adds bytes to a picture under way, and keeps the picture when they are the last.
// A repeat of bytes that are there adds nothing and is answered alike. Refusals are
// rule.Broken.
func (s *Store) Add(c Chunk) (received uint64, kept *Photo, err error) {
	if !safe.MatchString(c.Member) || !safe.MatchString(c.Upload) {
		return 0, nil, fmt.Errorf("%q of %q can't be a picture under way", c.Upload, c.Member)
	}
	s.uploads <- struct{}{}
	defer func() { <-s.uploads }()
	name := c.Member + "." + c.Upload
	if done, err := os.ReadFile(s.coming(name + ".done")); err == nil {
		return s.again(c, string(done))
	}
	if received, err = s.append(name, c); err != nil || !c.Last || received > c.Offset+uint64(len(c.Bytes)) {
		return received, nil, err
	}
	raw, err := os.ReadFile(s.coming(name))
	if err != nil {
		return 0, nil, fmt.Errorf("couldn't read the picture back: %w", err)
	}
	<-s.uploads // others go on while this one is decoded
	kept, err = s.Keep(raw)
	s.uploads <- struct{}{}
	if err != nil {
		return received, nil, errors.Join(err, os.Remove(s.coming(name)))
	}
	if err := os.WriteFile(s.coming(name+".done"), []byte(c.ending()+kept.Sum.String()), 0o600); err != nil {
		return received, nil, fmt.Errorf("couldn't note that the picture is whole: %w", err)
	}
	if err := os.Remove(s.coming(name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return received, nil, fmt.Errorf("couldn't drop the picture as it came: %w", err)
	}
	return received, kept, nil
}

// ending tells the last bytes of one picture from those of another.
func (c Chunk) ending() string {
	return fmt.Sprintf("%d %x ", c.Offset, sha256.Sum256(c.Bytes))
}

// again answers for a picture that became whole: a repeat of its last bytes, and nothing
// else, for another picture would be taken for it.
func (s *Store) again(c Chunk, done string) (uint64, *Photo, error) {
	name, ok := strings.CutPrefix(done, c.ending())
	if !ok || !c.Last {
		return 0, nil, usedName(c)
	}
	kept, err := s.stat(name)
	return c.Offset + uint64(len(c.Bytes)), kept, err
}

func usedName(c Chunk) error {
	return rule.Broken{
		Reason: rule.PhotoInvalid, Field: "upload", Value: c.Upload,
		Rule: "the name was used for other bytes", Hint: "take a new name for each picture",
	}
}

func (s *Store) append(name string, c Chunk) (uint64, error) {
	f, err := os.OpenFile(s.coming(name), os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		if err := s.room(c.Member); err != nil {
			return 0, err
		}
		f, err = os.OpenFile(s.coming(name), os.O_RDWR|os.O_CREATE, 0o600)
	}
	if err != nil {
		return 0, fmt.Errorf("couldn't open the picture under way: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return 0, fmt.Errorf("couldn't look at the picture under way: %w", err)
	}
	has, end := uint64(info.Size()), c.Offset+uint64(len(c.Bytes))
	switch {
	case end > MaxBytes:
		return has, rule.Broken{
			Reason: rule.PhotoInvalid, Field: "chunk", Value: fmt.Sprintf("%d bytes", end),
			Rule: fmt.Sprintf("a picture has at most %d", MaxBytes), Hint: "make it smaller, or save it with more compression",
		}
	case c.Offset > has:
		return has, rule.Broken{
			Reason: rule.PhotoInvalid, Field: "offset", Value: fmt.Sprint(c.Offset),
			Rule: fmt.Sprintf("the node has %d bytes of the picture", has), Hint: "go on from there",
		}
	}
	// What was sent before is the same, or it is another picture.
	before := make([]byte, min(has-c.Offset, uint64(len(c.Bytes))))
	if _, err := f.ReadAt(before, int64(c.Offset)); err != nil {
		return has, fmt.Errorf("couldn't read the picture under way: %w", err)
	}
	if !bytes.Equal(before, c.Bytes[:len(before)]) {
		return has, usedName(c)
	}
	if end <= has {
		return has, nil
	}
	if _, err := f.WriteAt(c.Bytes, int64(c.Offset)); err != nil {
		return has, fmt.Errorf("couldn't add to the picture under way: %w", err)
	}
	return end, nil
}

// room refuses a member who has too many pictures under way.
func (s *Store) room(member string) error {
	if err := s.forget(time.Now()); err != nil {
		return err
	}
	entries, err := os.ReadDir(s.coming(""))
	if err != nil {
		return fmt.Errorf("couldn't look for pictures under way: %w", err)
	}
	n := 0
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), member+".") && !strings.HasSuffix(e.Name(), ".done") {
			n++
		}
	}
	if n >= perMember {
		return rule.Broken{
			Reason: rule.PhotoInvalid, Field: "upload", Value: fmt.Sprintf("%d pictures under way", n),
			Rule: fmt.Sprintf("a member adds at most %d at a time", perMember), Hint: "finish one of them; after a day they are dropped",
		}
	}
	return nil
}

// Keep decodes a picture and keeps it. Refusals are rule.Broken.
func (s *Store) Keep(raw []byte) (*Photo, error) {
	s.decodes <- struct{}{}
	defer func() { <-s.decodes }()
	picture, err := read(raw)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, picture, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("couldn't write the picture anew: %w", err)
	}
	kept := &Photo{Sum: sha256.Sum256(out.Bytes()), Width: picture.Bounds().Dx(), Height: picture.Bounds().Dy()}
	return kept, s.put(kept.Sum, out.Bytes())
}

// read decodes a picture within the limits, upright.
func read(raw []byte) (image.Image, error) {
	refuse := func(value, why, hint string) error {
		return rule.Broken{Reason: rule.PhotoInvalid, Field: "chunk", Value: value, Rule: why, Hint: hint}
	}
	config, format, err := image.DecodeConfig(bytes.NewReader(raw))
	if err != nil {
		return nil, refuse(fmt.Sprintf("%d bytes", len(raw)), "a picture is a JPEG or PNG file", "save it as one of these")
	}
	if int64(config.Width)*int64(config.Height) > MaxPixels {
		return nil, refuse(fmt.Sprintf("%d × %d pixels", config.Width, config.Height), fmt.Sprintf("a picture has at most %d", MaxPixels), "make it smaller")
	}
	picture, _, err := image.Decode(bytes.NewReader(raw))
	if err != nil {
		return nil, refuse(format, "the file is damaged: "+err.Error(), "save it again")
	}
	if format == "jpeg" {
		return upright(picture, orientation(raw)), nil
	}
	white := image.NewRGBA(picture.Bounds())
	draw.Draw(white, white.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.Draw(white, white.Bounds(), picture, picture.Bounds().Min, draw.Over) // JPEG knows nothing transparent
	return white, nil
}

// put writes a file that is whole under its name or not there.
func (s *Store) put(sum Sum, data []byte) error {
	at := s.path(sum)
	if _, err := os.Stat(at); err == nil {
		return nil
	}
	if err := makeDir(filepath.Dir(at)); err != nil {
		return fmt.Errorf("couldn't make a folder of pictures: %w", err)
	}
	f, err := os.CreateTemp(s.coming(""), "new.")
	if err != nil {
		return fmt.Errorf("couldn't write the picture: %w", err)
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), at)
	}
	if err == nil {
		err = syncDir(filepath.Dir(at))
	}
	if err != nil {
		return fmt.Errorf("couldn't keep the picture: %w", errors.Join(err, os.RemoveAll(f.Name())))
	}
	return nil
}

// makeDir makes a folder that is there after a power cut too.
func makeDir(dir string) error {
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	return syncDir(filepath.Dir(dir))
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// Has reports whether the picture is kept here.
func (s *Store) Has(sum Sum) bool {
	_, err := os.Stat(s.path(sum))
	return err == nil
}

func (s *Store) stat(name string) (*Photo, error) {
	raw, err := hex.DecodeString(name)
	sum, ok := SumOf(raw)
	if err != nil || !ok {
		return nil, fmt.Errorf("couldn't read the name of a picture: %q", name)
	}
	data, err := s.Read(sum)
	if err != nil {
		return nil, err
	}
	config, err := jpeg.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("couldn't read picture %s: %w", sum, err)
	}
	return &Photo{Sum: sum, Width: config.Width, Height: config.Height}, nil
}

// Read reads a picture and holds it against its name. It is ErrNone or ErrDamaged
// where that isn't possible.
func (s *Store) Read(sum Sum) ([]byte, error) {
	data, err := os.ReadFile(s.path(sum))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w: %s", ErrNone, sum)
	}
	if err != nil {
		return nil, fmt.Errorf("couldn't read picture %s: %w", sum, err)
	}
	if sha256.Sum256(data) != sum {
		return nil, fmt.Errorf("%w: %s", ErrDamaged, sum)
	}
	return data, nil
}

// Each gives the sums of all pictures that are kept, in order.
func (s *Store) Each(fn func(Sum) error) error {
	return filepath.WalkDir(s.dir, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return fmt.Errorf("couldn't list the pictures: %w", err)
		case d.IsDir() && d.Name() == "coming":
			return fs.SkipDir
		case d.IsDir():
			return nil
		}
		raw, err := hex.DecodeString(strings.TrimSuffix(d.Name(), ".jpg"))
		sum, ok := SumOf(raw)
		if err != nil || !ok || s.path(sum) != path {
			return fmt.Errorf("%w: %s is no picture's name", ErrDamaged, d.Name())
		}
		return fn(sum)
	})
}

// WriteTo and ReadFrom carry all pictures into and out of a backup.
//
//	"seamshare photos v1\n"
//	pictures     4 bytes length, big endian, the sum, and the bytes of the file, in order of their sums
//	0            4 bytes
const magic = "seamshare photos v1\n"

// WriteTo writes all pictures.
func (s *Store) WriteTo(w io.Writer) (n int64, err error) {
	put := func(b []byte) error {
		m, err := w.Write(b)
		n += int64(m)
		return err
	}
	if err := put([]byte(magic)); err != nil {
		return n, fmt.Errorf("couldn't copy the pictures: %w", err)
	}
	err = s.Each(func(sum Sum) error {
		data, err := s.Read(sum)
		if err != nil {
			return err
		}
		return errors.Join(put(length(len(data))), put(sum[:]), put(data))
	})
	if err == nil {
		err = put(length(0))
	}
	if err != nil {
		return n, fmt.Errorf("couldn't copy the pictures: %w", err)
	}
	return n, nil
}

func length(n int) []byte { return []byte{byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)} }

// Each picture of a copy that WriteTo made is given to fn. What isn't such a copy, to
// its end, is ErrDamaged.
func Each(r io.Reader, fn func(Sum, []byte) error) error {
	head := make([]byte, len(magic))
	if _, err := io.ReadFull(r, head); err != nil || string(head) != magic {
		return fmt.Errorf("%w: this is not a copy of pictures", ErrDamaged)
	}
	for {
		size := make([]byte, 4)
		if _, err := io.ReadFull(r, size); err != nil {
			return fmt.Errorf("%w: the copy of the pictures is cut short", ErrDamaged)
		}
		n := int(size[0])<<24 | int(size[1])<<16 | int(size[2])<<8 | int(size[3])
		if n == 0 {
			return nil
		}
		if n > maxKept {
			return fmt.Errorf("%w: a picture of %d bytes is none that was kept", ErrDamaged, n)
		}
		data := make([]byte, sha256.Size+n)
		if _, err := io.ReadFull(r, data); err != nil {
			return fmt.Errorf("%w: the copy of the pictures is cut short", ErrDamaged)
		}
		sum, data := Sum(data[:sha256.Size]), data[sha256.Size:]
		if sha256.Sum256(data) != sum {
			return fmt.Errorf("%w: %s", ErrDamaged, sum)
		}
		if err := fn(sum, data); err != nil {
			return err
		}
	}
}

// maxKept bounds a kept file: a JPEG of MaxPixels is well below it.
const maxKept = 256 << 20

// Put keeps a picture out of a copy, as it is.
func (s *Store) Put(sum Sum, data []byte) error {
	if sha256.Sum256(data) != sum {
		return fmt.Errorf("%w: %s", ErrDamaged, sum)
	}
	return s.put(sum, data)
}
