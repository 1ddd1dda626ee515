package judge_test

import (
	"math"
	"strings"
	"testing"

	"plantframe/pipeline/judge"
	"plantframe/pipeline/swing"
)

func p(v float64) *float64 { return &v }

// words are short texts that show what was filled in.
func words() judge.Phrases {
	return judge.Phrases{
		Units:     map[string]judge.Unit{"deg": {Suffix: "°"}, "stature": {Scale: 100, Suffix: " %"}, "upper_arm": {Decimals: 2, Signed: true}, "1": {Decimals: 2}},
		PlusMinus: "{value} ± {sigma}{suffix}", AtLeast: "{lo} or more", AtMost: "{hi} or less", Between: "{lo} to {hi}",
		Near: "Near the edge.", NotJudged: "{title}: not judged, {reason}.", Unsure: "too unsure ({value})", Begun: "begun {ms} ms before {event}",
		StartUnknown: "Start not seen.", Explained: "Follows from {cause}.", Saving: "{time} % less time.",
	}
}

func band(id, measure string, e swing.EventName, unit string, lo, hi *float64) judge.Band {
	return judge.Band{
		ID: id, Measure: measure, Event: e, Views: []swing.View{swing.OpenSide, swing.Rear}, Unit: unit, Lo: lo, Hi: hi, Weight: 1, Good: true, Origin: "learned",
		DrillsLow: []string{"drill low"}, DrillsHigh: []string{"drill high"},
		Text: judge.Texts{Title: id, Low: "low {value}, wanted {band}", High: "high {value}, wanted {band}", In: "in {value}", Why: "why", CueLow: "up", CueHigh: "down"},
	}
}

func measure(id string, e swing.EventName, unit string, v, sigma float64) swing.Measure {
	return swing.Measure{ID: id, Event: e, Unit: unit, Value: p(v), Sigma: p(sigma), Status: swing.Measured}
}

// hitter is a swing whose bat starts 30 ms after plant.
func hitter(ms ...swing.Measure) swing.Swing {
	return swing.Swing{View: swing.OpenSide, Bats: swing.Right, Measures: ms, Events: map[swing.EventName]swing.Event{
		swing.Plant: {Time: 1.5, Sigma: 0.01}, swing.SwingStart: {Time: 1.53, Sigma: 0.02},
	}}
}

func judged(t *testing.T, sw swing.Swing, bands ...judge.Band) []swing.Finding {
	t.Helper()
	f, err := judge.Judge(sw, judge.Targets{Bands: bands, Phrase: words()}, judge.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func find(t *testing.T, fs []swing.Finding, id string) swing.Finding {
	t.Helper()
	for _, f := range fs {
		if f.ID == id {
			return f
		}
	}
	t.Fatalf("no finding %s in %+v", id, fs)
	return swing.Finding{}
}

// Known answers on the band 20 to 60, half width 20: severity is the distance in
// half widths times z2/(1+z2).
func TestStatusAndSeverity(t *testing.T) {
	for _, c := range []struct {
		name         string
		value, sigma float64
		status       swing.FindingStatus
		severity     float64
		text         string
	}{
		{"middle", 40, 5, swing.InBand, 0, "in 40 ± 5°"},
		{"inside, edge within sigma", 57, 5, swing.NearEdge, 0, "in 57 ± 5° Near the edge."},
		{"on the edge", 60, 0, swing.InBand, 0, "in 60 ± 0°"},
		{"outside by less than sigma", 64, 5, swing.NearEdge, 4.0 / 20 * 0.64 / 1.64, "high 64 ± 5°, wanted 20 to 60° Near the edge."},
		{"outside by two sigmas", 70, 5, swing.OutOfBand, 10.0 / 20 * 4 / 5, "high 70 ± 5°, wanted 20 to 60°"},
		{"the same, unsure", 70, 9.9, swing.OutOfBand, 10.0 / 20 * (1.0203 / 2.0203), "high 70 ± 10°, wanted 20 to 60°"},
		{"the same, exact", 70, 0, swing.OutOfBand, 0.5, "high 70 ± 0°, wanted 20 to 60°"},
		{"below", 0, 10, swing.OutOfBand, 1 * 4.0 / 5, "low 0 ± 10°, wanted 20 to 60°"},
		{"sigma as wide as half the band", 90, 20.1, swing.NotJudgeable, 0, "x: not judged, too unsure (90 ± 20°)."},
	} {
		f := judged(t, hitter(measure("bat_tilt", swing.Plant, "deg", c.value, c.sigma)), band("x", "bat_tilt", swing.Plant, "deg", p(20), p(60)))[0]
		if f.Status != c.status || math.Abs(f.Severity-c.severity) > 1e-3 || f.Text != c.text {
			t.Errorf("%s: %s, severity %.4f, %q; want %s, %.4f, %q", c.name, f.Status, f.Severity, f.Text, c.status, c.severity, c.text)
		}
		if (f.Status == swing.OutOfBand || c.severity > 0) != (f.Priority == 1) || (f.Cue != "") != (f.Priority == 1) || len(f.Drills) > 0 != (f.Priority == 1) {
			t.Errorf("%s: priority %d, cue %q, drills %v", c.name, f.Priority, f.Cue, f.Drills)
		}
	}
}

// A number that gets less sure never makes a louder fault.
func TestUnsureIsNeverLouder(t *testing.T) {
	last := math.Inf(1)
	for sigma := 0.0; sigma < 40; sigma += 0.5 {
		f := judged(t, hitter(measure("bat_tilt", swing.Plant, "deg", 85, sigma)), band("x", "bat_tilt", swing.Plant, "deg", p(20), p(60)))[0]
		if f.Severity > last+1e-12 {
			t.Fatalf("at sigma %g severity rises to %g", sigma, f.Severity)
		}
		if last = f.Severity; sigma > 25 && f.Status == swing.OutOfBand {
			t.Errorf("at sigma %g, more than the distance, it is %s", sigma, f.Status)
		}
	}
}

func TestOpenBands(t *testing.T) {
	b := band("x", "barrel_distance", swing.Plant, "stature", nil, p(0.36))
	b.HalfWidth = 0.12
	f := judged(t, hitter(measure("barrel_distance", swing.Plant, "stature", 0.42, 0.02)), b)[0]
	if f.Text != "high 42 ± 2 %, wanted 36 % or less" || f.Lo != nil || *f.Hi != 0.36 || f.Origin != "learned" || math.Abs(f.Severity-0.5*0.9) > 1e-9 {
		t.Errorf("%+v", f)
	}
	b.Lo, b.Hi = p(0.36), nil
	if f = judged(t, hitter(measure("barrel_distance", swing.Plant, "stature", 0.9, 0.02)), b)[0]; f.Status != swing.InBand || !f.Good {
		t.Errorf("far inside an open band: %+v", f)
	}
}

func TestNotMeasurableKeepsTheReason(t *testing.T) {
	m := swing.Measure{ID: "bat_tilt", Event: swing.Plant, Unit: "deg", Status: swing.NotMeasurable, Reason: "the bat is hidden"}
	f := judged(t, hitter(m), band("x", "bat_tilt", swing.Plant, "deg", p(1), p(2)))[0]
	if f.Status != swing.NotJudgeable || !strings.Contains(f.Text, "the bat is hidden") || f.Good || f.Priority != 0 {
		t.Errorf("%+v", f)
	}
	// A measure that is not there at all is no finding, nor is one of another view.
	if fs := judged(t, hitter(), band("x", "bat_tilt", swing.Plant, "deg", p(1), p(2))); len(fs) != 0 {
		t.Errorf("%+v", fs)
	}
	b := band("x", "bat_tilt", swing.Plant, "deg", p(1), p(2))
	b.Views = []swing.View{swing.Rear}
	if fs := judged(t, hitter(measure("bat_tilt", swing.Plant, "deg", 5, 0.1)), b); len(fs) != 0 {
		t.Errorf("%+v", fs)
	}
}

// The launch position is not judged once the swing has begun.
func TestLaunch(t *testing.T) {
	b := band("x", "bat_tilt", swing.Plant, "deg", p(20), p(60))
	b.Launch = true
	flat := measure("bat_tilt", swing.Plant, "deg", 95, 3)
	for _, c := range []struct {
		name   string
		start  float64 // s against plant
		status swing.FindingStatus
	}{
		{"begins later", 0.03, swing.OutOfBand},
		{"begins at the same time", 0, swing.OutOfBand},
		{"begun by half a sigma", -0.011, swing.OutOfBand},
		{"surely begun", -0.04, swing.NotJudgeable},
	} {
		sw := hitter(flat)
		sw.Events[swing.SwingStart] = swing.Event{Time: 1.5 + c.start, Sigma: 0.02}
		f := judged(t, sw, b)[0]
		if f.Status != c.status {
			t.Errorf("%s: %s", c.name, f.Status)
		}
		if over := judge.LaunchOver(sw, swing.Plant, judge.DefaultOptions()); over != (c.status == swing.NotJudgeable) {
			t.Errorf("%s: over %v", c.name, over)
		}
		if c.status == swing.NotJudgeable && !strings.Contains(f.Text, "begun 40 ms before plant") {
			t.Errorf("%s: %q", c.name, f.Text)
		}
	}
	sw := hitter(flat)
	delete(sw.Events, swing.SwingStart)
	f := judged(t, sw, b)[0]
	if f.Status != swing.NearEdge || f.Severity != 0 || f.Priority != 0 || !strings.HasSuffix(f.Text, "Start not seen.") {
		t.Errorf("start unknown: %+v", f)
	}
}

// Every rule: the cause is named first though the symptom is larger.
func TestRootCauses(t *testing.T) {
	at := swing.Plant
	hand := band("hands", "hand_drift", "", "stature", p(-0.1), p(0.1))
	far := band("barrel", "barrel_distance", at, "stature", p(0), p(0.36))
	elbow := band("elbow", "rear_elbow_height", at, "upper_arm", p(-0.65), p(0.35))
	flat := band("flat", "bat_tilt", at, "deg", p(20), p(60))
	arm := band("arm", "lead_elbow_flexion", at, "deg", p(60), p(140))
	for name, c := range map[string]struct {
		ms         []swing.Measure
		bands      []judge.Band
		first, not string
	}{
		"drift explains a far barrel": {
			[]swing.Measure{measure("hand_drift", "", "stature", 0.17, 0.01), measure("barrel_distance", at, "stature", 0.55, 0.01)},
			[]judge.Band{far, hand},
			"hands", "barrel",
		},
		"a dropped elbow explains a flat barrel": {
			[]swing.Measure{measure("rear_elbow_height", at, "upper_arm", -1, 0.05), measure("bat_tilt", at, "deg", 75, 3)},
			[]judge.Band{flat, elbow},
			"elbow", "flat",
		},
		"a straight arm explains drift": {
			[]swing.Measure{measure("lead_elbow_flexion", at, "deg", 25, 8), measure("hand_drift", "", "stature", 0.19, 0.01)},
			[]judge.Band{hand, arm},
			"arm", "hands",
		},
	} {
		fs := judged(t, hitter(c.ms...), c.bands...)
		symptom := find(t, fs, c.not)
		if fs[0].ID != c.first || fs[0].Priority != 1 || symptom.Priority != 0 || !strings.Contains(symptom.Text, "Follows from "+c.first) {
			t.Errorf("%s: %+v", name, fs)
		}
	}
	// A slight drift does not explain a barrel that is far out.
	fs := judged(t, hitter(measure("hand_drift", "", "stature", 0.112, 0.005), measure("barrel_distance", at, "stature", 0.72, 0.01)), far, hand)
	if fs[0].ID != "barrel" || fs[1].Priority != 2 {
		t.Errorf("small cause: %+v", fs)
	}
	// Nor does drift toward the body.
	fs = judged(t, hitter(measure("hand_drift", "", "stature", -0.3, 0.01), measure("barrel_distance", at, "stature", 0.5, 0.01)), far, hand)
	if b := find(t, fs, "barrel"); b.Priority == 0 {
		t.Errorf("wrong side: %+v", fs)
	}
}

func TestAtMostTwoPrioritiesAndThePraise(t *testing.T) {
	var ms []swing.Measure
	var bands []judge.Band
	for i, id := range []string{"a", "b", "c", "d"} {
		ms = append(ms, measure(id, swing.Plant, "deg", 70+float64(i), 1), measure("g"+id, swing.Plant, "deg", 40+float64(i), 1))
		bands = append(bands, band(id, id, swing.Plant, "deg", p(20), p(60)), band("good-"+id, "g"+id, swing.Plant, "deg", p(20), p(60)))
	}
	bands[0].Weight = 5 // the least far out, but it matters most
	fs := judged(t, hitter(ms...), bands...)
	if fs[0].ID != "a" || fs[0].Priority != 1 || fs[1].ID != "d" || fs[1].Priority != 2 || fs[2].Priority != 0 {
		t.Errorf("%+v", fs[:3])
	}
	good := 0
	for _, f := range fs {
		if f.Good {
			good++
			if f.Status != swing.InBand || !strings.HasPrefix(f.ID, "good-") {
				t.Errorf("praised: %+v", f)
			}
		}
	}
	if good != 3 {
		t.Errorf("%d are praised", good)
	}
}

// Findings know lead and rear only: a mirrored swing has the same.
func TestMirror(t *testing.T) {
	ms := []swing.Measure{measure("rear_elbow_height", swing.Plant, "upper_arm", -1, 0.1), measure("bat_tilt", swing.Plant, "deg", 30, 3)}
	bands := []judge.Band{band("e", "rear_elbow_height", swing.Plant, "upper_arm", p(-0.6), p(0.4)), band("t", "bat_tilt", swing.Plant, "deg", p(20), p(60))}
	right := hitter(ms...)
	left := hitter(ms...)
	left.Bats = swing.Left
	a, b := judged(t, right, bands...), judged(t, left, bands...)
	for i := range a {
		if a[i].ID != b[i].ID || a[i].Text != b[i].Text || a[i].Priority != b[i].Priority || a[i].Status != b[i].Status {
			t.Errorf("%+v and %+v", a[i], b[i])
		}
	}
}

// The barrel's finding says what the distance costs: ratio 1.44 is 1.2 in time.
func TestSaving(t *testing.T) {
	far := band("barrel", "barrel_distance", swing.Plant, "stature", p(0), p(0.36))
	ms := []swing.Measure{measure("barrel_distance", swing.Plant, "stature", 0.5, 0.01), measure("swing_inertia_ratio", swing.Plant, "1", 1.44, 0.1)}
	f := judged(t, hitter(ms...), far)[0]
	if f.Why != "why 17 % less time." {
		t.Errorf("without height: %q", f.Why)
	}
	ms = append(ms, measure("barrel_distance_m", swing.Plant, "m", 0.9, 0.02)) // 1.80 m tall, reference 0.45 m
	f = judged(t, hitter(ms...), far)[0]
	if !strings.Contains(f.Why, "Bringing the barrel 45 cm closer cuts the inertia by 31 %, about 17 % less time") {
		t.Errorf("with height: %q", f.Why)
	}
	ms[1] = measure("swing_inertia_ratio", swing.Plant, "1", 1.44, 0.5) // not surely more than 1
	if f = judged(t, hitter(ms...), far)[0]; f.Why != "why" {
		t.Errorf("unsure ratio: %q", f.Why)
	}
}

func TestRefusals(t *testing.T) {
	good := band("x", "bat_tilt", swing.Plant, "deg", p(20), p(60))
	for name, spoil := range map[string]func(*judge.Band){
		"no edge":      func(b *judge.Band) { b.Lo, b.Hi = nil, nil },
		"lo above hi":  func(b *judge.Band) { b.Lo = p(61) },
		"NaN":          func(b *judge.Band) { b.Lo = p(math.NaN()) },
		"open, no one": func(b *judge.Band) { b.Lo = nil },
		"weight":       func(b *judge.Band) { b.Weight = 0 },
		"no text":      func(b *judge.Band) { b.Text.Low = "" },
		"no view":      func(b *judge.Band) { b.Views = nil },
	} {
		b := good
		spoil(&b)
		_, err := judge.Judge(hitter(), judge.Targets{Bands: []judge.Band{b}, Phrase: words()}, judge.DefaultOptions())
		if e, ok := swing.AsError(err); !ok || e.Kind != swing.KindUsage || e.Hint == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
	o := judge.DefaultOptions()
	o.Priorities = 3
	if _, err := judge.Judge(hitter(), judge.Targets{}, o); err == nil {
		t.Error("three priorities")
	}
}

// When nothing is out the likeliest is named, three to one; it stays near.
func TestMaybe(t *testing.T) {
	for _, c := range []struct {
		value    float64
		priority int
	}{{63, 0}, {64, 1}, {65, 1}, {59, 0}} {
		f := judged(t, hitter(measure("bat_tilt", swing.Plant, "deg", c.value, 5.5)), band("x", "bat_tilt", swing.Plant, "deg", p(20), p(60)))[0]
		if f.Status != swing.NearEdge || f.Priority != c.priority || (f.Cue != "") != (c.priority == 1) || !strings.HasSuffix(f.Text, "Near the edge.") {
			t.Errorf("%g: %+v", c.value, f)
		}
	}
	fs := judged(t, hitter(measure("bat_tilt", swing.Plant, "deg", 65, 5.5), measure("trunk_lean", swing.Plant, "deg", 80, 1)),
		band("x", "bat_tilt", swing.Plant, "deg", p(20), p(60)), band("y", "trunk_lean", swing.Plant, "deg", p(20), p(60)))
	if fs[0].ID != "y" || fs[1].Priority != 0 {
		t.Errorf("beside one that is out: %+v", fs)
	}
}
