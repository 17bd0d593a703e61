// Package piecelist reads the pieces of a parcel from a CSV file (RFC 4180) that people made in a spreadsheet or by hand.
// Units stand in the names of the columns, so that no number is ever guessed at, and everything that spreadsheets do to
// files without saying so (byte-order marks, other separators, decimal commas, formulas) is refused with what to do.
//
// A file is read up to MaxBytes and MaxPieces and no further, however long it is.
package piecelist

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"seamshare.example/services/domain/measure"
)

const (
	// MaxPieces is how many lines a parcel may have.
	MaxPieces = 400
	// MaxBytes is far above what MaxPieces lines need.
	MaxBytes = 1 << 20
	// firstRows is how many rows are read for their errors together; after them the first row with an error ends it.
	firstRows = 20
	// maxProblems keeps one bad file from filling the screen.
	maxProblems = 60
)

// Piece is one line of the file.
type Piece struct {
	Line  int // in the file, from 1
	Label string
	Mass  measure.Mass
	Size  *Size // nil where none is given: a counted lot of chips
	Kind  Kind
	Claim string // as written: a claim's id or name; empty: the field is not shown
	Count uint32 // 1 where the column is empty or absent
	Seen  string
	// Smallest and Largest are the longest dimensions of a group's smallest and largest stone; 0: not measured.
	Smallest, Largest measure.Length
	From, Part        string // the older piece's id and its part, in a list of Rough
}

// Size is a piece's three longest dimensions.
type Size struct{ Length, Width, Depth measure.Length }

// Form is what a list is for: which columns it has, and which of them each line fills.
type Form int

// The forms.
const (
	Listing  Form = iota // the lines of a parcel that is put on the market
	Draft                // the same, as far as they are known
	TakenOut             // stones taken out of a group: kind and claim are the group's
	Rough                // uncut rough and off-cuts of older pieces
)

var forms = map[Form]struct {
	example string
	known   []string // the columns besides the mass
	needed  []string // the mass is needed besides, but in a draft
}{
	Listing: {
		"label,mass_g,length_mm,width_mm,depth_mm,kind,claim,count,seen",
		[]string{"label", "length_mm", "width_mm", "depth_mm", "kind", "claim", "count", "seen", "smallest_mm", "largest_mm"},
		[]string{"label", "kind"},
	},
	Draft: {
		"label,mass_g,length_mm,width_mm,depth_mm,kind,claim,count,seen",
		[]string{"label", "length_mm", "width_mm", "depth_mm", "kind", "claim", "count", "seen", "smallest_mm", "largest_mm"},
		nil,
	},
	TakenOut: {
		"label,mass_g,length_mm,width_mm,depth_mm,seen",
		[]string{"label", "length_mm", "width_mm", "depth_mm", "seen"},
		[]string{"label", "length_mm", "width_mm", "depth_mm"},
	},
	Rough: {
		"piece,part,label,mass_g,length_mm,width_mm,depth_mm,seen",
		[]string{"piece", "part", "label", "length_mm", "width_mm", "depth_mm", "seen"},
		[]string{"piece", "part", "label", "length_mm", "width_mm", "depth_mm"},
	},
}

// needs reports whether each line of the form fills a column. A list of what is only planned needs none.
func (f Form) needs(c column) bool {
	return c.mass && f != Draft || slices.Contains(forms[f].needed, c.name)
}

// Kind is the type of the opal.
type Kind int

// The kinds, by their words in the file.
const (
	Solid Kind = iota + 1
	Boulder
	Matrix
)

var kinds = map[string]Kind{"solid": Solid, "boulder": Boulder, "matrix": Matrix}

// Problem is one thing that is wrong with the file.
type Problem struct {
	Line   int    // from 1; 0 where the file as a whole is meant
	Column string // the column's name; empty where the line as a whole is meant
	Value  string // as found, shortened
	Rule   string // what is wrong and what to do
}

func (p Problem) String() string {
	var b strings.Builder
	if p.Line > 0 {
		fmt.Fprintf(&b, "line %d", p.Line)
		if p.Column != "" {
			fmt.Fprintf(&b, ", column %s", p.Column)
		}
		b.WriteString(": ")
	}
	if p.Value != "" {
		fmt.Fprintf(&b, "%q ", p.Value)
	}
	return b.String() + p.Rule
}

// Problems is everything that was found, in the order of the file. It is never empty as an error.
type Problems []Problem

func (p Problems) Error() string {
	lines := make([]string, len(p))
	for i, one := range p {
		lines[i] = one.String()
	}
	return strings.Join(lines, "; ")
}

// Options are what the user allows.
type Options struct {
	Form Form
	// ByteOrderMark reads a file that begins with the UTF-8 byte-order mark, and drops it.
	ByteOrderMark bool
}

// Read reads the file. The error is Problems where the file is wrong: all that is wrong with its first rows at once, so
// that a person can put it right in one go. It is another error where r failed. It closes nothing.
func Read(r io.Reader, o Options) ([]Piece, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("couldn't read the pieces: %w", err)
	}
	text, problem := decode(data, o)
	if problem != nil {
		return nil, Problems{*problem}
	}
	f := &file{form: o.Form, rows: csv.NewReader(strings.NewReader(text))}
	f.rows.FieldsPerRecord = -1 // counted here, with better words
	f.rows.ReuseRecord = true
	pieces := f.read(text, len(data) > MaxBytes)
	if len(f.problems) > 0 {
		return nil, f.problems
	}
	return pieces, nil
}

// file is a file being read.
type file struct {
	form     Form
	rows     *csv.Reader
	columns  []column // by place
	problems Problems
	labels   map[string]int // the line each label stands on
	at       int            // the line being read
}

func (f *file) add(p Problem) {
	if len(f.problems) < maxProblems {
		p.Value = shorten(p.Value)
		f.problems = append(f.problems, p)
	}
}

var tooLong = Problem{Rule: fmt.Sprintf("the file is longer than %d bytes, far more than %d pieces need; check that it is the right file", MaxBytes, MaxPieces)}

func (f *file) read(text string, cutOff bool) []Piece {
	first, _, _ := strings.Cut(text, "\n")
	if seen := separator(first); seen != "" {
		f.add(Problem{Line: 1, Rule: "the columns are separated by " + seen + "; save the file with commas between them (and points in decimal numbers)"})
		return nil
	}
	header, ok := f.next()
	if !ok {
		switch {
		case len(f.problems) > 0:
		case cutOff:
			f.add(tooLong)
		default:
			f.add(Problem{Rule: "the file is empty; its first line names the columns, such as " + forms[f.form].example})
		}
		return nil
	}
	if f.header(header); len(f.problems) > 0 {
		return nil
	}
	f.labels = make(map[string]int)
	var pieces []Piece
	for n := 1; ; n++ {
		cells, ok := f.next()
		if !ok {
			break
		}
		if n > MaxPieces {
			f.add(Problem{Line: f.at, Rule: fmt.Sprintf("the file has more than %d pieces, the most a parcel may have; split the parcel, or count chips together in one line with a count", MaxPieces)})
			return nil
		}
		pieces = append(pieces, f.row(cells))
		if len(f.problems) > 0 && n >= firstRows {
			return nil
		}
	}
	switch {
	case len(f.problems) > 0:
	case cutOff:
		f.add(tooLong)
	case len(pieces) == 0:
		f.add(Problem{Line: 2, Rule: "there are no pieces below the column names; write one line for each piece"})
	}
	return pieces
}

// next reads a row; false at the end, and where the rest can't be read.
func (f *file) next() ([]string, bool) {
	cells, err := f.rows.Read()
	if err == nil {
		f.at, _ = f.rows.FieldPos(0)
		return cells, true
	}
	if errors.Is(err, io.EOF) {
		return nil, false
	}
	rule := "can't be read: " + err.Error()
	at := f.at + 1
	if wrong, ok := errors.AsType[*csv.ParseError](err); ok {
		at = wrong.StartLine
		switch {
		case errors.Is(wrong.Err, csv.ErrBareQuote):
			rule = fmt.Sprintf(`has a quotation mark inside a cell at byte %d; put the whole cell in quotation marks and double the ones inside: "about 2"" long"`, wrong.Column)
		case errors.Is(wrong.Err, csv.ErrQuote):
			rule = `has a cell that begins with a quotation mark and doesn't end with one; close it, and double the ones inside: "about 2"" long"`
		}
	}
	f.add(Problem{Line: at, Rule: "this line " + rule})
	return nil, false
}

// row reads one piece. What is wrong goes to the problems.
func (f *file) row(cells []string) Piece {
	p := Piece{Line: f.at, Count: 1}
	if len(cells) != len(f.columns) {
		f.add(Problem{Line: f.at, Rule: fmt.Sprintf("this line has %d cells where the first line names %d columns; put cells that hold a comma in quotation marks", len(cells), len(f.columns))})
		return p
	}
	var sides sides
	for i, cell := range cells {
		c := f.columns[i]
		if rule := c.clean(cell); rule != "" {
			f.add(Problem{f.at, c.name, cell, rule})
			continue
		}
		if strings.TrimSpace(cell) == "" && !f.form.needs(c) {
			continue
		}
		if rule := c.set(strings.TrimSpace(cell), &p, &sides); rule != "" {
			f.add(Problem{f.at, c.name, cell, rule})
		}
	}
	size, rule := sides.size()
	if rule != "" {
		f.add(Problem{Line: f.at, Rule: rule})
	}
	p.Size = size
	if rule := sizeRange(p); rule != "" {
		f.add(Problem{Line: f.at, Rule: rule})
	}
	if p.Label != "" {
		if first, twice := f.labels[p.Label]; twice {
			f.add(Problem{f.at, "label", p.Label, fmt.Sprintf("stands on line %d already; each piece of a parcel has a label of its own", first)})
		} else {
			f.labels[p.Label] = f.at
		}
	}
	return p
}

// header reads the names of the columns.
func (f *file) header(names []string) {
	var masses []string
	for _, raw := range names {
		name := strings.TrimSpace(raw)
		c, rule := columnNamed(f.form, name)
		switch {
		case rule != "":
			f.add(Problem{1, "", name, rule})
		case slices.ContainsFunc(f.columns, func(o column) bool { return o.name == c.name }):
			f.add(Problem{1, "", name, "is there twice; each column once"})
		}
		if c.mass {
			masses = append(masses, name)
		}
		f.columns = append(f.columns, c)
	}
	if len(f.problems) > 0 {
		return
	}
	if len(masses) > 1 {
		f.add(Problem{Line: 1, Rule: "there are several columns for the mass (" + strings.Join(masses, ", ") + "); keep the one that was read from the scale"})
	}
	if len(masses) == 0 && f.form != Draft {
		f.add(Problem{Line: 1, Rule: "a column for the mass is missing; name it after its unit: mass_g, mass_mg, mass_kg, mass_ct, mass_oz_t or mass_oz_av"})
	}
	for _, name := range forms[f.form].needed {
		if !f.has(name) {
			f.add(Problem{Line: 1, Rule: "the column " + name + " is missing; the first line is such as " + forms[f.form].example})
		}
	}
	if n := f.count("length_mm", "width_mm", "depth_mm"); n > 0 && n < 3 && !slices.Contains(forms[f.form].needed, "length_mm") {
		f.add(Problem{Line: 1, Rule: "length_mm, width_mm and depth_mm go together; give all three or none"})
	}
}

func (f *file) has(name string) bool {
	return slices.ContainsFunc(f.columns, func(c column) bool { return c.name == name })
}

func (f *file) count(names ...string) int {
	n := 0
	for _, name := range names {
		if f.has(name) {
			n++
		}
	}
	return n
}
