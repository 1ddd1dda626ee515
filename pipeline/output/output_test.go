package output

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"plantframe/pipeline/swing"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func ptr(v float64) *float64 { return &v }

// example is an analysis with one of everything that the document can hold.
func example() swing.Analysis {
	track := swing.Track{
		Frames: []int{40, 41, 42},
		Times:  []float64{0.6666666666, 0.6833333333, 0.7},
		Points: make([][swing.NumPoints]swing.TrackPoint, 3),
	}
	for i := range track.Points {
		for j := range track.Points[i] {
			track.Points[i][j] = swing.TrackPoint{
				X: 100 + float64(10*j) + float64(i)/3, Y: 700 - float64(7*j), Score: 0.98765, State: swing.Seen,
			}
		}
	}
	track.Points[1][swing.LeftWrist] = swing.TrackPoint{X: math.NaN(), Y: math.Inf(1)} // Missing
	track.Points[2][swing.RightAnkle].State = swing.Filled
	one := swing.Swing{
		Index: 1, Window: [2]float64{0.25, 2.7500000001}, Bats: swing.Right, BatsSource: "auto", BatsConfidence: 0.9712,
		View: swing.OpenSide, ViewSource: "user", ViewConfidence: 1,
		Events: map[swing.EventName]swing.Event{
			swing.Plant:   {Time: 1.5527777777, Frame: 93, Sigma: 0.00412345678, Method: "foot-still"},
			swing.Touch:   {Time: 1.5, Frame: 90, Sigma: 1e-9, Method: "toe-down"},
			swing.Contact: {Time: 1.7, Frame: 102, Sigma: 0.011, Method: "hand-speed"},
		},
		Track: track,
		Bat: swing.BatPath{
			Sights: []swing.BatSight{
				{Seen: true, Knob: swing.Point{X: 612.34567, Y: 300}, Tip: swing.Point{X: 580.5, Y: 188.125}, Sigma: 0.4321, KnobSigma: 2.2, TipSigma: 3.25, Cues: swing.CueNetwork | swing.CueEdges},
				{Knob: swing.Point{X: math.NaN()}, Sigma: math.Inf(1)}, // not seen
				{Seen: true, Knob: swing.Point{X: 611, Y: 301}, Tip: swing.Point{X: 579, Y: 189}, Sigma: 1.5, KnobSigma: 2, TipSigma: 4, Cues: swing.CueMotion},
			},
			Length: 168.123, LengthSigma: 3.4, LengthSource: "learned",
		},
		Turns: twoTurns(),
		Views: otherSide(),
		Measures: []swing.Measure{
			{ID: "front_knee_flexion", Event: swing.Plant, Value: ptr(34.5678), Unit: "deg", Sigma: ptr(3.21), Status: swing.Measured, Frames: []int{92, 93}},
			{ID: "stride_length", Event: swing.Plant, Value: ptr(0.412345), Unit: "stature", Sigma: ptr(0.0061), Status: swing.Measured, Frames: []int{93}},
			{ID: "shoulder_turn", Event: swing.Plant, Value: ptr(-12), Unit: "deg", Sigma: ptr(14), Status: swing.Weak, Reason: "one view: from depth cues", Frames: []int{93}},
			{ID: "lead_arm_gap", Event: swing.Plant, Value: ptr(99), Unit: "shoulder_width", Status: swing.NotMeasurable, Reason: "wrong view"},
			{ID: "bat_tilt", Event: swing.Plant, Value: ptr(41.237), Unit: "deg", Sigma: ptr(2.5), Status: swing.Measured, Frames: []int{93}},
			{ID: "swing_inertia_ratio", Event: swing.Plant, Value: ptr(1.4512), Unit: "1", Sigma: ptr(0.08), Status: swing.Measured, Frames: []int{93}},
			{ID: "tempo_load_touch", Value: ptr(412.04), Unit: "ms", Sigma: ptr(17.2), Status: swing.Measured, Frames: []int{65, 90}},
			{ID: "hip_turn", Event: swing.Plant, Value: ptr(15.5), Unit: "deg", Sigma: ptr(7.1), Status: swing.Measured, Frames: []int{93}, Method: "two-views"},
		},
		Findings: []swing.Finding{
			{
				ID: "barrel-steep", Measure: "bat_tilt", Event: swing.Plant, Status: swing.OutOfBand, Severity: 0.512345, Priority: 1,
				Text: "The barrel lies flat.", Why: "It is slow.", Cue: "Up.", Drills: []string{"Umbrella"}, Lo: ptr(22), Hi: ptr(62), Title: "barrel steep", Origin: "learned",
			},
			{ID: "hands-close", Measure: "hand_drift", Status: swing.NotJudgeable, Text: "Not judged: hidden."},
			{ID: "stride-length", Measure: "stride_length", Event: swing.Plant, Status: swing.InBand, Text: "Good.", Hi: ptr(0.6), Good: true},
		},
		Warnings: []swing.Warning{{Code: "sides-swapped", Text: "left and right were exchanged in 2 frames", Frames: []int{51, 52}}},
	}
	two := swing.Swing{
		Index: 2, Window: [2]float64{3, 4}, Bats: swing.Left, BatsSource: "user", BatsConfidence: 1,
		View: swing.Rear, ViewSource: "auto", ViewConfidence: 0.5,
	}
	return swing.Analysis{
		ToolVersion: "1.2.3",
		Models:      []swing.ModelRef{{ID: "body", SHA256: strings.Repeat("ab", 32)}},
		Options:     map[string]any{"track": map[string]any{"cutoff_hz": 6.5}, "bats": "auto", "a<b": true},
		Clip: swing.Clip{
			Path: "clips/übung <1>.mov", SHA256: strings.Repeat("01", 32), Width: 720, Height: 1280,
			Frames: 300, Duration: 5.0000004, Variable: true,
			Warnings: []swing.Warning{{Code: "damaged", Text: "3 frames are damaged", Frames: []int{7, 9}}},
		},
		FramesRead: 298,
		Swings:     []swing.Swing{one, two},
		Warnings:   []swing.Warning{{Code: "camera-moves", Text: "the camera moved"}},
	}
}

// otherSide is what a second view adds.
func otherSide() *swing.TwoViews {
	body := [swing.NumSpace]*swing.Place{swing.LeadHipAt: {X: 0.05123456, Y: 0, Z: 0.5}, swing.TipAt: {X: -0.3, Y: 0.1, Z: 1.1}}
	return &swing.TwoViews{
		Partner: swing.ViewRef{File: "rear.mov", SHA256: strings.Repeat("cd", 32), Swing: 1, View: swing.Rear},
		Offset:  -0.13700001, OffsetSigma: 0.0041, Alike: 0.93217,
		Events: map[swing.EventName]swing.Event{swing.Plant: {Time: 1.55, Frame: 93, Sigma: 0.004, Method: "two-views"}},
		Body:   swing.SpacePath{Times: []float64{1.5, 1.55}, Points: [][swing.NumSpace]*swing.Place{body, body}},
		Turns:  twoTurns(),
		Measures: []swing.Measure{
			{ID: "hip_turn", Event: swing.Plant, Value: ptr(15.5), Unit: "deg", Sigma: ptr(7.1), Status: swing.Measured, Frames: []int{93}, Method: "two-views"},
		},
		Cameras: [2]swing.ViewCamera{{Yaw: 2.345, YawSigma: 5, Tilt: 4, Distance: 3.2}, {Yaw: -3, YawSigma: 5, Tilt: 6, Distance: 3.01}},
	}
}

func TestGoldens(t *testing.T) {
	var doc, table bytes.Buffer
	if err := WriteJSON(&doc, example()); err != nil {
		t.Fatal(err)
	}
	empty := swing.Analysis{
		Clip:     swing.Clip{Path: "=walk.mp4"},
		Warnings: []swing.Warning{{Code: "no-swing", Text: "no swing found: two people walking"}},
	}
	if err := WriteCSV(&table, []swing.Analysis{example(), empty}); err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string][]byte{"analysis.json": doc.Bytes(), "measures.csv": table.Bytes()} {
		path := filepath.Join("testdata", name)
		if *update {
			if err := os.WriteFile(path, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(string(want), string(got)); d != "" {
			t.Errorf("%s (-golden +got, rewrite with -update):\n%s", name, d)
		}
	}
}

func TestBytesAreTheSameEveryTime(t *testing.T) {
	var first []byte
	for range 20 { // map order would show
		var b bytes.Buffer
		if err := WriteJSON(&b, example()); err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = b.Bytes()
		}
		if !bytes.Equal(first, b.Bytes()) {
			t.Fatal("two writings of one analysis differ")
		}
	}
}

// TestContractKeys checks the skeleton that other programs rely on, written
// out here by hand, against what is written.
func TestContractKeys(t *testing.T) {
	var b bytes.Buffer
	if err := WriteJSON(&b, example()); err != nil {
		t.Fatal(err)
	}
	var d map[string]any
	if err := json.Unmarshal(b.Bytes(), &d); err != nil {
		t.Fatal(err)
	}
	sw := d["swings"].([]any)[0].(map[string]any)
	for where, want := range map[string]struct {
		in   any
		keys string
	}{
		"document": {d, "schema tool clip swings"},
		"tool":     {d["tool"], "version models options"},
		"clip":     {d["clip"], "file sha256 width height frames duration_s variable_rate warnings"},
		"warning":  {d["clip"].(map[string]any)["warnings"].([]any)[1], "code text frames"},
		"swing":    {sw, "index bats bats_source view view_confidence window_s events track measures"},
		"event":    {sw["events"].(map[string]any)["plant"], "time_s frame sigma_s method"},
		"track":    {sw["track"], "keypoint_names times_s points"},
		"measure":  {sw["measures"].([]any)[3], "id event value unit sigma status reason frames"},
		"finding":  {sw["findings"].([]any)[1], "id measure event status severity priority text why cue drills"},
	} {
		m, ok := want.in.(map[string]any)
		if !ok {
			t.Errorf("%s is %T, not an object", where, want.in)
			continue
		}
		for _, k := range strings.Fields(want.keys) {
			if _, ok := m[k]; !ok {
				t.Errorf("%s lacks %q", where, k)
			}
		}
	}
	if d["schema"] != SchemaID {
		t.Errorf("schema is %v", d["schema"])
	}
	text := b.String()
	if strings.Index(text, `"touch"`) > strings.Index(text, `"plant"`) {
		t.Error("events are not in time order")
	}
	names := sw["track"].(map[string]any)["keypoint_names"].([]any)
	if len(names) != 21 || names[0] != "nose" || names[17] != "left_big_toe" || names[20] != "right_heel" {
		t.Errorf("keypoint names: %v", names)
	}
	p := sw["track"].(map[string]any)["points"].([]any)[1].([]any)
	if p[swing.LeftWrist] != nil {
		t.Errorf("a missing point is written as %v", p[swing.LeftWrist])
	}
	if got := p[swing.Nose]; !reflect.DeepEqual(got, []any{100.33, 700.0, 0.988}) {
		t.Errorf("nose is %v", got)
	}
}

func compiled(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("urn:plantframe:analysis:1", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("urn:plantframe:analysis:1")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func written(t *testing.T, a swing.Analysis) any {
	t.Helper()
	var b bytes.Buffer
	if err := WriteJSON(&b, a); err != nil {
		t.Fatal(err)
	}
	d, err := jsonschema.UnmarshalJSON(&b)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestSchemaAcceptsWhatIsWritten(t *testing.T) {
	s := compiled(t)
	empty := example()
	empty.Swings, empty.Warnings, empty.Clip.Warnings = nil, nil, nil // the writer adds the warning
	for name, a := range map[string]swing.Analysis{"full": example(), "no swing": empty} {
		if err := s.Validate(written(t, a)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestSchemaRefusesWrongDocuments(t *testing.T) {
	s := compiled(t)
	obj := func(v any) map[string]any { return v.(map[string]any) }
	first := func(d map[string]any) map[string]any { return obj(d["swings"].([]any)[0]) }
	measure := func(d map[string]any, i int) map[string]any { return obj(first(d)["measures"].([]any)[i]) }
	row := func(d map[string]any) []any { return obj(first(d)["track"])["points"].([]any)[0].([]any) }
	n := func(s string) json.Number { return json.Number(s) }
	for name, spoil := range map[string]func(d map[string]any){
		"other schema":              func(d map[string]any) { d["schema"] = "plantframe/analysis/2" },
		"no clip":                   func(d map[string]any) { delete(d, "clip") },
		"no cautions":               func(d map[string]any) { d["cautions"] = []any{} },
		"unknown key":               func(d map[string]any) { d["swing"] = []any{} },
		"no swing, nothing said":    func(d map[string]any) { d["swings"] = []any{}; obj(d["clip"])["warnings"] = []any{} },
		"checksum not hex":          func(d map[string]any) { obj(d["clip"])["sha256"] = strings.Repeat("xy", 32) },
		"left and right":            func(d map[string]any) { first(d)["bats"] = "left" },
		"unknown view":              func(d map[string]any) { first(d)["view"] = "top" },
		"confidence over 1":         func(d map[string]any) { first(d)["view_confidence"] = n("1.5") },
		"unknown event":             func(d map[string]any) { obj(first(d)["events"])["launch"] = obj(first(d)["events"])["plant"] },
		"event without uncertainty": func(d map[string]any) { delete(obj(obj(first(d)["events"])["plant"]), "sigma_s") },
		"uncertainty zero":          func(d map[string]any) { obj(obj(first(d)["events"])["plant"])["sigma_s"] = n("0") },
		"frame not whole":           func(d map[string]any) { obj(obj(first(d)["events"])["plant"])["frame"] = n("1.5") },
		"point of two numbers":      func(d map[string]any) { row(d)[0] = []any{n("1"), n("2")} },
		"score over 1":              func(d map[string]any) { row(d)[0] = []any{n("1"), n("2"), n("3")} },
		"unknown measure":           func(d map[string]any) { measure(d, 0)["id"] = "left_knee" },
		"unit of another measure":   func(d map[string]any) { measure(d, 0)["unit"] = "ms" },
		"value without uncertainty": func(d map[string]any) { measure(d, 0)["sigma"] = nil },
		"value not measurable":      func(d map[string]any) { measure(d, 3)["value"] = n("1") },
		"weak without reason":       func(d map[string]any) { measure(d, 2)["reason"] = "" },
		"green tick":                func(d map[string]any) { measure(d, 0)["status"] = "good" },
		"bat without sigma":         func(d map[string]any) { delete(obj(first(d)["bat"]), "sigma_deg") },
		"bat's sigma negative":      func(d map[string]any) { obj(first(d)["bat"])["sigma_deg"].([]any)[0] = n("-1") },
		"tip of one number":         func(d map[string]any) { obj(first(d)["bat"])["tip"].([]any)[0] = []any{n("1")} },
		"unknown cue":               func(d map[string]any) { obj(first(d)["bat"])["cues"].([]any)[0] = []any{"luck"} },
		"bat of no length":          func(d map[string]any) { obj(obj(first(d)["bat"])["length"])["px"] = n("0") },
		"finding of no status":      func(d map[string]any) { obj(first(d)["findings"].([]any)[0])["status"] = "good" },
		"severity below zero":       func(d map[string]any) { obj(first(d)["findings"].([]any)[0])["severity"] = n("-1") },
		"third priority":            func(d map[string]any) { obj(first(d)["findings"].([]any)[0])["priority"] = n("3") },
		"finding without a text":    func(d map[string]any) { obj(first(d)["findings"].([]any)[0])["text"] = "" },
		"index from zero":           func(d map[string]any) { first(d)["index"] = n("0") },
	} {
		d := written(t, example()).(map[string]any)
		spoil(d)
		if err := s.Validate(d); err == nil {
			t.Errorf("%s: the schema lets it pass", name)
		}
	}
}

func TestEveryMeasureOfTheSchemaHasSignAndZero(t *testing.T) {
	var doc struct {
		Defs map[string]struct {
			OneOf []struct {
				Description string
				Properties  struct {
					ID struct{ Const string }
				}
			}
		} `json:"$defs"`
	}
	if err := json.Unmarshal(Schema(), &doc); err != nil {
		t.Fatal(err)
	}
	all := doc.Defs["measure_definitions"].OneOf
	if len(all) < 20 {
		t.Fatalf("only %d measures are defined", len(all))
	}
	for _, m := range all {
		d := m.Description
		if !strings.Contains(d, "0 =") && !strings.Contains(d, "ever negative") && !strings.Contains(d, "+ =") && !strings.Contains(d, "1 =") {
			t.Errorf("%s does not say what zero is: %q", m.Properties.ID.Const, d)
		}
	}
}

func TestReadBack(t *testing.T) {
	want := example()
	var first, second bytes.Buffer
	if err := WriteJSON(&first, want); err != nil {
		t.Fatal(err)
	}
	got, err := ReadJSON(bytes.NewReader(first.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	if got.Clip.Name != "übung <1>" || got.Swings[0].Bats != swing.Right || *got.Swings[0].Measures[0].Value != 34.57 {
		t.Errorf("read back: %+v", got.Clip)
	}
	p := got.Swings[0].Track.Points[1]
	if p[swing.LeftWrist].State != swing.Missing || p[swing.Nose].State != swing.Seen || p[swing.LeftHand].State != swing.Missing {
		t.Error("states of points are wrong")
	}
	if b := got.Swings[0].Bat; len(b.Sights) != 3 || b.Sights[1].Seen || !b.Sights[0].Seen ||
		b.Sights[0].Cues != swing.CueNetwork|swing.CueEdges || b.Sights[2].TipSigma != 4 || b.Length != 168.12 || b.LengthSource != "learned" {
		t.Errorf("the bat is read back as %+v", b)
	}
	if p := got.Swings[0].Turns; !p.Known() || !p.Stance || p.Angles[swing.Separation][1] != (swing.Quantiles{-40, -35, -30.12, -25, -20}) || p.Angles[swing.CameraYaw] != nil {
		t.Errorf("the turns are read back as %+v", p)
	}
	if v := got.Swings[0].Views; v == nil || v.Partner.File != "rear.mov" || v.Offset != -0.137 || v.Body.Points[1][swing.TipAt] == nil || v.Body.Points[0][swing.LeadHipAt].X != 0.0512 ||
		v.Body.Points[0][swing.KnobAt] != nil || len(v.Measures) != 1 || v.Cameras[1].Yaw != -3 || !v.Turns.Known() || got.Swings[1].Views != nil {
		t.Errorf("two views are read back as %+v", v)
	}
	if got.Swings[0].Measures[7].Method != "two-views" {
		t.Error("the method of a measure is lost")
	}
	if got.Swings[1].Turns.Known() {
		t.Error("turns that were not lifted came back")
	}
	if got.Swings[1].Bat.Sights != nil {
		t.Error("a bat that was not looked for came back")
	}
	if err := WriteJSON(&second, got); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(first.String(), second.String()); d != "" {
		t.Errorf("writing what was read changes it:\n%s", d)
	}
	for name, text := range map[string]string{
		"nothing": "", "cut": first.String()[:first.Len()/2], "not ours": `{"schema":"x"}`,
		"lists differ": strings.Replace(first.String(), `"times_s": [`, `"times_s": [0,`, 1),
	} {
		_, err := ReadJSON(strings.NewReader(text))
		var e *swing.Error
		if !errors.As(err, &e) || e.Kind != swing.KindUnreadable || e.Hint == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestWhatMustNotLeave(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(-1)
	for name, spoil := range map[string]func(a *swing.Analysis){
		"NaN value":         func(a *swing.Analysis) { a.Swings[0].Measures[0].Value = &nan },
		"infinite sigma":    func(a *swing.Analysis) { a.Swings[0].Measures[0].Sigma = &inf },
		"no sigma":          func(a *swing.Analysis) { a.Swings[0].Measures[0].Sigma = nil },
		"no reason":         func(a *swing.Analysis) { a.Swings[0].Measures[3].Reason = "" },
		"NaN point":         func(a *swing.Analysis) { a.Swings[0].Track.Points[0][3].X = nan },
		"NaN event":         func(a *swing.Analysis) { a.Swings[0].Events[swing.Plant] = swing.Event{Time: nan, Sigma: 1} },
		"event, no sigma":   func(a *swing.Analysis) { a.Swings[0].Events[swing.Plant] = swing.Event{Time: 1} },
		"unknown event":     func(a *swing.Analysis) { a.Swings[0].Events["x"] = swing.Event{Time: 1, Sigma: 1} },
		"ragged track":      func(a *swing.Analysis) { a.Swings[0].Track.Times = a.Swings[0].Track.Times[:1] },
		"NaN knob":          func(a *swing.Analysis) { a.Swings[0].Bat.Sights[0].Knob.X = nan },
		"NaN turn":          func(a *swing.Analysis) { a.Swings[0].Turns.Angles[swing.HipTurn][1][4] = nan },
		"turns too short":   func(a *swing.Analysis) { a.Swings[0].Turns.Angles[swing.HipTurn] = nil },
		"negative sigma":    func(a *swing.Analysis) { a.Swings[0].Bat.Sights[0].TipSigma = -1 },
		"bat's NaN length":  func(a *swing.Analysis) { a.Swings[0].Bat.LengthSigma = nan },
		"NaN severity":      func(a *swing.Analysis) { a.Swings[0].Findings[0].Severity = nan },
		"infinite band":     func(a *swing.Analysis) { a.Swings[0].Findings[0].Lo = &inf },
		"finding, no text":  func(a *swing.Analysis) { a.Swings[0].Findings[1].Text = "" },
		"unknown finding":   func(a *swing.Analysis) { a.Swings[0].Findings[1].Status = "good" },
		"ragged bat":        func(a *swing.Analysis) { a.Swings[0].Bat.Sights = a.Swings[0].Bat.Sights[:2] },
		"NaN option":        func(a *swing.Analysis) { a.Options["x"] = nan },
		"infinite duration": func(a *swing.Analysis) { a.Clip.Duration = inf },
	} {
		a := example()
		spoil(&a)
		var b bytes.Buffer
		err := WriteJSON(&b, a)
		var e *swing.Error
		if !errors.As(err, &e) || e.Kind != swing.KindInternal {
			t.Errorf("%s: error %v", name, err)
		}
		if b.Len() != 0 {
			t.Errorf("%s: %d bytes were written all the same", name, b.Len())
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left on device") }

func TestFullDisk(t *testing.T) {
	for name, err := range map[string]error{
		"json": WriteJSON(full{}, example()),
		"csv":  WriteCSV(full{}, []swing.Analysis{example()}),
	} {
		var e *swing.Error
		if !errors.As(err, &e) || e.Kind != swing.KindOutput || e.Hint == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestLayoutKeepsMeaning compares the laid-out text with its source after
// encoding/json has taken all white space out again.
func TestLayoutKeepsMeaning(t *testing.T) {
	for _, src := range []string{
		`{}`, `[]`, `null`, `"a,b]}"`, `[[[1,null,3]],[]]`, `{"a":{"b":[{"c":"x\",{["}]},"d":[1,2]}`,
		`{"` + strings.Repeat("k", 300) + `":[{"a":1},{}]}`, `["` + strings.Repeat(`\\`, 200) + `","]"]`,
	} {
		var back bytes.Buffer
		if err := json.Compact(&back, layout([]byte(src))); err != nil {
			t.Errorf("%s: %v", src, err)
		} else if back.String() != src {
			t.Errorf("%s became %s", src, back.String())
		}
	}
}

// twoTurns is a path of two times.
func twoTurns() swing.TurnPath {
	p := swing.TurnPath{Times: []float64{1.5, 1.52}, Stance: true}
	for a := range p.Angles {
		p.Angles[a] = []swing.Quantiles{{-10, -5, 0, 5, 10}, {-40, -35, -30.1234, -25, -20}}
	}
	return p
}
