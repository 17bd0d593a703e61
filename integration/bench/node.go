package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"syscall"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/badgerstore"
	"seamshare.example/eventstore/merkle"
	"seamshare.example/eventstore/natslog"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
)

// coopID is the co-op of the bench.
const coopID = "bench"

// node is a node of one process, put together as the program's serve does: the log in
// an embedded server that syncs each message, the store in Badger, checkpoints signed
// once a second, free space watched.
type node struct {
	*eventstore.Node
	dir    string
	server *natslog.Server
	log    *natslog.Log
	store  *badgerstore.Store
	meter  *meter
}

func logDir(dir string) string    { return filepath.Join(dir, "log") }
func storeDir(dir string) string  { return filepath.Join(dir, "store") }
func signerDir(dir string) string { return filepath.Join(dir, "signer") }

// createNode makes an empty log and opens its node.
func createNode(ctx context.Context, dir string) (*node, error) {
	if err := os.MkdirAll(signerDir(dir), 0o700); err != nil {
		return nil, fmt.Errorf("couldn't make the node's directory: %w", err)
	}
	if _, err := merkle.CreateSigner(merkle.SignerFiles{Dir: signerDir(dir)}, "bench.example/log"); err != nil {
		return nil, err
	}
	return openNode(ctx, dir, nodeOptions{create: true})
}

type nodeOptions struct {
	create   bool
	progress func(done, total eventstore.Sequence)
	spool    *spool // nil: what the store writes is only counted
}

// openNode opens the node in a directory, which brings its store level with its log.
func openNode(ctx context.Context, dir string, o nodeOptions) (_ *node, err error) {
	n := &node{dir: dir}
	defer func() {
		if err != nil {
			err = errors.Join(err, n.close())
		}
	}()
	logger := slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	if n.server, err = natslog.StartServer(natslog.Options{StoreDir: logDir(dir), Logger: logger}); err != nil {
		return n, err
	}
	cfg := natslog.Config{Server: n.server, Coop: coopID}
	if o.create {
		if err := natslog.Create(ctx, cfg); err != nil {
			return n, err
		}
	}
	if n.log, err = natslog.Open(ctx, cfg); err != nil {
		return n, err
	}
	if n.store, _, err = badgerstore.Open(badgerstore.Options{Dir: storeDir(dir), Logger: logger}); err != nil {
		return n, err
	}
	n.meter = &meter{Store: n.store, spool: o.spool}
	signer, err := merkle.OpenSigner(merkle.SignerFiles{Dir: signerDir(dir)})
	if err != nil {
		return n, err
	}
	n.Node, err = eventstore.Open(ctx, eventstore.Config{
		Coop: coopID, Name: "bench", Log: n.log, Store: n.meter,
		Codec: eventstore.NewCodec(stream.Events()...), Views: view.All(), Signer: signer, Logger: logger,
		Free: func() (uint64, error) { return freeBytes(dir) }, MinFree: 256 << 20,
		Fatal:    func(err error) { logger.Error("storage failed", "error", err) },
		Progress: o.progress,
	})
	if err != nil {
		return n, err
	}
	if t := n.Trouble(); t != nil {
		return n, t
	}
	return n, nil
}

func freeBytes(dir string) (uint64, error) {
	var fs syscall.Statfs_t
	if err := syscall.Statfs(dir, &fs); err != nil {
		return 0, err
	}
	return fs.Bavail * uint64(fs.Bsize), nil
}

// close stops all that was opened, in the order of serve.
func (n *node) close() (err error) {
	if n.Node != nil {
		n.Close()
	}
	if n.store != nil {
		err = n.store.Close()
	}
	if n.log != nil {
		err = errors.Join(err, n.log.Close())
	}
	if n.server != nil {
		n.server.Close()
	}
	return err
}
