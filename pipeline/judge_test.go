package pipeline

import (
	"context"
	"testing"

	"plantframe/pipeline/judge"
	"plantframe/pipeline/swing"
)

// targetsWith are targets of one band that ends at hi, with a text.
func targetsWith(hi float64, title string) judge.Targets {
	lo := 20.0
	return judge.Targets{
		Bands: []judge.Band{{
			ID: "x", Measure: "bat_tilt", Event: swing.Plant, Views: []swing.View{swing.Rear}, Unit: "deg", Lo: &lo, Hi: &hi, Weight: 1,
			Text: judge.Texts{Title: title, Low: "low {value}", High: "high {value}", In: "in {value}"},
		}},
		Phrase: judge.Phrases{PlusMinus: "{value} ± {sigma}", Units: map[string]judge.Unit{"deg": {}}},
	}
}

// Moving a band, or changing a word, judges again and does nothing else; equal
// targets do not even judge.
func TestTargetsAreTheKeyOfJudging(t *testing.T) {
	store := &memory{data: map[string][]byte{}}
	value, sigma := 50.0, 2.0
	measured := 0
	run := func(d judge.Targets) (swing.Finding, int) {
		r := &run{ctx: context.Background(), key: "clip", deps: Deps{Artifacts: store}.withDefaults(), computed: map[string]int{}}
		f, err := step(r, "measure", measureVersion, 0, func() (found, error) {
			measured++
			return found{Swings: []swing.Swing{{
				View: swing.Rear, Measures: []swing.Measure{{ID: "bat_tilt", Event: swing.Plant, Unit: "deg", Value: &value, Sigma: &sigma, Status: swing.Measured}},
			}}}, nil
		})
		if err == nil {
			f, err = step(r, "judge", judgeVersion, judgeKey{judge.DefaultOptions(), d}, func() (found, error) {
				return f, judgeSwings(f.Swings, d, judge.DefaultOptions())
			})
		}
		if err != nil || len(f.Swings) != 1 || len(f.Swings[0].Findings) != 1 {
			t.Fatalf("%v: %+v", err, f)
		}
		return f.Swings[0].Findings[0], r.computed["judge"]
	}
	for i, c := range []struct {
		targets judge.Targets
		status  swing.FindingStatus
		judged  int
	}{
		{targetsWith(60, "a"), swing.InBand, 1},
		{targetsWith(60, "a"), swing.InBand, 0},
		{targetsWith(45, "a"), swing.OutOfBand, 1},
		{targetsWith(45, "b"), swing.OutOfBand, 1},
		{targetsWith(60, "a"), swing.InBand, 0},
	} {
		f, n := run(c.targets)
		if f.Status != c.status || n != c.judged || f.Title != c.targets.Bands[0].Text.Title {
			t.Errorf("%d: %s, judged %d times, %q", i, f.Status, n, f.Title)
		}
	}
	if measured != 1 {
		t.Errorf("measured %d times", measured)
	}
	if err := judgeSwings([]swing.Swing{{}}, judge.Targets{Bands: []judge.Band{{}}}, judge.DefaultOptions()); err == nil {
		t.Error("targets that make no sense are taken")
	}
}
