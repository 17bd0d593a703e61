// Package table prints rows of text for a terminal of 80 columns: cells that are too long go on over several lines,
// nothing is cut off.
package table

import (
	"io"
	"strings"

	"github.com/rivo/uniseg"
)

// Width is how wide a table is at most.
const Width = 80

const gap = "  "

// Column is one column of a table.
type Column struct {
	Title string
	// Right puts the cells at the column's right side, as numbers want.
	Right bool
	// Wrap lets the column become narrower than its cells, by breaking them at spaces; an over-long word is broken too.
	Wrap bool
}

// Table is a heading and rows under it.
type Table struct {
	columns []Column
	rows    [][]string
}

// New starts a table.
func New(columns ...Column) *Table { return &Table{columns: columns} }

// Row adds a row. Cells that are missing stay empty; more than there are columns are a mistake of the caller's, and the
// program stops.
func (t *Table) Row(cells ...string) {
	if len(cells) > len(t.columns) {
		panic("table: a row has more cells than the table has columns")
	}
	row := make([]string, len(t.columns))
	for i, cell := range cells {
		row[i] = OneLine(cell)
	}
	t.rows = append(t.rows, row)
}

// OneLine keeps what others wrote from moving the cursor or colouring the terminal.
func OneLine(cell string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069:
			return -1
		}
		return r
	}, cell)
}

// WriteTo prints the table, each line indented by two spaces.
func (t *Table) WriteTo(w io.Writer) (int64, error) {
	widths := t.widths()
	var b strings.Builder
	titles := make([]string, len(t.columns))
	rules := make([]string, len(t.columns))
	for i, c := range t.columns {
		titles[i], rules[i] = c.Title, strings.Repeat("-", widths[i])
	}
	t.line(&b, widths, titles)
	t.line(&b, widths, rules)
	for _, row := range t.rows {
		t.line(&b, widths, row)
	}
	n, err := io.WriteString(w, b.String())
	return int64(n), err
}

// widths gives each column what its longest cell needs, and takes what is too much from the widest columns that wrap.
func (t *Table) widths() []int {
	widths := make([]int, len(t.columns))
	for i, c := range t.columns {
		widths[i] = uniseg.StringWidth(c.Title)
		for _, row := range t.rows {
			widths[i] = max(widths[i], uniseg.StringWidth(row[i]))
		}
	}
	const least = 8
	for total(widths) > Width {
		widest := -1
		for i, c := range t.columns {
			if c.Wrap && widths[i] > least && (widest < 0 || widths[i] > widths[widest]) {
				widest = i
			}
		}
		if widest < 0 {
			break // nothing more can give way; the table is wider
		}
		widths[widest]--
	}
	return widths
}

func total(widths []int) int {
	sum := len(gap) * len(widths) // the indent counts as one more gap
	for _, w := range widths {
		sum += w
	}
	return sum
}

func (t *Table) line(b *strings.Builder, widths []int, cells []string) {
	parts := make([][]string, len(cells))
	height := 1
	for i, cell := range cells {
		parts[i] = []string{cell}
		if uniseg.StringWidth(cell) > widths[i] {
			parts[i] = Break(cell, widths[i])
		}
		height = max(height, len(parts[i]))
	}
	for k := range height {
		var line strings.Builder
		for i := range cells {
			part := ""
			if k < len(parts[i]) {
				part = parts[i][k]
			}
			pad := strings.Repeat(" ", max(0, widths[i]-uniseg.StringWidth(part)))
			line.WriteString(gap)
			if t.columns[i].Right {
				line.WriteString(pad + part)
			} else {
				line.WriteString(part + pad)
			}
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
}

// Break breaks text into lines of at most width columns.
func Break(text string, width int) []string {
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(text) {
		for uniseg.StringWidth(word) > width {
			head, rest := cut(word, width)
			if line != "" {
				lines = append(lines, line)
				line = ""
			}
			lines = append(lines, head)
			word = rest
		}
		switch {
		case word == "":
		case line == "":
			line = word
		case uniseg.StringWidth(line)+1+uniseg.StringWidth(word) <= width:
			line += " " + word
		default:
			lines = append(lines, line)
			line = word
		}
	}
	if line != "" || lines == nil {
		lines = append(lines, line)
	}
	return lines
}

// cut takes the first clusters of a word that fit, at least one.
func cut(word string, width int) (head, rest string) {
	used := 0
	g := uniseg.NewGraphemes(word)
	for g.Next() {
		from, _ := g.Positions()
		if used+g.Width() > width && from > 0 {
			return word[:from], word[from:]
		}
		used += g.Width()
	}
	return word, ""
}

// Paragraph prints text broken to the width of a page.
func Paragraph(w io.Writer, text string) error {
	_, err := io.WriteString(w, strings.Join(Break(text, Width-2), "\n")+"\n")
	return err
}
