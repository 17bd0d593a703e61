package access_test

import (
	"crypto/ed25519"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"seamshare.example/services/access"
	"seamshare.example/services/fault"
)

// claims are a good assertion's for the miner.
func (d desk) claims() jwt.MapClaims {
	return jwt.MapClaims{
		"iss": d.miner.Person, "sub": d.miner.Person, "aud": coop, "member": d.miner.Member,
		"exp": noon.Add(time.Minute).Unix(), "jti": "once",
	}
}

func sign(t *testing.T, method jwt.SigningMethod, key any, claims jwt.MapClaims) string {
	t.Helper()
	s, err := jwt.NewWithClaims(method, claims).SignedString(key)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestIssue(t *testing.T) {
	t.Run("OK", func(t *testing.T) {
		d := newDesk(t)
		assertion, err := access.SignAssertion(d.cutter.Key, d.cutter.Person, d.cutter.Member, coop, noon)
		if err != nil {
			t.Fatal(err)
		}
		grant, err := d.issue(assertion)
		if err != nil {
			t.Fatal(err)
		}
		if grant.Person != d.cutter.Person || grant.Member != d.cutter.Member || len(grant.Roles) != 2 {
			t.Fatalf("granted to %+v", grant)
		}
		if want := noon.Add(15 * time.Minute); !grant.ExpiresAt.Equal(want) {
			t.Fatalf("ends %s, want %s", grant.ExpiresAt, want)
		}
		who, err := d.issuer.Read(grant.Token)
		if err != nil || who.Person != d.cutter.Person || who.Member != d.cutter.Member {
			t.Fatalf("token speaks for %+v, %v", who, err)
		}
	})

	for _, c := range []struct {
		name   string
		change func(jwt.MapClaims)
		want   fault.Reason
	}{
		{"refused: its time is over", func(c jwt.MapClaims) { c["exp"] = noon.Add(-time.Second).Unix() }, fault.AssertionExpired},
		{"refused: ends more than two minutes ahead", func(c jwt.MapClaims) { c["exp"] = noon.Add(121 * time.Second).Unix() }, fault.AssertionExpired},
		{"refused: has no end", func(c jwt.MapClaims) { delete(c, "exp") }, fault.AssertionInvalid},
		{"refused: for another co-op", func(c jwt.MapClaims) { c["aud"] = "three-creeks" }, fault.TokenOfAnotherCoop},
		{"refused: for no co-op", func(c jwt.MapClaims) { delete(c, "aud") }, fault.AssertionInvalid},
		{"refused: issuer is another than subject", func(c jwt.MapClaims) { c["iss"] = "c1-p" }, fault.AssertionInvalid},
		{"refused: a person who isn't known", func(c jwt.MapClaims) { c["iss"], c["sub"] = "nobody", "nobody" }, fault.AssertionInvalid},
		{"refused: a subject that is no id", func(c jwt.MapClaims) { c["iss"], c["sub"] = "m1-p/..", "m1-p/.." }, fault.AssertionInvalid},
		{"refused: for another's member", func(c jwt.MapClaims) { c["member"] = "c1" }, fault.MemberClosed},
		{"refused: for a member who isn't there", func(c jwt.MapClaims) { c["member"] = "m9" }, fault.MemberClosed},
		{"refused: for no member", func(c jwt.MapClaims) { delete(c, "member") }, fault.AssertionInvalid},
		{"refused: without jti", func(c jwt.MapClaims) { delete(c, "jti") }, fault.AssertionInvalid},
		{"refused: jti too long", func(c jwt.MapClaims) { c["jti"] = strings.Repeat("x", 129) }, fault.AssertionInvalid},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := newDesk(t)
			claims := d.claims()
			c.change(claims)
			_, err := d.issue(sign(t, jwt.SigningMethodEdDSA, d.miner.Key, claims))
			refused(t, err, c.want)
		})
	}

	for _, c := range []struct {
		name string
		sign func(t *testing.T, d desk) string
	}{
		{"refused: signed with another's key", func(t *testing.T, d desk) string {
			return sign(t, jwt.SigningMethodEdDSA, d.cutter.Key, d.claims())
		}},
		{"refused: algorithm none", func(t *testing.T, d desk) string {
			return sign(t, jwt.SigningMethodNone, jwt.UnsafeAllowNoneSignatureType, d.claims())
		}},
		{"refused: HS256 with the public key as secret", func(t *testing.T, d desk) string {
			return sign(t, jwt.SigningMethodHS256, []byte(d.miner.Key.Public().(ed25519.PublicKey)), d.claims())
		}},
		{"refused: unsigned", func(t *testing.T, d desk) string {
			s := sign(t, jwt.SigningMethodEdDSA, d.miner.Key, d.claims())
			return s[:strings.LastIndex(s, ".")+1]
		}},
		{"refused: one bit of the signature flipped", func(t *testing.T, d desk) string {
			s := []byte(sign(t, jwt.SigningMethodEdDSA, d.miner.Key, d.claims()))
			s[len(s)-10] ^= 1
			return string(s)
		}},
		{"refused: not a JWT", func(*testing.T, desk) string { return "let me in, let me in" }},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := newDesk(t)
			_, err := d.issue(c.sign(t, d))
			refused(t, err, fault.AssertionInvalid)
		})
	}

	t.Run("refused: used before", func(t *testing.T) {
		d := newDesk(t)
		assertion := sign(t, jwt.SigningMethodEdDSA, d.miner.Key, d.claims())
		if _, err := d.issue(assertion); err != nil {
			t.Fatal(err)
		}
		for range 3 {
			_, err := d.issue(assertion)
			refused(t, err, fault.AssertionReplayed)
			d.clock.move(20 * time.Second) // past 60 s it has ended
		}
		_, err := d.issue(assertion)
		refused(t, err, fault.AssertionExpired)
	})

	t.Run("OK: of many at the same time exactly one", func(t *testing.T) {
		d := newDesk(t)
		assertion := sign(t, jwt.SigningMethodEdDSA, d.miner.Key, d.claims())
		var granted atomic.Int32
		var all sync.WaitGroup
		for range 32 {
			all.Go(func() {
				if _, err := d.issue(assertion); err == nil {
					granted.Add(1)
				}
			})
		}
		all.Wait()
		if granted.Load() != 1 {
			t.Fatalf("%d tokens for one assertion", granted.Load())
		}
	})
}

func FuzzAssertion(f *testing.F) {
	d := newDesk(f)
	good, err := access.SignAssertion(d.miner.Key, d.miner.Person, d.miner.Member, coop, noon)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add("eyJhbGciOiJub25lIn0.e30.")
	f.Add("..")
	f.Fuzz(func(t *testing.T, assertion string) {
		grant, err := d.issue(assertion)
		if err == nil && assertion != good {
			t.Fatalf("%q was taken as %+v", assertion, grant)
		}
	})
}
