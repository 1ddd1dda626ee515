package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

func p(x float64) *float64 { return &x }

// sample is a swing with one fault, one good point and one that cannot be
// measured.
func sample() Page {
	s := swing.Swing{
		Index: 1, Bats: swing.Left, BatsSource: "auto", BatsConfidence: 0.97, View: swing.OpenSide, ViewSource: "user", ViewConfidence: 1,
		Events: map[swing.EventName]swing.Event{
			swing.Stance: {Time: 0.8, Frame: 48, Sigma: 0.04, Method: "quiet"}, swing.Load: {Time: 1.3, Frame: 78, Sigma: 0.02, Method: "mass-rearmost"},
			swing.Touch: {Time: 1.5, Frame: 90, Sigma: 0.02, Method: "toe-stops"}, swing.Plant: {Time: 1.54, Frame: 92, Sigma: 0.009, Method: "foot-still"},
			swing.SwingStart: {Time: 1.56, Frame: 94, Sigma: 0.02, Method: "bat-turns"}, swing.Contact: {Time: 1.73, Frame: 104, Sigma: 0.004, Method: "sound"},
		},
		Measures: []swing.Measure{
			{ID: "bat_tilt", Event: swing.Plant, Value: p(83), Unit: "deg", Sigma: p(2), Status: swing.Measured},
			{ID: "rear_elbow_height", Event: swing.Plant, Value: p(-0.1), Unit: "upper_arm", Sigma: p(0.12), Status: swing.Measured},
			{ID: "lead_elbow_flexion", Event: swing.Plant, Unit: "deg", Status: swing.NotMeasurable, Reason: "hidden"},
			{ID: "tempo_plant_contact", Value: p(190), Unit: "ms", Sigma: p(10), Status: swing.Measured},
		},
		Findings: []swing.Finding{
			{ID: "barrel-steep", Title: "Barrel steep", Measure: "bat_tilt", Event: swing.Plant, Status: swing.OutOfBand, Severity: 2, Priority: 1, Text: "The bat lies at 83 ± 2°, nearly flat.", Why: "It is slow to turn <b>so</b>.", Cue: "Knob down.", Drills: []string{"steep-start", "unknown"}, Lo: p(10), Hi: p(60)},
			{ID: "rear-elbow", Measure: "rear_elbow_height", Event: swing.Plant, Status: swing.InBand, Good: true, Text: "Rear elbow stays up.", Lo: p(-0.5)},
			{ID: "a", Title: "early one", Measure: "tempo_plant_contact", Status: swing.NotJudgeable, Text: "early one: not judged, too late."},
			{ID: "b", Title: "early two", Measure: "tempo_plant_contact", Status: swing.NotJudgeable, Text: "early two: not judged, too late."},
			{ID: "lead-arm", Measure: "lead_elbow_flexion", Event: swing.Plant, Status: swing.NotJudgeable, Text: "Lead arm: not measurable."},
		},
	}
	for i := range 120 {
		var pts [swing.NumPoints]swing.TrackPoint
		for j := range pts {
			pts[j] = swing.TrackPoint{X: 300 + float64(j) + float64(i), Y: 200 + float64(i*i)/200, Score: 1, State: swing.Seen}
		}
		pts[swing.LeftHip], pts[swing.RightHip] = swing.TrackPoint{X: 300, Y: 400, State: swing.Seen}, swing.TrackPoint{X: 320, Y: 400, State: swing.Seen}
		s.Track.Frames, s.Track.Times, s.Track.Points = append(s.Track.Frames, i), append(s.Track.Times, float64(i)/60), append(s.Track.Points, pts)
	}
	a := swing.Analysis{ToolVersion: "1", Clip: swing.Clip{Path: `clips/<script>"&.mp4`, Width: 1280, Height: 720, FPS: 60}, Swings: []swing.Swing{s}}
	return Page{
		Analysis: a, Hitter: `Al "<i>" & Co`, Notes: "Good work.\n\nNext week: <tee>.", Overlay: "overlay.mp4",
		Stills: []Picture{{Event: swing.Plant, Type: "image/jpeg", Data: []byte{1, 2, 3}}, {Event: swing.Load, Type: "image/jpeg", Data: []byte{4}}},
		Drills: map[string]Drill{"steep-start": {ID: "steep-start", Title: "Start steep", Text: "Ten dry swings."}},
	}
}

func write(t *testing.T, pg Page) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, pg); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestPageSaysWhatItMust(t *testing.T) {
	page := write(t, sample())
	for _, want := range []string{
		"Barrel steep", "83 ± 2°", "aim: 10 to 60°", "Knob down.", "Start steep", "Ten dry swings.", "Rear elbow stays up.",
		"Early one; early two: not judged, too late.", "Not measurable in this clip: Lead arm (hidden)", "Next week: &lt;tee&gt;.", "190 ± 10 ms", "−240 ms", "Stop when something hurts",
		"not medical advice", "helmet", "without an adult watching", `href="overlay.mp4"`, "left-handed", "data:image/jpeg;base64,AQID",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	// Nothing is fetched, nothing runs, no name is taken for markup.
	for _, never := range []string{"http:", "https:", "<script", "<i>", "<b>so</b>", "javascript:", "ZgotmplZ", "NaN", "unknown"} {
		if strings.Contains(page, never) {
			t.Errorf("the page holds %q", never)
		}
	}
	if first := strings.Index(page, "Barrel steep"); first > strings.Index(page, "Checkpoints") {
		t.Error("the first priority does not stand on top")
	}
}

// Every picture has words, every element is closed, every id-less drawing a
// name.
func TestPageIsWellFormed(t *testing.T) {
	page := write(t, sample())
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	depth := 0
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := tok.(type) {
		case xml.StartElement:
			depth++
			attr := map[string]string{}
			for _, a := range e.Attr {
				attr[a.Name.Local] = a.Value
			}
			if e.Name.Local == "img" && attr["alt"] == "" || e.Name.Local == "svg" && (attr["aria-label"] == "" || attr["role"] != "img") {
				t.Errorf("a picture without words: %v", e)
			}
		case xml.EndElement:
			depth--
		}
	}
	if depth != 0 {
		t.Errorf("%d elements are left open", depth)
	}
}

func TestPageWithoutAnything(t *testing.T) {
	pg := Page{Analysis: swing.Analysis{Swings: []swing.Swing{{Index: 1, Bats: swing.Right, View: swing.Rear}}}}
	if page := write(t, pg); !strings.Contains(page, "Not judged") || strings.Contains(page, "NaN") {
		t.Error("an empty analysis gives no plain page")
	}
	if err := Write(io.Discard, Page{}); err == nil {
		t.Error("a swing that is not there is reported on")
	}
	if err := Write(failing{}, sample()); err == nil || !strings.Contains(err.Error(), "cannot be written") {
		t.Errorf("a full disk gives %v", err)
	}
}

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errors.New("no space left on device") }
