package draw_test

import (
	"bytes"
	"flag"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"testing"

	"seamshare.example/services/domain/saw"
	"seamshare.example/services/domain/saw/draw"
	"seamshare.example/services/domain/saw/example"
	"seamshare.example/services/domain/saw/seam"
)

var update = flag.Bool("update", false, "write the golden pictures again; look at them before you commit")

// pictures are all drawings of the demo's pieces, by file name.
func pictures(t *testing.T) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	put := func(name string, draw func(w io.Writer) error) {
		t.Helper()
		var b bytes.Buffer
		if err := draw(&b); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out[name] = b.Bytes()
	}
	for _, name := range slices.Sorted(maps.Keys(example.Demo())) {
		c := example.Demo()[name]
		put(name+"-study.svg", func(w io.Writer) error { return draw.Study(w, c.Study, draw.Options{}) })
		for i, plan := range c.Plans {
			result, err := saw.Evaluate(c.Study, plan, example.Prices())
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			at := name + "-plan-" + strconv.Itoa(i+1)
			put(at+".svg", func(w io.Writer) error { return draw.Plan(w, c.Study, plan, result, draw.Options{}) })
			put(at+"-sheet.html", func(w io.Writer) error { return draw.Sheet(w, c.Study, plan, result, draw.Options{}) })
			for j, s := range plan.Steps {
				path := "steps[" + strconv.Itoa(j) + "]"
				put(at+"-step-"+strconv.Itoa(j+1)+".svg", func(w io.Writer) error { return draw.Step(w, c.Study, plan, result, path, draw.Options{}) })
				if _, ok := s.Do.(saw.Look); ok {
					put(at+"-look-"+strconv.Itoa(j+1)+".svg", func(w io.Writer) error { return draw.Outcomes(w, c.Study, plan, result, path, draw.Options{}) })
				}
			}
		}
	}
	study, plan, prices := everything()
	result, err := saw.Evaluate(study, plan, prices)
	if err != nil {
		t.Fatal(err)
	}
	o := draw.Options{ID: "all", Photo: photos, Division: 2_000}
	put("all-study.svg", func(w io.Writer) error { return draw.Study(w, study, o) })
	put("all-plan.svg", func(w io.Writer) error { return draw.Plan(w, study, plan, result, o) })
	put("all-sheet.html", func(w io.Writer) error { return draw.Sheet(w, study, plan, result, o) })
	for i := range plan.Steps {
		path := "steps[" + strconv.Itoa(i) + "]"
		put("all-step-"+strconv.Itoa(i+1)+".svg", func(w io.Writer) error { return draw.Step(w, study, plan, result, path, o) })
	}
	put("all-look.svg", func(w io.Writer) error { return draw.Outcomes(w, study, plan, result, "steps[5]", o) })
	const inner = "steps[5].look.outcomes[0].steps[0]"
	put("all-inner-step.svg", func(w io.Writer) error { return draw.Step(w, study, plan, result, inner, o) })
	put("all-inner-look.svg", func(w io.Writer) error { return draw.Outcomes(w, study, plan, result, inner, o) })
	for name, a := range angled() {
		put("seams-"+name+".svg", func(w io.Writer) error { return draw.Seams(w, a, draw.Options{}) })
	}
	return out
}

// angled are the demo's P1-3, sawn midway and parallel, and at a place that leaves too little.
func angled() map[string]draw.Angled {
	p1p3 := draw.Angled{
		Name:  "P1-3",
		Seams: seam.Seams{AngleMilliDeg: 14_000, NearUm: 4_000, FarUm: 38_000, FirstBackUm: 1_200, SecBackUm: 1_200, KerfUm: 600},
		Cut:   seam.Bisector, PlaceUm: 12_500, First: "lower seam", Second: "upper seam", ThicknessUm: 1_100,
	}
	parallel, short := p1p3, p1p3
	parallel.Cut, parallel.Seams.WanderUm, parallel.PlaceUm = seam.Parallel, 100, 16_000
	short.PlaceUm = 9_000
	return map[string]draw.Angled{"midway": p1p3, "parallel": parallel, "short": short}
}

// kept are the pictures that are held byte for byte; the others are made of the same parts.
var kept = regexp.MustCompile(`^(all-.*|seams-.*|.*-study\.svg|.*-plan-1\.svg|.*-look-.*|P1-3-plan-1-sheet\.html)$`)

// The demo's pieces are drawn as they were, byte for byte.
func TestGolden(t *testing.T) {
	all := pictures(t)
	maps.DeleteFunc(all, func(name string, _ []byte) bool { return !kept.MatchString(name) })
	const dir = "testdata/golden"
	if *update {
		if err := os.RemoveAll(dir); err != nil {
			t.Fatal(err)
		}
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for name, got := range all {
		path := filepath.Join(dir, name)
		if *update {
			if err := os.WriteFile(path, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatalf("%v; run with -update to write it", err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s is drawn differently; run with -update, look at it and commit it", name)
		}
	}
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if _, ok := all[filepath.Base(f)]; !ok {
			t.Errorf("%s is drawn no more; run with -update", f)
		}
	}
}
