package main

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"github.com/spf13/cobra"

	"seamshare.example/services/access"
)

// publicBlock is the label of a PKIX public key in PEM (RFC 7468, section 13).
const publicBlock = "PUBLIC KEY"

func (s *session) keyCommand() *cobra.Command {
	newKey := &cobra.Command{
		Use:   "new FILE",
		Short: "Make a key: FILE for you alone, FILE.pub for the registrar",
		Args:  exactly("FILE"),
		RunE: func(_ *cobra.Command, args []string) error {
			if _, err := makeKey(args[0]); err != nil {
				return err
			}
			return s.document(keyFiles{args[0], args[0] + ".pub"}, func(w io.Writer) error {
				say(w, "Your key is in %s. Keep it; nobody else may have it.", args[0])
				say(w, "Give %s.pub to the co-op's registrar.", args[0])
				return nil
			})
		},
	}
	show := &cobra.Command{
		Use:   "show FILE",
		Short: "Print the public half of a key",
		Args:  exactly("FILE"),
		RunE: func(_ *cobra.Command, args []string) error {
			key, err := access.ReadKey(args[0])
			if err != nil {
				return keyFailure("FILE", err)
			}
			pem, err := publicPEM(key.Public().(ed25519.PublicKey))
			if err != nil {
				return err
			}
			return s.document(publicKey{string(pem)}, func(w io.Writer) error {
				_, err := w.Write(pem)
				return err
			})
		},
	}
	c := group("key", "Keys that people sign in with", newKey, show)
	c.AddCommand(s.keyDeskCommands()...)
	return c
}

type keyFiles struct {
	Key       string `json:"key"`
	PublicKey string `json:"public_key"`
}

type publicKey struct {
	PublicKey string `json:"public_key"`
}

func (s *session) personKey(publicKey, newKey string) (ed25519.PublicKey, error) {
	switch {
	case (publicKey == "") == (newKey == ""):
		return nil, wrongUsage("--public-key, --new-key", "give the file with their public key, or a new file for a key made here", "exactly one of the two is needed")
	case publicKey != "":
		key, err := s.readPublicKey(publicKey)
		return key, keyFailure("--public-key", err)
	}
	return makeKey(newKey)
}

// makeKey writes a new key to file and its public half to file.pub. A crash between the two leaves the key alone; key
// show prints its public half.
func makeKey(file string) (ed25519.PublicKey, error) {
	private, err := access.NewKey()
	if err != nil {
		return nil, err
	}
	if err := access.WriteKey(file, private); err != nil {
		return nil, err
	}
	public := private.Public().(ed25519.PublicKey)
	text, err := publicPEM(public)
	if err != nil {
		return nil, err
	}
	return public, writeNewFile(file+".pub", text)
}

func publicPEM(key ed25519.PublicKey) ([]byte, error) {
	der, err := x509.MarshalPKIXPublicKey(key)
	if err != nil {
		return nil, fmt.Errorf("couldn't encode the public key: %w", err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: publicBlock, Bytes: der}), nil
}

// readPublicKey reads what makeKey wrote.
func (s *session) readPublicKey(path string) (ed25519.PublicKey, error) {
	data, err := s.readInput(path, 16<<10)
	if err != nil {
		return nil, err
	}
	block, _ := pem.Decode(data)
	if block == nil || block.Type != publicBlock {
		return nil, fmt.Errorf("%s must hold one PEM block %q", path, publicBlock)
	}
	parsed, err := x509.ParsePKIXPublicKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("couldn't read %s: %w", path, err)
	}
	key, ok := parsed.(ed25519.PublicKey)
	if !ok {
		return nil, fmt.Errorf("%s holds another kind of key than Ed25519", path)
	}
	return key, nil
}

// keyFailure says which key file can't be used.
func keyFailure(flag string, err error) error {
	if _, ours := errors.AsType[*failure](err); err == nil || ours {
		return err
	}
	if _, file := errors.AsType[*fs.PathError](err); file {
		return err
	}
	return &failure{Exit: exitUsage, Reason: "WRONG_INPUT", Field: flag, Message: err.Error(), Hint: "seamshare key new FILE makes a key", Err: err}
}
