package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/eventstore/natslog"
	"seamshare.example/services/photo"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// The folder of a node's data:
//
//	node.json   which co-op it is, and where its log lives (nodeSettings)
//	log/        the log, where the node keeps it itself
//	store/      what is derived from the log; can be deleted while nothing runs
//	photos/     the pictures that records name
//	signer/     the key that signs checkpoints, and what it signed last
//	token.key   the key that signs bearer tokens
//	node.sock   while it serves: the way in for commands on this machine

// nodeSettings is node.json.
type nodeSettings struct {
	Coop string       `json:"coop"`
	Name string       `json:"node"`
	Log  *externalLog `json:"log,omitempty"` // absent: kept in the folder
}

// externalLog says where a log lies that other nodes write to as well.
type externalLog struct {
	URL         string `json:"url"`
	CA          string `json:"ca,omitempty"`
	Cert        string `json:"cert,omitempty"`
	Key         string `json:"key,omitempty"`
	Credentials string `json:"credentials,omitempty"`
	Seed        string `json:"seed,omitempty"`
	Replicas    int    `json:"replicas,omitempty"`
	// SyncsAlways is the operator's word that its servers sync each message.
	SyncsAlways bool `json:"syncs_always"`
}

func settingsPath(dir string) string { return filepath.Join(dir, "node.json") }
func logDir(dir string) string       { return filepath.Join(dir, "log") }
func storeDir(dir string) string     { return filepath.Join(dir, "store") }
func signerDir(dir string) string    { return filepath.Join(dir, "signer") }
func photosDir(dir string) string    { return filepath.Join(dir, "photos") }
func socketPath(dir string) string   { return filepath.Join(dir, "node.sock") }

func readSettings(dir string) (nodeSettings, error) {
	data, err := os.ReadFile(settingsPath(dir))
	if errors.Is(err, fs.ErrNotExist) {
		return nodeSettings{}, wrongInput("--data", "make one with seamshare init, or name another folder", "%s holds no node's data", dir)
	}
	if err != nil {
		return nodeSettings{}, fmt.Errorf("couldn't read the node's settings: %w", err)
	}
	var s nodeSettings
	decoder := json.NewDecoder(strings.NewReader(string(data)))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&s); err != nil {
		return nodeSettings{}, wrongInput(settingsPath(dir), "put it right by hand, or restore it", "can't be read: %v", err)
	}
	return s, nil
}

func writeSettings(dir string, s nodeSettings) error {
	data, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return fmt.Errorf("couldn't write the node's settings: %w", err)
	}
	if err := merkle.WriteFile(settingsPath(dir), append(data, '\n')); err != nil {
		return fmt.Errorf("couldn't write the node's settings: %w", err)
	}
	return nil
}

// openNode is a node with the log and store below it.
type openNode struct {
	*eventstore.Node
	settings nodeSettings
	server   *natslog.Server
	log      eventstore.Log
	store    *badgerstore.Store
	aside    *badgerstore.Aside
	photos   *photo.Store
}

// nodeOptions are the choices of one run.
type nodeOptions struct {
	minFree  uint64
	logger   *slog.Logger
	fatal    func(error)
	progress func(done, total eventstore.Sequence)
	clock    func() time.Time // nil: time.Now
}

// logConfig starts the embedded server where the log lies in the folder.
func (s nodeSettings) logConfig(dir string, logger *slog.Logger) (natslog.Config, error) {
	cfg := natslog.Config{Coop: s.Coop, Logger: logger}
	if s.Log != nil {
		cfg.URL, cfg.CAFile, cfg.CertFile, cfg.KeyFile = s.Log.URL, s.Log.CA, s.Log.Cert, s.Log.Key
		cfg.CredentialsFile, cfg.NKeySeedFile, cfg.Replicas = s.Log.Credentials, s.Log.Seed, s.Log.Replicas
		return cfg, nil
	}
	server, err := natslog.StartServer(natslog.Options{StoreDir: logDir(dir), Logger: logger})
	if err != nil {
		if errors.Is(err, natslog.ErrInUse) {
			return cfg, inUse(dir)
		}
		return cfg, fmt.Errorf("couldn't start the log: %w", err)
	}
	cfg.Server = server
	return cfg, nil
}

func inUse(dir string) *failure {
	return &failure{
		Exit: exitUnreachable, Reason: "IN_USE", Field: "--data",
		Message: dir + " is in use by a running node",
		Hint:    "stop it first, or ask it over the network with --server",
	}
}

// openData opens the node in a folder. A store that can't be trusted is set
// aside and built again from the log, before this returns.
func openData(ctx context.Context, dir string, o nodeOptions) (n *openNode, err error) {
	settings, err := readSettings(dir)
	if err != nil {
		return nil, err
	}
	if o.logger == nil {
		o.logger = slog.New(slog.DiscardHandler)
	}
	n = &openNode{settings: settings}
	defer func(opened *openNode) {
		if err != nil {
			err = errors.Join(err, opened.Close())
		}
	}(n)
	logConfig, err := settings.logConfig(dir, o.logger)
	if err != nil {
		return nil, err
	}
	n.server = logConfig.Server
	if n.log, err = openLog(ctx, logConfig); err != nil {
		return nil, err
	}
	if n.store, n.aside, err = badgerstore.Open(badgerstore.Options{Dir: storeDir(dir), Logger: o.logger}); err != nil {
		if !errors.Is(err, eventstore.ErrCorrupt) {
			return nil, fmt.Errorf("couldn't open the store: %w", err)
		}
		return nil, &failure{
			Exit: exitUnverified, Reason: "STORE_DAMAGED", Field: storeDir(dir), Message: err.Error(), Err: err,
			Hint: "seamshare rebuild sets it aside and makes it again from the log",
		}
	}
	if n.photos, err = photo.Open(photosDir(dir)); err != nil {
		return nil, err
	}
	signer, err := openSigner(dir)
	if err != nil {
		return nil, err
	}
	n.Node, err = eventstore.Open(ctx, eventstore.Config{
		Coop: settings.Coop, Name: settings.Name, Log: n.log, Store: n.store,
		Codec: eventstore.NewCodec(stream.Events()...), Views: view.All(), Signer: signer,
		Free: func() (uint64, error) { return freeBytes(dir) }, MinFree: o.minFree,
		Logger: o.logger, Fatal: o.fatal, Progress: o.progress, Clock: o.clock,
	})
	switch {
	case errors.Is(err, eventstore.ErrNoLog):
		return nil, &failure{
			Exit: exitUnverified, Reason: "LOG_MISSING", Field: "--data", Message: "the log of co-op " + settings.Coop + " is not there, and the store holds no copy", Err: err,
			Hint: "it is never made again by itself: bring back its files, or restore a backup into a new folder",
		}
	case err != nil:
		return nil, fmt.Errorf("couldn't open the node: %w", err)
	}
	return n, nil
}

// openSigner opens the folder's signer; a node that joined others has none.
func openSigner(dir string) (*merkle.Signer, error) {
	signer, err := merkle.OpenSigner(merkle.SignerFiles{Dir: signerDir(dir)})
	if errors.Is(err, merkle.ErrNoSigner) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("couldn't open the signer: %w", err)
	}
	return signer, nil
}

// Close closes what is open, the node first.
func (n *openNode) Close() error {
	var errs []error
	if n.Node != nil {
		n.Node.Close()
	}
	if n.store != nil {
		errs = append(errs, n.store.Close())
	}
	if n.log != nil {
		errs = append(errs, n.log.Close())
	}
	if n.server != nil {
		n.server.Close()
	}
	return errors.Join(errs...)
}

// freeBytes is what an ordinary user may still write below dir.
func freeBytes(dir string) (uint64, error) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return 0, fmt.Errorf("couldn't ask for the free space below %s: %w", dir, err)
	}
	return s.Bavail * uint64(s.Bsize), nil
}
