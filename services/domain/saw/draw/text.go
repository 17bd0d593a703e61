package draw

import (
	"fmt"
	"strings"
	"unicode"

	"github.com/rivo/uniseg"

	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/saw"
)

// Sizes of letters on the paper, in micrometres: never smaller than what is read on a phone that shows a whole picture.
const (
	titleSize = 4_000
	textSize  = 3_000
	smallSize = 2_700

	ownLetters = 1_900 // on paper only
)

// width is about how wide a line is, rather more than less: the font is the reader's.
func width(s string, size int64, bold bool) int64 {
	per := int64(54)
	if bold {
		per = 60
	}
	return int64(uniseg.StringWidth(plain(s))) * size * per / 100
}

// plain replaces what a name could use to look like something else: control and direction characters.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Zl, unicode.Zp) {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// short is the text cut to so many columns.
func short(s string, columns int) string {
	s = plain(s)
	if uniseg.StringWidth(s) <= columns {
		return s
	}
	var out strings.Builder
	left := columns - 1
	for state := -1; s != ""; {
		var cluster string
		var w int
		cluster, s, w, state = uniseg.FirstGraphemeClusterInString(s, state)
		if left -= w; left < 0 {
			break
		}
		out.WriteString(cluster)
	}
	return out.String() + "…"
}

// wrap breaks text into lines that fit; a word that is too long alone is cut.
func wrap(s string, size, most int64, bold bool) []string {
	columns := int(most / width("m", size, bold))
	var out []string
	line := ""
	for _, word := range strings.Split(plain(s), " ") {
		if word = short(word, columns); word == "" {
			continue
		}
		switch {
		case line == "":
			line = word
		case uniseg.StringWidth(line)+1+uniseg.StringWidth(word) <= columns:
			line += " " + word
		default:
			out, line = append(out, line), word
		}
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}

// nameColumns is how much of a name is shown in a drawing; the rest is in its hint and in the tables.
const nameColumns = 18

func name(s string) string { return short(s, nameColumns) }

func length(um int64) string { return joined(measure.Length(um).String()) }

// percent of basis points.
func percent(bp int64) string {
	s := fmt.Sprintf("%d.%02d", bp/100, bp%100)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".") + "\u00a0%"
}

func size(s saw.Stone) string {
	if s.Shape == saw.Round {
		return "round " + mm(s.LengthUm)
	}
	return string(s.Shape) + " " + mm(s.LengthUm) + " × " + mm(s.WidthUm)
}

// mass to the division of the scale that it will be compared on, half up.
func mass(ug int64, division measure.Mass) string {
	d := int64(division)
	return joined(measure.Mass((ug + d/2) / d * d).OnScale(division))
}

// joined keeps a number and its unit on one line.
func joined(s string) string { return strings.ReplaceAll(s, " ", "\u00a0") }
