package main

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// Report is everything that is printed.
type Report struct {
	Clips     []ClipScore              `json:"clips"`
	Events    map[string]EventScore    `json:"events"`
	Keypoints KeypointScore            `json:"keypoints"`
	Bat       map[string]BatScore      `json:"bat"`      // by phase
	Measures  map[string]*MeasureScore `json:"measures"` // by id, all events
	AtEvent   map[string]*MeasureScore `json:"at_event"` // by "id event"
	Coverage  Coverage                 `json:"coverage"` // all measures pooled
	Turns     []TurnScore              `json:"turns"`
	Coil      []CoilScore              `json:"coil"`
	Targets   []Target                 `json:"targets"`
	Unscored  []string                 `json:"not_scored"` // measure ids without a truth
	Missing   []string                 `json:"truth_without_analysis"`
}

// ClipScore is one clip.
type ClipScore struct {
	Clip      string              `json:"clip"`
	Swings    int                 `json:"swings"`
	BatsRight bool                `json:"bats_right"`
	ViewRight bool                `json:"view_right"`
	EventsMS  map[string]float64  `json:"event_errors_ms"`
	FrameMS   float64             `json:"frame_ms"`
	Median    float64             `json:"keypoint_median_torso"`
	PCK20     float64             `json:"pck_0.2"`
	Swaps     map[string]int      `json:"swapped_frames_before_contact"`
	Errors    map[string]float64  `json:"measure_errors"` // "id event": value - truth
	Sigmas    map[string]float64  `json:"measure_sigmas"`
	Bat       map[string]BatScore `json:"bat"`
	kp        *keypoints
	bat       map[string]*batFrames
	rows      []row
	deviation map[string]float64 // event error over the stated sigma
	view      string             // the truth's
	absent    []string           // "id event" of measures not given
	plain     map[string]float64 // "id event": error of the geometry of widths
}

// row is one number against its truth.
type row struct {
	id, event           string
	value, truth, sigma float64
}

// EventScore pools one event over the clips.
type EventScore struct {
	N         int     `json:"n"`
	MedianMS  float64 `json:"median_abs_ms"`
	Within17  float64 `json:"share_within_17_ms"`
	MaxMS     float64 `json:"max_abs_ms"`
	BiasMS    float64 `json:"bias_ms"`
	Coverage1 float64 `json:"within_1_sigma"`
	Coverage2 float64 `json:"within_2_sigma"`
	NotFound  int     `json:"not_found"`
}

// KeypointScore pools the key points, distances in torso lengths.
type KeypointScore struct {
	Points  int                `json:"points"`
	Median  float64            `json:"median"`
	Mean    float64            `json:"mean"`
	PCK10   float64            `json:"pck_0.1"`
	PCK20   float64            `json:"pck_0.2"`
	OKS     float64            `json:"mean_oks"`
	Joints  map[string]float64 `json:"joint_mean"`
	Phases  map[string]float64 `json:"phase_mean"`
	Swaps   map[string]int     `json:"swapped_frames_before_contact"`
	Missing int                `json:"missing_points"`
	Frames  float64            `json:"share_of_frames"`
}

// Coverage says how often the truth lies inside the stated uncertainty.
type Coverage struct {
	N      int     `json:"n"`
	Sigma1 float64 `json:"within_1_sigma"`
	Sigma2 float64 `json:"within_2_sigma"`
}

// MeasureScore pools one measure.
type MeasureScore struct {
	Unit   string  `json:"unit"`
	Absent int     `json:"not_measurable"`
	Bias   float64 `json:"bias"`
	Median float64 `json:"median_abs"`
	Sigma  float64 `json:"median_sigma"`
	Coverage
	errors, sigmas []float64
}

// Target is one of the product's accuracy goals.
type Target struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	Goal  string  `json:"goal"`
	Met   bool    `json:"met"`
}

func scoreAll(analyses []*analysis, truths map[string]*truth, complain func(error)) *Report {
	r := &Report{
		Events: map[string]EventScore{}, Measures: map[string]*MeasureScore{}, AtEvent: map[string]*MeasureScore{},
	}
	seen := map[string]bool{}
	unscored := map[string]bool{}
	absent := map[string]int{}
	for _, a := range analyses {
		name := stem(a.Clip.File)
		t := truths[name]
		if t == nil {
			complain(fmt.Errorf("%s: no truth file for clip %q", a.path, name))
			continue
		}
		if seen[name] {
			complain(fmt.Errorf("%s: clip %q was scored already; this file is left out", a.path, name))
			continue
		}
		seen[name] = true
		c := scoreClip(name, a, t, unscored, absent)
		r.Clips = append(r.Clips, c)
	}
	for n := range truths {
		if !seen[n] {
			r.Missing = append(r.Missing, n)
		}
	}
	sort.Strings(r.Missing)
	for id := range unscored {
		r.Unscored = append(r.Unscored, id)
	}
	sort.Strings(r.Unscored)
	r.pool(absent, analyses)
	r.targets()
	return r
}

// scoreClip scores one clip: the swing whose window holds the true contact, the
// first otherwise.
func scoreClip(name string, a *analysis, t *truth, unscored map[string]bool, absent map[string]int) ClipScore {
	c := ClipScore{
		Clip: name, Swings: len(a.Swings), EventsMS: map[string]float64{}, Errors: map[string]float64{},
		Sigmas: map[string]float64{}, Median: math.NaN(), PCK20: math.NaN(), kp: newKeypoints(),
		deviation: map[string]float64{}, Bat: map[string]BatScore{},
	}
	times := t.times()
	gaps := make([]float64, 0, len(times))
	for i := range times[1:] {
		gaps = append(gaps, times[i+1]-times[i])
	}
	c.FrameMS = 1000 * median(gaps)
	c.kp.of = len(t.Frames)
	if len(a.Swings) == 0 {
		return c
	}
	truthEvents := t.events()
	s := &a.Swings[0]
	for i := range a.Swings {
		w := a.Swings[i].Window
		if x, ok := truthEvents["contact"]; ok && x >= w[0] && x <= w[1] {
			s = &a.Swings[i]
			break
		}
	}
	c.BatsRight = s.Bats == t.Bats
	c.ViewRight = (s.View == "rear") == (t.View == "rear")
	for e, at := range truthEvents {
		if got, ok := s.Events[e]; ok {
			c.EventsMS[e] = 1000 * (got.Time - at)
			if got.Sigma > 0 {
				c.deviation[e] = math.Abs(got.Time-at) / got.Sigma
			}
		}
	}
	c.kp = scoreKeypoints(s, t, truthEvents)
	c.bat = scoreBat(s, t, truthEvents)
	for p, b := range c.bat {
		c.Bat[p] = b.score()
	}
	c.Median, c.PCK20, c.Swaps = median(c.kp.all), pck(c.kp.all, 0.2), c.kp.swaps
	if !c.BatsRight || !c.ViewRight {
		return c // every measure then means another joint or direction
	}
	// Events without a true time are taken from the analysis.
	at := map[string]float64{}
	for e, v := range s.Events {
		at[e] = v.Time
	}
	for e, v := range truthEvents {
		at[e] = v
	}
	truthBody := body{t, at}
	c.view, c.plain = t.View, plainTurns(s, truthBody)
	for _, m := range s.Measures {
		if m.Value == nil || m.Sigma == nil {
			absent[m.ID+" "+m.Event]++
			c.absent = append(c.absent, m.ID+" "+m.Event)
			continue
		}
		want, ok := truthBody.value(m.ID, m.Event)
		if !ok {
			unscored[m.ID] = true
			continue
		}
		key := m.ID + " " + m.Event
		got := *m.Value
		if wraps(m.ID) {
			got = want + math.Remainder(got-want, 360)
		}
		c.Errors[key], c.Sigmas[key] = got-want, *m.Sigma
		c.rows = append(c.rows, row{m.ID, m.Event, got, want, *m.Sigma})
	}
	return c
}

// pool puts the clips together.
func (r *Report) pool(absent map[string]int, analyses []*analysis) {
	units := map[string]string{}
	for _, a := range analyses {
		for _, s := range a.Swings {
			for _, m := range s.Measures {
				units[m.ID] = m.Unit
			}
		}
	}
	get := func(m map[string]*MeasureScore, key, id string) *MeasureScore {
		if m[key] == nil {
			m[key] = &MeasureScore{Unit: units[id]}
		}
		return m[key]
	}
	kp := newKeypoints()
	bats := map[string]*batFrames{batPhases[0]: {}, batPhases[1]: {}}
	errs, devs := map[string][]float64{}, map[string][]float64{}
	var z []float64
	for _, c := range r.Clips {
		kp.merge(c.kp)
		for p, b := range c.bat {
			bats[p].merge(b)
		}
		for e, v := range c.EventsMS {
			errs[e] = append(errs[e], v)
		}
		for e, v := range c.deviation {
			devs[e] = append(devs[e], v)
		}
		for _, w := range c.rows {
			for _, m := range []*MeasureScore{get(r.Measures, w.id, w.id), get(r.AtEvent, w.id+" "+w.event, w.id)} {
				m.errors = append(m.errors, w.value-w.truth)
				m.sigmas = append(m.sigmas, w.sigma)
			}
			z = append(z, math.Abs(w.value-w.truth)/w.sigma)
		}
	}
	r.Bat = map[string]BatScore{}
	for p, b := range bats {
		r.Bat[p] = b.score()
	}
	for key, n := range absent {
		id := key[:max(0, slices.Index([]byte(key), ' '))]
		get(r.AtEvent, key, id).Absent += n
		get(r.Measures, id, id).Absent += n
	}
	for _, m := range r.Measures {
		m.finish()
	}
	for _, m := range r.AtEvent {
		m.finish()
	}
	r.Coverage = cover(z)
	r.poolTurns()
	for e, x := range errs {
		abs := absolute(x)
		c := cover(devs[e])
		r.Events[e] = EventScore{
			N: len(x), MedianMS: median(abs), MaxMS: quantile(abs, 1), BiasMS: mean(x),
			Within17:  share(abs, func(v float64) bool { return v <= 17 }),
			Coverage1: c.Sigma1, Coverage2: c.Sigma2, NotFound: len(r.Clips) - len(x),
		}
	}
	r.Keypoints = KeypointScore{
		Points: len(kp.all), Median: median(kp.all), Mean: mean(kp.all), PCK10: pck(kp.all, 0.1), PCK20: pck(kp.all, 0.2),
		OKS: mean(kp.oks), Joints: map[string]float64{}, Phases: map[string]float64{}, Swaps: kp.swaps, Missing: kp.missing,
		Frames: float64(kp.frames) / float64(max(1, kp.of)),
	}
	for j, d := range kp.joint {
		r.Keypoints.Joints[j] = mean(d)
	}
	for p, d := range kp.phase {
		r.Keypoints.Phases[p] = mean(d)
	}
}

func (m *MeasureScore) finish() {
	n := len(m.errors)
	m.Bias, m.Median, m.Sigma = mean(m.errors), median(absolute(m.errors)), median(m.sigmas)
	z := make([]float64, n)
	for i, e := range m.errors {
		z[i] = math.Abs(e) / m.sigmas[i]
	}
	m.Coverage = cover(z)
}

// cover counts deviations, in stated sigmas, up to 1 and up to 2.
func cover(z []float64) Coverage {
	return Coverage{
		N:      len(z),
		Sigma1: share(z, func(v float64) bool { return v <= 1 }),
		Sigma2: share(z, func(v float64) bool { return v <= 2 }),
	}
}

// targets compares with the product's accuracy goals.
func (r *Report) targets() {
	most := func(name string, value, goal float64, unit string) {
		r.Targets = append(r.Targets, Target{name, value, fmt.Sprintf("<= %g %s", goal, unit), value <= goal})
	}
	least := func(name string, value, goal float64) {
		r.Targets = append(r.Targets, Target{name, value, fmt.Sprintf(">= %g", goal), value >= goal})
	}
	within := func(name string, v, lo, hi float64) {
		r.Targets = append(r.Targets, Target{name, v, fmt.Sprintf("%g..%g", lo, hi), v >= lo && v <= hi})
	}
	wrong := 0.0
	var fast, frames []float64
	for _, c := range r.Clips {
		if c.Swings == 0 || !c.BatsRight || !c.ViewRight {
			wrong++
		}
		v, ok := c.EventsMS["plant"]
		switch {
		case !ok:
		case c.FrameMS > 20:
			frames = append(frames, math.Abs(v)/c.FrameMS)
		default:
			fast = append(fast, math.Abs(v))
		}
	}
	most("clips with no swing, wrong bats or wrong view", wrong, 0, "")
	most("plant median, 60 fps and above", median(fast), 8, "ms")
	least("plant within 17 ms, 60 fps and above", share(fast, func(v float64) bool { return v <= 17 }), 0.9)
	if len(frames) > 0 {
		most("plant worst, below 50 fps", quantile(frames, 1), 1, "frames")
	}
	most("touch median", r.Events["touch"].MedianMS, 17, "ms")
	most("contact median", r.Events["contact"].MedianMS, 20, "ms")
	most("key points median", r.Keypoints.Median, 0.058, "torso")
	least("key points PCK@0.2", r.Keypoints.PCK20, 0.93)
	swaps := 0.0
	for _, n := range r.Keypoints.Swaps {
		swaps += float64(n)
	}
	most("swapped groups before contact", swaps, 0, "frames")
	for _, g := range []struct {
		id   string
		goal float64
		unit string
	}{
		{"front_knee_flexion", 6, "deg"},
		{"lead_elbow_flexion", 10, "deg"},
		{"rear_elbow_flexion", 10, "deg"},
		{"rear_elbow_height", 0.12, "upper arms"},
		{"stride_length", 0.02, "statures"},
	} {
		if m := r.AtEvent[g.id+" plant"]; m != nil && m.N > 0 {
			most(g.id+" at plant, median", m.Median, g.goal, g.unit)
		}
	}
	r.batTargets(most, least)
	within("truth within 1 sigma, all measures", r.Coverage.Sigma1, 0.60, 0.76)
	within("truth within 2 sigma, all measures", r.Coverage.Sigma2, 0.90, 0.98)
}
