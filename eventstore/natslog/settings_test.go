package natslog_test

import (
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/natslog"
)

// goodConfig is the stream as Create leaves it.
func goodConfig(t *testing.T) jetstream.StreamConfig {
	t.Helper()
	_, s := newLog(t)
	stream, err := rawClient(t, s).Stream(testContext(t), streamName)
	if err != nil {
		t.Fatal(err)
	}
	return stream.CachedInfo().Config
}

func TestWrongSettings(t *testing.T) {
	good := goodConfig(t)
	wrong := func(t *testing.T, l *natslog.Log) []string {
		t.Helper()
		status, err := l.Status(testContext(t))
		if err != nil {
			t.Fatal(err)
		}
		return status.Wrong
	}
	for _, c := range []struct {
		name   string
		change func(*jetstream.StreamConfig)
		want   []string
	}{
		{"as created", func(*jetstream.StreamConfig) {}, nil},
		{"another subject", func(c *jetstream.StreamConfig) { c.Subjects = []string{"a.b", subject} }, []string{"subjects is a.b seamshare.opal-ridge.log, must be seamshare.opal-ridge.log"}},
		{"in memory", func(c *jetstream.StreamConfig) { c.Storage = jetstream.MemoryStorage }, []string{"storage is memory, must be file"}},
		{"a work queue", func(c *jetstream.StreamConfig) { c.Retention = jetstream.WorkQueuePolicy }, []string{"retention is workqueue, must be limits"}},
		{"discard old", func(c *jetstream.StreamConfig) { c.Discard = jetstream.DiscardOld }, []string{"discard is old, must be new"}},
		{"discard per subject", func(c *jetstream.StreamConfig) { c.DiscardNewPerSubject, c.MaxMsgsPerSubject = true, 9 }, []string{"discard new per subject is on, must be off", "max messages per subject is 9, must be none"}},
		{"max messages", func(c *jetstream.StreamConfig) { c.MaxMsgs = 1000 }, []string{"max messages is 1000, must be none"}},
		{"max bytes", func(c *jetstream.StreamConfig) { c.MaxBytes = 1 << 20 }, []string{"max bytes is 1048576, must be none"}},
		{"max age", func(c *jetstream.StreamConfig) { c.MaxAge = 240 * time.Hour }, []string{"max age is 240h0m0s, must be 0s"}},
		{"max message size", func(c *jetstream.StreamConfig) { c.MaxMsgSize = 100 }, []string{"max message size is 100, must be none"}},
		{"time to live", func(c *jetstream.StreamConfig) { c.AllowMsgTTL = true }, []string{"message time to live is on, must be off"}},
		{"delete allowed", func(c *jetstream.StreamConfig) { c.DenyDelete = false }, []string{"deny delete is off, must be on"}},
		{"purge allowed", func(c *jetstream.StreamConfig) { c.DenyPurge = false }, []string{"deny purge is off, must be on"}},
		{"roll-up", func(c *jetstream.StreamConfig) { c.AllowRollup, c.DenyPurge = true, false }, []string{"deny purge is off, must be on", "roll-up is on, must be off"}},
		{"compressed", func(c *jetstream.StreamConfig) { c.Compression = jetstream.S2Compression }, []string{"compression is S2, must be None"}},
		{"asynchronous", func(c *jetstream.StreamConfig) { c.PersistMode = jetstream.AsyncPersistMode }, []string{"persist mode is Async, must be Default"}},
		{"no acknowledgement", func(c *jetstream.StreamConfig) { c.NoAck = true }, []string{"no acknowledgement is on, must be off"}},
		{"another first sequence", func(c *jetstream.StreamConfig) { c.FirstSeq = 100 }, []string{"first sequence is 100, must be 1"}},
		{"a mirror", func(c *jetstream.StreamConfig) {
			c.Mirror, c.Subjects = &jetstream.StreamSource{Name: "other"}, nil
		}, []string{"subjects is , must be seamshare.opal-ridge.log", "mirror of is other, must be none"}},
		{"a source", func(c *jetstream.StreamConfig) { c.Sources = []*jetstream.StreamSource{{Name: "other"}} }, []string{"sources is other, must be none"}},
		{"duplicate window", func(c *jetstream.StreamConfig) { c.Duplicates = time.Minute }, []string{"duplicate window is 1m0s, must be 10m0s"}},
		{"counters", func(c *jetstream.StreamConfig) { c.AllowMsgCounter, c.Discard = true, jetstream.DiscardOld }, []string{"counters is on, must be off"}},
		{"schedules", func(c *jetstream.StreamConfig) { c.AllowMsgSchedules, c.Discard = true, jetstream.DiscardOld }, []string{"schedules is on, must be off"}},
		{"atomic batches", func(c *jetstream.StreamConfig) { c.AllowAtomicPublish = true }, []string{"atomic batches is on, must be off"}},
		{"fast batches", func(c *jetstream.StreamConfig) { c.AllowBatchPublish = true }, []string{"fast batches is on, must be off"}},
		{"direct get", func(c *jetstream.StreamConfig) { c.AllowDirect = true }, []string{"direct get is on, must be off"}},
		{"subject transform", func(c *jetstream.StreamConfig) {
			c.SubjectTransform = &jetstream.SubjectTransformConfig{Source: subject, Destination: "elsewhere"}
		}, []string{"subject transform is seamshare.opal-ridge.log to elsewhere, must be none"}},
		{"republish", func(c *jetstream.StreamConfig) {
			c.RePublish = &jetstream.RePublish{Source: subject, Destination: "elsewhere"}
		}, []string{"republish is seamshare.opal-ridge.log to elsewhere, must be none"}},
		{"max consumers", func(c *jetstream.StreamConfig) { c.MaxConsumers = 3 }, []string{"max consumers is 3, must be none"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := startServer(t, t.TempDir())
			cfg := good
			c.change(&cfg)
			if _, err := rawClient(t, s).CreateStream(testContext(t), cfg); err != nil {
				t.Fatal(err)
			}
			got := wrong(t, open(t, natslog.Config{Server: s}))
			for _, want := range c.want {
				if !slices.Contains(got, want) {
					t.Errorf("not reported: %q", want)
				}
			}
			if len(c.want) == 0 && len(got) != 0 {
				t.Error("reported without reason")
			}
			if t.Failed() {
				t.Logf("reported: %q", got)
			}
		})
	}

	t.Run("sealed", func(t *testing.T) {
		s := startServer(t, t.TempDir())
		js := rawClient(t, s)
		cfg := good
		if _, err := js.CreateStream(testContext(t), cfg); err != nil {
			t.Fatal(err)
		}
		l := open(t, natslog.Config{Server: s})
		cfg.Sealed = true
		if _, err := js.UpdateStream(testContext(t), cfg); err != nil {
			t.Fatal(err)
		}
		if got := wrong(t, l); !slices.Contains(got, "sealed is on, must be off") {
			t.Errorf("reported: %q", got)
		}
		if err := l.Publish(testContext(t), 0, commitID(1), commitData(1)); !errors.Is(err, eventstore.ErrRefused) {
			t.Errorf("publish: got %v, want ErrRefused", err)
		}
	})

	t.Run("fewer replicas than wanted", func(t *testing.T) {
		_, s := newLog(t)
		l := open(t, natslog.Config{URL: s.ClientURL(), Replicas: 3})
		if got := wrong(t, l); !slices.Equal(got, []string{"replicas is 1, must be 3"}) {
			t.Errorf("reported: %q", got)
		}
	})
}

func TestNothingCanBeTakenAway(t *testing.T) {
	l, s := newLog(t)
	fill(t, l, 0, 5)
	js := rawClient(t, s)
	stream, err := js.Stream(testContext(t), streamName)
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Purge(testContext(t)); err == nil {
		t.Error("a purge went through")
	}
	if err := stream.DeleteMsg(testContext(t), 2); err == nil {
		t.Error("a delete went through")
	}
	if err := stream.SecureDeleteMsg(testContext(t), 2); err == nil {
		t.Error("a secure delete went through")
	}
	cfg := stream.CachedInfo().Config
	cfg.DenyDelete, cfg.DenyPurge = false, false
	if _, err := js.UpdateStream(testContext(t), cfg); err == nil {
		t.Error("an update that allows deletes went through")
	}
	expectStatus(t, l, 5)
	expectNext(t, follow(t, l, 0), 0, 5)
	fill(t, l, 5, 6)
}

func TestCreateAndOpen(t *testing.T) {
	t.Run("opened: empty, with its time of creation", func(t *testing.T) {
		l, _ := newLog(t)
		status := expectStatus(t, l, 0)
		if status.Created.IsZero() || status.First > 1 {
			t.Fatalf("got %+v", status)
		}
		if _, err := l.Read(testContext(t), 1); !errors.Is(err, eventstore.ErrNoMessage) {
			t.Fatalf("got %v, want ErrNoMessage", err)
		}
		if _, err := l.Read(testContext(t), 0); !errors.Is(err, eventstore.ErrNoMessage) {
			t.Fatalf("got %v, want ErrNoMessage", err)
		}
	})

	t.Run("refused: created twice", func(t *testing.T) {
		_, s := newLog(t)
		err := natslog.Create(testContext(t), natslog.Config{Server: s, Coop: coop})
		if !errors.Is(err, natslog.ErrExists) {
			t.Fatalf("got %v, want ErrExists", err)
		}
	})

	t.Run("created by many at once: one of them did it", func(t *testing.T) {
		s := startServer(t, t.TempDir())
		const callers = 8
		results := make(chan error, callers)
		for range callers {
			go func() { results <- natslog.Create(testContext(t), natslog.Config{URL: s.ClientURL(), Coop: coop}) }()
		}
		made := 0
		for range callers {
			err := <-results
			if err == nil {
				made++
			} else if !errors.Is(err, natslog.ErrExists) {
				t.Error(err)
			}
		}
		if made != 1 {
			t.Fatalf("%d creates succeeded, want 1", made)
		}
	})

	t.Run("refused: opening what was never created creates nothing", func(t *testing.T) {
		s := startServer(t, t.TempDir())
		for range 2 {
			_, err := natslog.Open(testContext(t), natslog.Config{Server: s, Coop: coop})
			if !errors.Is(err, eventstore.ErrNoLog) {
				t.Fatalf("got %v, want ErrNoLog", err)
			}
		}
	})

	t.Run("two co-ops on one server don't see each other", func(t *testing.T) {
		l, s := newLog(t)
		fill(t, l, 0, 2)
		cfg := natslog.Config{Server: s, Coop: "blue_vein-2"}
		if err := natslog.Create(testContext(t), cfg); err != nil {
			t.Fatal(err)
		}
		other, err := natslog.Open(testContext(t), cfg)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = other.Close() })
		expectStatus(t, other, 0)
		fill(t, other, 0, 1)
		expectStatus(t, l, 2)
	})

	s := startServer(t, t.TempDir())
	for name, cfg := range map[string]natslog.Config{
		"no co-op":                     {Server: s},
		"a co-op id with a dot":        {Server: s, Coop: "a.b"},
		"a co-op id with a wildcard":   {Server: s, Coop: "*"},
		"a co-op id of 65 letters":     {Server: s, Coop: string(slices.Repeat([]byte("a"), 65))},
		"a co-op id that climbs":       {Server: s, Coop: "../x"},
		"no server and no URL":         {Coop: coop},
		"both server and URL":          {Server: s, URL: s.ClientURL(), Coop: coop},
		"plaintext off loopback":       {URL: "nats://198.51.100.7:4222", Coop: coop},
		"one of two URLs in plaintext": {URL: s.ClientURL() + ",nats://198.51.100.7:4222", Coop: coop},
		"no URL":                       {URL: "somewhere", Coop: coop},
		"half a client certificate":    {URL: s.ClientURL(), CertFile: "cert.pem", Coop: coop},
		"two ways to sign in":          {URL: s.ClientURL(), CredentialsFile: "a", NKeySeedFile: "b", Coop: coop},
		"replicas in one process":      {Server: s, Replicas: 3, Coop: coop},
		"six replicas":                 {URL: s.ClientURL(), Replicas: 6, Coop: coop},
		"nobody at the URL":            {URL: "nats://127.0.0.1:1", Coop: coop},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			if err := natslog.Create(testContext(t), cfg); err == nil {
				t.Error("created")
			}
			if l, err := natslog.Open(testContext(t), cfg); err == nil {
				t.Error("opened")
				_ = l.Close()
			} else if errors.Is(err, eventstore.ErrNoLog) {
				t.Errorf("got %v, want the fault in the settings", err)
			}
		})
	}
}
