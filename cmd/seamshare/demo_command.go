package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/term"
	"google.golang.org/grpc"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/access"
)

func (s *session) demoCommand() *cobra.Command {
	var pictures string
	c := &cobra.Command{
		Use:   "demo",
		Short: "Watch three invented parcels go from listing to payout",
		Long: `Starts a node of its own, founds an invented co-op in it, and plays three parcels
through: listing, viewing, haggling, handover, bench, twenty-one stones, sales, a
return, and who gets what to the cent, paid out under four eyes; then it tries doors
that must stay shut, asks a stone where it comes from, and tries to cheat. Every step
is a call as its person would make it, with their own key.

Without --data it works in a folder that is deleted at the end. With --data the
folder must be new, and stays: look at it with seamshare log, verify and serve.`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			return s.demo(c.Context(), c.Flags().Changed("data"), pictures)
		},
	}
	c.Flags().StringVar(&pictures, "pictures", "", "put the drawings and plan files in this `directory`, not in a new one in the system's for temporary files")
	return c
}

func (s *session) demo(ctx context.Context, keep bool, pictures string) (err error) {
	dir := s.dataDir
	if !keep {
		scratch, err := os.MkdirTemp("", "seamshare-demo-")
		if err != nil {
			return fmt.Errorf("couldn't make a folder for the demo: %w", err)
		}
		defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
		dir = filepath.Join(scratch, "data")
	}
	made, err := foundCoop(ctx, dir, founding{coopID: "two-fields", name: demoCoop, zone: "Australia/Brisbane", registrar: "registrar"})
	if err != nil {
		return err
	}
	verifier, err := note.NewVerifier(made.Verifier)
	if err != nil {
		return fmt.Errorf("couldn't read the co-op's verifier key: %w", err)
	}
	d := &demo{
		ctx: ctx, verifier: verifier, coopID: made.Coop, story: s.stdout, bar: s.demoProgress(),
		people: map[string]*actor{}, names: map[string]string{}, called: map[string]string{}, fields: map[string]string{}, claims: map[string]string{},
		parcels: map[string]*typev1.Parcel{}, pieces: map[string]*typev1.Piece{}, stones: map[string]*demoGoods{}, decisions: map[string]string{}, report: demoReport{Pictures: []string{}},
	}
	if s.json {
		d.story = io.Discard
	}
	if d.pictures, err = s.demoPictures(pictures); err != nil {
		return err
	}
	if err := d.playAt(dir, made); err != nil {
		return err
	}
	if err := d.act("A copy that somebody changed", func() error { return d.forge(dir) }); err != nil {
		return err
	}
	if s.json {
		return writeJSON(s.stdout, d.report)
	}
	say(s.stdout, "")
	say(s.stdout, "The drawings, sheets for the bench and plan files stay in")
	say(s.stdout, "  %s", d.pictures)
	say(s.stdout, "Try one: seamshare plan %s", filepath.Join(d.pictures, "p1-3.json"))
	if keep {
		say(s.stdout, "")
		say(s.stdout, "The co-op's folder stays. Look at it:")
		for _, command := range []string{"log", "verify", "serve"} {
			say(s.stdout, "  seamshare %s --data %s", command, dir)
		}
	}
	return nil
}

// demoPictures makes the folder for the drawings; without a name none is needed for a document.
func (s *session) demoPictures(dir string) (string, error) {
	if dir == "" {
		if s.json {
			return "", nil
		}
		made, err := os.MkdirTemp("", "seamshare-pictures-")
		if err != nil {
			return "", fmt.Errorf("couldn't make a folder for the drawings: %w", err)
		}
		return made, nil
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return "", fmt.Errorf("couldn't make the folder for the drawings: %w", err)
	}
	return dir, nil
}

// playAt starts the node, plays, and stops it.
func (d *demo) playAt(dir string, made founded) (err error) {
	node, err := startNode(d.ctx, nodeConfig{dir: dir, minFree: lowestMinFree})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.close(), node.Close()) }()
	d.dial = func(as access.SignIn) (*grpc.ClientConn, error) { return node.server.SignedIn(as) }
	return d.play(made)
}

// demoProgress shows a bar only where the story itself isn't on the screen.
func (s *session) demoProgress() *progress {
	if out, ok := s.stdout.(*watchedWriter); ok {
		if f, ok := out.w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
			return &progress{}
		}
	}
	return s.progress("demo")
}
