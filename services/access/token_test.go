package access_test

import (
	"crypto/ed25519"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"seamshare.example/services/access"
	"seamshare.example/services/fault"
)

func (d desk) token(t testing.TB, as access.SignIn) string {
	t.Helper()
	assertion, err := access.SignAssertion(as.Key, as.Person, as.Member, as.Coop, d.clock.Now())
	if err != nil {
		t.Fatal(err)
	}
	grant, err := d.issue(assertion)
	if err != nil {
		t.Fatal(err)
	}
	return grant.Token
}

func TestRead(t *testing.T) {
	d := newDesk(t)
	token := d.token(t, d.miner)
	nodeKey, err := access.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	known := access.NewIssuer(coop, nodeKey, d.clock.Now) // one whose key the test has
	claims := func() jwt.MapClaims {
		return jwt.MapClaims{"iss": coop, "sub": "m1-p", "aud": coop, "member": "m1", "exp": noon.Add(time.Minute).Unix()}
	}
	typed := func(method jwt.SigningMethod, key any, c jwt.MapClaims) string {
		tok := jwt.NewWithClaims(method, c)
		tok.Header["typ"] = "at+jwt"
		s, err := tok.SignedString(key)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}

	t.Run("OK: until its end", func(t *testing.T) {
		if _, err := known.Read(typed(jwt.SigningMethodEdDSA, nodeKey, claims())); err != nil {
			t.Fatal(err)
		}
		late := access.NewIssuer(coop, nodeKey, func() time.Time { return noon.Add(time.Minute - time.Second) })
		if _, err := late.Read(typed(jwt.SigningMethodEdDSA, nodeKey, claims())); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("refused: after its end", func(t *testing.T) {
		late := access.NewIssuer(coop, nodeKey, func() time.Time { return noon.Add(time.Minute) })
		_, err := late.Read(typed(jwt.SigningMethodEdDSA, nodeKey, claims()))
		refused(t, err, fault.TokenExpired)
	})
	t.Run("refused: after its end, by an issuer that knows it as good", func(t *testing.T) {
		now := &clock{now: noon}
		issuer := access.NewIssuer(coop, nodeKey, now.Now)
		token := typed(jwt.SigningMethodEdDSA, nodeKey, claims())
		for range 2 {
			if _, err := issuer.Read(token); err != nil {
				t.Fatal(err)
			}
		}
		now.move(time.Minute)
		_, err := issuer.Read(token)
		refused(t, err, fault.TokenExpired)
	})
	t.Run("refused: of another co-op, another key", func(t *testing.T) {
		other := access.NewIssuer("three-creeks", nodeKey, d.clock.Now)
		_, err := other.Read(token)
		refused(t, err, fault.TokenOfAnotherCoop)
	})
	t.Run("refused: of another co-op, the same key", func(t *testing.T) {
		other := access.NewIssuer("three-creeks", nodeKey, d.clock.Now)
		_, err := other.Read(typed(jwt.SigningMethodEdDSA, nodeKey, claims()))
		refused(t, err, fault.TokenOfAnotherCoop)
	})

	without := func(name string) jwt.MapClaims { c := claims(); delete(c, name); return c }
	with := func(name string, value any) jwt.MapClaims { c := claims(); c[name] = value; return c }
	for _, c := range []struct{ name, token string }{
		{"refused: signed by another node's key", token},
		{"refused: algorithm none", typed(jwt.SigningMethodNone, jwt.UnsafeAllowNoneSignatureType, claims())},
		{"refused: HS256 with the public key as secret", typed(jwt.SigningMethodHS256, []byte(nodeKey.Public().(ed25519.PublicKey)), claims())},
		{"refused: without end", typed(jwt.SigningMethodEdDSA, nodeKey, without("exp"))},
		{"refused: without member", typed(jwt.SigningMethodEdDSA, nodeKey, without("member"))},
		{"refused: a person that is no id", typed(jwt.SigningMethodEdDSA, nodeKey, with("sub", "../m1-p"))},
		{"refused: not typed as a bearer token", sign(t, jwt.SigningMethodEdDSA, nodeKey, claims())},
		{"refused: empty", ""},
		{"refused: too long", string(make([]byte, 3000))},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := known.Read(c.token)
			refused(t, err, fault.TokenInvalid)
		})
	}
}

func FuzzToken(f *testing.F) {
	d := newDesk(f)
	good := d.token(f, d.miner)
	f.Add(good)
	f.Add("eyJhbGciOiJub25lIn0.e30.")
	f.Add("a.b.c")
	f.Fuzz(func(t *testing.T, token string) {
		who, err := d.issuer.Read(token)
		if err == nil && token != good {
			t.Fatalf("%q speaks for %+v", token, who)
		}
	})
}
