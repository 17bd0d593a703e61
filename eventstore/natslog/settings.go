package natslog

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// duplicateWindow is how long the server knows the ids of messages. It is a
// first line only: the expected sequence is what keeps a repeat out.
const duplicateWindow = 10 * time.Minute

// wantedConfig is the stream as Create makes it. differences is its mirror: a
// setting named in one belongs in the other.
func wantedConfig(coop string, replicas int) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:              streamName(coop),
		Description:       "The log of co-op " + coop + ". Nothing in it may ever be deleted.",
		Subjects:          []string{subject(coop)},
		Storage:           jetstream.FileStorage,
		Retention:         jetstream.LimitsPolicy,
		Discard:           jetstream.DiscardNew,
		MaxMsgs:           -1,
		MaxBytes:          -1,
		MaxAge:            0,
		MaxMsgsPerSubject: -1,
		MaxMsgSize:        -1,
		MaxConsumers:      -1,
		Replicas:          replicas,
		Duplicates:        duplicateWindow,
		DenyDelete:        true,
		DenyPurge:         true,
		AllowRollup:       false,
		AllowDirect:       false,
		Compression:       jetstream.NoCompression,
		PersistMode:       jetstream.DefaultPersistMode,
	}
}

// differences names each setting of a stream that could lose, change, hide or
// reorder a commit, or refuse one that fits, as "storage is memory, must be file".
func differences(got jetstream.StreamConfig, coop string, replicas int) []string {
	var wrong []string
	for _, s := range []struct{ name, is, must string }{
		{"subjects", strings.Join(got.Subjects, " "), subject(coop)},
		// What keeps messages, and keeps them whole.
		{"storage", strings.ToLower(got.Storage.String()), "file"},
		{"retention", strings.ToLower(got.Retention.String()), "limits"},
		{"discard", discardName(got.Discard), "new"},
		{"discard new per subject", onOff(got.DiscardNewPerSubject), "off"},
		{"max messages", limit(got.MaxMsgs), "none"},
		{"max bytes", limit(got.MaxBytes), "none"},
		{"max age", got.MaxAge.String(), time.Duration(0).String()},
		{"max messages per subject", limit(got.MaxMsgsPerSubject), "none"},
		{"max message size", limit(int64(got.MaxMsgSize)), "none"},
		{"message time to live", onOff(got.AllowMsgTTL), "off"},
		{"delete marker time to live", got.SubjectDeleteMarkerTTL.String(), time.Duration(0).String()},
		{"deny delete", onOff(got.DenyDelete), "on"},
		{"deny purge", onOff(got.DenyPurge), "on"},
		{"roll-up", onOff(got.AllowRollup), "off"},
		{"compression", got.Compression.String(), jetstream.NoCompression.String()},
		// What makes an OK mean "on disk".
		{"persist mode", got.PersistMode.String(), jetstream.DefaultPersistMode.String()},
		{"replicas", fmt.Sprint(got.Replicas), fmt.Sprint(replicas)},
		{"no acknowledgement", onOff(got.NoAck), "off"},
		// What the expected sequence and the order stand on.
		{"first sequence", fmt.Sprint(max(got.FirstSeq, 1)), "1"},
		{"sealed", onOff(got.Sealed), "off"},
		{"mirror of", mirrorName(got.Mirror), "none"},
		{"sources", sourceNames(got.Sources), "none"},
		{"duplicate window", got.Duplicates.String(), duplicateWindow.String()},
		{"counters", onOff(got.AllowMsgCounter), "off"},
		{"schedules", onOff(got.AllowMsgSchedules), "off"},
		{"atomic batches", onOff(got.AllowAtomicPublish), "off"},
		{"fast batches", onOff(got.AllowBatchPublish), "off"},
		// What makes a read the leader's word, and only ours.
		{"direct get", onOff(got.AllowDirect), "off"},
		{"mirror direct get", onOff(got.MirrorDirect), "off"},
		{"subject transform", transformName(got.SubjectTransform), "none"},
		{"republish", republishName(got.RePublish), "none"},
		{"max consumers", limit(int64(got.MaxConsumers)), "none"},
	} {
		if s.is != s.must {
			wrong = append(wrong, fmt.Sprintf("%s is %s, must be %s", s.name, s.is, s.must))
		}
	}
	return wrong
}

func onOff(b bool) string {
	if b {
		return "on"
	}
	return "off"
}

// limit writes a limit of the server, for which -1 and 0 mean none.
func limit(n int64) string {
	if n <= 0 {
		return "none"
	}
	return fmt.Sprint(n)
}

func discardName(d jetstream.DiscardPolicy) string {
	if d == jetstream.DiscardNew {
		return "new"
	}
	return "old"
}

func mirrorName(m *jetstream.StreamSource) string {
	if m == nil {
		return "none"
	}
	return m.Name
}

func sourceNames(sources []*jetstream.StreamSource) string {
	if len(sources) == 0 {
		return "none"
	}
	names := make([]string, len(sources))
	for i, s := range sources {
		names[i] = s.Name
	}
	slices.Sort(names)
	return strings.Join(names, " ")
}

func transformName(t *jetstream.SubjectTransformConfig) string {
	if t == nil {
		return "none"
	}
	return fmt.Sprintf("%s to %s", t.Source, t.Destination)
}

func republishName(r *jetstream.RePublish) string {
	if r == nil {
		return "none"
	}
	return fmt.Sprintf("%s to %s", r.Source, r.Destination)
}
