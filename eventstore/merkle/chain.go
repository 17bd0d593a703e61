package merkle

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// Limits of a chain file.
const (
	MaxChainBytes  = 1 << 20
	MaxChainLeaves = 500
	maxSubject     = 128
)

// chainHeader is the first line of every chain file. The file is signed with the
// key that signs checkpoints, whose first line is an origin: that can't have
// spaces, so neither can ever be taken for the other.
const chainHeader = "seamshare chain v1"

// proofHeader is the first line of a c2sp.org/tlog-proof@v1 proof.
const proofHeader = "c2sp.org/tlog-proof@v1"

// Chain is what the log says of one subject, a stone for example: its leaves in
// log order, each with the proof that it is in the tree of the checkpoint.
//
// The file is one signed note of the log's key, so that leaves can't be taken
// out of it, each of which would be valid alone:
//
//	seamshare chain v1
//	subject stone/01j9...
//	leaves 2
//
//	c2sp.org/tlog-proof@v1
//	extra <the leaf's bytes, base64>
//	index 17
//	<proof hash, base64>
//	...
//
//	c2sp.org/tlog-proof@v1
//	...
//
//	<the signed checkpoint>
//
//	— <origin> <signature over all the lines above, base64>
//
// A proof's lines, an empty line and the checkpoint are together a tlog-proof
// (see Chain.Proof).
type Chain struct {
	Subject    string // 1 to 128 of a-z 0-9 _ - /
	Leaves     []ChainLeaf
	Checkpoint SignedCheckpoint
}

// ChainLeaf is one record of a chain.
type ChainLeaf struct {
	Index uint64 // from 0; the log's position is one more
	Data  []byte // the leaf as it was hashed, not empty
	Proof []Hash
}

// ChainPart is a part of a chain file.
type ChainPart string

// The parts of a chain file that can be wrong.
const (
	PartSize       ChainPart = "size"       // of the file
	PartHead       ChainPart = "head"       // the lines before the first leaf
	PartLeaf       ChainPart = "leaf"       // one leaf or its proof
	PartCheckpoint ChainPart = "checkpoint" // its lines or signature
	PartSignature  ChainPart = "signature"  // the last line, over the whole file
)

// ChainError says what of a chain is wrong. A file with one is worth nothing:
// which part fails is a hint where to look, not a promise that the rest is true.
type ChainError struct {
	Part ChainPart
	// Position is the log position of the leaf, where Part is PartLeaf and
	// the leaf says which it is; else 0.
	Position uint64
	Err      error
}

func (e *ChainError) Error() string {
	if e.Position > 0 {
		return fmt.Sprintf("the chain's %s at log position %d is refused: %v", e.Part, e.Position, e.Err)
	}
	return fmt.Sprintf("the chain's %s is refused: %v", e.Part, e.Err)
}

func (e *ChainError) Unwrap() error { return e.Err }

// WriteChain checks the chain, signs it and writes its file. It signs nothing
// that ParseChain would refuse; its errors about the chain are *ChainError.
func WriteChain(w io.Writer, c Chain, signer *Signer) error {
	if err := c.check(signer.Verifier()); err != nil {
		return err
	}
	file, err := note.Sign(&note.Note{Text: string(c.text())}, signer.key)
	if err != nil {
		return fmt.Errorf("couldn't sign the chain of %s: %w", c.Subject, err)
	}
	if len(file) > MaxChainBytes {
		return tooLong(len(file))
	}
	if _, err := w.Write(file); err != nil {
		return fmt.Errorf("couldn't write the chain of %s: %w", c.Subject, err)
	}
	return nil
}

// ParseChain reads a chain file and believes nothing of it: it checks the
// checkpoint's signature, each leaf's proof, and the signature over the whole
// file. There is one way to write each chain down; any other is refused. All
// errors are *ChainError.
func ParseChain(file []byte, key note.Verifier) (Chain, error) {
	if len(file) > MaxChainBytes {
		return Chain{}, tooLong(len(file))
	}
	c, last, err := parseChain(string(file))
	if err != nil {
		return Chain{}, err
	}
	// The parser takes one spelling of everything; this makes sure of it.
	if again := append(c.text(), "\n"+last...); !bytes.Equal(again, file) {
		return Chain{}, &ChainError{Part: PartHead, Err: errors.New("the file is not written the way chains are")}
	}
	// What can be said about a single leaf comes before the signature that
	// would only say that something is wrong.
	if err := c.check(key); err != nil {
		return Chain{}, err
	}
	if _, err := openNote(file, key); err != nil {
		return Chain{}, &ChainError{
			Part: PartSignature,
			Err:  fmt.Errorf("every leaf is genuine, but the file as a whole isn't: leaves, their number or the subject were changed: %w", err),
		}
	}
	return c, nil
}

// Proof is the proof of one leaf alone as a c2sp.org/tlog-proof@v1 file, for
// programs that know that format and not ours. Its extra data is the leaf.
func (c Chain) Proof(leaf int) []byte {
	return append(append(c.Leaves[leaf].appendText(nil), '\n'), c.Checkpoint.Note...)
}

// text is what the file's last line signs.
func (c Chain) text() []byte {
	b := fmt.Appendf(nil, "%s\nsubject %s\nleaves %d\n\n", chainHeader, c.Subject, len(c.Leaves))
	for _, leaf := range c.Leaves {
		b = append(leaf.appendText(b), '\n')
	}
	return append(b, c.Checkpoint.Note...)
}

func (l ChainLeaf) appendText(b []byte) []byte {
	b = append(b, proofHeader+"\nextra "...)
	b = base64.StdEncoding.AppendEncode(b, l.Data)
	b = append(b, "\nindex "...)
	b = strconv.AppendUint(b, l.Index, 10)
	b = append(b, '\n')
	for _, h := range l.Proof {
		b = append(base64.StdEncoding.AppendEncode(b, h[:]), '\n')
	}
	return b
}

// check holds a chain to everything but the signature over its file.
func (c Chain) check(key note.Verifier) error {
	if err := checkSubject(c.Subject); err != nil {
		return &ChainError{Part: PartHead, Err: err}
	}
	if err := checkLeafCount(uint64(len(c.Leaves))); err != nil {
		return &ChainError{Part: PartHead, Err: err}
	}
	signed, err := OpenCheckpoint(c.Checkpoint.Note, key)
	if err != nil {
		return &ChainError{Part: PartCheckpoint, Err: err}
	}
	if signed.Checkpoint != c.Checkpoint.Checkpoint {
		return &ChainError{Part: PartCheckpoint, Err: errors.New("its fields are not what its note says")}
	}
	for i, leaf := range c.Leaves {
		if err := leaf.check(signed.Checkpoint); err != nil {
			return &ChainError{Part: PartLeaf, Position: leaf.Index + 1, Err: err}
		}
		if i > 0 && leaf.Index <= c.Leaves[i-1].Index {
			return &ChainError{
				Part: PartLeaf, Position: leaf.Index + 1,
				Err: fmt.Errorf("it comes after position %d; leaves stand in log order, each once", c.Leaves[i-1].Index+1),
			}
		}
	}
	return nil
}

func (l ChainLeaf) check(c Checkpoint) error {
	if len(l.Data) == 0 {
		return errors.New("a leaf can't be empty")
	}
	return VerifyInclusion(l.Proof, l.Index, c.Size, c.Root, LeafHash(l.Data))
}

func checkSubject(s string) error {
	const allowed = "abcdefghijklmnopqrstuvwxyz0123456789_-/"
	if len(s) < 1 || len(s) > maxSubject || strings.ContainsFunc(s, func(r rune) bool { return !strings.ContainsRune(allowed, r) }) {
		return fmt.Errorf("subject %q must be 1 to %d of a-z, 0-9, _, - and /", s, maxSubject)
	}
	return nil
}

func checkLeafCount(n uint64) error {
	if n < 1 || n > MaxChainLeaves {
		return fmt.Errorf("%d leaves: a chain has 1 to %d", n, MaxChainLeaves)
	}
	return nil
}

func tooLong(n int) error {
	return &ChainError{Part: PartSize, Err: fmt.Errorf("%d bytes; a chain file has at most %d", n, MaxChainBytes)}
}

// parseChain takes the file apart, and returns its last line apart from the
// chain. It checks form only.
func parseChain(file string) (c Chain, last string, err error) {
	p := parser{rest: file}
	head := func(err error) (Chain, string, error) {
		return Chain{}, "", &ChainError{Part: PartHead, Err: err}
	}
	if line := p.line(); line != chainHeader {
		return head(fmt.Errorf("the first line must be %q", chainHeader))
	}
	if c.Subject, err = p.field("subject"); err != nil {
		return head(err)
	}
	count, err := p.number("leaves")
	if err != nil {
		return head(err)
	}
	if err := checkLeafCount(count); err != nil {
		return head(err)
	}
	if line := p.line(); line != "" {
		return head(errors.New("an empty line must follow the number of leaves"))
	}
	for range count {
		leaf, err := p.leaf()
		if err != nil {
			return Chain{}, "", err
		}
		c.Leaves = append(c.Leaves, leaf)
	}
	if c.Checkpoint, err = p.checkpoint(); err != nil {
		return Chain{}, "", &ChainError{Part: PartCheckpoint, Err: err}
	}
	last, ok := strings.CutPrefix(p.rest, "\n")
	if !ok {
		return Chain{}, "", &ChainError{Part: PartSignature, Err: errors.New("an empty line must follow the checkpoint")}
	}
	if err := checkSignatureLine(last); err != nil {
		return Chain{}, "", &ChainError{Part: PartSignature, Err: err}
	}
	return c, last, nil
}

// parser reads a chain file from its start.
type parser struct {
	rest string
}

// line takes the next line, without its newline. At the end of the file it
// gives empty lines, which every reader of non-empty ones refuses; a missing
// newline at the end shows when the chain is written again.
func (p *parser) line() string {
	line, rest, _ := strings.Cut(p.rest, "\n")
	p.rest = rest
	return line
}

func (p *parser) field(name string) (string, error) {
	line := p.line()
	value, ok := strings.CutPrefix(line, name+" ")
	if !ok {
		return "", fmt.Errorf("a line %q is missing", name+" ...")
	}
	return value, nil
}

func (p *parser) number(name string) (uint64, error) {
	value, err := p.field(name)
	if err != nil {
		return 0, err
	}
	n, err := parseNumber(value)
	if err != nil {
		return 0, fmt.Errorf("%s: %w", name, err)
	}
	return n, nil
}

// leaf reads one proof and the empty line after it.
func (p *parser) leaf() (ChainLeaf, error) {
	var leaf ChainLeaf
	var position uint64
	refuse := func(err error) (ChainLeaf, error) {
		return ChainLeaf{}, &ChainError{Part: PartLeaf, Position: position, Err: err}
	}
	if line := p.line(); line != proofHeader {
		return refuse(fmt.Errorf("its first line must be %q; are there fewer leaves than the head says?", proofHeader))
	}
	extra, extraErr := p.field("extra")
	index, err := p.number("index")
	if err != nil {
		return refuse(err)
	}
	leaf.Index, position = index, index+1
	if extraErr != nil {
		return refuse(extraErr)
	}
	if leaf.Data, err = parseBase64(extra); err != nil {
		return refuse(fmt.Errorf("extra: %w", err))
	}
	for {
		line := p.line()
		if line == "" {
			return leaf, nil
		}
		h, err := parseHash(line)
		if err != nil {
			return refuse(fmt.Errorf("proof: %w", err))
		}
		// Sizes are below 2^64, so no proof is longer.
		if leaf.Proof = append(leaf.Proof, h); len(leaf.Proof) > 64 {
			return refuse(errors.New("proof: it has more than 64 hashes"))
		}
	}
}

// checkpoint reads the signed checkpoint.
func (p *parser) checkpoint() (SignedCheckpoint, error) {
	start := p.rest
	text := p.line() + "\n" + p.line() + "\n" + p.line() + "\n"
	c, err := ParseCheckpoint(text)
	if err != nil {
		return SignedCheckpoint{}, err
	}
	if p.line() != "" {
		return SignedCheckpoint{}, errors.New("an empty line must follow the root; is there a leaf more than the head says?")
	}
	if err := checkSignatureLine(p.line() + "\n"); err != nil {
		return SignedCheckpoint{}, err
	}
	return SignedCheckpoint{Checkpoint: c, Note: []byte(start[:len(start)-len(p.rest)])}, nil
}
