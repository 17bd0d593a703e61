package natslog_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/natslog"
)

// startCluster starts three servers as an operator would, and returns them with
// the URLs of all.
func startCluster(t *testing.T) ([]*server.Server, string) {
	t.Helper()
	var (
		servers []*server.Server
		urls    []string
		doors   []*proxy // to the servers' routes, whose ports aren't known before they run
		routes  []*url.URL
	)
	for range 3 {
		door := newProxy(t, "")
		doors = append(doors, door)
		routes = append(routes, &url.URL{Scheme: "nats", Host: door.listener.Addr().String()})
	}
	for i, door := range doors {
		ns, err := server.NewServer(&server.Options{
			ServerName: fmt.Sprintf("n%d", i), Host: "127.0.0.1", Port: server.RANDOM_PORT,
			JetStream: true, StoreDir: t.TempDir(), SyncAlways: true, NoSigs: true, NoLog: true,
			Cluster: server.ClusterOpts{Name: "test", Host: "127.0.0.1", Port: server.RANDOM_PORT},
			Routes:  routes,
		})
		if err != nil {
			t.Fatal(err)
		}
		ns.Start()
		t.Cleanup(func() { ns.Shutdown(); ns.WaitForShutdown() })
		if !ns.ReadyForConnections(limit) {
			t.Fatal("a server of the cluster isn't ready")
		}
		servers = append(servers, ns)
		urls = append(urls, ns.ClientURL())
		door.aim(ns.ClusterAddr().String())
	}
	return servers, strings.Join(urls, ",")
}

func TestCluster(t *testing.T) {
	servers, urls := startCluster(t)
	cfg := natslog.Config{URL: urls, Coop: coop, Replicas: 3}
	// The cluster needs a while to agree on a leader; until then it refuses, or
	// does not answer.
	ctx := testContext(t)
	createSoon := func() error {
		ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
		defer cancel()
		return natslog.Create(ctx, cfg)
	}
	err := createSoon()
	for err != nil && !errors.Is(err, natslog.ErrExists) && ctx.Err() == nil {
		err = createSoon()
	}
	if err != nil && !errors.Is(err, natslog.ErrExists) {
		t.Fatal(err)
	}
	nodes := []*natslog.Log{open(t, natslog.Config{URL: urls, Replicas: 3}), open(t, natslog.Config{URL: urls, Replicas: 3})}
	f := follow(t, nodes[0], 0)

	const before, after = 30, 40
	for seq := range before {
		var (
			wg   sync.WaitGroup
			errs [2]error
		)
		for i, node := range nodes {
			wg.Go(func() {
				errs[i] = node.Publish(ctx, eventstore.Sequence(seq), commitID(100*i+seq), commitData(seq+1))
			})
		}
		wg.Wait()
		wins := 0
		for _, err := range errs {
			if err == nil {
				wins++
			} else if !errors.Is(err, eventstore.ErrConflict) {
				t.Fatal(err)
			}
		}
		if wins != 1 {
			t.Fatalf("sequence %d: got %v", seq+1, errs)
		}
	}
	// Whether told of a duplicate or of a conflict, a repeat stores nothing.
	settle(t, nodes[1], before)
	if status := expectStatus(t, nodes[1], before); len(status.Wrong) != 0 {
		t.Fatalf("wrong settings: %q", status.Wrong)
	}
	expectNext(t, f, 0, before)

	// One server goes, whether it leads or not.
	servers[0].Shutdown()
	servers[0].WaitForShutdown()
	for n := before + 1; n <= after; n++ {
		settle(t, nodes[0], n)
	}
	expectNext(t, f, before, after)
	expectStatus(t, nodes[1], after)
}

// A server elsewhere wants TLS and knows the client by its nkey.
func TestTLSAndNKey(t *testing.T) {
	dir := t.TempDir()
	caFile, pair := selfSigned(t, dir)
	user, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	public, err := user.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	seed, err := user.Seed()
	if err != nil {
		t.Fatal(err)
	}
	seedFile := filepath.Join(dir, "seed")
	if err := os.WriteFile(seedFile, seed, 0o600); err != nil {
		t.Fatal(err)
	}
	ns, err := server.NewServer(&server.Options{
		Host: "127.0.0.1", Port: server.RANDOM_PORT, JetStream: true, StoreDir: t.TempDir(), SyncAlways: true,
		NoSigs: true, NoLog: true, TLS: true, TLSTimeout: 10,
		TLSConfig: &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12},
		Nkeys:     []*server.NkeyUser{{Nkey: public}},
	})
	if err != nil {
		t.Fatal(err)
	}
	ns.Start()
	t.Cleanup(func() { ns.Shutdown(); ns.WaitForShutdown() })
	if !ns.ReadyForConnections(limit) {
		t.Fatal("the server isn't ready")
	}

	good := natslog.Config{URL: ns.ClientURL(), CAFile: caFile, NKeySeedFile: seedFile, Coop: coop}
	if err := natslog.Create(testContext(t), good); err != nil {
		t.Fatal(err)
	}
	l := open(t, good)
	fill(t, l, 0, 3)
	expectNext(t, follow(t, l, 0), 0, 3)

	for name, cfg := range map[string]natslog.Config{
		"no nkey":              {URL: ns.ClientURL(), CAFile: caFile, Coop: coop},
		"an unknown authority": {URL: ns.ClientURL(), NKeySeedFile: seedFile, Coop: coop},
		"no seed in the file":  {URL: ns.ClientURL(), CAFile: caFile, NKeySeedFile: caFile, Coop: coop},
		"no such seed file":    {URL: ns.ClientURL(), CAFile: caFile, NKeySeedFile: seedFile + ".not", Coop: coop},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			if l, err := natslog.Open(testContext(t), cfg); err == nil {
				_ = l.Close()
				t.Fatal("it opened")
			}
		})
	}
}

// selfSigned makes a certificate for 127.0.0.1 that is its own authority.
func selfSigned(t *testing.T, dir string) (caFile string, pair tls.Certificate) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	caFile = filepath.Join(dir, "ca.pem")
	if err := os.WriteFile(caFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	return caFile, tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}
