package piecelist_test

import (
	"errors"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"seamshare.example/cmd/seamshare/internal/piecelist"
)

// Whatever is in the file: it is refused with words, or every piece keeps the rules.
func FuzzRead(f *testing.F) {
	for _, s := range []string{
		header + "1,34.20,46,31,14,boulder,Claim 4,2,seen\n", "\ufeff" + header, "label;mass_g\n", "\"", "", "\xff\xfe", header + "1,1e9,,,,solid,,,",
		header + "1,-0.1,,,,solid,,,\n1,NaN,,,,x,,,\n", header + "=1,1,,,,solid,,,\"\n\"", "label,mass_oz_t,kind\na,1.5,solid\n", "label,mass_g,kind\r\na,1,solid\r\n\r\n",
		"label,mass_g,kind\na,1,solid\rb,1,solid", header + "1,0.0000001,,,,solid,,,",
	} {
		f.Add([]byte(s), false)
	}
	f.Fuzz(func(t *testing.T, data []byte, bom bool) {
		pieces, err := piecelist.Read(strings.NewReader(string(data)), piecelist.Options{ByteOrderMark: bom})
		if err != nil {
			var problems piecelist.Problems
			if !errors.As(err, &problems) || len(problems) == 0 || pieces != nil {
				t.Fatalf("refused with %v", err)
			}
			for _, p := range problems {
				if p.Rule == "" || !utf8.ValidString(p.String()) || len(p.String()) > 2000 {
					t.Fatalf("refused with %q", p)
				}
			}
			return
		}
		if len(pieces) == 0 || len(pieces) > piecelist.MaxPieces {
			t.Fatalf("%d pieces", len(pieces))
		}
		labels := map[string]bool{}
		for _, p := range pieces {
			if labels[p.Label] || p.Label == "" || p.Mass <= 0 || p.Kind < piecelist.Solid || p.Kind > piecelist.Matrix || p.Count < 1 || p.Line < 2 {
				t.Fatalf("read %+v", p)
			}
			labels[p.Label] = true
			if p.Size != nil && (p.Size.Length <= 0 || p.Size.Width <= 0 || p.Size.Depth <= 0) {
				t.Fatalf("read %+v", p)
			}
			for _, text := range []string{p.Label, p.Claim, p.Seen} {
				if strings.IndexFunc(text, unicode.IsControl) >= 0 || strings.HasPrefix(text, "=") || strings.HasPrefix(text, "@") || !utf8.ValidString(text) {
					t.Fatalf("text %q got through", text)
				}
			}
		}
	})
}
