package pipeline

import (
	"slices"
	"testing"

	"plantframe/pipeline/swing"
)

func TestBothViewsReplaceWhatOneGuesses(t *testing.T) {
	at := func(id string, e swing.EventName, v float64, s swing.Status, method string) swing.Measure {
		m := swing.Measure{ID: id, Event: e, Unit: "deg", Status: s, Method: method}
		if s != swing.NotMeasurable {
			sigma := 5.0
			m.Value, m.Sigma = &v, &sigma
		}
		return m
	}
	own := []swing.Measure{
		at("shoulder_turn", swing.Stance, -10, swing.Measured, ""),
		at("shoulder_turn", swing.Plant, -30, swing.Weak, ""),
		at("front_knee_flexion", swing.Plant, 0, swing.NotMeasurable, ""),
		at("stride_length", swing.Plant, 0.4, swing.Measured, ""),
	}
	both := []swing.Measure{
		at("shoulder_turn", swing.Stance, -5, swing.Weak, "two-views"),
		at("shoulder_turn", swing.Load, -12, swing.Measured, "two-views"),
		at("shoulder_turn", swing.Plant, -15, swing.Measured, "two-views"),
		at("front_knee_flexion", swing.Stance, 40, swing.Measured, "two-views"),
		at("front_knee_flexion", swing.Contact, 10, swing.Measured, "two-views"),
		at("front_knee_flexion", swing.Plant, 0, swing.NotMeasurable, "two-views"),
		at("separation_peak", "", -20, swing.Measured, "two-views"),
	}
	out := adopt(own, both, 1.8)
	var got []string
	for _, m := range out {
		got = append(got, m.ID+" "+string(m.Event)+" "+m.Method)
	}
	want := []string{
		"shoulder_turn stance ", "shoulder_turn load two-views", "shoulder_turn plant two-views",
		"front_knee_flexion stance two-views", "front_knee_flexion plant ", "front_knee_flexion contact two-views",
		"stride_length plant ", "separation_peak  two-views",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
	if own[1].Status != swing.Weak || *out[2].Value != -15 {
		t.Error("the measures of the one view were written over")
	}
}

func TestLengthsOfBothViewsInMetresToo(t *testing.T) {
	v, s := 0.25, 0.02
	out := adopt(nil, []swing.Measure{{ID: "barrel_distance", Event: swing.Plant, Unit: "stature", Value: &v, Sigma: &s, Status: swing.Measured}}, 1.8)
	if len(out) != 2 || out[1].ID != "barrel_distance_m" || out[1].Unit != "m" || *out[1].Value != 0.45 {
		t.Errorf("%+v", out)
	}
}
