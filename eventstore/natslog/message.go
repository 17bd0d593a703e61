package natslog

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"github.com/nats-io/nats.go"

	"seamshare.example/eventstore"
)

// digestHeader holds the hex SHA-256 of a message's data. JetStream's own
// checksums are of 64 bits and it drops a message that fails them without a word,
// so what comes back is checked against this.
const digestHeader = "Seamshare-SHA-256"

// newMessage is what Publish sends.
func newMessage(coop string, data []byte) *nats.Msg {
	digest := sha256.Sum256(data)
	return &nats.Msg{
		Subject: subject(coop),
		Header:  nats.Header{digestHeader: {hex.EncodeToString(digest[:])}},
		Data:    data,
	}
}

// checkedMessage is the other way: it refuses data that is not what was sent.
func checkedMessage(seq eventstore.Sequence, header nats.Header, data []byte) (eventstore.Message, error) {
	sent, err := hex.DecodeString(header.Get(digestHeader))
	if err != nil || len(sent) != sha256.Size {
		return eventstore.Message{}, fmt.Errorf("message %d: %w: it has no %s header of 64 hex digits",
			seq, eventstore.ErrCorrupt, digestHeader)
	}
	digest := sha256.Sum256(data)
	if !bytes.Equal(sent, digest[:]) {
		return eventstore.Message{}, fmt.Errorf("message %d: %w: its SHA-256 is %x, %x was sent",
			seq, eventstore.ErrCorrupt, digest, sent)
	}
	return eventstore.Message{Sequence: seq, Data: data}, nil
}
