package page_test

import (
	"bytes"
	"encoding/base64"
	"errors"
	"testing"

	"pgregory.net/rapid"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/fault"
	"seamshare.example/services/page"
)

func newToken(t rapid.TB) page.Token {
	tokens, err := page.NewToken(bytes.Repeat([]byte{7}, 32))
	if err != nil {
		t.Fatalf("%v", err)
	}
	return tokens
}

func scopes() *rapid.Generator[page.Scope] {
	return rapid.Custom(func(t *rapid.T) page.Scope {
		return page.Scope{
			RPC:    rapid.StringN(0, 4, 8).Draw(t, "rpc"),
			Member: rapid.StringN(0, 4, 8).Draw(t, "member"),
			Filter: rapid.StringN(0, 4, 8).Draw(t, "filter"),
		}
	})
}

func refused(t rapid.TB, err error) {
	var f *fault.Error
	if !errors.As(err, &f) || f.Reason != fault.PageTokenInvalid {
		t.Fatalf("got %v", err)
	}
}

func TestToken(t *testing.T) {
	t.Run("OK: a token is good for its own scope and no other", rapid.MakeCheck(func(t *rapid.T) {
		tokens := newToken(t)
		own, other := scopes().Draw(t, "own"), scopes().Draw(t, "other")
		cursor := rapid.SliceOfN(rapid.Byte(), 1, 320).Draw(t, "cursor")
		token, err := tokens.Encode(own, cursor)
		if err != nil {
			t.Fatal(err)
		}
		if len(token) > 512 {
			t.Fatalf("the token has %d characters; requests take 512", len(token))
		}
		again, _ := tokens.Encode(own, cursor)
		if token != again {
			t.Fatal("the same place has two tokens")
		}
		back, err := tokens.Decode(own, token)
		if err != nil || !bytes.Equal(back, cursor) {
			t.Fatalf("read back %q, %v", back, err)
		}
		if own != other {
			_, err := tokens.Decode(other, token)
			refused(t, err)
		}
	}))
	t.Run("refused: another scope whose parts read the same in a row", func(t *testing.T) {
		token, err := newToken(t).Encode(page.Scope{RPC: "list", Member: "m1", Filter: "x"}, []byte("place"))
		if err != nil {
			t.Fatal(err)
		}
		_, err = newToken(t).Decode(page.Scope{RPC: "listm", Member: "1x"}, token)
		refused(t, err)
	})
	t.Run("refused: any byte changed", func(t *testing.T) {
		tokens, scope := newToken(t), page.Scope{RPC: "r", Member: "m"}
		token, err := tokens.Encode(scope, []byte("place"))
		if err != nil {
			t.Fatal(err)
		}
		raw, err := base64.RawURLEncoding.DecodeString(token)
		if err != nil {
			t.Fatal(err)
		}
		for i := range raw {
			changed := bytes.Clone(raw)
			changed[i] ^= 1
			_, err := tokens.Decode(scope, base64.RawURLEncoding.EncodeToString(changed))
			refused(t, err)
		}
	})
	t.Run("refused: another node's secret", func(t *testing.T) {
		other, err := page.NewToken(bytes.Repeat([]byte{8}, 32))
		if err != nil {
			t.Fatal(err)
		}
		token, err := other.Encode(page.Scope{}, []byte("place"))
		if err != nil {
			t.Fatal(err)
		}
		_, err = newToken(t).Decode(page.Scope{}, token)
		refused(t, err)
	})
	t.Run("OK: empty is the first page and the end", func(t *testing.T) {
		token, err := newToken(t).Encode(page.Scope{}, nil)
		if err != nil || token != "" {
			t.Fatalf("the end is %q, %v", token, err)
		}
		cursor, err := newToken(t).Decode(page.Scope{}, "")
		if err != nil || cursor != nil {
			t.Fatalf("the start is %q, %v", cursor, err)
		}
	})
	t.Run("refused: a cursor that doesn't fit", func(t *testing.T) {
		if _, err := newToken(t).Encode(page.Scope{}, make([]byte, 321)); err == nil {
			t.Fatal("it was taken")
		}
	})
	t.Run("refused: a short secret", func(t *testing.T) {
		if _, err := page.NewToken([]byte("short")); err == nil {
			t.Fatal("it was taken")
		}
	})
}

func TestFor(t *testing.T) {
	base := &coopv1.ListMembersRequest{}
	paged := &coopv1.ListMembersRequest{PageSize: 9, PageToken: "x", MinPosition: 4}
	if page.For("r", "m", base) != page.For("r", "m", paged) {
		t.Error("paging changes the scope")
	}
	if paged.GetPageToken() != "x" {
		t.Error("the request was changed")
	}
	filtered := &coopv1.GetSharesRequest{ParcelId: "p1"}
	if page.For("r", "m", filtered) == page.For("r", "m", &coopv1.GetSharesRequest{ParcelId: "p2"}) {
		t.Error("another filter is the same scope")
	}
}

func TestSize(t *testing.T) {
	for asked, want := range map[int32]int{-1: 50, 0: 50, 1: 1, 200: 200, 201: 200} {
		if got := page.Size(asked); got != want {
			t.Errorf("asked %d: %d rows", asked, got)
		}
	}
}

func FuzzDecode(f *testing.F) {
	tokens, scope := newToken(f), page.Scope{RPC: "r", Member: "m"}
	good, err := tokens.Encode(scope, []byte("place"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add("AAAA")
	f.Fuzz(func(t *testing.T, token string) {
		cursor, err := tokens.Decode(scope, token)
		if err == nil && token != good && token != "" {
			t.Fatalf("%q was taken as %q", token, cursor)
		}
	})
}
