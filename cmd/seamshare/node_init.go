package main

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"seamshare.example/eventstore/natslog"
	"seamshare.example/services/access"
	"seamshare.example/services/coop"
)

// founding is what init is told.
type founding struct {
	coopID, name, zone, registrar string
	keyOut                        string
	log                           *externalLog
	join                          bool
}

// founded is what init made.
type founded struct {
	Coop      string `json:"coop"`
	Registrar string `json:"person,omitempty"`
	Member    string `json:"member,omitempty"`
	Key       string `json:"key,omitempty"`
	Verifier  string `json:"verifier_key,omitempty"`
}

func (s *session) initCommand() *cobra.Command {
	f := founding{}
	var external externalLog
	c := &cobra.Command{
		Use:   "init",
		Short: "Found a co-op: make its log, its keys and its first registrar",
		Long: `init makes the folder of a new co-op's node: the log, which is made once and never
again, the key that signs its checkpoints, and the first person, a registrar, with
a private key in a file. Publish the verifier key that it prints: with it anyone
can check a stone's chain.

With --nats the log is kept by a NATS cluster instead of in the folder; with
--join another node is added to a log that is there.`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			if external.URL != "" {
				f.log = &external
			}
			return s.init(c.Context(), f)
		},
	}
	flags := c.Flags()
	flags.StringVar(&f.coopID, "id", "", "the co-op's `id`: a-z, 0-9, - and _, for ever")
	flags.StringVar(&f.name, "name", "", "the co-op's `name`")
	flags.StringVar(&f.zone, "time-zone", "UTC", "the co-op's time `zone`, such as Australia/Brisbane: the days of money are in it")
	flags.StringVar(&f.registrar, "registrar", "registrar", "what the first registrar is called in the books; not a personal `name`")
	flags.StringVar(&f.keyOut, "key-out", "", "the `file` for the registrar's private key (registrar.pem in --data)")
	flags.StringVar(&external.URL, "nats", "", "the `URL` of a NATS cluster that keeps the log")
	flags.StringVar(&external.CA, "nats-ca", "", "the PEM `file` that its certificate is checked with")
	flags.StringVar(&external.Credentials, "nats-creds", "", "the credentials `file` for it")
	flags.StringVar(&external.Seed, "nats-nkey", "", "the nkey seed `file` for it")
	flags.BoolVar(&external.SyncsAlways, "nats-syncs-always", false, "you state that each of its servers has sync_interval: always; a node can't see that from outside")
	flags.IntVar(&external.Replicas, "nats-replicas", 1, "how many of its servers hold the log")
	flags.BoolVar(&f.join, "join", false, "add a node to a log that is there already")
	need(c, "id")
	return c
}

func (s *session) init(ctx context.Context, f founding) error {
	made, err := foundCoop(ctx, s.dataDir, f)
	if err != nil {
		return err
	}
	if made.Registrar != "" {
		err := s.writeProfile(profile{Server: defaultListen, CoopID: made.Coop, Person: made.Registrar, Member: made.Member, Key: made.Key})
		if err != nil {
			return err
		}
	}
	return s.document(made, func(w io.Writer) error {
		if f.join {
			say(w, "This folder is a node of co-op %s now. Start it with seamshare serve.", made.Coop)
			return nil
		}
		say(w, "Co-op %s is founded in %s.", made.Coop, s.dataDir)
		say(w, "Its first registrar is person %s of member %s.", made.Registrar, made.Member)
		say(w, "Their private key is in %s: keep it safe, and away from this machine's backups.", made.Key)
		say(w, "")
		say(w, "Publish this verifier key; with it anyone can check a stone's chain:")
		say(w, "%s", made.Verifier)
		say(w, "")
		say(w, "Next: seamshare serve, and in another terminal seamshare member admit --help.")
		return nil
	})
}

// foundCoop makes the folder. It works in one beside it, which gets the name when
// all is there: a crash leaves nothing that looks like a node.
func foundCoop(ctx context.Context, dir string, f founding) (made founded, err error) {
	if err := mustBeNew(dir); err != nil {
		return made, err
	}
	if f.zone == "" || f.zone == "Local" {
		return made, wrongUsage("--time-zone", "give an IANA name such as Australia/Brisbane", "%q is not a time zone", f.zone)
	}
	if _, err := time.LoadLocation(f.zone); err != nil {
		return made, wrongUsage("--time-zone", "give an IANA name such as Australia/Brisbane", "%q is not a time zone", f.zone)
	}
	if f.join && f.log == nil {
		return made, wrongUsage("--nats", "give the URL of the cluster that keeps the log", "is needed to join")
	}
	if f.log != nil && !f.log.SyncsAlways {
		return made, wrongUsage("--nats-syncs-always", "set sync_interval: always in the jetstream block of every NATS server, then state it with this flag",
			"is needed with --nats: with NATS's own default of two minutes a power cut loses what was answered with OK")
	}
	if f.name == "" {
		f.name = f.coopID
	}
	// What the founding would refuse is refused before a log is made, which can't be unmade.
	for _, text := range []struct {
		flag, value string
		most        int
	}{{"--name", f.name, 80}, {"--registrar", f.registrar, 40}} {
		if n := utf8.RuneCountInString(text.value); n == 0 || n > text.most {
			return made, wrongUsage(text.flag, "give a shorter one", "has %d characters; 1 to %d are allowed", n, text.most)
		}
	}
	if err := os.MkdirAll(filepath.Dir(filepath.Clean(dir)), 0o700); err != nil {
		return made, fmt.Errorf("couldn't make the folder above %s: %w", dir, err)
	}
	work, err := os.MkdirTemp(filepath.Dir(filepath.Clean(dir)), ".seamshare-init-")
	if err != nil {
		return made, fmt.Errorf("couldn't make a folder to begin in: %w", err)
	}
	defer os.RemoveAll(work)
	settings := nodeSettings{Coop: f.coopID, Name: nodeName(), Log: f.log}
	made.Coop = f.coopID
	if !f.join {
		if err := found(ctx, work, settings, f, &made); err != nil {
			return made, err
		}
	}
	if err := writeSettings(work, settings); err != nil {
		return made, err
	}
	if err := adopt(work, dir); err != nil {
		return made, err
	}
	if made.Key != "" && f.keyOut == "" {
		made.Key = filepath.Join(dir, registrarKeyFile)
	}
	return made, nil
}

const registrarKeyFile = "registrar.pem"

// found makes log, signer and registrar in the folder work.
func found(ctx context.Context, work string, settings nodeSettings, f founding, made *founded) error {
	signer, err := createSigner(work, f.coopID)
	if err != nil {
		return err
	}
	made.Verifier = signer.VerifierKey()
	key, err := access.NewKey()
	if err != nil {
		return err
	}
	made.Key = f.keyOut
	if made.Key == "" {
		made.Key = filepath.Join(work, registrarKeyFile)
	}
	if err := access.WriteKey(made.Key, key); err != nil {
		return err
	}
	// The log comes last: what went wrong before it left nothing behind.
	cfg, err := settings.logConfig(work, nil)
	if err != nil {
		return err
	}
	err = natslog.Create(ctx, cfg)
	if cfg.Server != nil {
		cfg.Server.Close()
	}
	if err != nil {
		return wrongInput("--id", "an id is made of a-z, 0-9, - and _; a log of that id may exist only once", "couldn't make the log: %v", err)
	}
	if err := writeSettings(work, settings); err != nil {
		return err
	}
	n, err := openData(ctx, work, nodeOptions{})
	if err != nil {
		return err
	}
	defer n.Close()
	registrar, err := coop.Found(ctx, n.Node, coop.Founding{
		CoopID: f.coopID, Name: f.name, TimeZone: f.zone, RegistrarLabel: f.registrar, RegistrarKey: key.Public().(ed25519.PublicKey),
	})
	if err != nil {
		return err
	}
	made.Registrar, made.Member = registrar.PersonID, registrar.MemberID
	return nil
}

// nodeName is how the node is called in commits: the machine's name, or a plain
// one where it has none.
func nodeName() string {
	if name, err := os.Hostname(); err == nil && name != "" {
		return name
	}
	return "node"
}
