package piecelist_test

import (
	"errors"
	"io"
	"os"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"

	"seamshare.example/cmd/seamshare/internal/piecelist"
	"seamshare.example/services/domain/measure"
)

const header = "label,mass_g,length_mm,width_mm,depth_mm,kind,claim,count,seen\n"

func read(text string, o ...piecelist.Options) ([]piecelist.Piece, error) {
	var options piecelist.Options
	if len(o) > 0 {
		options = o[0]
	}
	return piecelist.Read(strings.NewReader(text), options)
}

func TestRead(t *testing.T) {
	want := []piecelist.Piece{
		{Line: 2, Label: "1", Mass: 34_200_000, Size: &piecelist.Size{Length: 46_000, Width: 31_500, Depth: 14_000}, Kind: piecelist.Boulder, Claim: "Claim 4", Count: 1, Seen: `one "half", split`},
		{Line: 4, Label: "chips", Mass: 22_600_000, Kind: piecelist.Matrix, Count: 9},
	}
	text := header + `1,34.20,46,31.5,14,boulder,Claim 4,,"one ""half"", split"` + "\n\n" + "chips,22.60,,,,Matrix,,9,\n"
	for name, text := range map[string]string{
		"lines end with a line feed":                      text,
		"lines end with carriage return and feed":         strings.ReplaceAll(text, "\n", "\r\n"),
		"the last line has no end":                        strings.TrimSuffix(text, "\n"),
		"spaces around cells are dropped":                 strings.NewReplacer("label,", " label ,", "22.60,", " 22.60 ,").Replace(text),
		"a byte-order mark is dropped where that's asked": "\ufeff" + text,
	} {
		t.Run(name, func(t *testing.T) {
			got, err := read(text, piecelist.Options{ByteOrderMark: strings.HasPrefix(name, "a byte")})
			if err != nil || !reflect.DeepEqual(got, want) {
				t.Errorf("read\n%+v (%v), want\n%+v", got, err, want)
			}
		})
	}
}

func TestReadUnits(t *testing.T) {
	for column, want := range map[string]measure.Mass{
		"mass_g": 2_000_000, "mass_mg": 2_000, "mass_kg": 2_000_000_000, "mass_ct": 400_000, "mass_oz_t": 62_206_954, "mass_oz_av": 56_699_046,
	} {
		got, err := read("label,kind," + column + "\n1,solid,2\n")
		if err != nil || got[0].Mass != want {
			t.Errorf("%s: read %v (%v), want %d", column, got, err, want)
		}
	}
}

// Each form has columns of its own, and lines that fill what it needs.
func TestReadForms(t *testing.T) {
	for name, c := range map[string]struct {
		form piecelist.Form
		text string
		want piecelist.Piece
	}{
		"a group with its range of sizes": {
			piecelist.Listing, "label,mass_g,kind,count,smallest_mm,largest_mm\nchips,22.60,matrix,9,8,15.5\n",
			piecelist.Piece{Line: 2, Label: "chips", Mass: 22_600_000, Kind: piecelist.Matrix, Count: 9, Smallest: 8_000, Largest: 15_500},
		},
		"a draft of which little is known": {piecelist.Draft, "label,kind,mass_g\n,boulder,\n", piecelist.Piece{Line: 2, Kind: piecelist.Boulder, Count: 1}},
		"a stone taken out of a group": {
			piecelist.TakenOut, "label,mass_g,length_mm,width_mm,depth_mm,seen\nc1,3.00,15,9,5,\n",
			piecelist.Piece{Line: 2, Label: "c1", Mass: 3_000_000, Size: &piecelist.Size{Length: 15_000, Width: 9_000, Depth: 5_000}, Count: 1},
		},
		"rough that is sold on": {
			piecelist.Rough, "piece,part,label,mass_ct,length_mm,width_mm,depth_mm\n01p,1A,a,15,15,9,5\n",
			piecelist.Piece{Line: 2, From: "01p", Part: "1A", Label: "a", Mass: 3_000_000, Size: &piecelist.Size{Length: 15_000, Width: 9_000, Depth: 5_000}, Count: 1},
		},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := read(c.text, piecelist.Options{Form: c.form})
			if err != nil || !reflect.DeepEqual(got, []piecelist.Piece{c.want}) {
				t.Errorf("read\n%+v (%v), want\n%+v", got, err, c.want)
			}
		})
	}
	for name, c := range map[string]struct {
		form       piecelist.Form
		text, says string
	}{
		"a claim of a stone from a group": {piecelist.TakenOut, "label,mass_g,length_mm,width_mm,depth_mm,claim\n", `"claim" is not a column known here; there are label,mass_g`},
		"a stone without its depth":       {piecelist.TakenOut, "label,mass_g,length_mm,width_mm\n", "the column depth_mm is missing"},
		"a stone that wasn't measured":    {piecelist.TakenOut, "label,mass_g,length_mm,width_mm,depth_mm\nc1,3.00,15,9,\n", "line 2, column depth_mm: is empty"},
		"rough of no piece":               {piecelist.Rough, "piece,part,label,mass_g,length_mm,width_mm,depth_mm\n,1A,a,3,15,9,5\n", "line 2, column piece: is empty"},
		"a draft with a negative mass":    {piecelist.Draft, "mass_g\n-1\n", "is negative"},
		"a draft with labels twice":       {piecelist.Draft, "label\na\na\n", `"a" stands on line 2 already`},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			if _, err := read(c.text, piecelist.Options{Form: c.form}); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%v, want %q", err, c.says)
			}
		})
	}
}

// Each refusal names the line and, where there is one, the column, the value and what to do.
func TestReadRefuses(t *testing.T) {
	row := func(line string) string { return header + "ok,1.00,,,,solid,,,\n" + line + "\n" }
	for name, c := range map[string]struct{ text, says string }{
		"an empty file":                   {"", "the file is empty"},
		"only column names":               {header, "no pieces below the column names"},
		"a byte-order mark":               {"\ufeff" + header, "line 1: the file begins with a byte-order mark"},
		"UTF-16, little end first":        {"\xff\xfel\x00a\x00", "UTF-16"},
		"UTF-16, big end first":           {"\xfe\xff\x00l\x00a", "UTF-16"},
		"UTF-16 without a mark":           {"l\x00a\x00b\x00e\x00l\x00", "UTF-16"},
		"Latin-1":                         {row("2,1.00,,,,solid,,,caf\xe9"), "line 3: byte 22 of this line (hex E9) is no UTF-8"},
		"semicolons":                      {"label;mass_g;kind\n1;34,20;solid\n", "separated by semicolons"},
		"semicolons and quotation marks":  {"\"label\";\"mass_g\"\n", "separated by semicolons"},
		"tabs":                            {"label\tmass_g\tkind\n", "separated by tabs"},
		"an unknown column":               {"label,mass_g,kind,price\n", `"price" is not a column known here`},
		"a column twice":                  {"label,mass_g,kind,label\n", `"label" is there twice`},
		"two masses":                      {"label,mass_g,mass_ct,kind\n", "several columns for the mass (mass_g, mass_ct)"},
		"no mass":                         {"label,kind\n", "a column for the mass is missing"},
		"no label":                        {"mass_g,kind\n", "the column label is missing"},
		"two of three dimensions":         {"label,mass_g,kind,length_mm,width_mm\n", "go together"},
		"a range without its end":         {"label,mass_g,kind,count,smallest_mm\n1,2,solid,9,8\n", "go together; give both or none"},
		"a range from above":              {"label,mass_g,kind,count,smallest_mm,largest_mm\n1,2,solid,9,8,7\n", "the smallest stone, 8 mm, is longer than the largest, 7 mm"},
		"a range of one piece":            {"label,mass_g,kind,smallest_mm,largest_mm\n1,2,solid,8,9\n", "are for a group of stones"},
		"a column in other letters":       {"Label,mass_g,kind\n", `"Label" is written label`},
		"a mass without its unit":         {"label,mass,kind\n", `"mass" doesn't say its unit`},
		"a column of bare ounces":         {"label,mass_oz,kind\n", "troy (31.1034768 g) or avoirdupois (28.349523125 g)"},
		"a column without a name":         {"label,mass_g,kind,\n", "each column has one"},
		"a cell in bare ounces":           {row("2,1.2 oz,,,,solid,,,"), `line 3, column mass_g: "1.2 oz" has a unit in the cell, and doesn't say which ounce`},
		"a cell with its unit":            {row("2,1.2 g,,,,solid,,,"), "the unit stands in the column's name"},
		"a negative mass":                 {row("2,-1.20,,,,solid,,,"), `line 3, column mass_g: "-1.20" is negative`},
		"a mass of nothing":               {row("2,0.00,,,,solid,,,"), "weighs more than nothing"},
		"no mass on a line":               {row("2,,,,,solid,,,"), "line 3, column mass_g: is empty"},
		"a mass above any":                {row("2,1000001000,,,,solid,,,"), "above"},
		"NaN":                             {row("2,NaN,,,,solid,,,"), "is not a number"},
		"infinity":                        {row("2,Inf,,,,solid,,,"), "is not a number"},
		"a power of ten":                  {row("2,1e3,,,,solid,,,"), "power of ten"},
		"a decimal comma":                 {row(`2,"34,20",,,,solid,,,`), "has a comma"},
		"a decimal comma without quotes":  {row(`2,34,20,,,,solid,,,`), "line 3: this line has 10 cells where the first line names 9 columns"},
		"a sum":                           {row("2,=1+1,,,,solid,,,"), "without a sign or formula"},
		"a formula in text":               {row("2,1,,,,solid,,,=HYPERLINK(0)"), `begins with '='`},
		"a formula after a space":         {row("2,1,,,,solid,,, @SUM(1)"), `begins with '@'`},
		"a formula in a label":            {row("+2,1,,,,solid,,,"), `column label: "+2" begins with '+'`},
		"a negative formula":              {row("2,1,,,,solid,-1+1,,"), `column claim`},
		"a tab in a cell":                 {row("2,1,,,,solid,,,a\tb"), "control character U+0009"},
		"a line break in a cell":          {row("2,1,,,,solid,,,\"a\nb\""), "control character U+000A"},
		"an escape":                       {row("2,1,,,,solid,,,\x1b[2J"), "control character U+001B"},
		"text that turns round":           {row("2,1,,,,solid,,,a\u202eb"), "control character U+202E"},
		"a cell that is too long":         {row("2,1,,,,solid,,," + strings.Repeat("é", 501)), "has 501 letters; at most 500"},
		"an unknown kind":                 {row("2,1,,,,jade,,,"), `column kind: "jade" is not a kind`},
		"a label twice":                   {row("ok,1,,,,solid,,,"), `line 3, column label: "ok" stands on line 2 already`},
		"no label on a line":              {row(",1,,,,solid,,,"), "column label: is empty"},
		"a count of none":                 {row("2,1,,,,solid,,0,"), "is not a count"},
		"a count with a fraction":         {row("2,1,,,,solid,,1.5,"), "is not a count"},
		"a length of nothing":             {row("2,1,0,1,1,solid,,,"), "column length_mm"},
		"only a length":                   {row("2,1,3,,,solid,,,"), "line 3: length_mm, width_mm and depth_mm go together"},
		"a quotation mark inside a cell":  {row(`2,1,,,,solid,,,2" long`), "line 3: this line has a quotation mark inside a cell"},
		"a quotation mark without an end": {row(`2,1,,,,solid,,,"open`), "doesn't end with one"},
		"too many cells":                  {row("2,1,,,,solid,,,,"), "has 10 cells"},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			got, err := read(c.text)
			var problems piecelist.Problems
			if !errors.As(err, &problems) || got != nil {
				t.Fatalf("read %v, %v", got, err)
			}
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("said %q, want it to say %q", err, c.says)
			}
		})
	}
}

func TestReadGivesAllErrorsOfTheFirstRowsAtOnce(t *testing.T) {
	text := header + strings.Repeat("a,-1,,,,solid,,,\n", 3) + strings.Repeat("b,1,,,,jade,,,\n", 400)
	_, err := read(text)
	var problems piecelist.Problems
	if !errors.As(err, &problems) {
		t.Fatal(err)
	}
	lines := map[int]bool{}
	for _, p := range problems {
		lines[p.Line] = true
	}
	if len(lines) != 20 || problems[0].Line != 2 || problems[len(problems)-1].Line != 21 {
		t.Errorf("%d lines named, from %d to %d; want 20 from 2 to 21", len(lines), problems[0].Line, problems[len(problems)-1].Line)
	}
}

func TestReadTakesAFullParcel(t *testing.T) {
	var b strings.Builder
	b.WriteString("label,mass_g,kind\n")
	for i := range piecelist.MaxPieces {
		b.WriteString(string(rune('a'+i%26)) + strings.Repeat("x", i/26) + ",1,solid\n")
	}
	got, err := read(b.String())
	if err != nil || len(got) != piecelist.MaxPieces {
		t.Errorf("%d read (%v)", len(got), err)
	}
}

// endless is a file that goes on for ever, and counts what is taken of it.
type endless struct {
	line  string
	taken int
}

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = e.line[(e.taken+i)%len(e.line)]
	}
	e.taken += len(p)
	return len(p), nil
}

func TestReadStopsReadingALongFile(t *testing.T) {
	for name, c := range map[string]struct {
		file io.Reader
		says string
	}{
		"rows":           {io.MultiReader(strings.NewReader("label,mass_g,kind\n"), &distinct{}), "more than 400 pieces"},
		"one line":       {&endless{line: "x"}, "longer than"},
		"one row":        {io.MultiReader(strings.NewReader("label,mass_g,kind\n"), &endless{line: "x"}), "longer than"},
		"one open quote": {io.MultiReader(strings.NewReader("label,mass_g,kind\n1,1,solid\n"), &endless{line: "\"\n"}), "line"},
	} {
		t.Run("refused: endless "+name, func(t *testing.T) {
			counted := &counting{r: c.file}
			_, err := piecelist.Read(counted, piecelist.Options{})
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("said %v, want it to say %q", err, c.says)
			}
			if counted.n > piecelist.MaxBytes+1 {
				t.Errorf("%d bytes were taken", counted.n)
			}
		})
	}
}

// distinct gives rows without end, each with another label.
type distinct struct {
	n    int
	rest string
}

func (d *distinct) Read(p []byte) (int, error) {
	if d.rest == "" {
		d.n++
		d.rest = strings.Repeat("x", d.n%10) + string(rune('a'+d.n/10%26)) + string(rune('a'+d.n/260%26)) + ",1,solid\n"
	}
	n := copy(p, d.rest)
	d.rest = d.rest[n:]
	return n, nil
}

type counting struct {
	r io.Reader
	n int
}

func (c *counting) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += n
	return n, err
}

func TestReadReportsABrokenDisk(t *testing.T) {
	_, err := piecelist.Read(iotest.ErrReader(os.ErrClosed), piecelist.Options{})
	var problems piecelist.Problems
	if !errors.Is(err, os.ErrClosed) || errors.As(err, &problems) {
		t.Errorf("said %v", err)
	}
}
