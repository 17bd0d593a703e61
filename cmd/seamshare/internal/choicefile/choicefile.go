// Package choicefile reads the JSON file of a choice: acts against states, perhaps with a look.
package choicefile

import (
	"errors"
	"fmt"

	gmoney "google.golang.org/genproto/googleapis/type/money"

	"seamshare.example/cmd/seamshare/internal/amount"
	"seamshare.example/cmd/seamshare/internal/strictjson"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	"seamshare.example/services/domain/money"
)

// MaxBytes is how long a file may be.
const MaxBytes = 100_000

// Help is an example of the file, which stands in the command's help.
const Help = `  {
    "states": [
      {"name": "holds", "chance": "70 %"},
      {"name": "fails", "chance": "30 %"}
    ],
    "acts": [
      {"name": "one only", "values": ["1350 AUD", "1350 AUD"]},
      {"name": "both", "values": ["1910 AUD", "420 AUD"]}
    ],
    "look": {
      "cost": "40 AUD",
      "findings": [
        {"name": "clear", "given": ["90 %", "20 %"]},
        {"name": "cloudy", "given": ["10 %", "80 %"]}
      ]
    }
  }

"look" may be left out.`

const maxName = 80

var form = strictjson.Form{Name: "a choice", Help: "seamshare estimate choice --help", MaxBytes: MaxBytes, MaxDepth: 8}

type reader struct {
	strictjson.Reader
	chance func(string) (int64, error)
}

// Parse reads a file; chance reads "70 %" as basis points. The request is good where there are no problems.
func Parse(data []byte, chance func(string) (int64, error)) (*cutterv1.EstimateChoiceRequest, strictjson.Problems) {
	v, err := form.Parse(data)
	if err != nil {
		problems, ok := errors.AsType[strictjson.Problems](err)
		if !ok {
			problems = strictjson.Problems{{Rule: err.Error()}}
		}
		return nil, problems
	}
	r := &reader{strictjson.Reader{Form: form}, chance}
	return r.choice(v), r.Problems
}

func (r *reader) choice(v strictjson.Value) *cutterv1.EstimateChoiceRequest {
	out := &cutterv1.EstimateChoiceRequest{}
	o := r.Object("", v, "states", "acts", "look")
	if o == nil {
		return out
	}
	r.list("", o, "states", func(path string, v strictjson.Value) {
		if o := r.Object(path, v, "name", "chance"); o != nil {
			s := &cutterv1.ChoiceState{Name: r.name(path, o)}
			if v, ok := r.Needed(path, o, "chance"); ok {
				s.ChanceBp = r.basisPoints(path+".chance", v)
			}
			out.States = append(out.States, s)
		}
	})
	r.list("", o, "acts", func(path string, v strictjson.Value) {
		if o := r.Object(path, v, "name", "values"); o != nil {
			a := &cutterv1.ChoiceAct{Name: r.name(path, o)}
			r.list(path, o, "values", func(path string, v strictjson.Value) { a.Values = append(a.Values, r.money(path, v)) })
			out.Acts = append(out.Acts, a)
		}
	})
	look, ok := o.Get("look")
	if !ok {
		return out
	}
	if o := r.Object("look", look, "cost", "findings"); o != nil {
		out.Look = &cutterv1.ChoiceLook{}
		if v, ok := o.Get("cost"); ok {
			out.Look.Cost = r.money("look.cost", v)
		}
		r.list("look", o, "findings", func(path string, v strictjson.Value) {
			if o := r.Object(path, v, "name", "given"); o != nil {
				f := &cutterv1.LookFinding{Name: r.name(path, o)}
				r.list(path, o, "given", func(path string, v strictjson.Value) { f.GivenBp = append(f.GivenBp, r.basisPoints(path, v)) })
				out.Look.Findings = append(out.Look.Findings, f)
			}
		})
	}
	return out
}

// list goes through a list that must be there.
func (r *reader) list(path string, o *strictjson.Object, name string, do func(path string, v strictjson.Value)) {
	v, ok := r.Needed(path, o, name)
	if !ok {
		return
	}
	path = strictjson.Join(path, name)
	l, ok := v.(strictjson.List)
	if !ok {
		r.Add(path, "%s stands where a list […] must; see %s", strictjson.Show(v), r.Help)
	}
	for i, v := range l {
		do(fmt.Sprintf("%s[%d]", path, i), v)
	}
}

func (r *reader) name(path string, o *strictjson.Object) string {
	v, ok := r.Needed(path, o, "name")
	if !ok {
		return ""
	}
	return r.Text(strictjson.Join(path, "name"), v, maxName)
}

func (r *reader) basisPoints(path string, v strictjson.Value) int64 {
	s, ok := v.(strictjson.Text)
	bp, err := r.chance(string(s))
	switch {
	case !ok:
		r.Add(path, "%s is no chance; write \"70 %%\"", strictjson.Show(v))
	case err != nil:
		r.Add(path, "%v", err)
	}
	return bp
}

func (r *reader) money(path string, v strictjson.Value) *gmoney.Money {
	s, ok := v.(strictjson.Text)
	m, err := amount.Parse(string(s))
	if wrong, is := errors.AsType[*money.Error](err); is && ok {
		r.Add(path, "%s: %s", strictjson.Show(v), wrong.Problem)
	} else if !ok || err != nil {
		r.Add(path, "%s is no amount; write \"1480.00 AUD\"", strictjson.Show(v))
	}
	return m
}
