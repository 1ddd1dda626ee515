package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.6g, want %.6g +- %g", what, got, want, tolerance)
	}
}

// Published definitions of the scores (rows of checks.csv name the sources).
func TestScoreDefinitions(t *testing.T) {
	f, err := os.Open("../../../testdata/reference/checks.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]string{}
	for _, r := range rows {
		want[r[0]] = r[2]
	}
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(strings.Fields(s)[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	// d = 1, 2, 3 sigma s, where 2 sigma is the constant k: d = k s, 2 k s, 3 k s.
	const area, sigma = 20000, 0.079
	for i, w := range strings.Fields(want["oks_1_2_3_sigma"]) {
		near(t, "oks", oks(float64(i+1)*sigma*math.Sqrt(area), area, sigma), number(w), 1e-6)
	}
	near(t, "oks_shoulder_px", sigma*math.Sqrt(area), number(want["oks_shoulder_px"]), 1e-4)
	if want["pck_strict"] != "not counted" {
		t.Fatal("row pck_strict has changed")
	}
	near(t, "pck at the threshold", pck([]float64{0.2, 0.1999, 0.3, 0.1}, 0.2), 0.5, 0)
	near(t, "pckh_norm", pckhNorm(30, 40), 30, 1e-9)
}

func TestStatistics(t *testing.T) {
	near(t, "median", median([]float64{3, 1, 2}), 2, 0)
	near(t, "median of two", median([]float64{1, 2}), 1.5, 0)
	near(t, "quantile", quantile([]float64{0, 10}, 0.9), 9, 1e-12)
	near(t, "top", quantile([]float64{4, 9, 1}, 1), 9, 0)
	for _, v := range []float64{median(nil), mean(nil), share(nil, nil)} {
		if !math.IsNaN(v) {
			t.Errorf("no values give %v", v)
		}
	}
}

// world is a made-up motion: a stick figure whose front foot comes down, in
// world coordinates of a right-handed truth file (plate at -y), m.
type world struct{ bats, view string }

var figure = map[string]vec{ // lead = left; x to the pitcher, y to the plate
	"nose": {0.05, 0.10, 1.60}, "left_eye": {0.05, 0.09, 1.63}, "right_eye": {0.03, 0.09, 1.63}, "left_ear": {0.03, 0.03, 1.62}, "right_ear": {-0.03, 0.03, 1.62},
	"left_shoulder": {0.18, 0.05, 1.40}, "right_shoulder": {-0.18, 0.05, 1.40}, "left_elbow": {0.18, 0.05, 1.10}, "right_elbow": {-0.48, 0.05, 1.40},
	"left_wrist": {0.18, 0.35, 1.10}, "right_wrist": {-0.48, 0.05, 1.70}, "left_hip": {0.12, 0, 0.95}, "right_hip": {-0.12, 0, 0.95},
	"left_knee": {0.20, 0.10, 0.50}, "right_knee": {-0.20, 0.10, 0.50}, "left_ankle": {0.25, 0, 0.08}, "right_ankle": {-0.25, 0, 0.08},
	"left_big_toe": {0.25, 0.15, 0.02}, "left_small_toe": {0.30, 0.12, 0.02}, "left_heel": {0.25, -0.06, 0.02},
	"right_big_toe": {-0.25, 0.15, 0.02}, "right_small_toe": {-0.30, 0.12, 0.02}, "right_heel": {-0.25, -0.06, 0.02},
}

var figureNames = []string{
	"nose", "left_eye", "right_eye", "left_ear", "right_ear", "left_shoulder", "right_shoulder", "left_elbow", "right_elbow",
	"left_wrist", "right_wrist", "left_hip", "right_hip", "left_knee", "right_knee", "left_ankle", "right_ankle",
	"left_big_toe", "left_small_toe", "left_heel", "right_big_toe", "right_small_toe", "right_heel",
}

const (
	figureTop     = 0.5  // s, the front foot is highest
	figureLanding = 0.9  // s, it stands
	figureContact = 1.1  // s
	figureStep    = 0.30 // m
)

// lift returns how far the front foot is from its final place at time t.
func lift(t float64) (back, up float64) {
	switch {
	case t <= 0.3:
		return -figureStep, 0
	case t >= figureLanding:
		return 0, 0
	case t <= figureTop:
		u := (t - 0.3) / (figureTop - 0.3)
		return -figureStep, 0.15 * u
	}
	u := (figureLanding - t) / (figureLanding - figureTop)
	return -figureStep * u, 0.15 * u
}

// truth writes the truth of the made-up motion and returns it as read back.
func (w world) truth(t testing.TB, dir, name string) *truth {
	t.Helper()
	type frame struct {
		I   int          `json:"i"`
		T   float64      `json:"t"`
		KP  [][3]float64 `json:"kp"`
		KP3 [][3]float64 `json:"kp3"`
	}
	var frames []frame
	for i := range 121 {
		f := frame{I: i, T: float64(i) / 100}
		back, up := lift(f.T)
		for _, n := range figureNames {
			side := n
			if w.bats == "L" { // left and right exchanged, mirrored
				side = strings.NewReplacer("left_", "right_", "right_", "left_").Replace(n)
			}
			p := figure[side]
			for _, j := range []string{"left_ankle", "left_big_toe", "left_small_toe", "left_heel"} {
				if side == j {
					p[0], p[2] = p[0]+figureStep+back, p[2]+up
				}
			}
			if w.bats == "R" {
				p[1] = -p[1]
			}
			f.KP3 = append(f.KP3, p)
			x := p[0]
			if w.view == "rear" {
				x = p[1]
			}
			f.KP = append(f.KP, [3]float64{500 + 200*x, 600 - 200*p[2], 2})
		}
		frames = append(frames, f)
	}
	write(t, filepath.Join(dir, name+truthSuffix), map[string]any{
		"schema": truthSchema, "video": name + ".mp4", "bats": w.bats, "view": w.view, "fps": 100, "height_m": 1.8, "width": 1000, "height": 700,
		"keypoint_names": figureNames, "events": map[string]any{"contact_s": map[string]any{"s": figureContact}}, "frame_truth": frames,
	})
	out, err := loadTruth(filepath.Join(dir, name+truthSuffix))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func write(t testing.TB, path string, v any) {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// The truth's events follow their definitions.
func TestTruthEvents(t *testing.T) {
	tr := world{"R", "open"}.truth(t, t.TempDir(), "a")
	e := tr.events()
	near(t, "contact", e["contact"], figureContact, 0)
	// The ankle sinks at .375 m/s and moves at .75 m/s until 0.9 s: its level
	// comes within .0108 m at 0.871 s, its speed (central difference over one
	// frame to each side) below .522 m/s within a frame of 0.9 s.
	near(t, "plant", e["plant"], 0.9, 0.011)
	// The foot's lowest point sinks with it: level .0216 m at .842 s, but it
	// falls faster than .252 m/s until it stands.
	near(t, "touch", e["touch"], 0.9, 0.011)
	if _, ok := e["lift"]; ok {
		t.Error("lift is not given by this truth")
	}
	none := *tr
	none.Events = nil
	if e := none.events(); len(e) != 0 {
		t.Errorf("events without a contact: %v", e)
	}
}

// Right and left-handed, both views: the same body, the same numbers, by hand.
func TestTruthMeasures(t *testing.T) {
	for _, w := range []world{{"R", "open"}, {"L", "open"}, {"R", "rear"}, {"L", "rear"}} {
		tr := w.truth(t, t.TempDir(), "a")
		at := tr.events()
		at["stance"] = 0.1
		b := body{tr, at}
		check := func(id, event string, want, tolerance float64) {
			t.Helper()
			got, ok := b.value(id, event)
			if !ok {
				t.Errorf("%v: no %s", w, id)
				return
			}
			near(t, fmt.Sprintf("%v %s", w, id), got, want, tolerance)
		}
		check("lead_elbow_flexion", "contact", 90, 1e-6)
		check("rear_elbow_flexion", "contact", 90, 1e-6)
		check("rear_elbow_height", "contact", 0, 1e-9)
		check("lead_elbow_drop", "contact", 0, 1e-4)
		check("stride_length", "contact", (0.5+figureStep)/1.8, 1e-9)
		check("stride_direction", "contact", 0, 1e-9)
		check("head_travel", "contact", 0, 1e-9)
		check("hand_drop", "", 0, 1e-9)
		check("hand_path_length", "", 0, 1e-9)
		if w.view == "open" {
			check("trunk_lean", "contact", 0, 1e-6)
			check("weight_position", "contact", weight(), 1e-6)
		} else {
			check("trunk_side_tilt", "contact", degrees(math.Atan2(0.05, 0.45)), 1e-6)
			// The elbow is .05 m ahead of the hips at a height of a third of
			// the trunk: the line is .0167 m ahead there.
			check("lead_arm_gap", "contact", (0.05-0.05/3)*math.Cos(math.Atan2(0.05, 0.45))/0.36, 1e-6)
		}
		if _, ok := b.value("bat_tilt", "contact"); ok {
			t.Error("a measure of the bat has no truth here")
		}
		if _, ok := b.value("stride_length", "finish"); ok {
			t.Error("an event without a time has no truth")
		}
	}
}

// weight is the figure's weight position after the step, summed by hand from
// the mean of the tables of de Leva: everything is symmetric about x = 0 but
// the arms and the stepped foot.
func weight() float64 {
	x := map[string]float64{}
	for n, p := range figure {
		x[n] = p[0]
	}
	for _, n := range []string{"left_ankle", "left_big_toe", "left_small_toe", "left_heel"} {
		x[n] += figureStep
	}
	type part struct {
		m, c float64
		a, b string
	}
	sum := func(parts []part) float64 {
		m, s := 0.0, 0.0
		for _, p := range parts {
			for _, side := range []string{"left_", "right_"} {
				s += p.m * (x[side+p.a]*(1-p.c) + x[side+p.b]*p.c)
				m += p.m
			}
		}
		return s / m
	}
	male := sum([]part{
		{0.0694 / 2, 0, "ear", "ear"},
		{0.4346 / 2, 0.4310, "shoulder", "hip"},
		{0.0271, 0.5772, "shoulder", "elbow"},
		{0.0162, 0.4574, "elbow", "wrist"},
		{0.0061, 0, "wrist", "wrist"},
		{0.1416, 0.4095, "hip", "knee"},
		{0.0433, 0.4395, "knee", "ankle"},
		{0.0137, 0.4415, "heel", "big_toe"},
	})
	female := sum([]part{
		{0.0668 / 2, 0, "ear", "ear"},
		{0.4257 / 2, 0.3782, "shoulder", "hip"},
		{0.0255, 0.5754, "shoulder", "elbow"},
		{0.0138, 0.4559, "elbow", "wrist"},
		{0.0056, 0, "wrist", "wrist"},
		{0.1478, 0.3612, "hip", "knee"},
		{0.0481, 0.4352, "knee", "ankle"},
		{0.0129, 0.4014, "heel", "big_toe"},
	})
	return ((male+female)/2 + 0.25) / (0.5 + figureStep)
}

// result makes the analysis of a made-up truth: every point off by dx px, with
// the legs exchanged in the first swapped frames and one point left out.
func result(t *testing.T, path string, tr *truth, bats, view string, dx float64, swapped int) {
	t.Helper()
	points := [][]any{}
	times := []float64{}
	for i, f := range tr.Frames {
		times = append(times, f.T)
		var row []any
		for _, n := range figureNames[:17] {
			k := tr.index[n]
			if i < swapped && (strings.HasSuffix(n, "knee") || strings.HasSuffix(n, "ankle")) {
				k = tr.index[strings.NewReplacer("left_", "right_", "right_", "left_").Replace(n)]
			}
			row = append(row, []float64{f.KP[k][0] + dx, f.KP[k][1], 0.9})
		}
		if i == 7 {
			row[9] = nil
		}
		points = append(points, row)
	}
	at := tr.events()
	number := func(v float64) *float64 { return &v }
	measure := func(id, event string, off, sigma float64) map[string]any {
		want, ok := body{tr, at}.value(id, event)
		if !ok {
			t.Fatalf("no truth for %s", id)
		}
		return map[string]any{"id": id, "event": event, "value": number(want + off), "unit": "deg", "sigma": number(sigma), "status": "measured"}
	}
	write(t, path, map[string]any{
		"schema": analysisSchema, "clip": map[string]any{"file": stem(path) + ".mp4"},
		"swings": []any{map[string]any{
			"bats": bats, "view": view, "window_s": []float64{0, 1.2},
			"events": map[string]any{
				"plant":   map[string]any{"time_s": at["plant"] + 0.006, "sigma_s": 0.004},
				"contact": map[string]any{"time_s": at["contact"] - 0.010, "sigma_s": 0.02},
			},
			"track": map[string]any{"keypoint_names": figureNames[:17], "times_s": times, "points": points},
			"measures": []any{
				measure("lead_elbow_flexion", "plant", 3, 4),
				measure("rear_elbow_flexion", "plant", -9, 5),
				measure("lead_elbow_drop", "plant", 30, 10),
				map[string]any{"id": "stride_length", "event": "plant", "value": nil, "sigma": nil, "unit": "stature", "status": "not measurable"},
				map[string]any{"id": "bat_tilt", "event": "plant", "value": 4, "sigma": 1, "unit": "deg", "status": "measured"},
			},
		}},
	})
}

func TestScores(t *testing.T) {
	dir := t.TempDir()
	tr := world{"R", "open"}.truth(t, filepath.Join(dir, "truth"), "a")
	torso := tr.torso()
	near(t, "torso", torso, 200*0.45, 1e-6)
	result(t, filepath.Join(dir, "out", "a", "a.json"), tr, "R", "open-side", 0.1*torso, 5)
	if err := os.Rename(filepath.Join(dir, "out", "a", "a.json"), filepath.Join(dir, "out", "a", "analysis.json")); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	if code := run([]string{filepath.Join(dir, "out"), "--truth", filepath.Join(dir, "truth"), "--json", "-"}, &out, &errs); code != 0 {
		t.Fatalf("exit code %d: %s", code, errs.String())
	}
	var r Report
	if err := json.Unmarshal(out.Bytes(), &r); err != nil {
		t.Fatal(err)
	}
	c := r.Clips[0]
	if !c.BatsRight || !c.ViewRight || c.Swings != 1 {
		t.Errorf("clip %+v", c)
	}
	near(t, "plant error", c.EventsMS["plant"], 6, 1e-6)
	near(t, "plant in one sigma", r.Events["plant"].Coverage1, 0, 0)
	near(t, "plant in two sigma", r.Events["plant"].Coverage2, 1, 0)
	near(t, "contact error", r.Events["contact"].BiasMS, -10, 1e-6)
	if r.Events["touch"].N != 0 {
		t.Error("touch was not given")
	}
	near(t, "key points median", r.Keypoints.Median, 0.1, 1e-9)
	if n := r.Keypoints.Points; n != 121*12-1 || r.Keypoints.Missing != 1 {
		t.Errorf("%d points, %d missing", n, r.Keypoints.Missing)
	}
	// Exchanged knees are .4 m = 80 px apart = .89 torso; ankles less or more.
	near(t, "PCK@0.2", r.Keypoints.PCK20, 1-20.0/(121*12-1), 1e-9)
	if r.Keypoints.Swaps["legs"] != 5 || r.Keypoints.Swaps["arms"] != 0 {
		t.Errorf("swaps %v", r.Keypoints.Swaps)
	}
	near(t, "bias", r.AtEvent["rear_elbow_flexion plant"].Bias, -9, 1e-9)
	near(t, "median", r.Measures["lead_elbow_flexion"].Median, 3, 1e-9)
	near(t, "within one sigma", r.Coverage.Sigma1, 1.0/3, 1e-9)
	near(t, "within two sigma", r.Coverage.Sigma2, 2.0/3, 1e-9)
	if r.Coverage.N != 3 || r.AtEvent["stride_length plant"].Absent != 1 || len(r.Unscored) != 1 || r.Unscored[0] != "bat_tilt" {
		t.Errorf("coverage %+v, unscored %v", r.Coverage, r.Unscored)
	}

	out.Reset()
	if code := run([]string{filepath.Join(dir, "out", "a", "analysis.json"), "--truth", filepath.Join(dir, "truth")}, &out, &errs); code != 0 {
		t.Fatalf("exit code %d: %s", code, errs.String())
	}
	for _, want := range []string{"lead_elbow_flexion", "plant median, 60 fps and above", "measures without a truth: bat_tilt"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the table does not show %q:\n%s", want, out.String())
		}
	}
}

// With the wrong batting side or view every measure means something else: it is
// not scored, and the clip is marked.
func TestWrongSide(t *testing.T) {
	dir := t.TempDir()
	tr := world{"L", "rear"}.truth(t, dir, "b")
	result(t, filepath.Join(dir, "b.json"), tr, "R", "rear", 0, 0)
	var out, errs bytes.Buffer
	if code := run([]string{filepath.Join(dir, "b.json"), "--truth", dir}, &out, &errs); code != 0 {
		t.Fatalf("exit code %d: %s", code, errs.String())
	}
	if !strings.Contains(out.String(), "WRONG") || strings.Contains(out.String(), "rear_elbow_flexion") {
		t.Errorf("table:\n%s", out.String())
	}
}

func TestBadInput(t *testing.T) {
	dir := t.TempDir()
	tr := world{"R", "open"}.truth(t, filepath.Join(dir, "truth"), "a")
	good := filepath.Join(dir, "a.json")
	result(t, good, tr, "R", "open-side", 0, 0)
	file := func(name, text string) string {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return p
	}
	folder := func(name, text string) string {
		p := filepath.Join(dir, name)
		write(t, filepath.Join(p, "x.txt"), "")
		if text != "" {
			if err := os.WriteFile(filepath.Join(p, "c"+truthSuffix), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		return p
	}
	truthDir := filepath.Join(dir, "truth")
	for _, c := range []struct {
		name string
		args []string
		code int
		say  string
	}{
		{"nothing", nil, 2, "name at least one analysis"},
		{"no truth", []string{good}, 2, "truth folder"},
		{"unknown flag", []string{good, "--tooth", "x"}, 2, "unknown flag"},
		{"missing analysis", []string{filepath.Join(dir, "no.json"), "--truth", truthDir}, 1, "no such file"},
		{"missing truth folder", []string{good, "--truth", filepath.Join(dir, "no")}, 1, "no such file"},
		{"empty truth folder", []string{good, "--truth", folder("empty", "")}, 1, "no readable *.truth.json"},
		{"folder without analysis", []string{folder("bare", ""), "--truth", truthDir}, 1, "no analysis.json below"},
		{"cut analysis", []string{file("cut.json", `{"schema": "plantframe/an`), "--truth", truthDir}, 1, "not valid JSON at byte"},
		{"other schema", []string{file("other.json", `{"schema": "x"}`), "--truth", truthDir}, 1, `schema is "x"`},
		{"no clip", []string{file("clip.json", `{"schema": "plantframe/analysis/1"}`), "--truth", truthDir}, 1, "clip.file is missing"},
		{"clip without truth", []string{file("far.json", `{"schema": "plantframe/analysis/1", "clip": {"file": "far.mp4"}}`), "--truth", truthDir}, 1, `no truth file for clip "far"`},
		{"ragged track", []string{file("ragged.json", `{"schema": "plantframe/analysis/1", "clip": {"file": "a.mp4"}, "swings": [{"track": {"times_s": [0, 1], "points": []}}]}`), "--truth", truthDir}, 1, "2 times and 0 point sets"},
		{"twice", []string{good, file("again.json", read(t, good)), "--truth", truthDir}, 1, "scored already"},
		{"truth schema", []string{good, "--truth", folder("t1", `{"schema": "y"}`)}, 1, `schema is "y"`},
		{"truth frames", []string{good, "--truth", folder("t2", `{"schema": "hitclip-truth/1"}`)}, 1, "holds 0 frames"},
		{"truth points", []string{good, "--truth", folder("t3", `{"schema": "hitclip-truth/1", "height_m": 1.8, "bats": "R", "view": "open", "frame_truth": [{"t": 0}, {"t": 1}]}`)}, 1, "keypoint_names has no left_ear"},
	} {
		var out, errs bytes.Buffer
		if code := run(c.args, &out, &errs); code != c.code || !strings.Contains(errs.String(), c.say) {
			t.Errorf("%s: exit code %d, said %q; want %d and %q", c.name, code, errs.String(), c.code, c.say)
		}
	}
	// A clip without a swing is a result, not a failure.
	var out, errs bytes.Buffer
	none := file("none.json", `{"schema": "plantframe/analysis/1", "clip": {"file": "a.mp4"}, "swings": []}`)
	if code := run([]string{none, "--truth", truthDir}, &out, &errs); code != 0 || !strings.Contains(out.String(), "MISSED") {
		t.Errorf("no swing: exit code %d, %s%s", code, out.String(), errs.String())
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestTruthEventsAsJSON(t *testing.T) {
	dir := t.TempDir()
	world{"R", "open"}.truth(t, dir, "a")
	var out, errs bytes.Buffer
	if code := run([]string{"--truth", dir, "--truth-events"}, &out, &errs); code != 0 {
		t.Fatalf("exit code %d: %s", code, errs.String())
	}
	var e map[string]map[string]float64
	if err := json.Unmarshal(out.Bytes(), &e); err != nil || e["a"]["contact"] != figureContact {
		t.Errorf("%v %v", e, err)
	}
}

// Two lines turned by known angles, for both hands, and their separation; the peak of
// a coil that moves.
func TestTrueTurns(t *testing.T) {
	for _, bats := range []string{"R", "L"} {
		tr := &truth{Bats: bats, View: "open", index: map[string]int{}}
		for i, n := range []string{"left_shoulder", "right_shoulder", "left_hip", "right_hip"} {
			tr.index[n] = i
		}
		sign := 1.0 // right-handed hitters face -y: opening turns from x to y
		if bats == "L" {
			sign = -1
		}
		for i := range 101 {
			s := float64(i) / 100
			at := func(turn float64) (lead, rear [3]float64) {
				sin, cos := math.Sincos(turn * math.Pi / 180)
				return [3]float64{cos, sign * sin, 1}, [3]float64{-cos, -sign * sin, 1}
			}
			shL, shR := at(-30 + 200*(s-0.4)*(s-0.4))
			hipL, hipR := at(10)
			if bats == "L" {
				shL, shR, hipL, hipR = shR, shL, hipR, hipL
			}
			tr.Frames = append(tr.Frames, truthFrame{T: s, KP3: [][3]float64{shL, shR, hipL, hipR}})
		}
		b := body{tr, map[string]float64{"stance": 0, "load": 0.1, "plant": 0.5, "contact": 0.7}}
		for _, c := range []struct {
			id, event string
			want      float64
		}{
			{"shoulder_turn", "plant", -28},
			{"hip_turn", "plant", 10},
			{"separation", "plant", -38},
			{"shoulder_turn_since_stance", "plant", -30},
			{"separation_peak", "", -40},
			{"separation_peak_time", "", -100},
		} {
			got, ok := b.value(c.id, c.event)
			if !ok || math.Abs(got-c.want) > 0.1 {
				t.Errorf("%s: %s %s = %.2f, want %.2f", bats, c.id, c.event, got, c.want)
			}
		}
	}
	if got := auc([]float64{3, 4, 5}, []float64{1, 3}); math.Abs(got-5.5/6) > 1e-9 {
		t.Errorf("AUC %.4f", got)
	}
}
