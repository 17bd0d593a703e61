package access

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"os"
)

// CheckListen refuses an address where bearer tokens would travel in plaintext:
// without TLS the server listens on loopback only. The address is host:port.
func CheckListen(addr string, tls bool) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return fmt.Errorf("listen address %q is not host:port: %w", addr, err)
	}
	if tls || loopback(host) {
		return nil
	}
	if host == "" {
		host = "every address"
	}
	return fmt.Errorf("listening on %s (%q) without TLS would send tokens in plaintext: give a certificate and its key, or listen on 127.0.0.1", host, addr)
}

// loopback: an address that never leaves the machine. Names other than
// localhost are not looked up: what they mean can change.
func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// ServerTLS loads a certificate chain and its key (both PEM) for a server that
// speaks TLS 1.3 only.
func ServerTLS(certFile, keyFile string) (*tls.Config, error) {
	cert, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return nil, fmt.Errorf("couldn't load the TLS certificate %s with key %s: %w", certFile, keyFile, err)
	}
	return &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS13}, nil
}

// ClientTLS trusts the certificates in caFile (PEM), or the system's where it is
// empty, and speaks TLS 1.3 only.
func ClientTLS(caFile string) (*tls.Config, error) {
	config := &tls.Config{MinVersion: tls.VersionTLS13}
	if caFile == "" {
		return config, nil
	}
	data, err := os.ReadFile(caFile)
	if err != nil {
		return nil, fmt.Errorf("couldn't read the trusted certificates: %w", err)
	}
	config.RootCAs = x509.NewCertPool()
	if !config.RootCAs.AppendCertsFromPEM(data) {
		return nil, fmt.Errorf("%s holds no certificate in PEM", caFile)
	}
	return config, nil
}
