package piecelist

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// byteOrderMark is U+FEFF in UTF-8.
const byteOrderMark = "\xef\xbb\xbf"

// decode holds the bytes to plain UTF-8. A file that was cut off at MaxBytes may end inside a character.
func decode(data []byte, o Options) (string, *Problem) {
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")), looksWide(data):
		return "", &Problem{Rule: "the file is written in UTF-16; save it as CSV in UTF-8 without a byte-order mark"}
	case bytes.HasPrefix(data, []byte(byteOrderMark)):
		if !o.ByteOrderMark {
			return "", &Problem{Line: 1, Rule: "the file begins with a byte-order mark (the bytes EF BB BF), which some spreadsheets write; save it as CSV in UTF-8 without one, or read it with --allow-bom"}
		}
		data = data[len(byteOrderMark):]
	}
	if len(data) > MaxBytes {
		data = data[:bytes.LastIndexByte(data, '\n')+1]
	}
	for n, line := 1, data; len(line) > 0; n++ {
		var rest []byte
		if end := bytes.IndexByte(line, '\n'); end >= 0 {
			line, rest = line[:end], line[end+1:]
		}
		if at := firstInvalid(line); at >= 0 {
			return "", &Problem{Line: n, Rule: fmt.Sprintf("byte %d of this line (hex %02X) is no UTF-8; save the file as CSV in UTF-8", at+1, line[at])}
		}
		line = rest
	}
	return string(data), nil
}

// looksWide finds UTF-16 without a mark: in ASCII text every second byte is then zero.
func looksWide(data []byte) bool {
	head := data[:min(len(data), 64)]
	return len(head) >= 4 && bytes.Count(head, []byte{0})*3 > len(head)
}

func firstInvalid(line []byte) int {
	for i := 0; i < len(line); {
		r, size := utf8.DecodeRune(line[i:])
		if r == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return -1
}

// separator says by what the first line is separated instead of commas; empty where it is commas or can't be told.
func separator(header string) string {
	if strings.Contains(header, ",") {
		return ""
	}
	for _, s := range []struct{ mark, name string }{{";", "semicolons"}, {"\t", "tabs"}, {"|", "upright strokes"}} {
		if !strings.Contains(header, s.mark) {
			continue
		}
		for name := range strings.SplitSeq(header, s.mark) {
			if known(strings.ToLower(strings.Trim(name, "\"\r "))) {
				return s.name
			}
		}
	}
	return ""
}

// shorten keeps a value readable in a message.
func shorten(value string) string {
	const most = 40
	if utf8.RuneCountInString(value) <= most {
		return value
	}
	return string([]rune(value)[:most]) + "…"
}
