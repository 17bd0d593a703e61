package piecelist

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"seamshare.example/services/domain/measure"
)

// column is one column: how long its cells may be, and where they go. set returns the rule that a cell breaks.
type column struct {
	name  string
	most  int // letters in a cell
	words bool
	mass  bool
	set   func(cell string, p *Piece, s *sides) string
}

const (
	ouncesRule = "doesn't say which ounce: troy (31.1034768 g) or avoirdupois (28.349523125 g), which are 9.7 % apart; name the column mass_oz_t or mass_oz_av"
	numberRule = "must be a plain decimal number with a point, such as 34.20"
	maxCount   = 10_000
)

// columnNamed finds a column of a form, or says what is wrong with the name.
func columnNamed(f Form, name string) (column, string) {
	if unit, ok := massColumns[name]; ok {
		return column{name: name, most: 20, mass: true, set: func(cell string, p *Piece, _ *sides) string { return setMass(cell, unit, p) }}, ""
	}
	if set, ok := plainColumns[name]; ok && slices.Contains(forms[f].known, name) {
		set.name = name
		return set, ""
	}
	lower := strings.ToLower(name)
	switch {
	case name == "":
		return column{}, "is the name of a column; each column has one, and no line ends with a comma"
	case strings.Contains(lower, "oz") || strings.Contains(lower, "ounce"):
		return column{}, ouncesRule
	case lower == "mass" || lower == "weight":
		return column{}, "doesn't say its unit; name the column mass_g, mass_mg, mass_kg, mass_ct, mass_oz_t or mass_oz_av"
	case slices.Contains(forms[f].known, lower+"_mm"):
		return column{}, "doesn't say its unit; name the column " + lower + "_mm"
	case lower != name && known(lower):
		return column{}, "is written " + lower
	}
	return column{}, "is not a column known here; there are " + forms[f].example
}

func known(name string) bool {
	_, isMass := massColumns[name]
	_, isPlain := plainColumns[name]
	return isMass || isPlain
}

var massColumns = map[string]string{
	"mass_g": "g", "mass_mg": "mg", "mass_kg": "kg", "mass_ct": "ct", "mass_oz_t": "oz t", "mass_oz_av": "oz av",
}

var plainColumns = map[string]column{
	"label": {most: 16, words: true, set: func(cell string, p *Piece, _ *sides) string {
		if cell == "" {
			return "is empty; give the piece a label, such as 1"
		}
		p.Label = cell
		return ""
	}},
	"piece": {most: 64, words: true, set: func(cell string, p *Piece, _ *sides) string {
		if cell == "" {
			return "is empty; give the id of the piece that it was cut from, as seamshare piece list shows it"
		}
		p.From = cell
		return ""
	}},
	"part": {most: 16, words: true, set: func(cell string, p *Piece, _ *sides) string {
		if cell == "" {
			return "is empty; name the part of the piece, such as 1A"
		}
		p.Part = cell
		return ""
	}},
	"length_mm": {most: 20, set: func(cell string, _ *Piece, s *sides) string { return s.length.read(cell) }},
	"width_mm":  {most: 20, set: func(cell string, _ *Piece, s *sides) string { return s.width.read(cell) }},
	"depth_mm":  {most: 20, set: func(cell string, _ *Piece, s *sides) string { return s.depth.read(cell) }},
	"kind": {most: 20, words: true, set: func(cell string, p *Piece, _ *sides) string {
		kind, ok := kinds[strings.ToLower(cell)]
		if !ok {
			return "is not a kind; write solid (opal throughout), boulder (opal on its host rock) or matrix (opal between the rock's grains)"
		}
		p.Kind = kind
		return ""
	}},
	"claim":       {most: 80, words: true, set: func(cell string, p *Piece, _ *sides) string { p.Claim = cell; return "" }},
	"smallest_mm": {most: 20, set: func(cell string, p *Piece, _ *sides) string { return setLength(cell, &p.Smallest) }},
	"largest_mm":  {most: 20, set: func(cell string, p *Piece, _ *sides) string { return setLength(cell, &p.Largest) }},
	"count":       {most: 20, set: setCount},
	"seen":        {most: 500, words: true, set: func(cell string, p *Piece, _ *sides) string { p.Seen = cell; return "" }},
}

// clean holds a cell to what may stand in any cell. Text that a spreadsheet would run when the file is opened there is
// refused here already; numbers have rules of their own that say more about a sign.
func (c column) clean(cell string) string {
	if n := utf8.RuneCountInString(cell); n > c.most {
		return fmt.Sprintf("has %d letters; at most %d", n, c.most)
	}
	for _, r := range cell {
		if unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Zl, unicode.Zp) {
			return fmt.Sprintf("holds the control character U+%04X (a line break inside a cell counts too); take it out", r)
		}
	}
	if c.words {
		if first, _ := utf8.DecodeRuneInString(strings.TrimSpace(cell)); strings.ContainsRune("=+-@", first) {
			return fmt.Sprintf("begins with %q, and a spreadsheet would run it as a formula; begin with a letter or digit", first)
		}
	}
	return ""
}

func setMass(cell, unit string, p *Piece) string {
	if rule := plainNumber(cell, "a mass"); rule != "" {
		return rule
	}
	mass, err := measure.ParseMass(cell + " " + unit)
	if err != nil {
		return problemOf(err)
	}
	if mass == 0 {
		return "is no mass; a piece weighs more than nothing"
	}
	const most = measure.Mass(1_000_000_000_000) // what one weighing may be, 1 000 kg
	if mass > most {
		return "is above " + most.String() + ", the most one line may weigh"
	}
	p.Mass = mass
	return ""
}

func setCount(cell string, p *Piece, _ *sides) string {
	n, err := strconv.ParseUint(cell, 10, 32)
	if err != nil || n < 1 || n > maxCount {
		return fmt.Sprintf("is not a count; write a whole number from 1 to %d, or nothing for one piece", maxCount)
	}
	p.Count = uint32(n)
	return ""
}

// plainNumber gives the rules for numbers that people break by hand or by spreadsheet, in better words than a parser.
func plainNumber(cell, what string) string {
	lower := strings.ToLower(cell)
	switch {
	case cell == "":
		return "is empty; " + what + " is needed on every line"
	case strings.HasPrefix(cell, "-"), strings.HasPrefix(cell, "−"):
		return "is negative; " + what + " is above zero"
	case strings.HasPrefix(cell, "+"), strings.HasPrefix(cell, "="), strings.HasPrefix(cell, "@"):
		return numberRule + ", without a sign or formula"
	case strings.Contains(lower, "nan"), strings.Contains(lower, "inf"):
		return "is not a number; " + numberRule[len("must be "):]
	case strings.Contains(cell, ","):
		return "has a comma, which could mean decimals or thousands; " + numberRule
	case strings.Contains(lower, "oz"), strings.Contains(lower, "ounce"):
		return "has a unit in the cell, and " + ouncesRule
	}
	if at := strings.IndexFunc(cell, func(r rune) bool { return !(r >= '0' && r <= '9' || r == '.') }); at >= 0 {
		if rest := lower[at:]; strings.HasPrefix(rest, "e") && len(rest) > 1 && strings.ContainsAny(rest[1:2], "0123456789+-") {
			return "is written with a power of ten; " + numberRule
		}
		return numberRule + "; the unit stands in the column's name"
	}
	return ""
}

// problemOf takes the rule out of a parser's error: the value is in the message already.
func problemOf(err error) string {
	if wrong, ok := errors.AsType[*measure.ParseError](err); ok {
		return "can't be read: " + wrong.Problem
	}
	return "can't be read: " + err.Error()
}

// sides are the three dimensions of a line while it is read.
type sides struct{ length, width, depth side }

type side struct {
	mm     measure.Length
	given  bool
	failed bool
}

func (s *side) read(cell string) string {
	s.given, s.failed = true, true
	rule := setLength(cell, &s.mm)
	s.failed = rule != ""
	return rule
}

func setLength(cell string, into *measure.Length) string {
	if rule := plainNumber(cell, "a length"); rule != "" {
		return rule
	}
	mm, err := measure.ParseLength(cell + " mm")
	if err != nil {
		return problemOf(err)
	}
	const most = measure.Length(10_000_000) // 10 m
	if mm <= 0 || mm > most {
		return "is not a piece's dimension; it is above zero and at most " + most.String()
	}
	*into = mm
	return ""
}

// sizeRange is the rule that a group's smallest and largest stone break.
func sizeRange(p Piece) string {
	switch {
	case p.Smallest == 0 && p.Largest == 0:
		return ""
	case p.Smallest == 0 || p.Largest == 0:
		return "smallest_mm and largest_mm go together; give both or none"
	case p.Smallest > p.Largest:
		return fmt.Sprintf("the smallest stone, %s, is longer than the largest, %s", p.Smallest, p.Largest)
	case p.Count < 2:
		return "smallest_mm and largest_mm are for a group of stones; give its count too, or length_mm, width_mm and depth_mm of the one piece"
	}
	return ""
}

// size is the three together: all or none.
func (s *sides) size() (*Size, string) {
	given := 0
	for _, one := range []side{s.length, s.width, s.depth} {
		if one.failed {
			return nil, "" // said already
		}
		if one.given {
			given++
		}
	}
	switch given {
	case 0:
		return nil, ""
	case 3:
		return &Size{s.length.mm, s.width.mm, s.depth.mm}, ""
	}
	return nil, "length_mm, width_mm and depth_mm go together; give all three, or none for a counted lot of chips"
}
