package main

import (
	"encoding/json"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// newNode founds a co-op in a new folder.
func newNode(t *testing.T) (dir string, made founded) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "node")
	code, out, errs := runs(t, "init", "--data", dir, "--id", "two-fields", "--json")
	if code != exitOK {
		t.Fatalf("init ended with %d: %s", code, errs)
	}
	if err := json.Unmarshal([]byte(out), &made); err != nil {
		t.Fatal(err)
	}
	return dir, made
}

// A node that can't serve where it was told to says which flag is to blame, ends cleanly, and starts the next time.
func TestServeWhereItCant(t *testing.T) {
	dir, _ := newNode(t)
	other, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	taken := other.Addr().String()
	for name, c := range map[string]struct {
		args        []string
		field, says string
	}{
		"refused: the gRPC port is taken":             {[]string{"--listen", taken, "--http", ""}, "--listen", taken + " is taken"},
		"refused: the HTTP port is taken":             {[]string{"--listen", "127.0.0.1:0", "--http", taken}, "--http", taken + " is taken"},
		"refused: no address":                         {[]string{"--listen", "nonsense"}, "--listen", `"nonsense" has no host and port`},
		"refused: no port of this world":              {[]string{"--listen", "127.0.0.1:99999", "--http", ""}, "--listen", "127.0.0.1:99999 can't be listened on"},
		"refused: HTTP for all without TLS":           {[]string{"--listen", "127.0.0.1:0", "--http", "0.0.0.0:0"}, "--http", "without TLS"},
		"refused: gRPC for all without TLS":           {[]string{"--listen", "0.0.0.0:0", "--http", ""}, "--listen", "without TLS"},
		"refused: a certificate without its key":      {[]string{"--tls-cert", "cert.pem"}, "--tls-key", "is needed with --tls-cert"},
		"refused: a key without its certificate":      {[]string{"--tls-key", "key.pem"}, "--tls-cert", "is needed with --tls-key"},
		"refused: a folder that isn't there":          {[]string{"--data", filepath.Join(dir, "missing"), "--listen", "127.0.0.1:0", "--http", ""}, "--data", "holds no node's data"},
		"refused: a folder that isn't there, nor TLS": {[]string{"--data", filepath.Join(dir, "missing"), "--listen", "nonsense"}, "--listen", "has no host"},
	} {
		t.Run(name, func(t *testing.T) {
			code, out, errs := runs(t, append([]string{"serve", "--data", dir, "--json", "--min-free-mib", "200"}, c.args...)...)
			// The log of the run comes before the document.
			at := strings.Index(errs, "{\n")
			if at < 0 {
				t.Fatalf("ended with %d: %s", code, errs)
			}
			_, field, message, hint := errorOf(t, errs[at:])
			if code != exitUsage || out != "" || field != c.field || !strings.Contains(message, c.says) || hint == "" {
				t.Errorf("ended with %d: %s", code, errs)
			}
			if field == "--listen" && c.says != "without TLS" && strings.Contains(errs, "TLS") {
				t.Errorf("speaks of TLS: %s", errs)
			}
		})
	}
	node, err := startNode(t.Context(), nodeConfig{dir: dir, listen: "127.0.0.1:0", http: "127.0.0.1:0", minFree: lowestMinFree})
	if err != nil {
		t.Fatal(err)
	}
	if err := node.Close(); err != nil {
		t.Fatal(err)
	}
}

// A backup that can't be used is named, and called damaged only when it is.
func TestRestoreWhatCantBe(t *testing.T) {
	dir, _ := newNode(t)
	_, other := newNode(t)
	backup := filepath.Join(t.TempDir(), "books.backup")
	if code, _, errs := runs(t, "backup", "--data", dir, "--out", backup); code != exitOK {
		t.Fatalf("backup ended with %d: %s", code, errs)
	}
	whole, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	flipped := append([]byte(nil), whole...)
	flipped[len(flipped)/2] ^= 1
	for name, c := range map[string]struct {
		data []byte
		args []string
		says string
		hint string
	}{
		"refused: cut short":        {whole[:len(whole)-10], nil, "the backup is damaged", "use an older one"},
		"refused: a bit is flipped": {flipped, nil, "the backup is damaged", "use an older one"},
		"refused: something else":   {[]byte("hello"), nil, "this is not a backup", "right file"},
		"refused: another's key":    {whole, []string{"--verifier", other.Verifier}, "the key may be wrong, or another co-op's", "verifier key"},
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(t.TempDir(), "copy.backup")
			if err := os.WriteFile(file, c.data, 0o600); err != nil {
				t.Fatal(err)
			}
			code, out, errs := runs(t, append([]string{"restore", "--data", filepath.Join(t.TempDir(), "new"), "--from", file, "--json"}, c.args...)...)
			_, field, message, hint := errorOf(t, errs)
			if code != exitUnverified || out != "" || field != file || !strings.Contains(message, c.says) || !strings.Contains(hint, c.hint) {
				t.Errorf("ended with %d: %s", code, errs)
			}
			if damaged := strings.HasPrefix(c.says, "the backup is"); strings.Contains(message, "damaged") != damaged {
				t.Errorf("speaks of damage: %s", message)
			}
		})
	}
}

// rebuild with --json prints one document, in which the old store's folder stands.
func TestRebuildTellsTheOldStore(t *testing.T) {
	dir, _ := newNode(t)
	code, out, errs := runs(t, "rebuild", "--data", dir, "--json")
	var d struct {
		OldStore string `json:"old_store"`
		Verified bool
	}
	if err := json.Unmarshal([]byte(out), &d); err != nil || code != exitOK || errs != "" || !d.Verified {
		t.Fatalf("ended with %d (%v): %s %s", code, err, out, errs)
	}
	if _, err := os.Stat(d.OldStore); err != nil {
		t.Errorf("the old store: %v", err)
	}
}

func TestLogBeyondItsEnd(t *testing.T) {
	dir, _ := newNode(t)
	code, out, errs := runs(t, "log", "--data", dir, "--from", "100")
	if code != exitOK || out != "" || !strings.Contains(errs, "no record at position 100 or after it: the last one is at ") {
		t.Errorf("ended with %d: %s %s", code, out, errs)
	}
}
