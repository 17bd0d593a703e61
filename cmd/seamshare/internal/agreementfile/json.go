package agreementfile

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

// value is a JSON value that keeps what encoding/json's maps lose: the order of an object's members, and members that
// are there twice. It is text, number, boolean, nothing, list or *object.
type value interface{ value() }

type (
	text    string
	number  string // as written
	boolean bool
	nothing struct{}
	list    []value
	object  struct{ members []member }
)

type member struct {
	name  string
	value value
}

func (text) value()    {}
func (number) value()  {}
func (boolean) value() {}
func (nothing) value() {}
func (list) value()    {}
func (*object) value() {}

func (o *object) get(name string) (value, bool) {
	i := slices.IndexFunc(o.members, func(m member) bool { return m.name == name })
	if i < 0 {
		return nil, false
	}
	return o.members[i].value, true
}

// maxDepth is more than any agreement has.
const maxDepth = 8

func parseJSON(data []byte) (value, error) {
	if !utf8.Valid(data) {
		return nil, errors.New("the file is no UTF-8; save it as plain text in UTF-8")
	}
	d := json.NewDecoder(strings.NewReader(string(data)))
	d.UseNumber()
	v, err := parseValue(d, maxDepth)
	if err == nil {
		if _, end := d.Token(); !errors.Is(end, io.EOF) {
			err = errors.New("something follows after the agreement's end")
		}
	}
	if err != nil {
		before := data[:min(d.InputOffset(), int64(len(data)))]
		line := strings.Count(string(before), "\n") + 1
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			err = errors.New("it ends too early")
		}
		return nil, fmt.Errorf("the file is not the JSON of an agreement: %w (near line %d); see seamshare help agreements", err, line)
	}
	return v, nil
}

func parseValue(d *json.Decoder, depth int) (value, error) {
	token, err := d.Token()
	if err != nil {
		return nil, err
	}
	switch t := token.(type) {
	case string:
		return text(t), nil
	case json.Number:
		return number(t), nil
	case bool:
		return boolean(t), nil
	case nil:
		return nothing{}, nil
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

func parseList(d *json.Decoder, depth int) (value, error) {
	l := list{}
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

func parseObject(d *json.Decoder, depth int) (value, error) {
	o := &object{}
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return nil, err
		}
		name, _ := token.(string) // the decoder lets nothing else stand here
		if _, twice := o.get(name); twice {
			return nil, fmt.Errorf("%q is there twice", name)
		}
		v, err := parseValue(d, depth-1)
		if err != nil {
			return nil, err
		}
		o.members = append(o.members, member{name, v})
	}
	_, err := d.Token()
	return o, err
}

// show is a value as a message quotes it.
func show(v value) string {
	switch v := v.(type) {
	case text:
		return fmt.Sprintf("%q", shorten(string(v)))
	case number:
		return shorten(string(v))
	case boolean:
		return fmt.Sprint(bool(v))
	case list:
		return "a list"
	case *object:
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

// object takes a value that must be an object with none but the named members.
func (r *reader) object(path string, v value, names ...string) *object {
	o, ok := v.(*object)
	if !ok {
		r.add(path, "%s stands where an object {…} must; see seamshare help agreements", show(v))
		return nil
	}
	for _, m := range o.members {
		if !slices.Contains(names, m.name) {
			r.add(join(path, shorten(m.name)), "is not known here; there are %s", strings.Join(names, ", "))
		}
	}
	return o
}

func (r *reader) needed(path string, o *object, name string) (value, bool) {
	v, ok := o.get(name)
	if !ok {
		r.add(join(path, name), "is missing")
	}
	return v, ok
}

// without refuses members that don't go with another.
func (r *reader) without(path string, o *object, with string, names ...string) {
	for _, name := range names {
		if _, ok := o.get(name); ok {
			r.add(join(path, name), `doesn't go with "%s"; take it out`, with)
		}
	}
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// party is one of the deal's parties, or the id of another member: a ULID in small letters.
var party = regexp.MustCompile(`^(miner|cutter|coop|[0-7][0-9a-hjkmnp-tv-z]{25})$`)

func (r *reader) party(path string, v value) string {
	s, ok := v.(text)
	if !ok || !party.MatchString(string(s)) {
		r.add(path, `%s is not a party; write miner, cutter, coop or the id of another member`, show(v))
		return ""
	}
	return string(s)
}

func (r *reader) text(path string, v value, most int) string {
	s, ok := v.(text)
	if !ok || s == "" || utf8.RuneCountInString(string(s)) > most || strings.ContainsFunc(string(s), unicode.IsControl) {
		r.add(path, "%s is not a text of 1 to %d letters on one line", show(v), most)
		return ""
	}
	return string(s)
}

func (r *reader) words(path string, v value) []string {
	l, ok := v.(list)
	if !ok {
		r.add(path, `%s is not a list of words, such as ["freight"]`, show(v))
		return nil
	}
	var words []string
	for i, v := range l {
		words = append(words, r.text(fmt.Sprintf("%s[%d]", path, i), v, 60))
	}
	return words
}
