// Package signin proves to a server who is calling: it keeps a person's key in a file, signs the assertion that the
// server wants (RFC 7523), and puts the token it gets for that on every call.
package signin

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"os"
)

const (
	privateBlock = "PRIVATE KEY"
	publicBlock  = "PUBLIC KEY"
	maxKeyFile   = 16 << 10
)

// ErrKeyFile is wrapped by every error about a key file's content or mode.
var ErrKeyFile = errors.New("not a usable key file")

// WriteKey writes an Ed25519 key as PKCS #8 in PEM to a new file that only its owner can read. It never writes over a
// file.
func WriteKey(path string, key ed25519.PrivateKey) error {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return fmt.Errorf("couldn't encode the key: %w", err)
	}
	return writeNew(path, 0o600, pem.EncodeToMemory(&pem.Block{Type: privateBlock, Bytes: der}))
}

// WritePublicKey writes the public half as PKIX in PEM to a new file.
func WritePublicKey(path string, key ed25519.PublicKey) error {
	text, err := PublicPEM(key)
	if err != nil {
		return err
	}
	return writeNew(path, 0o644, text)
}

// PublicPEM is the public key as PKIX in PEM.
func PublicPEM(key ed25519.PublicKey) ([]byte, error) {
	der, err := x509.MarshalPKIXPublicKey(key)
	if err != nil {
		return nil, fmt.Errorf("couldn't encode the public key: %w", err)
	}
	return pem.EncodeToMemory(&pem.Block{Type: publicBlock, Bytes: der}), nil
}

func writeNew(path string, mode os.FileMode, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return fmt.Errorf("couldn't write the key: %w", err)
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("couldn't write the key: %w", err)
	}
	return nil
}

// ReadKey reads what WriteKey wrote. A file that others can read is refused: its key may be known by now.
func ReadKey(path string) (ed25519.PrivateKey, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("couldn't read the key: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("%w: %s has mode %04o; only its owner may read it (chmod 600)", ErrKeyFile, path, info.Mode().Perm())
	}
	block, err := readBlock(path, privateBlock)
	if err != nil {
		return nil, err
	}
	parsed, err := x509.ParsePKCS8PrivateKey(block)
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrKeyFile, path, err)
	}
	key, ok := parsed.(ed25519.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("%w: %s holds another kind of key than Ed25519", ErrKeyFile, path)
	}
	return key, nil
}

// ReadPublicKey reads what WritePublicKey wrote.
func ReadPublicKey(path string) (ed25519.PublicKey, error) {
	block, err := readBlock(path, publicBlock)
	if err != nil {
		return nil, err
	}
	parsed, err := x509.ParsePKIXPublicKey(block)
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrKeyFile, path, err)
	}
	key, ok := parsed.(ed25519.PublicKey)
	if !ok {
		return nil, fmt.Errorf("%w: %s holds another kind of key than Ed25519", ErrKeyFile, path)
	}
	return key, nil
}

func readBlock(path, kind string) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("couldn't read the key: %w", err)
	}
	if !info.Mode().IsRegular() || info.Size() > maxKeyFile {
		return nil, fmt.Errorf("%w: %s must be a file of at most %d bytes", ErrKeyFile, path, maxKeyFile)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("couldn't read the key: %w", err)
	}
	block, _ := pem.Decode(data)
	if block == nil || block.Type != kind {
		return nil, fmt.Errorf("%w: %s must hold one PEM block %q", ErrKeyFile, path, kind)
	}
	return block.Bytes, nil
}
