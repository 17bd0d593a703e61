package server_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	"seamshare.example/services/access"
	"seamshare.example/services/server"
)

// certificate writes a certificate for 127.0.0.1 that signs itself.
func certificate(t *testing.T) (cert, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, form, form, private.Public(), private)
	if err != nil {
		t.Fatal(err)
	}
	pkcs8, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for path, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: pkcs8}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key
}

func TestTLS(t *testing.T) {
	cert, key := certificate(t)
	config, err := access.ServerTLS(cert, key)
	if err != nil {
		t.Fatal(err)
	}
	trust, err := access.ClientTLS(cert)
	if err != nil {
		t.Fatal(err)
	}
	h := open(t, func(c *server.Config) { c.TLS = config })
	addr := h.listen(t)

	t.Run("OK: signed in over TLS 1.3", func(t *testing.T) {
		conn, err := access.Dial(addr, h.miner, grpc.WithTransportCredentials(credentials.NewTLS(trust)))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		who, err := coopv1.NewAccessServiceClient(conn).WhoAmI(t.Context(), &coopv1.WhoAmIRequest{})
		if err != nil || who.GetPersonId() != h.miner.Person {
			t.Fatalf("%v, %v", who, err)
		}
	})
	t.Run("refused: TLS 1.2", func(t *testing.T) {
		old := trust.Clone()
		old.MinVersion, old.MaxVersion = tls.VersionTLS12, tls.VersionTLS12
		c, err := tls.Dial("tcp", addr, old)
		if err == nil {
			c.Close()
			t.Fatal("it was taken")
		}
	})
	t.Run("refused: plaintext", func(t *testing.T) {
		conn, err := access.Dial(addr, h.miner, plain)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		if _, err := coopv1.NewAccessServiceClient(conn).WhoAmI(t.Context(), &coopv1.WhoAmIRequest{}); err == nil {
			t.Fatal("it was answered")
		}
	})
	t.Run("refused: a certificate without its key", func(t *testing.T) {
		if _, err := access.ServerTLS(cert, cert); err == nil {
			t.Fatal("it was loaded")
		}
	})
}

func TestDial(t *testing.T) {
	t.Run("refused: plaintext off loopback", func(t *testing.T) {
		key, err := access.NewKey()
		if err != nil {
			t.Fatal(err)
		}
		for _, target := range []string{"192.0.2.7:443", "dns:///coop.example:443", "passthrough:///10.0.0.1:80"} {
			conn, err := access.Dial(target, access.SignIn{Key: key, Person: "p", Member: "m", Coop: "c"}, plain)
			if err == nil {
				conn.Close()
				t.Errorf("%s was taken", target)
			}
		}
	})
	t.Run("OK: many callers at once sign in once", func(t *testing.T) {
		h := open(t)
		var signIns atomic.Int32
		count := func(ctx context.Context, method string, req, reply any, cc *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
			if strings.HasSuffix(method, "/IssueToken") {
				signIns.Add(1)
			}
			return invoke(ctx, method, req, reply, cc, opts...)
		}
		conn, err := access.Dial(h.listen(t), h.miner, plain, grpc.WithChainUnaryInterceptor(count))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		var all sync.WaitGroup
		for range 64 {
			all.Go(func() {
				if _, err := coopv1.NewAccessServiceClient(conn).WhoAmI(t.Context(), &coopv1.WhoAmIRequest{}); err != nil {
					t.Error(err)
				}
			})
		}
		all.Wait()
		if n := signIns.Load(); n != 1 {
			t.Fatalf("signed in %d times", n)
		}
	})
	t.Run("OK: signs in anew when the server no longer takes the token", func(t *testing.T) {
		h := open(t)
		key, err := access.NewKey()
		if err != nil {
			t.Fatal(err)
		}
		h.before.Store(access.NewIssuer(h.node.Coop(), key, time.Now))
		client := coopv1.NewAccessServiceClient(h.as(t, h.miner))
		if _, err := client.WhoAmI(t.Context(), &coopv1.WhoAmIRequest{}); err != nil {
			t.Fatal(err)
		}
		if h.before.Load() != nil {
			t.Fatal("the old issuer was never asked")
		}
	})
	t.Run("refused: a key that isn't the person's", func(t *testing.T) {
		h := open(t)
		as := h.miner
		as.Key = h.registrar.Key
		_, err := coopv1.NewAccessServiceClient(h.as(t, as)).WhoAmI(t.Context(), &coopv1.WhoAmIRequest{})
		refused(t, err, 16, "ASSERTION_INVALID")
	})
}
