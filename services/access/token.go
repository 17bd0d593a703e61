package access

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"seamshare.example/services/domain/rule"
	"seamshare.example/services/fault"
)

const (
	// tokenTime is short, as a token can't be called back. Roles can: they are
	// not in it.
	tokenTime = 15 * time.Minute
	// tokenType tells a bearer token from an assertion (RFC 9068, section 2.1).
	tokenType = "at+jwt"
	// maxToken bounds what is parsed at all; a real one has about 400 bytes.
	maxToken = 2048
)

type tokenClaims struct {
	jwt.RegisteredClaims
	Member string `json:"member"`
	// Key is the id of the person's key: when that is revoked, so are its tokens.
	Key string `json:"key,omitempty"`
}

// signToken gives a bearer token for an identity, and when it ends.
func signToken(key ed25519.PrivateKey, coop string, who Identity, now time.Time) (token string, ends time.Time, err error) {
	ends = now.Add(tokenTime).Truncate(time.Second)
	t := jwt.NewWithClaims(jwt.SigningMethodEdDSA, tokenClaims{
		RegisteredClaims: jwt.RegisteredClaims{
			Issuer: coop, Subject: who.Person, Audience: jwt.ClaimStrings{coop},
			IssuedAt: jwt.NewNumericDate(now), ExpiresAt: jwt.NewNumericDate(ends),
		},
		Member: who.Member, Key: who.Key,
	})
	t.Header["typ"] = tokenType
	if token, err = t.SignedString(key); err != nil {
		return "", time.Time{}, fmt.Errorf("couldn't sign a token: %w", err)
	}
	return token, ends, nil
}

// readToken says for whom a bearer token speaks, and until when. It never says what they may do.
func readToken(token string, public ed25519.PublicKey, coop string, now time.Time) (who Identity, ends time.Time, err error) {
	if len(token) > maxToken {
		return Identity{}, time.Time{}, fault.New(fault.TokenInvalid, "the bearer token is %d characters long; one of ours has at most %d", len(token), maxToken)
	}
	var claims tokenClaims
	parsed, err := jwt.ParseWithClaims(token, &claims, func(*jwt.Token) (any, error) { return public, nil },
		jwt.WithValidMethods(edOnly), jwt.WithExpirationRequired(), jwt.WithStrictDecoding(),
		jwt.WithAudience(coop), jwt.WithIssuer(coop), jwt.WithTimeFunc(func() time.Time { return now }))
	switch {
	case errors.Is(err, jwt.ErrTokenInvalidAudience), errors.Is(err, jwt.ErrTokenInvalidIssuer), foreign(err, claims, coop):
		return Identity{}, time.Time{}, fault.New(fault.TokenOfAnotherCoop, "the token is for %q; this is %q: get one here with IssueToken", claims.Audience, coop).Because(err)
	case errors.Is(err, jwt.ErrTokenExpired):
		return Identity{}, time.Time{}, fault.New(fault.TokenExpired, "the token ended at %s; get a new one with IssueToken", rule.Moment(claims.ExpiresAt.Time))
	case err != nil:
		return Identity{}, time.Time{}, fault.New(fault.TokenInvalid, "the bearer token is not one that this server gave; get a new one with IssueToken").Because(err)
	case parsed.Header["typ"] != tokenType || !validID(claims.Subject) || !validID(claims.Member):
		return Identity{}, time.Time{}, fault.New(fault.TokenInvalid, "this is signed here but is no bearer token; get one with IssueToken")
	}
	return Identity{Person: claims.Subject, Member: claims.Member, Key: claims.Key}, claims.ExpiresAt.Time, nil
}

// foreign: another co-op's token has another signature too, but the person is
// helped more by hearing of the co-op. The claims are unproven, which is fine
// for choosing between two refusals.
func foreign(err error, claims tokenClaims, coop string) bool {
	return errors.Is(err, jwt.ErrTokenSignatureInvalid) && len(claims.Audience) == 1 && claims.Audience[0] != coop && validID(claims.Audience[0])
}
