package merkle

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// Checkpoint says what the log was at one moment (c2sp.org/tlog-checkpoint).
type Checkpoint struct {
	Origin string // which log; also the name of the key that signs for it
	Size   uint64
	Root   Hash
}

// Text is what is signed: origin, size and root, a line each.
func (c Checkpoint) Text() string {
	return c.Origin + "\n" + strconv.FormatUint(c.Size, 10) + "\n" + c.Root.String() + "\n"
}

// ParseCheckpoint reads what Text writes and nothing else. The extension lines
// that the format allows after the root are refused: our logs sign none.
func ParseCheckpoint(text string) (Checkpoint, error) {
	lines := strings.Split(text, "\n")
	if len(lines) != 4 || lines[3] != "" || lines[0] == "" {
		return Checkpoint{}, errors.New("a checkpoint must be three lines: origin, size and root")
	}
	size, err := parseNumber(lines[1])
	if err != nil {
		return Checkpoint{}, fmt.Errorf("checkpoint size: %w", err)
	}
	root, err := parseHash(lines[2])
	if err != nil {
		return Checkpoint{}, fmt.Errorf("checkpoint root: %w", err)
	}
	return Checkpoint{Origin: lines[0], Size: size, Root: root}, nil
}

// SignedCheckpoint is a checkpoint whose signature was made or checked here.
type SignedCheckpoint struct {
	Checkpoint
	Note []byte // the signed note: the text, an empty line, the signature
}

// OpenCheckpoint checks a signed checkpoint against the log's key, whose name
// must be the checkpoint's origin. The note must carry that one signature.
func OpenCheckpoint(signed []byte, key note.Verifier) (SignedCheckpoint, error) {
	text, err := openNote(signed, key)
	if err != nil {
		return SignedCheckpoint{}, fmt.Errorf("couldn't open the checkpoint: %w", err)
	}
	c, err := ParseCheckpoint(text)
	if err != nil {
		return SignedCheckpoint{}, fmt.Errorf("couldn't open the checkpoint: %w", err)
	}
	if c.Origin != key.Name() {
		return SignedCheckpoint{}, fmt.Errorf("couldn't open the checkpoint: it is of log %q, the key is that of %q", c.Origin, key.Name())
	}
	return SignedCheckpoint{Checkpoint: c, Note: bytes.Clone(signed)}, nil
}

// openNote checks a note signed by exactly this key and returns its text. It
// accepts one way to write the signature, where note.Open is generous.
func openNote(signed []byte, key note.Verifier) (string, error) {
	n, err := note.Open(signed, note.VerifierList(key))
	if err != nil {
		return "", err
	}
	line := strings.TrimPrefix(string(signed[len(n.Text):]), "\n")
	if err := checkSignatureLine(line); err != nil {
		return "", err
	}
	return n.Text, nil
}

// checkSignatureLine accepts one Ed25519 signature line as a signed note has
// it, with its newline, written the one way that encoding it again gives.
func checkSignatureLine(line string) error {
	line, ok1 := strings.CutSuffix(line, "\n")
	line, ok2 := strings.CutPrefix(line, "— ")
	_, sig, ok3 := strings.Cut(line, " ")
	if !ok1 || !ok2 || !ok3 || strings.Contains(line, "\n") {
		return errors.New(`there must be one signature line, "— name signature"`)
	}
	raw, err := parseBase64(sig)
	if err != nil {
		return fmt.Errorf("signature: %w", err)
	}
	if len(raw) != 4+64 { // key hash, Ed25519 signature
		return fmt.Errorf("signature: %d bytes long, must be 68", len(raw))
	}
	return nil
}

// The parse functions accept one spelling of a value: that of the writer. A
// file that they accept can't be changed and still say the same.

func parseNumber(s string) (uint64, error) {
	n, err := strconv.ParseUint(s, 10, 64)
	if err != nil || strconv.FormatUint(n, 10) != s {
		return 0, fmt.Errorf("%q is not a decimal number without leading zeros", s)
	}
	if n > MaxSize {
		return 0, fmt.Errorf("%d is over the limit of %d", n, uint64(MaxSize))
	}
	return n, nil
}

func parseHash(s string) (Hash, error) {
	raw, err := parseBase64(s)
	if err != nil {
		return Hash{}, err
	}
	if len(raw) != len(Hash{}) {
		return Hash{}, fmt.Errorf("a hash is %d bytes long, this one %d", len(Hash{}), len(raw))
	}
	return Hash(raw), nil
}

func parseBase64(s string) ([]byte, error) {
	raw, err := base64.StdEncoding.DecodeString(s)
	if err != nil || base64.StdEncoding.EncodeToString(raw) != s {
		return nil, errors.New("not standard base64 with padding")
	}
	return raw, nil
}
