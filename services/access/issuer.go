package access

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"

	"seamshare.example/eventstore"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	"seamshare.example/services/domain/member"
	"seamshare.example/services/fault"
	"seamshare.example/services/stream"
)

// Issuer gives bearer tokens for assertions and reads them back. One per
// process; its methods may be called from any goroutine.
type Issuer struct {
	coop  string
	key   ed25519.PrivateKey
	clock func() time.Time
	used  used
	// known are tokens whose signature was found good, by their SHA-256: checking
	// one takes longer than most calls. Safe for concurrent use.
	known *lru.Cache[[sha256.Size]byte, known]
}

// known is what a good token says, until it ends.
type known struct {
	who  Identity
	ends time.Time
}

// maxKnown tokens are remembered; of more, those used longest ago are checked again.
const maxKnown = 10_000

// NewIssuer makes the issuer of one co-op with the node's token key.
func NewIssuer(coop string, key ed25519.PrivateKey, clock func() time.Time) *Issuer {
	tokens, err := lru.New[[sha256.Size]byte, known](maxKnown)
	if err != nil {
		panic(err) // only for a size below one
	}
	return &Issuer{coop: coop, key: key, clock: clock, known: tokens}
}

// Grant is a bearer token and what it says.
type Grant struct {
	Token     string
	ExpiresAt time.Time
	Person    string
	Member    string
	Roles     []memberv1.Role // as they stand now; not in the token
}

// Issue gives a token for a person's signed assertion, if person and member
// stand where l reads.
func (i *Issuer) Issue(l eventstore.Loader, assertion string) (Grant, error) {
	now := i.clock()
	var person member.Person
	claims, err := verifyAssertion(assertion, i.coop, now, func(id string) (keys []ed25519.PublicKey, err error) {
		if person, _, err = eventstore.Load(l, stream.Person, id); err != nil {
			return nil, err
		}
		return keysIn(person), nil
	})
	if err != nil {
		return Grant{}, err
	}
	who := Identity{Person: claims.Subject, Member: claims.Member, Key: claims.signedWith}
	m, _, err := eventstore.Load(l, stream.Member, who.Member)
	if err != nil {
		return Grant{}, fmt.Errorf("couldn't look up member %s: %w", who.Member, err)
	}
	if err := (Rule{SignedIn: true}).admits(person, m, who); err != nil {
		return Grant{}, err
	}
	// Last, so that a refused assertion can be mended and sent again.
	if err := i.used.once(claims, now); err != nil {
		return Grant{}, err
	}
	token, ends, err := signToken(i.key, i.coop, who, now)
	if err != nil {
		return Grant{}, err
	}
	return Grant{Token: token, ExpiresAt: ends, Person: who.Person, Member: who.Member, Roles: person.In(m)}, nil
}

func keysIn(p member.Person) []ed25519.PublicKey {
	keys := make([]ed25519.PublicKey, 0, len(p.Keys))
	for _, k := range p.Keys {
		if k.Stage == member.KeyInUse && len(k.Public) == ed25519.PublicKeySize {
			keys = append(keys, ed25519.PublicKey(k.Public))
		}
	}
	return keys
}

// Read says for whom a bearer token speaks.
func (i *Issuer) Read(token string) (Identity, error) {
	public, ok := i.key.Public().(ed25519.PublicKey)
	if !ok {
		return Identity{}, fault.New(fault.InternalError, "the token key is not an Ed25519 key")
	}
	now, name := i.clock(), sha256.Sum256([]byte(token))
	if k, ok := i.known.Get(name); ok && now.Before(k.ends) {
		return k.who, nil
	}
	who, ends, err := readToken(token, public, i.coop, now)
	if err == nil {
		i.known.Add(name, known{who, ends})
	}
	return who, err
}
