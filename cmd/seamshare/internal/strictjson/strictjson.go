// Package strictjson reads the JSON files that members write by hand. Reading is strict: what isn't known is refused, all
// that is wrong is told at once, and each problem says where it stands ("tiers[2].up_to").
package strictjson

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Value is a JSON value that keeps what encoding/json's maps lose: the order of an object's members, and members that are
// there twice. It is Text, Number, Boolean, Nothing, List or *Object.
type Value interface{ value() }

// The kinds of values.
type (
	Text    string
	Number  string // as written
	Boolean bool
	Nothing struct{}
	List    []Value
	Object  struct{ Members []Member }
)

// Member is one member of an object.
type Member struct {
	Name  string
	Value Value
}

func (Text) value()    {}
func (Number) value()  {}
func (Boolean) value() {}
func (Nothing) value() {}
func (List) value()    {}
func (*Object) value() {}

// Get is the member of that name.
func (o *Object) Get(name string) (Value, bool) {
	i := slices.IndexFunc(o.Members, func(m Member) bool { return m.Name == name })
	if i < 0 {
		return nil, false
	}
	return o.Members[i].Value, true
}

// Problem is one rule that the file breaks.
type Problem struct {
	Path string // as "tiers[2].up_to"; empty for the file as a whole
	Rule string // the value, the rule and what to do
}

func (p Problem) String() string {
	if p.Path == "" {
		return p.Rule
	}
	return p.Path + ": " + p.Rule
}

// Problems is everything that is wrong at once. It is never empty as an error.
type Problems []Problem

func (p Problems) Error() string {
	lines := make([]string, len(p))
	for i, one := range p {
		lines[i] = one.String()
	}
	return strings.Join(lines, "; ")
}

// Form is a kind of file.
type Form struct {
	Name     string // "an agreement", as in "the JSON of an agreement"
	Help     string // the command that explains it
	MaxBytes int
	MaxDepth int // of values within values
}

// Parse reads a file's value. The error is Problems.
func (f Form) Parse(data []byte) (Value, error) {
	if len(data) > f.MaxBytes {
		return nil, Problems{{Rule: fmt.Sprintf("the file has more than %d bytes; check that it is the right file", f.MaxBytes)}}
	}
	if !utf8.Valid(data) {
		return nil, Problems{{Rule: "the file is no UTF-8; save it as plain text in UTF-8"}}
	}
	d := json.NewDecoder(strings.NewReader(string(data)))
	d.UseNumber()
	v, err := parseValue(d, f.MaxDepth)
	if err == nil {
		if _, end := d.Token(); !errors.Is(end, io.EOF) {
			err = errors.New("something follows after its end")
		}
	}
	if err != nil {
		before := data[:min(d.InputOffset(), int64(len(data)))]
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			err = errors.New("it ends too early")
		}
		after := strings.TrimLeft(string(data[len(before):]), " \t\r\n:,")
		column := utf8.RuneCount(data[strings.LastIndexByte(string(data[:len(data)-len(after)]), '\n')+1:len(data)-len(after)]) + 1
		line := strings.Count(string(data[:len(data)-len(after)]), "\n") + 1
		found, _, _ := strings.Cut(after+"\n", "\n")
		if i := strings.IndexAny(found, " \t\r,:]}"); i > 0 {
			found = found[:i]
		}
		if len(found) > 30 {
			found = found[:30]
		}
		at := ""
		if m := lastMember.FindSubmatch(before); m != nil {
			at = fmt.Sprintf(", in %s", m[1])
		}
		return nil, Problems{{Rule: fmt.Sprintf("the file is not the JSON of %s: %v (near line %d, column %d, at %q%s); see %s", f.Name, err, line, column, found, at, f.Help)}}
	}
	return v, nil
}

// lastMember is the name of the member whose value was to follow.
var lastMember = regexp.MustCompile(`("[^"\\\n]{1,40}")\s*:?\s*$`)

func parseValue(d *json.Decoder, depth int) (Value, error) {
	token, err := d.Token()
	if err != nil {
		return nil, err
	}
	switch t := token.(type) {
	case string:
		return Text(t), nil
	case json.Number:
		return Number(t), nil
	case bool:
		return Boolean(t), nil
	case nil:
		return Nothing{}, nil
	case json.Delim:
		if depth == 0 {
			return nil, errors.New("it is nested too deep")
		}
		if t == '[' {
			return parseList(d, depth)
		}
		return parseObject(d, depth)
	}
	return nil, fmt.Errorf("%v can't stand here", token)
}

func parseList(d *json.Decoder, depth int) (Value, error) {
	l := List{}
	for d.More() {
		v, err := parseValue(d, depth-1)
		if err != nil {
			return nil, err
		}
		l = append(l, v)
	}
	_, err := d.Token()
	return l, err
}

func parseObject(d *json.Decoder, depth int) (Value, error) {
	o := &Object{}
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return nil, err
		}
		name, _ := token.(string) // the decoder lets nothing else stand here
		if _, twice := o.Get(name); twice {
			return nil, fmt.Errorf("%q is there twice", name)
		}
		v, err := parseValue(d, depth-1)
		if err != nil {
			return nil, err
		}
		o.Members = append(o.Members, Member{name, v})
	}
	_, err := d.Token()
	return o, err
}

// Show is a value as a message quotes it.
func Show(v Value) string {
	switch v := v.(type) {
	case Text:
		return fmt.Sprintf("%q", shorten(string(v)))
	case Number:
		return shorten(string(v))
	case Boolean:
		return fmt.Sprint(bool(v))
	case List:
		return "a list"
	case *Object:
		return "an object"
	}
	return "null"
}

func shorten(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// Reader takes values for what they must be, and collects what is wrong.
type Reader struct {
	Form
	Problems Problems
}

// Add notes a problem.
func (r *Reader) Add(path, format string, args ...any) {
	r.Problems = append(r.Problems, Problem{path, fmt.Sprintf(format, args...)})
}

// Object takes a value that must be an object with none but the named members; nil: it is none.
func (r *Reader) Object(path string, v Value, names ...string) *Object {
	o, ok := v.(*Object)
	if !ok {
		r.Add(path, "%s stands where an object {…} must; see %s", Show(v), r.Help)
		return nil
	}
	for _, m := range o.Members {
		if !slices.Contains(names, m.Name) {
			r.Add(Join(path, shorten(m.Name)), "is not known here; there are %s", strings.Join(names, ", "))
		}
	}
	return o
}

// Needed is a member that must be there.
func (r *Reader) Needed(path string, o *Object, name string) (Value, bool) {
	v, ok := o.Get(name)
	if !ok {
		r.Add(Join(path, name), "is missing")
	}
	return v, ok
}

// Without refuses members that don't go with another.
func (r *Reader) Without(path string, o *Object, with string, names ...string) {
	for _, name := range names {
		if _, ok := o.Get(name); ok {
			r.Add(Join(path, name), `doesn't go with "%s"; take it out`, with)
		}
	}
}

// Text takes a value that must be a text of at least one and at most that many letters on one line.
func (r *Reader) Text(path string, v Value, most int) string {
	s, ok := v.(Text)
	if !ok || s == "" || utf8.RuneCountInString(string(s)) > most || strings.ContainsFunc(string(s), unicode.IsControl) {
		r.Add(path, "%s is not a text of 1 to %d letters on one line", Show(v), most)
		return ""
	}
	return string(s)
}

// Join is the path of a member.
func Join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}
