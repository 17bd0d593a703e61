package stage_test

import (
	"strings"
	"testing"

	"seamshare.example/services/domain/stage"
)

// gate is a table with all that a picture has to say.
var gate = stage.Table{
	Thing: "gate", States: []string{"left ajar", "half-shut", "shut"},
	Rows: []stage.Row{
		{From: stage.None, Do: "YardService/HangGate", By: "a smith", To: "left ajar"},
		{From: "left ajar", Do: "YardService/PushGate", By: "anybody", To: "half-shut", If: "it sticks"},
		{From: "left ajar", Do: "YardService/PushGate", By: "anybody", To: "shut", If: "it doesn't"},
		{From: "half-shut", Do: "time", By: "the wind", To: "shut"},
	},
}

func TestPicture(t *testing.T) {
	want := `stateDiagram-v2
    state "left ajar" as left_ajar
    state "half-shut" as half_shut
    [*] --> left_ajar: HangGate
    left_ajar --> half_shut: PushGate (it sticks)
    left_ajar --> shut: PushGate (it doesn't)
    half_shut --> shut: time
`
	if got := gate.Picture(); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestCheck(t *testing.T) {
	if err := gate.Check(); err != nil {
		t.Error(err)
	}
	for name, c := range map[string]struct {
		row  stage.Row
		says string
	}{
		"a state that isn't there":          {stage.Row{From: "shut", Do: "x", By: "y", To: "open"}, `no state "open"`},
		"nobody does it":                    {stage.Row{From: "shut", Do: "x", To: "left ajar"}, "by whom"},
		"the same move twice":               {gate.Rows[0], "stands twice"},
		"the same move for another reason":  {stage.Row{From: "left ajar", Do: "YardService/PushGate", By: "y", To: "shut", If: "it is oiled"}, "stands twice"},
		"a label that no picture can write": {stage.Row{From: "shut", Do: "x", By: "y", To: "left ajar", If: "pushed: hard"}, "picture"},
	} {
		t.Run("refused: "+name, func(t *testing.T) {
			wrong := gate
			wrong.Rows = append(append([]stage.Row{}, gate.Rows...), c.row)
			if err := wrong.Check(); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v", err)
			}
		})
	}
	t.Run("refused: a state that nothing leads to", func(t *testing.T) {
		wrong := gate
		wrong.States = append([]string{"rusted"}, gate.States...)
		if err := wrong.Check(); err == nil || !strings.Contains(err.Error(), "nothing leads to") {
			t.Errorf("got %v", err)
		}
	})
}
