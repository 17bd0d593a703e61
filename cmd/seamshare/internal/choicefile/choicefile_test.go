package choicefile_test

import (
	"errors"
	"strconv"
	"strings"
	"testing"

	"seamshare.example/cmd/seamshare/internal/choicefile"
)

func percent(text string) (int64, error) {
	number, ok := strings.CutSuffix(text, " %")
	n, err := strconv.ParseInt(number, 10, 64)
	if !ok || err != nil || n < 0 || n > 100 {
		return 0, errors.New("no chance")
	}
	return n * 100, nil
}

// The example in the help is right.
func TestHelp(t *testing.T) {
	example, _, _ := strings.Cut(choicefile.Help, "\n\n")
	r, problems := choicefile.Parse([]byte(example), percent)
	if len(problems) > 0 || len(r.GetStates()) != 2 || len(r.GetActs()) != 2 || r.GetActs()[1].GetValues()[0].GetUnits() != 1_910 || r.GetLook().GetFindings()[1].GetGivenBp()[1] != 8_000 {
		t.Errorf("%v; %v", r, problems)
	}
}

// Whatever stands in a file: it is read or said what is wrong, and all that is read is whole.
func FuzzParse(f *testing.F) {
	example, _, _ := strings.Cut(choicefile.Help, "\n\n")
	for _, seed := range []string{example, `{"states":[],"acts":[]}`, `{"states":1}`, `{"look":{}}`, "{"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		r, problems := choicefile.Parse(data, percent)
		if len(problems) > 0 {
			return
		}
		for _, a := range r.GetActs() {
			for _, v := range a.GetValues() {
				if v == nil || a.GetName() == "" {
					t.Fatalf("%v was read of %q", a, data)
				}
			}
		}
	})
}
