package progress_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"plantframe/cmd/internal/progress"
	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

func ptr(v float64) *float64 { return &v }

// tilt is a swing with one checkpoint: bat tilt between 10 and 60 degrees.
func tilt(value, sigma float64) store.SwingRecord {
	return store.SwingRecord{
		Index: 1, Bats: swing.Right, View: swing.OpenSide,
		Measures: []swing.Measure{{ID: "bat_tilt", Event: swing.Plant, Value: ptr(value), Sigma: ptr(sigma), Unit: "deg", Status: swing.Measured}},
		Findings: []swing.Finding{{ID: "steep", Title: "Barrel steep", Measure: "bat_tilt", Event: swing.Plant, Status: swing.InBand, Lo: ptr(10), Hi: ptr(60)}},
	}
}

func day(n int, swings ...store.SwingRecord) store.ClipRecord {
	return store.ClipRecord{SHA256: fmt.Sprint(n), Shot: fmt.Sprintf("2026-03-%02d", n), Swings: swings}
}

func one(t *testing.T, clips []store.ClipRecord) swing.Trend {
	t.Helper()
	got := progress.Trends(clips, progress.DefaultOptions())
	if len(got) != 1 {
		t.Fatalf("%d trends: %+v", len(got), got)
	}
	return got[0]
}

// The arithmetic by hand: spread sqrt((2+2*12.5²)/(2+2)) of swings 79, 80, 81 and one
// of 40; measurement 2 at both ends.
func TestPooledByDay(t *testing.T) {
	got := one(t, []store.ClipRecord{day(1, tilt(79, 2), tilt(81, 2)), day(1, tilt(80, 2)), day(9, tilt(40, 2))})
	spread := math.Sqrt((2 + 2*12.5*12.5) / 4)
	first, last := math.Hypot(2, spread/math.Sqrt(3)), math.Hypot(2, spread)
	if len(got.Days) != 2 || got.Days[0].Swings != 3 || got.SpreadSwings != 2 || got.Days[0].Value != 80 {
		t.Errorf("%+v", got)
	}
	for name, c := range map[string][2]float64{
		"spread": {got.Spread, spread}, "first": {got.Days[0].Sigma, first}, "last": {got.Days[1].Sigma, last},
		"change": {got.Change, -40}, "sigma": {got.ChangeSigma, math.Hypot(first, last)},
	} {
		if math.Abs(c[0]-c[1]) > 1e-9 {
			t.Errorf("%s: %g, want %g", name, c[0], c[1])
		}
	}
	if got.Verdict != swing.Changed || got.Heading != swing.Toward || got.Title != "Barrel steep" || *got.Hi != 60 || got.Unit != "deg" {
		t.Errorf("%+v", got)
	}
}

func TestVerdicts(t *testing.T) {
	many := func(n int, v float64) store.ClipRecord {
		var s []store.SwingRecord
		for i := range 6 {
			s = append(s, tilt(v+float64(i%3-1), 1))
		}
		return day(n, s...)
	}
	for name, c := range map[string]struct {
		clips   []store.ClipRecord
		verdict swing.Verdict
		heading swing.Heading
	}{
		"one day":         {[]store.ClipRecord{many(1, 80)}, swing.OneDayOnly, ""},
		"toward":          {[]store.ClipRecord{many(1, 80), many(2, 62)}, swing.Changed, swing.Toward},
		"away":            {[]store.ClipRecord{many(1, 50), many(2, 70)}, swing.Changed, swing.Away},
		"other side":      {[]store.ClipRecord{many(1, 65), many(2, -20)}, swing.Changed, swing.Away},
		"within":          {[]store.ClipRecord{many(1, 20), many(2, 50)}, swing.Changed, swing.Inside},
		"too small":       {[]store.ClipRecord{many(1, 80), many(2, 77)}, swing.NoClearChange, ""},
		"there and back":  {[]store.ClipRecord{many(1, 80), many(2, 40), many(3, 80)}, swing.NoClearChange, ""},
		"single, far":     {[]store.ClipRecord{day(1, tilt(100, 2)), day(2, tilt(40, 2))}, swing.Changed, swing.Toward},
		"single, near":    {[]store.ClipRecord{day(1, tilt(80, 2)), day(2, tilt(60, 2))}, swing.NoClearChange, ""},
		"unsure measures": {[]store.ClipRecord{day(1, tilt(100, 20)), day(2, tilt(40, 20))}, swing.NoClearChange, ""},
	} {
		if got := one(t, c.clips); got.Verdict != c.verdict || got.Heading != c.heading {
			t.Errorf("%s: %s %s, %.1f ± %.1f", name, got.Verdict, got.Heading, got.Change, got.ChangeSigma)
		}
	}
}

// What may not be compared is not: other views, other sides, what was not judged.
func TestWhatCompares(t *testing.T) {
	rear, left, begun, unjudged, lost := tilt(70, 2), tilt(70, 2), tilt(120, 2), tilt(50, 2), tilt(0, 2)
	rear.View, left.Bats = swing.Rear, swing.Left
	begun.Findings[0].Status = swing.NotJudgeable
	unjudged.Findings = nil
	lost.Measures[0].Status, lost.Measures[0].Value, lost.Measures[0].Sigma = swing.NotMeasurable, nil, nil
	got := progress.Trends([]store.ClipRecord{day(1, tilt(60, 2), rear), day(2, left, begun, unjudged, lost)}, progress.DefaultOptions())
	if len(got) != 3 {
		t.Fatalf("%+v", got)
	}
	for _, g := range got {
		n := len(g.Days)
		switch {
		case g.View == swing.OpenSide && g.Bats == swing.Right:
			if n != 2 || g.Days[1].Value != 50 || g.Missing != 2 {
				t.Errorf("%+v", g)
			}
		case n != 1 || g.Missing != 0:
			t.Errorf("%+v", g)
		}
	}
}

// How often chance is called a change, and how often a real one is seen: two days of
// n swings, the hitter's own spread a share of what is assumed before it is seen.
func TestHowOftenChanceIsCalledAChange(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	const rounds = 4000
	rate := func(n int, share, shift float64) float64 {
		spread, sigma := share*12.5, 3.0
		called := 0
		for range rounds {
			var clips []store.ClipRecord
			for d := 1; d <= 2; d++ {
				bias := sigma * r.NormFloat64() // the camera's error, the same all day
				var s []store.SwingRecord
				for range n {
					s = append(s, tilt(30+bias+spread*r.NormFloat64()+shift*float64(d-1), sigma))
				}
				clips = append(clips, day(d, s...))
			}
			if one(t, clips).Verdict == swing.Changed {
				called++
			}
		}
		return float64(called) / rounds
	}
	// Up to the assumed spread chance must stay near one in a hundred; beyond it the
	// assumption is wrong and a few more are allowed. A real change of 3.4 and more of
	// its standard deviations is seen in four of five.
	for _, c := range []struct {
		n             int
		share, shift  float64
		least, utmost float64
	}{
		{1, 0.25, 0, 0, 0.01},
		{1, 1, 0, 0, 0.02},
		{3, 0.5, 0, 0, 0.01},
		{3, 1, 0, 0, 0.02},
		{3, 1.5, 0, 0, 0.06},
		{6, 1.5, 0, 0, 0.03},
		{6, 0.5, 20, 0.7, 1},
		{3, 0.5, 30, 0.8, 1},
		{1, 0.5, 60, 0.85, 1},
	} {
		got := rate(c.n, c.share, c.shift)
		t.Logf("%d swings a day, spread %.2f of the assumed, shift %g°: called changed in %.1f %%", c.n, c.share, c.shift, 100*got)
		if got < c.least || got > c.utmost {
			t.Errorf("%d swings a day, spread %.2f of the assumed, shift %g°: called changed in %.1f %%, want %.1f to %.1f", c.n, c.share, c.shift, 100*got, 100*c.least, 100*c.utmost)
		}
	}
}

func TestRoster(t *testing.T) {
	first := func(s store.SwingRecord, id string, severity float64) store.SwingRecord {
		s.Findings = append(s.Findings, swing.Finding{ID: id, Measure: "none", Priority: 1, Severity: severity, Status: swing.OutOfBand, Text: id})
		return s
	}
	left := first(tilt(40, 1), "hands", 9)
	left.Bats = swing.Left
	none := store.SwingRecord{Bats: swing.Right, View: swing.OpenSide}
	row := progress.NewRow(store.Hitter{Name: "A"}, []store.ClipRecord{
		day(1, first(tilt(100, 1), "old", 1), tilt(99, 1), tilt(101, 1)),
		day(5, first(tilt(40, 1), "stride", 1), first(tilt(41, 1), "stride", 1), left, none), day(8),
	}, progress.DefaultOptions())
	if row.Need == nil || row.Need.Finding.ID != "stride" || row.Need.Swings != 2 || row.Need.Of != 3 || row.Judged != 3 {
		t.Errorf("%+v", row.Need)
	}
	if row.FirstDay != "2026-03-01" || row.LastDay != "2026-03-05" || row.Days != 2 || fmt.Sprint(row.Bats) != "[R L]" {
		t.Errorf("%+v", row)
	}
	if row.Better == nil || row.Better.ID != "steep" || row.Worse != nil {
		t.Errorf("%+v %+v", row.Better, row.Worse)
	}
	small := progress.NewRow(store.Hitter{Name: "B"}, []store.ClipRecord{day(1, tilt(55, 1), tilt(54, 1), tilt(56, 1)), day(2, tilt(90, 1), tilt(91, 1), tilt(89, 1))}, progress.DefaultOptions())
	m := progress.Movers([]progress.Row{small, row}, 5)
	if len(m) != 2 || m[0].Hitter.Name != "A" || m[1].Trend.Heading != swing.Away {
		t.Errorf("%+v", m)
	}
	empty := progress.NewRow(store.Hitter{}, nil, progress.DefaultOptions())
	if empty.Need != nil || empty.Days != 0 || len(progress.Movers([]progress.Row{empty}, 5)) != 0 {
		t.Errorf("%+v", empty)
	}
}
