package table_test

import (
	"strings"
	"testing"

	"github.com/rivo/uniseg"
	"pgregory.net/rapid"

	"seamshare.example/cmd/seamshare/internal/table"
)

func write(t interface{ Fatal(...any) }, tab *table.Table) string {
	var b strings.Builder
	if _, err := tab.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestTable(t *testing.T) {
	tab := table.New(table.Column{Title: "piece"}, table.Column{Title: "mass", Right: true}, table.Column{Title: "seen", Wrap: true})
	tab.Row("1", "34.20 g", "half of a boulder split along a flat seam; a bright zone about 34 × 14 mm, pale around it")
	tab.Row("10", "8.95 g", "plain")
	want := `  piece     mass  seen
  -----  -------  --------------------------------------------------------------
  1      34.20 g  half of a boulder split along a flat seam; a bright zone about
                  34 × 14 mm, pale around it
  10      8.95 g  plain
`
	if got := write(t, tab); got != want {
		t.Errorf("printed\n%s\nwant\n%s", got, want)
	}
}

func TestTableKeepsTerminalsSafe(t *testing.T) {
	tab := table.New(table.Column{Title: "note"})
	tab.Row("red\x1b[31m\rover\u202eleft\u009b2J")
	if got := write(t, tab); strings.ContainsAny(got, "\x1b\r\u202e\u009b") {
		t.Errorf("printed %q", got)
	}
}

// Whatever is in the cells: no line is wider than the page where every column wraps, and no word is lost.
func TestTableFitsThePage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 7).Draw(t, "columns")
		columns := make([]table.Column, n)
		for i := range columns {
			columns[i] = table.Column{Title: "c", Wrap: true, Right: rapid.Bool().Draw(t, "right")}
		}
		tab := table.New(columns...)
		cell := rapid.StringMatching(`[a-zé×]{0,90}( [a-zé×]{0,12}){0,6}`)
		letters := 0
		for range rapid.IntRange(0, 4).Draw(t, "rows") {
			cells := rapid.SliceOfN(cell, n, n).Draw(t, "cells")
			for _, c := range cells {
				letters += uniseg.GraphemeClusterCount(strings.ReplaceAll(c, " ", ""))
			}
			tab.Row(cells...)
		}
		got := write(t, tab)
		lines := strings.Split(strings.TrimSuffix(got, "\n"), "\n")
		for _, line := range lines {
			if w := uniseg.StringWidth(line); w > table.Width {
				t.Fatalf("a line is %d wide: %q", w, line)
			}
		}
		body := strings.NewReplacer(" ", "", "\n", "").Replace(strings.Join(lines[2:], ""))
		if uniseg.GraphemeClusterCount(body) != letters {
			t.Fatalf("%d letters printed of %d:\n%s", uniseg.GraphemeClusterCount(body), letters, got)
		}
	})
}
