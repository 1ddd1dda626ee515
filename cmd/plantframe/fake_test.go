package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"image"
	"image/png"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plantframe/cmd/internal/config"
	"plantframe/pipeline"
	"plantframe/pipeline/ingest"
	"plantframe/pipeline/judge"
	"plantframe/pipeline/output/render"
	"plantframe/pipeline/swing"
)

// fakeWorker stands for the pipeline: what it does with a "clip" is the first
// word of the file.
type fakeWorker struct {
	settings config.Settings
	started  chan string // receives the path of each clip, when not nil
}

func (w *fakeWorker) Analyse(ctx context.Context, path string, p swing.Progress, log *slog.Logger) (swing.Analysis, error) {
	if w.started != nil {
		w.started <- path
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return swing.Analysis{}, err
	}
	p.Stage("pose", 10)
	p.Add(10)
	sum := sha256.Sum256(b)
	a := swing.Analysis{
		ToolVersion: "test", Options: w.settings.Effective(), FramesRead: 10,
		Clip: swing.Clip{Path: path, SHA256: hex.EncodeToString(sum[:]), Width: 100, Height: 100, Frames: 10, Duration: 1},
	}
	word, _, _ := strings.Cut(string(b), " ")
	switch word {
	case "bad":
		return a, &swing.Error{Op: "fake", Clip: path, Frame: -1, Kind: swing.KindUnreadable, Msg: "this is not a video", Hint: "choose another"}
	case "panic":
		panic("a fault")
	case "wait": // stops in good order
		<-ctx.Done()
		return a, &swing.Error{Op: "fake", Clip: path, Frame: 3, Kind: swing.KindInternal, Msg: "stopped", Err: ctx.Err()}
	case "stuck": // does not hear: a long call into C
		time.Sleep(time.Minute)
	case "none":
		a.Warnings = []swing.Warning{{Code: "no-swing", Text: "No swing found: two people walking."}}
		return a, nil
	}
	v, s := 0.5, 0.1
	a.Swings = []swing.Swing{{
		Bats: swing.Right, BatsSource: "auto", BatsConfidence: 0.9, View: swing.OpenSide, ViewSource: "auto", ViewConfidence: 0.9, Window: [2]float64{0, 1},
		Events:   map[swing.EventName]swing.Event{swing.Plant: {Time: 0.5, Frame: 5, Sigma: 0.008, Method: "foot-still"}},
		Measures: []swing.Measure{{ID: "stride_length", Event: swing.Plant, Value: &v, Sigma: &s, Unit: "stature", Status: swing.Measured, Frames: []int{5}}},
		Warnings: []swing.Warning{{Code: "sides-swapped", Text: "Left and right were exchanged.", Frames: []int{2, 4}}},
	}}
	one := &a.Swings[0]
	// "swing left rear long" is another hitter, seen from behind, with a long stride.
	for _, word := range strings.Fields(string(b))[1:] {
		switch word {
		case "left":
			one.Bats = swing.Left
		case "rear":
			one.View = swing.Rear
		case "long":
			v = 0.9
		case "twice":
			again := *one
			again.Index, one.Index = 2, 1
			a.Swings = append(a.Swings, again)
		case "noplant":
			one.Events = map[swing.EventName]swing.Event{}
		}
	}
	for i := range a.Swings {
		a.Swings[i].Track = standing()
	}
	return a, nil
}

// standing is a body of 200 px that does nothing for a second.
func standing() swing.Track {
	var t swing.Track
	up := map[swing.Joint]float64{
		swing.LeftShoulder: 164, swing.RightShoulder: 164, swing.LeftHip: 106, swing.RightHip: 106,
		swing.LeftKnee: 57, swing.RightKnee: 57, swing.LeftAnkle: 8, swing.RightAnkle: 8,
	}
	for i := range 10 {
		var row [swing.NumPoints]swing.TrackPoint
		for j, y := range up {
			row[j] = swing.TrackPoint{X: 50, Y: 250 - y, Score: 1, State: swing.Seen}
		}
		t.Frames, t.Times, t.Points = append(t.Frames, i), append(t.Times, float64(i)/10), append(t.Points, row)
	}
	return t
}

func (w *fakeWorker) Draw(ctx context.Context, a swing.Analysis, dir string, p swing.Progress) error {
	if strings.Contains(a.Clip.Path, "undrawable") {
		return &swing.Error{Op: "fake", Frame: -1, Kind: swing.KindOutput, Msg: "there is no room for the overlay"}
	}
	if len(a.Swings) == 0 {
		return nil
	}
	if err := os.MkdirAll(filepath.Join(dir, "stills"), 0o755); err != nil {
		return err
	}
	var still bytes.Buffer
	if err := png.Encode(&still, image.NewGray(image.Rect(0, 0, 4, 4))); err != nil {
		return err
	}
	return errors.Join(
		os.WriteFile(filepath.Join(dir, "overlay.mp4"), []byte("video"), 0o600),
		os.WriteFile(filepath.Join(dir, "stills", "0-plant.png"), still.Bytes(), 0o600))
}

func (w *fakeWorker) Compare(ctx context.Context, p *pairing, refs []render.Reference, _ []*subject, dir string, files render.PairFiles, _ swing.Progress) error {
	if err := os.MkdirAll(filepath.Join(dir, stillsFolder), 0o755); err != nil {
		return err
	}
	text := p.hitter.name()
	for _, r := range refs {
		text += " against " + r.Label + " " + r.Name
	}
	if err := os.WriteFile(filepath.Join(dir, files.Video), []byte(text), 0o644); err != nil {
		return err
	}
	var sheet bytes.Buffer
	if err := png.Encode(&sheet, emptySheet(1+len(refs))); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(dir, stillsFolder, files.Grid), sheet.Bytes(), 0o644)
}

// emptySheet is a sheet of stills of so many swings with nothing on it.
func emptySheet(rows int) image.Image {
	for tall := 200 * rows; ; tall++ {
		m := image.NewGray(image.Rect(0, 0, 5*400+4*4, tall))
		if cell, err := render.GridCell(m.Bounds().Size(), rows, 0, swing.Plant); err == nil && cell.Dy() > 150 {
			return m
		}
	}
}

// Keys are those of two stages that tests change settings of.
func (w *fakeWorker) Keys(c swing.Clip) ([]pipeline.StageKey, error) {
	return pipeline.Keys(c, pipeline.Deps{Targets: judge.Targets{Name: w.settings.Level, Bands: []judge.Band{{ID: w.settings.Level}}}}, w.settings.Stages())
}

func (w *fakeWorker) Close() error { return nil }

// try runs a command line with fake workers.
func try(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	return tryIn(t, t.Context(), nil, args...)
}

func tryIn(t *testing.T, ctx context.Context, started chan string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	if os.Getenv(config.EnvCache) == "" {
		t.Setenv(config.EnvCache, filepath.Join(t.TempDir(), "cache"))
	}
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	if os.Getenv("XDG_DATA_HOME") == "" {
		t.Setenv("XDG_DATA_HOME", filepath.Join(t.TempDir(), "data"))
	}
	var out, errs bytes.Buffer
	a := &app{
		stdout: &out, stderr: &errs,
		newWorker: func(s config.Settings, _ int, _ pipeline.Artifacts) (worker, error) {
			return &fakeWorker{settings: s, started: started}, nil
		},
		terminal: func(io.Writer) (bool, int) { return false, 0 },
		probe:    fakeProbe,
		identify: fakeIdentity,
	}
	a.spawn = a.fakeSpawn
	code = a.run(ctx, args)
	if strings.Contains(out.String()+errs.String(), "goroutine ") {
		t.Errorf("a stack trace:\n%s%s", out.String(), errs.String())
	}
	return code, out.String(), errs.String()
}

// clip writes a "clip" and returns its path.
func clip(t *testing.T, dir, name, content string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// tree lists the files below a folder, slash-separated.
func tree(t *testing.T, dir string) []string {
	t.Helper()
	var out []string
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err == nil && (!d.IsDir() || strings.HasPrefix(d.Name(), tempPrefix)) {
			rel, _ := filepath.Rel(dir, p)
			out = append(out, filepath.ToSlash(rel))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func mustContain(t *testing.T, text string, wants ...string) {
	t.Helper()
	for _, w := range wants {
		// Lines may be wrapped anywhere.
		if !strings.Contains(strings.Join(strings.Fields(text), " "), strings.Join(strings.Fields(w), " ")) {
			t.Errorf("no %q in:\n%s", w, text)
		}
	}
}

// fakeProbe describes a "clip".
func fakeProbe(_ context.Context, path string, _ ingest.Options) (swing.Clip, error) {
	b, err := os.ReadFile(path)
	if err == nil && strings.HasPrefix(string(b), "noclip") {
		err = &swing.Error{Op: "fake", Clip: path, Frame: -1, Kind: swing.KindUnreadable, Msg: "this is not a video", Hint: "choose another"}
	}
	sum := sha256.Sum256(b)
	return swing.Clip{Path: path, SHA256: hex.EncodeToString(sum[:]), Frames: 10}, err
}

// fakeIdentity is what fakeWorker depends on.
func fakeIdentity(s config.Settings) (identity, error) {
	return identity{Targets: judge.Targets{Name: s.Level, Bands: []judge.Band{{ID: s.Level}}}}, nil
}

// fakeSpawn runs a worker in this process.
func (a *app) fakeSpawn(ctx context.Context, o childOrder, name string, tell func(jobLine)) (func() error, error) {
	s, err := config.Default().Take(o.Settings)
	return func() error { return a.workOn(ctx, s, name, o.Crashed, tell) }, err
}
