package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"seamshare.example/eventstore/merkle"
	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/access"
)

// profile is what sign-in remembers, so that nobody retypes it. It holds no secret: the key stays in its own file.
type profile struct {
	Server string `json:"server"`
	CoopID string `json:"coop"`
	Person string `json:"person"`
	Member string `json:"member"`
	Key    string `json:"key"` // the file
	CA     string `json:"ca,omitempty"`
}

func (s *session) profilePath() string { return filepath.Join(s.dataDir, "profile.json") }

// readProfile gives the zero profile where there is none.
func (s *session) readProfile() (profile, error) {
	data, err := os.ReadFile(s.profilePath())
	if errors.Is(err, fs.ErrNotExist) {
		return profile{}, nil
	}
	if err != nil {
		return profile{}, fmt.Errorf("couldn't read your sign-in: %w", err)
	}
	var p profile
	decoder := json.NewDecoder(strings.NewReader(string(data)))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&p); err != nil {
		return profile{}, wrongInput(s.profilePath(), "sign in again: seamshare sign-in --help", "can't be read: %v", err)
	}
	return p, nil
}

// writeProfile replaces the profile as a whole; a crash leaves the old one. Files are named in full, so that it holds
// wherever later commands are typed.
func (s *session) writeProfile(p profile) error {
	for _, file := range []*string{&p.Key, &p.CA} {
		if *file == "" {
			continue
		}
		full, err := filepath.Abs(*file)
		if err != nil {
			return fmt.Errorf("couldn't find %s: %w", *file, err)
		}
		*file = full
	}
	if err := os.MkdirAll(s.dataDir, 0o700); err != nil {
		return fmt.Errorf("couldn't make the folder for your sign-in: %w", err)
	}
	data, err := json.MarshalIndent(p, "", "  ")
	if err != nil {
		return fmt.Errorf("couldn't write your sign-in: %w", err)
	}
	if err := merkle.WriteFile(s.profilePath(), append(data, '\n')); err != nil {
		return fmt.Errorf("couldn't write your sign-in: %w", err)
	}
	return nil
}

// signer is the profile with the flags of this run on top.
func (s *session) signer() (profile, error) {
	p, err := s.readProfile()
	if err != nil {
		return profile{}, err
	}
	for _, f := range []struct {
		value string
		into  *string
	}{{s.server, &p.Server}, {s.coop, &p.CoopID}, {s.person, &p.Person}, {s.member, &p.Member}, {s.keyFile, &p.Key}, {s.caFile, &p.CA}} {
		if f.value != "" {
			*f.into = f.value
		}
	}
	var missing []string
	for _, f := range []struct{ flag, value string }{
		{"--server", p.Server}, {"--coop", p.CoopID}, {"--person", p.Person}, {"--member", p.Member}, {"--key", p.Key},
	} {
		if f.value == "" {
			missing = append(missing, f.flag)
		}
	}
	if len(missing) > 0 {
		return profile{}, &failure{
			Exit: exitNoRight, Reason: "NOT_SIGNED_IN", Field: strings.Join(missing, ", "),
			Message: "not known: there is no sign-in in " + s.profilePath() + " that says it",
			Hint:    "sign in once (seamshare sign-in --help), or give the flags, or point --data at the folder you signed in with",
		}
	}
	return p, nil
}

func (s *session) signInCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "sign-in --server HOST:PORT --coop ID --person ID --member ID …",
		Short: "Sign in once, so that other commands know who you are",
		Long: `Checks that the node takes your key, then writes who you are to profile.json in
the --data folder, readable by you alone. The key itself stays in its file; only
the file's name is written. Flags of later commands win over what is kept here.`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			p, err := s.signer()
			if err != nil {
				return err
			}
			who, err := query(c.Context(), s, func(q call) (*coopv1.WhoAmIResponse, error) {
				return coopv1.NewAccessServiceClient(q.conn).WhoAmI(q.ctx, &coopv1.WhoAmIRequest{})
			})
			if err != nil {
				return err
			}
			if err := s.writeProfile(p); err != nil {
				return err
			}
			return s.answer(who, func(w io.Writer) error {
				say(w, "Signed in. It is kept in %s.", s.profilePath())
				return printWho(w, who)
			})
		},
	}
}

func (s *session) whoamiCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "whoami",
		Short: "Show who you are signed in as",
		Args:  exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			who, err := query(c.Context(), s, func(q call) (*coopv1.WhoAmIResponse, error) {
				return coopv1.NewAccessServiceClient(q.conn).WhoAmI(q.ctx, &coopv1.WhoAmIRequest{})
			})
			if err != nil {
				return err
			}
			return s.answer(who, func(w io.Writer) error { return printWho(w, who) })
		},
	}
}

func printWho(w io.Writer, who *coopv1.WhoAmIResponse) error {
	sayLong(w, "You are %s of %s (%s) at %s.", who.GetPersonId(), plain(who.GetTradingName()), who.GetMemberId(), plain(who.GetCoopName()))
	sayLong(w, "You may act as: %s.", words(who.GetRoles()))
	return nil
}

func (s *session) tokenCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "token",
		Short: "Print a bearer token, for other programs such as curl",
		Long: `Signs in with your key and prints the bearer token that the node gives for it: good
for a quarter of an hour, for what you may do. Hand it on only over TLS, or on this
very machine.`,
		Args: exactly(),
		RunE: func(c *cobra.Command, _ []string) error {
			p, err := s.signer()
			if err != nil {
				return err
			}
			key, err := access.ReadKey(p.Key)
			if err != nil {
				return keyFailure("--key", err)
			}
			assertion, err := access.SignAssertion(key, p.Person, p.Member, p.CoopID, time.Now())
			if err != nil {
				return err
			}
			issued, err := query(c.Context(), s, func(q call) (*coopv1.IssueTokenResponse, error) {
				return coopv1.NewAccessServiceClient(q.conn).IssueToken(q.ctx, &coopv1.IssueTokenRequest{Assertion: assertion})
			})
			if err != nil {
				return err
			}
			return s.answer(issued, func(w io.Writer) error {
				say(w, "%s", issued.GetToken())
				return nil
			})
		},
	}
}
