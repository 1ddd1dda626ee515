package pipeline

import (
	"testing"

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
