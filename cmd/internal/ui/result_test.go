package ui_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"

	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/swing"
)

func number(v float64) *float64 { return &v }

func measure(id, unit string, value, sigma float64, status swing.Status) swing.Measure {
	return swing.Measure{ID: id, Event: swing.Plant, Value: number(value), Sigma: number(sigma), Unit: unit, Status: status}
}

func analysis() swing.Analysis {
	return swing.Analysis{
		Clip: swing.Clip{Warnings: []swing.Warning{{Code: "low-frame-rate", Text: "Slow."}}},
		Swings: []swing.Swing{
			{
				Index: 0, Bats: swing.Right, View: swing.OpenSide,
				Events: map[swing.EventName]swing.Event{swing.Plant: {Time: 1.7482, Frame: 105, Sigma: 0.0081, Method: "foot-still"}},
				Measures: []swing.Measure{
					measure("rear_elbow_height", "upper_arm", -0.124, 0.081, swing.Measured),
					measure("lead_elbow_flexion", "deg", 45.4, 6.2, swing.Weak),
					measure("stride_length", "m", 0.8, 0.03, swing.Measured),
					measure("stride_length", "stature", 0.451, 0.018, swing.Measured),
				},
				Warnings: []swing.Warning{{Code: "sides-swapped", Text: "Swapped."}},
			},
			{
				Index: 1, Bats: swing.Left, View: swing.Rear,
				Measures: []swing.Measure{{ID: "rear_elbow_height", Event: swing.Plant, Status: swing.NotMeasurable, Reason: "wrong view"}},
			},
		},
	}
}

func TestSummary(t *testing.T) {
	r := ui.Result{Clip: "in/open-right.mp4", Status: ui.StatusDone}
	r.Summarise(analysis())
	got := ui.Summary([]ui.Result{
		r,
		{Clip: "in/" + strings.Repeat("長い名前の動画", 12) + "-07.mov", Status: ui.StatusDone},
		{Clip: "in/bro\nken.mp4", Status: ui.StatusFailed},
		{Clip: "in/copy.mp4", Status: ui.StatusSame},
	}, 0)
	lines := strings.Split(got, "\n")
	for _, want := range [][]string{
		{"open-right.mp4", "1/2", "R", "open-side", "1.748 s ±9 ms", "-0.12 ±0.08", "45° ±6?", "45% ±2", "2"},
		{"2/2", "L", "rear", "-", "-", "-", "-"},
	} {
		found := false
		for _, l := range lines {
			found = found || strings.Join(strings.Fields(l), " ") == strings.Join(want, " ")
		}
		if !found {
			t.Errorf("no row %q in\n%s", want, got)
		}
	}
	for _, want := range []string{"-07.mov", "no swing", "bro?ken.mp4", "failed", "same clip", "? = weak", "- = cannot"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	for _, l := range lines {
		if n := ui.Columns(l); n > 100+2 { // the legend's longest line
			t.Errorf("%d columns: %q", n, l)
		}
	}
}

// The keys of a result line are a contract with other programs.
func TestWriteResult(t *testing.T) {
	r := ui.Result{Clip: "a<b>.mp4", Status: ui.StatusDone, Folder: "out/a", Files: []string{"analysis.json"}, Seconds: 1.5}
	r.Summarise(analysis())
	var buf bytes.Buffer
	if err := ui.WriteResult(&buf, r); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(buf.String(), "\n"); n != 1 {
		t.Errorf("%d lines", n)
	}
	var got map[string]any
	if err := json.Unmarshal(buf.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if got["schema"] != "plantframe/result/1" || got["clip"] != "a<b>.mp4" || got["status"] != "done" {
		t.Errorf("head of the line: %v", got)
	}
	swings := got["swings"].([]any)
	first, second := swings[0].(map[string]any), swings[1].(map[string]any)
	if p := first["plant"].(map[string]any); p["time_s"] != 1.7482 || p["sigma_s"] != 0.0081 || p["frame"] != 105.0 {
		t.Errorf("plant: %v", p)
	}
	if len(first["measures"].([]any)) != 3 {
		t.Errorf("measures: %v", first["measures"])
	}
	if m := first["measures"].([]any)[2].(map[string]any); m["unit"] != "stature" {
		t.Errorf("stride in %v", m["unit"])
	}
	if p, there := second["plant"]; !there || p != nil {
		t.Errorf("a plant that was not found is %v, want null", p)
	}
	if n := len(got["warnings"].([]any)); n != 2 {
		t.Errorf("%d warnings", n)
	}

	buf.Reset()
	if err := ui.WriteResult(&buf, ui.Result{Clip: "x", Status: ui.StatusFailed, Error: ui.Explain(errors.New("boom"))}); err != nil {
		t.Fatal(err)
	}
	want := `{"schema":"plantframe/result/1","clip":"x","status":"failed","seconds":0,"swings":[],"warnings":[],"error":{"kind":"internal","message":"boom"}}` + "\n"
	if buf.String() != want {
		t.Errorf("got %swant %s", buf.String(), want)
	}
}

func TestExplain(t *testing.T) {
	inner := &swing.Error{Op: "ingest.Probe", Clip: "dir/a.mp4", Frame: -1, Kind: swing.KindUnreadable, Msg: "this is a text file", Hint: "choose the video"}
	got := ui.Explain(fmt.Errorf("outer: %w", inner))
	if got.Message != "this is a text file" || got.Hint != "choose the video" || got.Kind != swing.KindUnreadable {
		t.Errorf("got %+v", got)
	}
	if inner.Clip == "" {
		t.Error("the error itself was changed")
	}
	wrapped := &swing.Error{Op: "pipeline.Run", Frame: 12, Kind: swing.KindModel, Msg: "the network failed", Err: inner}
	if got := ui.Explain(wrapped); got.Hint != "choose the video" || !strings.HasPrefix(got.Message, "frame 12: the network failed") {
		t.Errorf("got %+v", got)
	}
	noisy := &swing.Error{Frame: -1, Kind: swing.KindOutput, Msg: "there is no room", Err: errors.New(strings.Repeat("noise of a program\n", 20))}
	if got := ui.Explain(noisy); got.Message != "there is no room" {
		t.Errorf("got %q", got.Message)
	}
}
