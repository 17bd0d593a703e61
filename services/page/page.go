// Package page makes the tokens that lists go on with (AIP-158): a place in an
// index, signed, and bound to the rpc, the filter and the member it was given
// to. A token is stable (the same place has the same token) and never expires;
// what it points at may have changed, the place in the order has not.
package page

import (
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"fmt"

	"google.golang.org/protobuf/proto"

	"seamshare.example/services/fault"
)

const (
	defaultSize = 50
	maxSize     = 200
	// maxCursor keeps every token within the 512 characters that a request takes.
	maxCursor = 320
	macSize   = 16
	version   = 1
)

// Size is how many rows a page has for what the caller asked: 50 for 0, 200 at
// most.
func Size(asked int32) int {
	if asked <= 0 {
		return defaultSize
	}
	return min(int(asked), maxSize)
}

// Scope is what a token is good for.
type Scope struct {
	RPC    string // full method name
	Member string // whose list it is
	Filter string // what else narrows or orders the list
}

// For is the scope of a list request: its filter is all of the request but the
// paging fields and min_position.
func For(rpc, member string, request proto.Message) Scope {
	rest := proto.Clone(request)
	m := rest.ProtoReflect()
	for _, name := range []string{"page_size", "page_token", "min_position"} {
		if f := m.Descriptor().Fields().ByTextName(name); f != nil {
			m.Clear(f)
		}
	}
	// A message that was just received always marshals.
	filter, _ := proto.MarshalOptions{Deterministic: true}.Marshal(rest)
	return Scope{RPC: rpc, Member: member, Filter: string(filter)}
}

// Token signs and reads tokens. Its methods may be called from any goroutine.
type Token struct {
	key []byte
}

// NewToken derives its own key from a secret of at least 16 bytes; the same
// secret reads the tokens of an earlier run.
func NewToken(secret []byte) (Token, error) {
	if len(secret) < 16 {
		return Token{}, fmt.Errorf("page token secret has %d bytes; at least 16 are needed", len(secret))
	}
	key, err := hkdf.Key(sha256.New, secret, nil, "seamshare page tokens v1", sha256.Size)
	if err != nil {
		return Token{}, fmt.Errorf("couldn't derive the page token key: %w", err)
	}
	return Token{key: key}, nil
}

// Encode makes the token of a place. A nil or empty cursor is the end of the
// list: its token is empty. The cursor can be read by who holds the token, so it
// holds nothing that the page itself doesn't show. It has at most 320 bytes.
func (t Token) Encode(scope Scope, cursor []byte) (string, error) {
	if len(cursor) == 0 {
		return "", nil
	}
	if len(cursor) > maxCursor {
		return "", fmt.Errorf("page cursor has %d bytes; at most %d fit a token", len(cursor), maxCursor)
	}
	b := append([]byte{version}, t.mac(scope, cursor)...)
	return base64.RawURLEncoding.EncodeToString(append(b, cursor...)), nil
}

// Decode gives the place back. The empty token is the first page: a nil cursor.
// Any token that Encode didn't make for this scope is refused.
func (t Token) Decode(scope Scope, token string) (cursor []byte, err error) {
	if token == "" {
		return nil, nil
	}
	b, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(b) <= 1+macSize || len(b) > 1+macSize+maxCursor || b[0] != version {
		return nil, refused()
	}
	cursor = b[1+macSize:]
	if !hmac.Equal(b[1:1+macSize], t.mac(scope, cursor)) {
		return nil, refused()
	}
	return cursor, nil
}

func refused() error {
	e := fault.New(fault.PageTokenInvalid, "page_token was not given by this server for this list, filter and member; leave it empty to start at the first page")
	e.Fields = []fault.Field{{Path: "page_token", Problem: "is not a next_page_token of this list"}}
	return e
}

// mac writes each part with its length, so that no two scopes run together.
func (t Token) mac(scope Scope, cursor []byte) []byte {
	h := hmac.New(sha256.New, t.key)
	for _, part := range []string{scope.RPC, scope.Member, scope.Filter, string(cursor)} {
		h.Write(binary.AppendUvarint(nil, uint64(len(part))))
		h.Write([]byte(part))
	}
	return h.Sum(nil)[:macSize]
}
