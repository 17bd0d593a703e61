package wire

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"

	"google.golang.org/protobuf/proto"

	"seamshare.example/services/domain/rule"
)

// etag is a digest of a resource as its caller sees it, not its version: a version
// counts what a caller may not see, such as rivals' offers. hidden joins the digest
// for callers to whom all of it may show.
func etag(resource proto.Message, hidden uint64) string {
	data, _ := proto.MarshalOptions{Deterministic: true}.Marshal(resource) // of our own making, so it marshals
	data = binary.BigEndian.AppendUint64(data, hidden)
	sum := sha256.Sum256(data)
	return base64.RawURLEncoding.EncodeToString(sum[:9])
}

// Etag is that of a resource of which nothing is hidden from its callers.
func Etag(resource proto.Message) string { return etag(resource, 0) }

// Unchanged refuses where the caller saw another state of the resource than is there
// now (AIP-154). An empty etag accepts any, and now isn't asked.
func Unchanged[R interface{ GetEtag() string }](seen string, now func() R) error {
	if seen == "" || seen == now().GetEtag() {
		return nil
	}
	return rule.Broken{
		Reason: rule.EtagDiffers, Field: "etag", Value: seen,
		Rule: "it has changed since you saw it", Hint: "look at it again, then decide again",
	}
}
