package strictjson

import (
	"bytes"
	"encoding/json"
	"strings"
	"unicode/utf8"
)

// width is how long a line may be before what it holds goes on lines of its own.
const width = 100

// Format writes a value as people lay it out: what fits on a line stands on one.
func Format(v Value) []byte {
	return append(lay(nil, v, ""), '\n')
}

func lay(out []byte, v Value, indent string) []byte {
	line := flat(nil, v)
	before := len(out) - bytes.LastIndexByte(out, '\n') - 1
	if before+utf8.RuneCount(line) <= width {
		return append(out, line...)
	}
	deeper := indent + "  "
	switch v := v.(type) {
	case List:
		out = append(out, '[')
		for i, e := range v {
			if i > 0 {
				out = append(out, ',')
			}
			out = lay(append(append(out, '\n'), deeper...), e, deeper)
		}
		return append(append(append(out, '\n'), indent...), ']')
	case *Object:
		out = append(out, '{')
		for i, m := range v.Members {
			if i > 0 {
				out = append(out, ',')
			}
			out = append(quote(append(append(out, '\n'), deeper...), m.Name), ": "...)
			out = lay(out, m.Value, deeper)
		}
		return append(append(append(out, '\n'), indent...), '}')
	}
	return append(out, line...)
}

// flat writes a value on one line.
func flat(out []byte, v Value) []byte {
	switch v := v.(type) {
	case Text:
		return quote(out, string(v))
	case Number:
		return append(out, v...)
	case Boolean:
		if v {
			return append(out, "true"...)
		}
		return append(out, "false"...)
	case List:
		out = append(out, '[')
		for i, e := range v {
			if i > 0 {
				out = append(out, ", "...)
			}
			out = flat(out, e)
		}
		return append(out, ']')
	case *Object:
		out = append(out, '{')
		for i, m := range v.Members {
			if i > 0 {
				out = append(out, ", "...)
			}
			out = flat(append(quote(out, m.Name), ": "...), m.Value)
		}
		return append(out, '}')
	}
	return append(out, "null"...)
}

func quote(out []byte, s string) []byte {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	_ = e.Encode(s) // a text always encodes
	return append(out, strings.TrimSuffix(b.String(), "\n")...)
}
