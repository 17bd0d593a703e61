package access

import (
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/fault"
)

const (
	// maxAssertion is how far ahead an assertion may end.
	maxAssertion = 2 * time.Minute
	// assertionTime leaves half a minute of disagreement between the two clocks
	// on either side.
	assertionTime = 90 * time.Second
	// maxJTI bounds what is remembered for each assertion.
	maxJTI = 128
	// maxRemembered bounds the memory of used assertions: 100 000 sign-ins in two
	// minutes are not people.
	maxRemembered = 100_000
)

// assertionClaims are an assertion's: RFC 7523 section 3, and the member that
// the person wants to act for.
type assertionClaims struct {
	jwt.RegisteredClaims
	Member string `json:"member"`

	signedWith string // the id of the person's key that the signature is of
}

// SignAssertion makes the signed assertion that IssueToken takes. Each may be
// used once.
func SignAssertion(key ed25519.PrivateKey, person, member, coop string, now time.Time) (string, error) {
	t := jwt.NewWithClaims(jwt.SigningMethodEdDSA, assertionClaims{
		RegisteredClaims: jwt.RegisteredClaims{
			Issuer: person, Subject: person,
			Audience:  jwt.ClaimStrings{coop},
			IssuedAt:  jwt.NewNumericDate(now),
			ExpiresAt: jwt.NewNumericDate(now.Add(assertionTime)),
			ID:        rand.Text(),
		},
		Member: member,
	})
	t.Header["kid"] = KeyID(key.Public().(ed25519.PublicKey))
	signed, err := t.SignedString(key)
	if err != nil {
		return "", fmt.Errorf("couldn't sign the assertion: %w", err)
	}
	return signed, nil
}

// keysOf gives a person's keys; none where there is no such person.
type keysOf func(person string) ([]ed25519.PublicKey, error)

var edOnly = []string{jwt.SigningMethodEdDSA.Alg()}

// verifyAssertion checks all but whether it was used before. The claims say which of
// the keys signed it.
func verifyAssertion(assertion, coop string, now time.Time, keys keysOf) (assertionClaims, error) {
	var claims assertionClaims
	var lookup error // an error of ours, not of the caller
	var known []ed25519.PublicKey
	parsed, err := jwt.ParseWithClaims(assertion, &claims, func(*jwt.Token) (any, error) {
		// Asked before the signature is checked: claims.Subject is only a question here.
		if !validID(claims.Subject) || claims.Issuer != claims.Subject {
			return nil, jwt.ErrTokenInvalidIssuer
		}
		var set jwt.VerificationKeySet
		found, err := keys(claims.Subject)
		if err != nil {
			lookup = err
			return nil, err
		}
		known = found
		for _, k := range found {
			set.Keys = append(set.Keys, k)
		}
		if len(set.Keys) == 0 {
			return nil, jwt.ErrTokenUnverifiable
		}
		return set, nil
	},
		jwt.WithValidMethods(edOnly), jwt.WithExpirationRequired(), jwt.WithStrictDecoding(),
		jwt.WithAudience(coop), jwt.WithTimeFunc(func() time.Time { return now }))
	switch {
	case lookup != nil:
		return claims, fmt.Errorf("couldn't look up the keys of %s: %w", claims.Subject, lookup)
	case errors.Is(err, jwt.ErrTokenSignatureInvalid), errors.Is(err, jwt.ErrTokenUnverifiable):
		// Nobody known, and a key that isn't theirs, look the same from outside.
	case errors.Is(err, jwt.ErrTokenInvalidAudience):
		return claims, fault.New(fault.TokenOfAnotherCoop, "the assertion is for %q; this is %q", claims.Audience, coop)
	case errors.Is(err, jwt.ErrTokenExpired):
		return claims, fault.New(fault.AssertionExpired, "the assertion ended at %s; it is %s here: sign a new one, and check the clock",
			rule.Moment(claims.ExpiresAt.Time), rule.Moment(now))
	case err == nil && claims.ExpiresAt.After(now.Add(maxAssertion)):
		return claims, fault.New(fault.AssertionExpired, "the assertion ends at %s, more than two minutes ahead of %s: sign a shorter one, and check the clock",
			rule.Moment(claims.ExpiresAt.Time), rule.Moment(now))
	case err == nil && (claims.ID == "" || len(claims.ID) > maxJTI):
		return claims, fault.New(fault.AssertionInvalid, "the assertion needs a jti of 1 to %d characters, a new one each time", maxJTI)
	case err == nil && !validID(claims.Member):
		return claims, fault.New(fault.AssertionInvalid, "the assertion needs the claim member: the id of the member that you act for")
	case err == nil:
		claims.signedWith = signer(parsed, known)
		return claims, nil
	}
	return claims, fault.New(fault.AssertionInvalid,
		"the assertion is not good: it must be an EdDSA JWT signed with the person's key, with iss and sub their id, aud %q, exp, jti and member", coop).Because(err)
}

// signer is the id of the key that signed a good assertion.
func signer(parsed *jwt.Token, keys []ed25519.PublicKey) string {
	signed := parsed.Raw[:max(0, strings.LastIndexByte(parsed.Raw, '.'))]
	for _, k := range keys {
		if ed25519.Verify(k, []byte(signed), parsed.Signature) {
			return KeyID(k)
		}
	}
	return ""
}

// validID holds ids to their form before they reach a key or a stream.
func validID(id string) bool {
	if id == "" || len(id) > 64 {
		return false
	}
	for i := range len(id) {
		c := id[i]
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '_' && c != '-' {
			return false
		}
	}
	return true
}

// used remembers assertions until they end, so that each is taken once. It is
// this process's memory: another node, or this one after a restart, does not
// know them. That is why assertions live for two minutes at most.
type used struct {
	mu    sync.Mutex
	until map[string]time.Time // guarded by mu; person/jti → exp
	sweep time.Time            // guarded by mu; when to forget the ended ones
}

// once reports an error where the assertion was seen before.
func (u *used) once(claims assertionClaims, now time.Time) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.until == nil {
		u.until = map[string]time.Time{}
	}
	if now.After(u.sweep) || len(u.until) >= maxRemembered {
		for id, end := range u.until {
			if !end.After(now) {
				delete(u.until, id)
			}
		}
		u.sweep = now.Add(maxAssertion)
	}
	id := claims.Subject + "/" + claims.ID
	if _, seen := u.until[id]; seen {
		return fault.New(fault.AssertionReplayed, "%s", "this assertion was used before; sign a new one for each token")
	}
	if len(u.until) >= maxRemembered {
		return fault.New(fault.NodeBusy, "too many people sign in; try again in a moment").RetryIn(10 * time.Second)
	}
	u.until[id] = claims.ExpiresAt.Time
	return nil
}
