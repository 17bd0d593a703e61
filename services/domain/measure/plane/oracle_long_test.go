//go:build long

package plane_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"os/exec"
	"testing"
	"time"
)

var update = flag.Bool("update", false, "write testdata/oracle.json anew")

// Fresh pieces each time, so that it finds more with every run; the seed repeats them.
// Needs Debian's python3-shapely.
func TestOracleOnFreshPieces(t *testing.T) {
	seed, n := uint64(time.Now().UnixNano()), 2_000
	if *update {
		seed, n = 1, 60
	}
	cases := oracleCases(seed, n)
	question, err := json.Marshal(cases)
	if err != nil {
		t.Fatal(err)
	}
	python := exec.Command("/usr/bin/python3", "testdata/oracle.py")
	python.Stdin = bytes.NewReader(question)
	python.Stderr = os.Stderr
	said, err := python.Output()
	if err != nil {
		t.Fatalf("python3 with shapely is needed (Debian: python3-shapely): %v", err)
	}
	var answers []oracleAnswer
	if err := json.Unmarshal(said, &answers); err != nil {
		t.Fatal(err)
	}
	for i, c := range cases {
		holdTo(t, i, c, answers[i])
	}
	if t.Failed() {
		t.Logf("seed %d", seed)
	}
	if *update && !t.Failed() {
		text, err := json.Marshal(oracleFile{"testdata/oracle.py with shapely 1.8.5 on GEOS 3.11.1; nm and nm²", cases, answers})
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile("testdata/oracle.json", append(text, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
