package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plantframe/cmd/internal/config"
	"plantframe/pipeline"
	"plantframe/pipeline/fuse"
	"plantframe/pipeline/output"
	"plantframe/pipeline/swing"
	"plantframe/pipeline/swingtest"
)

// filming is a worker whose clips are films of invented motions: the words of the file
// say which, such as "open", "rear late" (its clock starts later), "rear kick".
type filming struct{ fakeWorker }

func (w *filming) Analyse(ctx context.Context, path string, p swing.Progress, log *slog.Logger) (swing.Analysis, error) {
	a, err := w.fakeWorker.Analyse(ctx, path, p, log)
	b, rerr := os.ReadFile(path)
	if err != nil || rerr != nil {
		return a, err
	}
	m, c := swingtest.Default(), swingtest.Camera{View: swing.OpenSide}
	for _, word := range strings.Fields(string(b)) {
		switch word {
		case "rear":
			c.View = swing.Rear
		case "late":
			c.Shift = 0.12
		case "kick":
			m.Stride = swingtest.Kicks
		case "none":
			return a, nil
		case "noon":
			a.Clip.Made = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
		case "evening":
			a.Clip.Made = time.Date(2026, 5, 4, 18, 0, 0, 0, time.UTC)
		}
	}
	s := swing.Swing{
		Index: 1, Bats: swing.Right, BatsSource: "auto", BatsConfidence: 1, View: c.View, ViewSource: "auto", ViewConfidence: 1,
		Window: [2]float64{0, 2.5}, Width: 1280, Height: 720, Events: map[swing.EventName]swing.Event{},
	}
	poses, _, _ := c.Film(m)
	for i, q := range poses {
		var row [swing.NumPoints]swing.TrackPoint
		for j, k := range q.Points {
			row[j] = swing.TrackPoint{X: k.X, Y: k.Y, Score: 0.9, State: swing.Seen}
		}
		s.Track.Frames, s.Track.Times, s.Track.Points = append(s.Track.Frames, i), append(s.Track.Times, q.Time-c.Shift), append(s.Track.Points, row)
	}
	s.Track.Stature = m.Height * 200
	for j := range s.Track.Sigma {
		s.Track.Sigma[j] = 3
	}
	for name, at := range map[swing.EventName]float64{
		swing.Stance: m.Lift(0) - 0.3, swing.Load: m.Lift(0), swing.Lift: m.Lift(0), swing.Touch: m.Touch(0),
		swing.Plant: m.PlantByDefinition(0), swing.Contact: m.Contacts[0],
	} {
		s.Events[name] = swing.Event{Time: at - c.Shift, Sigma: 0.015, Method: "test", Frame: 60}
	}
	s.Measures = []swing.Measure{{ID: "hip_turn", Event: swing.Plant, Unit: "deg", Status: swing.NotMeasurable, Reason: "one view"}}
	a.Swings = []swing.Swing{s}
	return a, nil
}

func (w *filming) Fuse(ctx context.Context, a, b *swing.Analysis, i, j int) (fuse.Match, error) {
	o := pipeline.DefaultOptions()
	o.Fuse.Draws = 10
	return pipeline.Fuse(ctx, a, b, i, j, pipeline.Deps{}, o)
}

// films runs analyze on clips with the given words in one folder, in order of names.
func films(t *testing.T, clips map[string]string, more ...string) (dir string, code int, stdout, stderr string) {
	t.Helper()
	dir = t.TempDir()
	for name, words := range clips {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(words), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	out := filepath.Join(dir, "out")
	var so, se strings.Builder
	a := &app{
		stdout: &so, stderr: &se, terminal: terminal,
		newWorker: func(s config.Settings, _ int, _ pipeline.Artifacts) (worker, error) {
			return &filming{fakeWorker{settings: s}}, nil
		},
	}
	args := []string{"analyze", "--no-overlay", "--store", "none", "--out", out, "--log-level", "warn"}
	for _, m := range more {
		args = append(args, strings.ReplaceAll(m, "DIR", dir))
	}
	for name := range clips {
		if filepath.Ext(name) == ".mov" {
			args = append(args, filepath.Join(dir, name))
		}
	}
	code = a.run(t.Context(), args)
	return dir, code, so.String(), se.String()
}

func stored(t *testing.T, dir, clip string) swing.Analysis {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, "out", clip, analysisFile))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	a, err := output.ReadJSON(f)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func pairLines(t *testing.T, stdout string) (out []pairResult) {
	t.Helper()
	sc := bufio.NewScanner(strings.NewReader(stdout))
	sc.Buffer(nil, 1<<20)
	for sc.Scan() {
		if !strings.Contains(sc.Text(), `"schema":"`+pairSchema) {
			continue
		}
		var p pairResult
		if err := json.Unmarshal(sc.Bytes(), &p); err != nil {
			t.Fatal(err)
		}
		out = append(out, p)
	}
	return out
}

func TestClipsOfOneSwingArePutTogether(t *testing.T) {
	dir, code, stdout, stderr := films(t, map[string]string{"side.mov": "film open", "back.mov": "film rear late", "nobody.mov": "film none"}, "--json")
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, stderr)
	}
	p := pairLines(t, stdout)
	if len(p) != 1 || p[0].Status != pairFused || p[0].OffsetS == nil || len(p[0].Measure) == 0 {
		t.Fatalf("%+v\n%s", p, stdout)
	}
	for clip, partner := range map[string]string{"side": "back.mov", "back": "side.mov"} {
		s := stored(t, dir, clip).Swings[0]
		if s.Views == nil || s.Views.Partner.File != partner || len(s.Views.Partner.SHA256) != 64 {
			t.Fatalf("%s: %+v", clip, s.Views)
		}
		want := -0.12 // the late clock is behind
		if clip == "back" {
			want = 0.12
		}
		if d := s.Views.Offset - want; d > 0.01 || d < -0.01 {
			t.Errorf("%s: offset %.4f s, want %.2f", clip, s.Views.Offset, want)
		}
		m := s.Measures[0]
		if m.ID != "hip_turn" || m.Value == nil || m.Method != fuse.Method {
			t.Errorf("%s: the measure of one view was kept: %+v", clip, m)
		}
		page, err := os.ReadFile(filepath.Join(dir, "out", clip, reportFile))
		if err != nil || !strings.Contains(string(page), "Two views were put together: this clip and "+partner) {
			t.Errorf("%s: the report does not tell of the other view: %v", clip, err)
		}
	}
}

func TestDifferentSwingsAreNotPutTogether(t *testing.T) {
	_, code, stdout, stderr := films(t, map[string]string{"a.mov": "film open", "b.mov": "film rear kick"}, "--json", "--pairs", "DIR/pairs.yaml")
	if code != exitUsage || !strings.Contains(stderr, "cannot be read") {
		t.Fatalf("a list that is not there: exit %d %s%s", code, stdout, stderr)
	}
	dir, code, stdout, _ := films(t, map[string]string{"a.mov": "film open", "b.mov": "film rear kick", "pairs.yaml": "- [a.mov, b.mov]"}, "--json", "--pairs", "DIR/pairs.yaml")
	p := pairLines(t, stdout)
	if code == exitUsage || len(p) != 1 || p[0].Status != pairRefused || p[0].Reason == "" {
		t.Fatalf("exit %d, %+v\n%s", code, p, stdout)
	}
	a := stored(t, dir, "a")
	if a.Swings[0].Views != nil || !strings.Contains(fmt.Sprint(a.Warnings), "do not show the same swing") {
		t.Errorf("%+v %v", a.Swings[0].Views, a.Warnings)
	}
}

func TestClipThatFitsSeveralIsLeftAlone(t *testing.T) {
	clips := map[string]string{"a.mov": "film open", "b.mov": "film rear", "c.mov": "film rear late"}
	dir, _, stdout, _ := films(t, clips, "--json")
	if p := pairLines(t, stdout); len(p) != 0 {
		t.Fatalf("%+v", p)
	}
	if a := stored(t, dir, "a"); a.Swings[0].Views != nil || !strings.Contains(fmt.Sprint(a.Warnings), "--pairs") {
		t.Errorf("%v", a.Warnings)
	}
	// What the containers tell of the time decides.
	dir, _, _, _ = films(t, map[string]string{"a.mov": "film open noon", "b.mov": "film rear evening", "c.mov": "film rear late noon"}, "--json")
	if a := stored(t, dir, "a"); a.Swings[0].Views == nil || a.Swings[0].Views.Partner.File != "c.mov" {
		t.Errorf("the clip of the same time was not taken: %v", a.Warnings)
	}
	clips["list.yaml"] = "pairs:\n  - [a.mov, c.mov]\n"
	dir, _, stdout, _ = films(t, clips, "--json", "--pairs", "DIR/list.yaml")
	if p := pairLines(t, stdout); len(p) != 1 || p[0].Status != pairFused {
		t.Fatalf("%+v", p)
	}
	if a := stored(t, dir, "a"); a.Swings[0].Views == nil || a.Swings[0].Views.Partner.File != "c.mov" {
		t.Error("the named pair was not taken")
	}
	_, _, stdout, _ = films(t, map[string]string{"a.mov": "film open", "b.mov": "film rear"}, "--json", "--pairs", "none")
	if p := pairLines(t, stdout); len(p) != 0 {
		t.Errorf("nobody asked: %+v", p)
	}
}

func TestListsOfPairs(t *testing.T) {
	dir := t.TempDir()
	var clips []*clipFile
	for _, n := range []string{"a.mov", "b.mov", "x/b.mov", "c.mov"} {
		p := filepath.Join(dir, n)
		if err := os.MkdirAll(filepath.Dir(p), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(n), 0o600); err != nil {
			t.Fatal(err)
		}
		clips = append(clips, &clipFile{path: p})
	}
	path := filepath.Join(dir, "pairs.yaml")
	for text, want := range map[string]string{
		"pairs:\n - [a.mov, b.mov]\n": "", "- [a.mov, x/b.mov]\n": "", "": "empty", "pairs: []": "no list", "pair:\n - [a.mov, b.mov]": `unknown key "pair"`,
		"- [a.mov]": "two clips", "- [a.mov, z.mov]": "z.mov is not among", "- [a.mov, b.mov]\n- [c.mov, a.mov]": "stands in line 1",
		"- [a.mov, {b: c}]": "named by its path", "a: [": "not YAML",
	} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := readPairs(path, clips)
		e, _ := swing.AsError(err)
		switch {
		case want == "" && (err != nil || len(got) != 1 || got[0][0] != clips[0] || filepath.Base(got[0][1].path) != "b.mov"):
			t.Errorf("%q: %v %v", text, got, err)
		case want != "" && (e == nil || e.Kind != swing.KindUsage || !strings.Contains(e.Msg, want) || e.Hint == ""):
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}
