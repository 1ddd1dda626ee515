package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// resultsIn lists the files below a folder but for the pages, which are not made here.
func resultsIn(t *testing.T, dir string) []string {
	t.Helper()
	return slices.DeleteFunc(tree(t, dir), func(name string) bool {
		return filepath.Ext(name) == ".html" || filepath.Base(name) == "stages.json" || pageName.MatchString(filepath.Base(name))
	})
}

// Other targets keep the pictures beside the reference too; another measurement, or
// another reference, makes them again. The report shows both plants.
func TestPicturesBesideAReferenceAreTakenOver(t *testing.T) {
	dir := t.TempDir()
	c, good, other := clip(t, dir, "one.mp4", "good 1"), clip(t, dir, "good.mp4", "good 2"), clip(t, dir, "other.mp4", "good 3")
	out := filepath.Join(dir, "out")
	film := filepath.Join(out, "one", sideFile)
	for _, step := range []struct {
		args []string
		want string
	}{
		{[]string{"--reference", good}, "one against reference good"},
		{[]string{"--reference", good, "--targets", "youth-softball"}, "kept"},
		{[]string{"--reference", good, "--hitter", "A", "--store", "none"}, "kept"},
		{[]string{"--reference", other}, "one against reference other"},
		{[]string{"--reference", other, "--height", "1.80"}, "one against reference other"},
		{[]string{"--reference", other, "--height", "1.80", "--no-cache"}, "one against reference other"},
	} {
		code, _, stderr := try(t, append([]string{"analyze", c, "--out", out}, step.args...)...)
		got, err := os.ReadFile(film)
		if code != exitDone || err != nil {
			t.Fatalf("%v: exit code %d, %v\n%s", step.args, code, err, stderr)
		}
		if string(got) != step.want {
			t.Errorf("%v: the video is %q, want %q", step.args, got, step.want)
		}
		html, err := os.ReadFile(filepath.Join(out, "one", reportFile))
		if err != nil {
			t.Fatal(err)
		}
		name := strings.TrimSuffix(filepath.Base(step.args[1]), ".mp4")
		mustContain(t, string(html), "The plant of this swing", "The reference: "+name, `href="side-by-side.mp4"`)
		if err := os.WriteFile(film, []byte("kept"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

func TestCompare(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	a, b := clip(t, dir, "today.mp4", "swing long"), clip(t, dir, "model.mov", "swing left")
	code, stdout, stderr := try(t, "compare", a, b, "-o", out)
	if code != exitDone {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	want := []string{"today/comparison.json", "today/side-by-side.mp4", "today/stills/compare.png"}
	if got := resultsIn(t, out); !slices.Equal(got, want) {
		t.Errorf("files %v, want %v", got, want)
	}
	mustContain(t, stdout, "A today.mp4", "B model.mov", "times from plant",
		"stride_length at plant 0.900 ± 0.100 height 0.500 ± 0.100 height 0.400 ± 0.141 height differs",
		"not medical advice", "Nothing left this machine.")
	text, err := os.ReadFile(filepath.Join(out, "today", "comparison.json"))
	if err != nil {
		t.Fatal(err)
	}
	mustContain(t, string(text), `"mirrored":true`, `"file":"model.mov"`, `"verdict":"differs"`)
	film, _ := os.ReadFile(filepath.Join(out, "today", "side-by-side.mp4"))
	if string(film) != "today against B model" {
		t.Errorf("the video shows %q", film)
	}
}

func TestCompareInJSON(t *testing.T) {
	dir := t.TempDir()
	a, b, c := clip(t, dir, "a.mp4", "swing long"), clip(t, dir, "b.mp4", "swing rear"), clip(t, dir, "c.mp4", "swing")
	code, stdout, _ := try(t, "compare", a, b, c, filepath.Join(dir, "gone.mp4"), "-o", filepath.Join(dir, "out"), "--json")
	if code != exitIncomplete {
		t.Errorf("exit code %d", code)
	}
	var r struct {
		Schema, Status string
		Comparisons    []struct {
			Reference string
			Measures  []struct{ ID, Verdict string }
		}
		LeftOut []struct {
			Reference string
			Error     struct{ Kind, Message string }
		} `json:"left_out"`
		Files []string
	}
	if err := json.Unmarshal([]byte(stdout), &r); err != nil {
		t.Fatalf("%v: %s", err, stdout)
	}
	if r.Schema != "plantframe/compared/1" || r.Status != "done" || len(r.Files) != 3 {
		t.Errorf("%+v", r)
	}
	if len(r.Comparisons) != 1 || r.Comparisons[0].Reference != c || len(r.Comparisons[0].Measures) != 1 || r.Comparisons[0].Measures[0].Verdict != "differs" {
		t.Errorf("comparisons %+v", r.Comparisons)
	}
	if len(r.LeftOut) != 2 {
		t.Fatalf("left out %+v", r.LeftOut)
	}
	for _, l := range r.LeftOut {
		switch l.Reference {
		case b:
			mustContain(t, l.Error.Message, "from behind", "from the open side")
		default:
			mustContain(t, l.Reference, "gone.mp4")
		}
	}
	if strings.Count(strings.TrimSpace(stdout), "\n") != 0 {
		t.Errorf("more than one line: %s", stdout)
	}
}

func TestWhatCannotBeCompared(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	good := clip(t, dir, "good.mp4", "swing")
	for name, c := range map[string]struct {
		args []string
		code int
		say  []string
	}{
		"one clip":         {[]string{good}, exitUsage, []string{"two swings are needed"}},
		"no swing in A":    {[]string{clip(t, dir, "walk.mp4", "none"), good}, exitFailed, []string{"walk.mp4", "two people walking"}},
		"no swing in B":    {[]string{good, clip(t, dir, "walk2.mp4", "none")}, exitFailed, []string{"walk2.mp4", "two people walking"}},
		"other view":       {[]string{good, clip(t, dir, "behind.mp4", "swing rear")}, exitUsage, []string{"behind.mp4", "seen from behind", "--any-view"}},
		"no plant":         {[]string{good, clip(t, dir, "np.mp4", "swing noplant")}, exitFailed, []string{"no instant is known in both"}},
		"not a video":      {[]string{good, clip(t, dir, "bad.mp4", "bad")}, exitFailed, []string{"bad.mp4", "this is not a video"}},
		"a fault":          {[]string{good, clip(t, dir, "f.mp4", "panic")}, exitFailed, []string{"the program failed", "please report"}},
		"a folder":         {[]string{good, t.TempDir()}, exitUsage, []string{"without an analysis.json"}},
		"gone":             {[]string{good, filepath.Join(dir, "gone.json")}, exitFailed, []string{"there is no such analysis"}},
		"not an analysis":  {[]string{good, clip(t, dir, "x.json", "{}")}, exitFailed, []string{"x.json", "not an analysis"}},
		"wrong instant":    {[]string{good, good, "--align", "stance"}, exitUsage, []string{"stance", "plant, touch or contact"}},
		"no such swing":    {[]string{good, good, "--swing", "3"}, exitUsage, []string{"there is no swing 3"}},
		"all left out":     {[]string{good, clip(t, dir, "b1.mp4", "swing rear"), clip(t, dir, "b2.mp4", "none")}, exitFailed, []string{"none of the 2 references"}},
		"out is a file":    {[]string{good, good, "-o", good}, exitFailed, []string{"is in the way"}},
		"negative numbers": {[]string{good, good, "--swing", "-1"}, exitUsage, []string{"negative"}},
	} {
		t.Run(name, func(t *testing.T) {
			code, stdout, stderr := try(t, append([]string{"compare", "-o", out}, c.args...)...)
			if code != c.code {
				t.Errorf("exit code %d, want %d", code, c.code)
			}
			mustContain(t, stderr, c.say...)
			if stdout != "" {
				t.Errorf("standard output: %s", stdout)
			}
			if _, err := os.Stat(filepath.Join(out, "good")); err == nil {
				t.Error("something was written")
			}
		})
	}
	code, stdout, _ := try(t, "compare", "-o", out, "--any-view", good, filepath.Join(dir, "behind.mp4"))
	if code != exitDone {
		t.Errorf("any view: exit code %d", code)
	}
	mustContain(t, stdout, "only times are compared")
	if strings.Contains(stdout, "stride_length") {
		t.Errorf("measures are compared across views:\n%s", stdout)
	}
}

// A stored analysis stands for its clip; its pictures need the clip near it.
func TestStoredAnalysis(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	a, b := clip(t, dir, "a.mp4", "swing long"), clip(t, dir, "b.mp4", "swing")
	if code, _, stderr := try(t, "analyze", a, "-o", out); code != exitDone {
		t.Fatal(stderr)
	}
	code, stdout, stderr := try(t, "compare", filepath.Join(out, "a"), b)
	if code != exitDone {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	// The made-up clip is no video, so it is not found again: numbers only.
	mustContain(t, stdout, "the clip a.mp4 of a stored analysis was not found", "differs")
	got := resultsIn(t, filepath.Join(out, "a"))
	if want := []string{"analysis.json", "comparison.json", "overlay.mp4", "stills/0-plant.png"}; !slices.Equal(got, want) {
		t.Errorf("files %v, want %v", got, want)
	}
	if _, err := os.Stat("plantframe-out"); err == nil {
		t.Error("the results went into the current folder")
	}
}

func TestReferenceInAnalyze(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	open, rear := clip(t, dir, "ref/open.mp4", "swing r"), clip(t, dir, "ref/rear.mp4", "swing rear")
	clip(t, dir, "in/a.mp4", "swing long")
	clip(t, dir, "in/b.mp4", "swing twice left")
	clip(t, dir, "in/c.mp4", "swing rear long")
	clip(t, dir, "in/d.mp4", "none")
	in := filepath.Join(dir, "in")
	code, stdout, stderr := try(t, "analyze", in, "-o", out, "--reference", open, "--reference", rear)
	if code != exitDone {
		t.Fatalf("exit code %d: %s", code, stderr)
	}
	want := []string{
		"a/analysis.json", "a/comparison.json", "a/overlay.mp4", "a/side-by-side.mp4", "a/stills/0-plant.png", "a/stills/compare.png",
		"b/analysis.json", "b/comparison.json", "b/overlay.mp4", "b/side-by-side-2.mp4", "b/side-by-side.mp4", "b/stills/0-plant.png", "b/stills/compare-2.png", "b/stills/compare.png",
		"c/analysis.json", "c/comparison.json", "c/overlay.mp4", "c/side-by-side.mp4", "c/stills/0-plant.png", "c/stills/compare.png",
		"d/analysis.json", "measures.csv",
	}
	if got := resultsIn(t, out); !slices.Equal(got, want) {
		t.Errorf("files\n%v, want\n%v\n%s", got, want, stdout)
	}
	for name, with := range map[string]string{"a": "a against reference open", "b": "b against reference open", "c": "c against reference rear"} {
		if film, _ := os.ReadFile(filepath.Join(out, name, "side-by-side.mp4")); string(film) != with {
			t.Errorf("%s: the video shows %q", name, film)
		}
	}
	// Without a reference of its view a clip has no comparison, and it is said.
	code, stdout, _ = try(t, "analyze", in, "-o", out, "--reference", open)
	if code != exitDone {
		t.Errorf("exit code %d", code)
	}
	mustContain(t, stdout, "c.mp4: swing 0 was not compared with the reference open.mp4: it is seen from the open side")
	got := resultsIn(t, filepath.Join(out, "c"))
	if want := []string{"analysis.json", "overlay.mp4", "stills/0-plant.png"}; !slices.Equal(got, want) {
		t.Errorf("files %v, want %v", got, want)
	}
	// A later run without a reference leaves the comparison of a.
	if code, _, stderr := try(t, "analyze", in, "-o", out); code != exitDone {
		t.Error(stderr)
	}
	if _, err := os.Stat(filepath.Join(out, "a", "comparison.json")); err != nil {
		t.Error(err)
	}
	// The reference among the clips is not compared with itself.
	_, stdout, _ = try(t, "analyze", filepath.Dir(open), "-o", filepath.Join(dir, "out2"), "--reference", open)
	mustContain(t, stdout, "this clip is the reference itself")
	// A reference that cannot be used ends the run before any clip.
	code, _, stderr = try(t, "analyze", in, "-o", filepath.Join(dir, "out3"), "--reference", filepath.Join(in, "d.mp4"))
	if code != exitFailed || len(resultsIn(t, filepath.Join(dir, "out3"))) != 0 {
		t.Errorf("exit code %d, files %v", code, resultsIn(t, filepath.Join(dir, "out3")))
	}
	mustContain(t, stderr, "d.mp4", "two people walking")
}
