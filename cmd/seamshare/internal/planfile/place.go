package planfile

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"seamshare.example/cmd/seamshare/internal/strictjson"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/saw"
)

// Problem says in the file's words what the domain found wrong within a study ("piece") or a plan ("plans[1]"): where it
// stands in the file, and what stands there in the units that are typed.
func (f File) Problem(within string, wrong *saw.Invalid) (path, rule string) {
	rule = perMille.ReplaceAllString(typed(wrong.Path, wrong.Rule), ", such as $1")
	rule = strings.NewReplacer(", in thousandths", "", " in thousandths", "").Replace(rule)
	if wrong.Value != "" {
		rule = "is " + typed(wrong.Path, wrong.Value) + ": " + rule
	}
	return f.place(within, wrong.Path), rule
}

// ends are the units that the domain's names of fields end with; the file's don't.
var ends = strings.NewReplacer("_um", "", "_ug", "", "_bp", "", "_mdeg", "", "_milli", "", "_minor", "")

var (
	priceAt   = regexp.MustCompile(`^markets\[(\d+)\](?:\.prices\[(\d+)\])?`)
	pointsAt  = regexp.MustCompile(`^features\[(\d+)\]\.points`)
	renamings = []struct{ domain, file string }{
		{"underlays", "photos"},
		{".distance", ".apart"},
		{".pixel_a", ".pixels[0]"},
		{".pixel_b", ".pixels[1]"},
		{"profile", "section.outline"},
		{"trace", "section.along"},
		{"settings.", "rules."},
	}
)

func (f File) place(within, path string) string {
	path = ends.Replace(path)
	if m := priceAt.FindStringSubmatch(path); m != nil {
		rest := path[len(m[0]):]
		path = "prices[" + m[1] + "]"
		switch {
		case m[2] == "":
			path += strings.Replace(rest, ".name", ".market", 1)
		case rest == "": // what an amount lacks is the price itself
			path += ".pays[" + m[2] + "].price"
		default:
			path += ".pays[" + m[2] + "]" + rest
		}
		return path
	}
	if m := pointsAt.FindStringSubmatch(path); m != nil && within == "piece" {
		drawn := "line"
		if i, err := strconv.Atoi(m[1]); err == nil && i < len(f.Study.Features) && f.Study.Features[i].Closed {
			drawn = "area"
		}
		path = fmt.Sprintf("features[%s].%s%s", m[1], drawn, path[len(m[0]):])
	}
	for _, r := range renamings {
		path = strings.Replace(path, r.domain, r.file, 1)
	}
	for _, top := range []string{"blades", "rules.", "wants", "saw_minutes"} {
		if strings.HasPrefix(path, top) {
			return path
		}
	}
	return strictjson.Join(within, path)
}

// perMille is what rules say of the domain's thousandths, and in them the example as a file has it.
var perMille = regexp.MustCompile(`,? in thousandths, \d+ for (\d+\.\d+)`)

var whole = regexp.MustCompile(`^-?\d+$|\b\d+ to \d+\b`)

// typed writes the numbers of a value or of a range as the file has them: the domain counts in micrometres and thousandths.
func typed(path, text string) string {
	unit := ""
	switch {
	case strings.HasSuffix(path, "_um"):
		unit = " mm"
	case strings.HasSuffix(path, "_ug"):
		return whole.ReplaceAllStringFunc(text, func(found string) string {
			numbers := strings.Split(found, " to ")
			for i, n := range numbers {
				ug, err := strconv.ParseInt(n, 10, 64)
				if err != nil {
					return found
				}
				numbers[i] = strings.TrimSuffix(measure.Mass(ug).String(), " g")
			}
			return strings.Join(numbers, " to ") + " g"
		})
	case strings.HasSuffix(path, "_mdeg"), strings.HasSuffix(path, "_milli"):
	default:
		return text
	}
	return whole.ReplaceAllStringFunc(text, func(found string) string {
		numbers := strings.Split(found, " to ")
		for i, n := range numbers {
			thousandths, err := strconv.ParseInt(n, 10, 64)
			if err != nil {
				return found
			}
			numbers[i] = strings.TrimSuffix(measure.Length(thousandths).String(), " mm")
		}
		return strings.Join(numbers, " to ") + unit
	})
}
