package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"seamshare.example/services/access"
)

const (
	defaultListen = "127.0.0.1:7400"
	defaultHTTP   = "127.0.0.1:7480"
	// lowestMinFree is what one full commit and one flush of the store need:
	// below it a full disk could end the process in the middle of a write.
	lowestMinFree = 192 << 20
)

func (s *session) serveCommand() *cobra.Command {
	var cert, key string
	var minFreeMiB uint64
	cfg := nodeConfig{}
	c := &cobra.Command{
		Use:   "serve",
		Short: "Run the co-op's node",
		Long: `serve opens the node in --data and answers gRPC and, beside it, JSON over HTTP,
until it is interrupted. An OK means that what was recorded is synced to disk.

Off 127.0.0.1 it serves with TLS only: bearer tokens never travel in plain text.
When free space falls below --min-free-mib, writes are refused and reads go on.
When what is stored is found damaged, serve goes on running but works no more until
somebody has looked; seamshare status says what was found. When a write itself
fails, serve ends with exit code 74; the next start checks everything.`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			if minFreeMiB<<20 < lowestMinFree {
				return wrongUsage("--min-free-mib", "give a larger number", "%d is below the %d MiB that one write may need", minFreeMiB, lowestMinFree>>20)
			}
			cfg.dir, cfg.minFree = s.dataDir, minFreeMiB<<20
			if (cert == "") != (key == "") {
				missing, given := "--tls-key", "--tls-cert"
				if cert == "" {
					missing, given = given, missing
				}
				return wrongUsage(missing, "give both, each as a PEM file", "is needed with %s: TLS takes a certificate and its key", given)
			}
			if cert != "" {
				var err error
				if cfg.tls, err = access.ServerTLS(cert, key); err != nil {
					return wrongInput("--tls-cert", "give both the certificate and its key as PEM files", "%v", err)
				}
			}
			return s.serve(c.Context(), cfg)
		},
	}
	flags := c.Flags()
	flags.StringVar(&cfg.listen, "listen", defaultListen, "the `address` for gRPC")
	flags.StringVar(&cfg.http, "http", defaultHTTP, "the `address` for JSON over HTTP; empty: none")
	flags.StringVar(&cert, "tls-cert", "", "the PEM `file` of the node's certificate")
	flags.StringVar(&key, "tls-key", "", "the PEM `file` of its private key")
	flags.Uint64Var(&minFreeMiB, "min-free-mib", 2048, "refuse writes when fewer `MiB` are free")
	return c
}

// serving is what serve prints when it is ready.
type serving struct {
	Coop     string `json:"coop"`
	GRPC     string `json:"grpc"`
	HTTP     string `json:"http,omitempty"`
	Position uint64 `json:"position"`
	Trouble  string `json:"trouble,omitempty"`
}

// serve runs until ctx ends or the storage fails.
func (s *session) serve(ctx context.Context, cfg nodeConfig) (err error) {
	fatal := make(chan error, 1)
	var once sync.Once
	cfg.fatal = func(err error) { once.Do(func() { fatal <- err }) }
	cfg.logger = slog.New(slog.NewTextHandler(s.stderr, &slog.HandlerOptions{Level: slog.LevelInfo}))
	bar := s.progress("applying the log")
	cfg.progress = bar.sequence
	r, err := startNode(ctx, cfg)
	bar.done()
	if err != nil {
		return err
	}
	if a := r.setAside(); a != nil {
		fmt.Fprintf(s.stderr, "The store was built anew from the log, as %s; the old one is in %s.\n", a.Why, a.Dir)
	}
	ready := serving{Coop: r.node.settings.Coop, GRPC: r.grpcAt, HTTP: r.httpAt, Position: uint64(r.node.Checkpoint().Position)}
	if t := r.node.Trouble(); t != nil {
		ready.Trouble = t.Error()
	}
	err = s.document(ready, func(w io.Writer) error {
		var on []string
		for _, l := range []struct{ what, at string }{{"gRPC on ", ready.GRPC}, {"HTTP on ", ready.HTTP}} {
			if l.at != "" {
				on = append(on, l.what+l.at)
			}
		}
		if len(on) == 0 {
			on = []string{"only this machine's own socket"}
		}
		say(w, "Co-op %s at record %d: %s.", ready.Coop, ready.Position, strings.Join(on, ", "))
		if ready.Trouble != "" {
			say(w, "It refuses to work: %s", ready.Trouble)
		}
		return nil
	})
	if err != nil {
		return errors.Join(err, r.Close())
	}
	select {
	case <-ctx.Done():
		return r.Close()
	case err := <-r.stopped:
		return errors.Join(err, r.Close())
	case err := <-fatal:
		// What is on disk is not known any more: nothing is flushed, and the
		// process ends at once.
		return &failure{
			Exit: exitStorage, Reason: "STORAGE", Message: err.Error(), Err: err,
			Hint: "check the disk, then start again: the node checks everything before it serves",
		}
	}
}
