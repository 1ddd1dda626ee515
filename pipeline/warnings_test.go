package pipeline

import (
	"testing"

	"plantframe/pipeline/event"
	"plantframe/pipeline/swing"
)

func TestWarningsSpeakOfLeadAndRear(t *testing.T) {
	for _, c := range []struct {
		bats       swing.Bats
		text, want string
	}{
		{swing.Right, "left wrist jumped where it cannot be; left out", "lead wrist jumped where it cannot be; left out"},
		{swing.Left, "left wrist, left hand not seen", "rear wrist, rear hand not seen"},
		{swing.Left, "right big toe not seen", "lead big toe not seen"},
		{swing.Right, "left and right of the elbows were exchanged; put back", "left and right of the elbows were exchanged; put back"},
	} {
		in := []swing.Warning{{Text: c.text}}
		if got := leadRear(in, c.bats)[0].Text; got != c.want {
			t.Errorf("bats %s: %q, want %q", c.bats, got, c.want)
		}
		if in[0].Text != c.text {
			t.Errorf("the warning handed in was changed to %q", in[0].Text)
		}
	}
}

func TestWithinKeepsWhatTouchesTheSwing(t *testing.T) {
	track := swing.Track{Times: []float64{1, 2, 3}, Frames: []int{10, 11, 12}}
	ws := []swing.Warning{
		{Code: "before", Frames: []int{0, 9}},
		{Code: "edge", Frames: []int{5, 10}},
		{Code: "inside", Frames: []int{11, 11}},
		{Code: "after", Frames: []int{13, 20}},
		{Code: "whole"},
	}
	got := ""
	for _, w := range within(ws, track) {
		got += w.Code + " "
	}
	if got != "edge inside whole " {
		t.Errorf("kept %q", got)
	}
}

// An empty scene is said once, not by every stage that missed the hitter.
func TestNobodyIsSaidOnce(t *testing.T) {
	nobody := swing.Warning{Code: "no-person", Text: "nobody was found in the clip"}
	noise := []swing.Warning{{Code: "camera-doubt"}, {Code: "hitter-lost"}}
	for name, c := range map[string]struct {
		tracks []tracked
		scan   []swing.Warning
		want   int
	}{
		"followed": {[]tracked{{Warnings: append([]swing.Warning{nobody}, noise...)}}, nil, 1},
		"scanned":  {nil, []swing.Warning{nobody}, 0}, // the clip has it already
	} {
		f, err := findSwings(c.tracks, hearing{}, bodies{Warnings: c.scan, Seen: "nobody in the picture"}, event.DefaultOptions())
		if err != nil {
			t.Fatal(name, err)
		}
		if len(f.Warnings) != c.want || (c.want == 1 && f.Warnings[0].Code != "no-person") {
			t.Errorf("%s: %v", name, f.Warnings)
		}
	}
	// Somebody was there: that no swing was found stays said.
	f, err := findSwings([]tracked{{Warnings: noise}}, hearing{}, bodies{Seen: "one person walking"}, event.DefaultOptions())
	if err != nil || !has(f.Warnings, "no-swing") || !has(f.Warnings, "hitter-lost") {
		t.Errorf("%v, %v", f.Warnings, err)
	}
}
