package render

import (
	"bytes"
	"encoding/json"
	"io"
	"iter"
	"math"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"plantframe/pipeline/swing"
)

// clipMaker makes frames whose index can be read back from the video: sixteen
// squares of black and white stand for its bits.
type clipMaker struct {
	w, h  int
	times []float64
	pix   []byte
	given int // frames handed out
}

func steadyClip(w, h int, fps, seconds float64) *clipMaker {
	m := &clipMaker{w: w, h: h}
	for i := 0; float64(i) < fps*seconds; i++ {
		m.times = append(m.times, float64(i)/fps)
	}
	return m
}

// The squares stand below the hitter and above the band at the bottom.
func bitSquare(w, h, bit int) (x, y, side int) {
	side = h / 24
	return w/2 - 8*side + bit*side, h * 72 / 100, side
}

func (m *clipMaker) frames() iter.Seq2[swing.Frame, error] {
	return func(yield func(swing.Frame, error) bool) {
		m.pix = make([]byte, 3*m.w*m.h)
		ground := bytes.Repeat([]byte{110}, len(m.pix))
		for i, t := range m.times {
			copy(m.pix, ground)
			for b := range 16 {
				x0, y0, s := bitSquare(m.w, m.h, b)
				v := byte(255 * (i >> b & 1))
				bar := bytes.Repeat([]byte{v}, 3*s)
				for y := y0; y < y0+s; y++ {
					copy(m.pix[3*(m.w*y+x0):], bar)
				}
			}
			m.given++
			if !yield(swing.Frame{Index: i, Time: t, Width: m.w, Height: m.h, Pix: m.pix}, nil) {
				return
			}
		}
	}
}

// hitter is a made-up right-handed hitter at plant in a picture of 640x360,
// standing still; places were chosen so that the lines of the launch position
// do not cross at their middles.
func hitter() map[swing.Joint]swing.Point {
	return map[swing.Joint]swing.Point{
		swing.Nose:         {X: 322, Y: 62},
		swing.LeftShoulder: {X: 350, Y: 92}, swing.RightShoulder: {X: 290, Y: 92},
		swing.LeftElbow: {X: 390, Y: 112}, swing.LeftWrist: {X: 390, Y: 72},
		swing.RightElbow: {X: 250, Y: 112}, swing.RightWrist: {X: 250, Y: 72},
		swing.LeftHip: {X: 340, Y: 162}, swing.RightHip: {X: 300, Y: 162},
		swing.LeftKnee: {X: 360, Y: 202}, swing.RightKnee: {X: 280, Y: 202},
		swing.LeftAnkle: {X: 380, Y: 242}, swing.RightAnkle: {X: 260, Y: 242},
	}
}

// analysisOf puts the hitter into every frame of the clip, k times enlarged.
func analysisOf(m *clipMaker, k float64, events map[swing.EventName]float64) swing.Analysis {
	s := swing.Swing{
		Index: 1, Bats: swing.Right, View: swing.OpenSide, Events: map[swing.EventName]swing.Event{},
		Window: [2]float64{m.times[0], m.times[len(m.times)-1]},
	}
	for i, t := range m.times {
		var row [swing.NumPoints]swing.TrackPoint
		for j, p := range hitter() {
			row[j] = swing.TrackPoint{X: k * p.X, Y: k * p.Y, Score: 1, State: swing.Seen}
		}
		s.Track.Frames = append(s.Track.Frames, i)
		s.Track.Times = append(s.Track.Times, t)
		s.Track.Points = append(s.Track.Points, row)
		s.CentreOfMass = append(s.CentreOfMass, &swing.Point{X: k * 310, Y: k * 150})
	}
	for name, t := range events {
		nearest := 0
		for i := range m.times {
			if math.Abs(m.times[i]-t) < math.Abs(m.times[nearest]-t) {
				nearest = i
			}
		}
		s.Events[name] = swing.Event{Time: t, Frame: nearest, Sigma: 0.004, Method: "made"}
	}
	v, sg := 74.2, 5.1
	s.Measures = []swing.Measure{
		{ID: "lead_elbow_flexion", Event: swing.Plant, Value: &v, Sigma: &sg, Unit: "deg", Status: swing.Measured},
	}
	return swing.Analysis{
		Clip:   swing.Clip{Path: "made.mp4", Name: "made", Width: int(k * float64(m.w)), Height: int(k * float64(m.h)), Duration: m.times[len(m.times)-1]},
		Swings: []swing.Swing{s},
	}
}

func swingEvents() map[swing.EventName]float64 {
	return map[swing.EventName]float64{
		swing.Stance: 0.5, swing.Load: 0.7, swing.Lift: 0.8, swing.Touch: 1.0,
		swing.Plant: 1.05, swing.Contact: 1.15, swing.Finish: 1.5,
	}
}

// quickOptions leaves small frames small.
func quickOptions() Options {
	o := DefaultOptions()
	o.MinSide = 0
	return o
}

type stream struct {
	Codec    string `json:"codec_name"`
	Type     string `json:"codec_type"`
	Profile  string
	PixFmt   string `json:"pix_fmt"`
	Width    int
	Height   int
	Level    int
	Rate     string `json:"r_frame_rate"`
	Average  string `json:"avg_frame_rate"`
	Frames   string `json:"nb_read_frames"`
	Space    string `json:"color_space"`
	Range    string `json:"color_range"`
	Primary  string `json:"color_primaries"`
	Transfer string `json:"color_transfer"`
}

func probe(t *testing.T, path string) []stream {
	t.Helper()
	out, err := exec.Command("ffprobe", "-v", "error", "-count_frames", "-show_streams", "-of", "json", path).CombinedOutput()
	if err != nil {
		t.Fatalf("ffprobe: %v: %s", err, out)
	}
	var d struct{ Streams []stream }
	if err := json.Unmarshal(out, &d); err != nil {
		t.Fatal(err)
	}
	return d.Streams
}

// shownFrames reads back which source frame each frame of the video shows.
func shownFrames(t *testing.T, path string, w, h int) []int {
	t.Helper()
	cmd := exec.Command("ffmpeg", "-v", "error", "-i", path, "-f", "rawvideo", "-pix_fmt", "gray", "-")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var shown []int
	pix := make([]byte, w*h)
	for {
		if _, err := io.ReadFull(out, pix); err != nil {
			break
		}
		n := 0
		for b := range 16 {
			x, y, s := bitSquare(w, h, b)
			if pix[(y+s/2)*w+x+s/2] > 110 {
				n |= 1 << b
			}
		}
		shown = append(shown, n)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
	return shown
}

// runs counts how often each frame is shown in a row.
func runs(shown []int) (frame, times []int) {
	for i, f := range shown {
		if i == 0 || f != shown[i-1] {
			frame, times = append(frame, f), append(times, 0)
		}
		times[len(times)-1]++
	}
	return frame, times
}

// leftovers lists all files below dir.
func leftovers(t *testing.T, dir string) string {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	hidden, _ := filepath.Glob(filepath.Join(dir, ".*"))
	deep, _ := filepath.Glob(filepath.Join(dir, "stills", "*"))
	deepHidden, _ := filepath.Glob(filepath.Join(dir, "stills", ".*"))
	all = append(append(append(all, hidden...), deep...), deepHidden...)
	var names []string
	for _, p := range all {
		rel, _ := filepath.Rel(dir, p)
		names = append(names, rel)
	}
	return strings.Join(names, " ")
}
