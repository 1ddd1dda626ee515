package lift

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"os"
	"testing"

	"plantframe/pipeline/swing"
)

// recorded is an invented swing as a track and what the training's own code makes of
// it (scripts/train/lift/record.py).
type recorded struct {
	Width, Height int
	Swing         struct {
		Events map[swing.EventName]swing.Event
		Track  struct {
			Names  []string        `json:"keypoint_names"`
			Times  []float64       `json:"times_s"`
			Points [][]*[3]float64 `json:"points"`
		}
		Bat struct{ Knob, Tip []*[2]float64 }
	}
	StanceSample float64 `json:"stance_sample"`
	Rows         []int
	Input        [][]float32
}

func readRecorded(t *testing.T) (recorded, swing.Swing) {
	t.Helper()
	b, err := os.ReadFile("testdata/swing.json")
	if err != nil {
		t.Fatal(err)
	}
	var r recorded
	if err := json.Unmarshal(b, &r); err != nil {
		t.Fatal(err)
	}
	sw := swing.Swing{Bats: swing.Right, View: swing.OpenSide, Events: r.Swing.Events, Width: r.Width, Height: r.Height}
	sw.Track.Times = r.Swing.Track.Times
	for i, row := range r.Swing.Track.Points {
		var p [swing.NumPoints]swing.TrackPoint
		for k, v := range row {
			if v != nil {
				p[k] = swing.TrackPoint{X: v[0], Y: v[1], Score: v[2], State: swing.Seen}
			}
		}
		sw.Track.Points = append(sw.Track.Points, p)
		sw.Track.Frames = append(sw.Track.Frames, i)
		var s swing.BatSight
		if k := r.Swing.Bat.Knob[i]; k != nil {
			tip := r.Swing.Bat.Tip[i]
			s = swing.BatSight{Seen: true, Knob: swing.Point{X: k[0], Y: k[1]}, Tip: swing.Point{X: tip[0], Y: tip[1]}}
		}
		sw.Bat.Sights = append(sw.Bat.Sights, s)
	}
	return r, sw
}

// echo is a network whose angles follow from its input, so that tests see what
// went in.
type echo struct {
	in, out []float32
	fail    error
	runs    int
}

func newEcho() *echo {
	return &echo{in: make([]float32, steps*channels), out: make([]float32, steps*swing.NumTurns*quantiles)}
}

func (e *echo) Input() []float32 { return e.in }
func (e *echo) Output(name string) []float32 {
	if name == "angles" {
		return e.out
	}
	return nil
}

func (e *echo) Run() error {
	e.runs++
	for i := range steps {
		for a := range swing.NumTurns {
			for q := range quantiles {
				e.out[(i*swing.NumTurns+a)*quantiles+q] = 10*e.in[i*channels+2*a] + float32(q-2)*5
			}
		}
	}
	return e.fail
}

func path(t *testing.T, sw swing.Swing, o Options) (swing.TurnPath, *echo) {
	t.Helper()
	e := newEcho()
	l, err := New(e, o)
	if err != nil {
		t.Fatal(err)
	}
	p, err := l.Path(context.Background(), &sw)
	if err != nil {
		t.Fatal(err)
	}
	return p, e
}

func TestInputIsThatOfTheTraining(t *testing.T) {
	r, sw := readRecorded(t)
	_, e := path(t, sw, DefaultOptions())
	for i, row := range r.Rows {
		for c, want := range r.Input[i] {
			if got := e.in[row*channels+c]; math.Abs(float64(got-want)) > 2e-4 {
				t.Errorf("sample %d channel %d is %.5f, the training has %.5f", row, c, got, want)
			}
		}
	}
	if g := newGrid(&sw, sw.Events[swing.Plant].Time, sw.Events[swing.Stance].Time); math.Abs(g.stance-r.StanceSample) > 1e-3 {
		t.Errorf("stance at sample %.3f, the training has %.3f", g.stance, r.StanceSample)
	}
}

// identical compares two inputs.
func identical(t *testing.T, what string, a, b *echo) {
	t.Helper()
	for i := range a.in {
		if d := math.Abs(float64(a.in[i] - b.in[i])); !(d < 1e-4) {
			t.Fatalf("%s: sample %d channel %d differs by %g", what, i/channels, i%channels, d)
		}
	}
}

// twin is the mirror image: a left-handed hitter filmed by a mirrored camera.
func twin(sw swing.Swing) swing.Swing {
	w := float64(sw.Width)
	flip := func(p swing.TrackPoint) swing.TrackPoint { p.X = w - p.X; return p }
	sw.Bats = swing.Left
	points := sw.Track.Points
	sw.Track.Points = nil
	for _, row := range points {
		var q [swing.NumPoints]swing.TrackPoint
		for j := range swing.NumPoints {
			q[j] = flip(row[swing.Joint(j).Partner()])
		}
		sw.Track.Points = append(sw.Track.Points, q)
	}
	sights := sw.Bat.Sights
	sw.Bat.Sights = nil
	for _, s := range sights {
		s.Knob.X, s.Tip.X = w-s.Knob.X, w-s.Tip.X
		sw.Bat.Sights = append(sw.Bat.Sights, s)
	}
	return sw
}

func TestMirrorImageAndSizeMakeNoDifference(t *testing.T) {
	_, sw := readRecorded(t)
	_, a := path(t, sw, DefaultOptions())
	_, b := path(t, twin(sw), DefaultOptions())
	identical(t, "left-handed twin", a, b)

	big := sw
	big.Width, big.Height = 3*sw.Width, 3*sw.Height
	big.Track.Points = nil
	for _, row := range sw.Track.Points {
		for j := range row {
			row[j].X, row[j].Y = 3*row[j].X, 3*row[j].Y
		}
		big.Track.Points = append(big.Track.Points, row)
	}
	big.Bat.Sights = nil
	for _, s := range sw.Bat.Sights {
		s.Knob, s.Tip = s.Knob.Scale(3), s.Tip.Scale(3)
		big.Bat.Sights = append(big.Bat.Sights, s)
	}
	_, b = path(t, big, DefaultOptions())
	identical(t, "three times the size", a, b)
}

// A camera that turns along is undone by the still background.
func TestCameraThatTurnsMakesNoDifference(t *testing.T) {
	_, sw := readRecorded(t)
	_, a := path(t, sw, DefaultOptions())
	moved := sw
	moved.Track.Points = nil
	moved.Bat.Sights = nil
	for i, row := range sw.Track.Points {
		shift := 3 * float64(i)
		for j := range row {
			row[j].X += shift
		}
		moved.Track.Points = append(moved.Track.Points, row)
		s := sw.Bat.Sights[i]
		s.Knob.X, s.Tip.X = s.Knob.X+shift, s.Tip.X+shift
		moved.Bat.Sights = append(moved.Bat.Sights, s)
		moved.Track.Steady = append(moved.Track.Steady, swing.Similarity{A: 1, TX: -shift})
	}
	moved.Track.CameraMoves = true
	_, b := path(t, moved, DefaultOptions())
	identical(t, "turning camera", a, b)
}

func TestOutputAroundPlant(t *testing.T) {
	_, sw := readRecorded(t)
	o := DefaultOptions()
	o.WidenOpen = 2
	p, e := path(t, sw, o)
	plant := sw.Events[swing.Plant].Time
	if !p.Stance || math.Abs(p.Times[0]-(plant-before)) > 1e-9 || math.Abs(p.Times[1]-p.Times[0]-0.02) > 1e-9 {
		t.Fatalf("stance %v, times %v", p.Stance, p.Times[:2])
	}
	q, ok := p.At(swing.HipTurn, plant)
	m := 10 * float64(e.in[75*channels+2])
	if want := (swing.Quantiles{m - 20, m - 10, m, m + 10, m + 20}); !ok || math.Abs(q[0]-want[0]) > 1e-4 || math.Abs(q[2]-want[2]) > 1e-4 || math.Abs(q[4]-want[4]) > 1e-4 {
		t.Errorf("at plant %v, want %v: twice as wide as the network says", q, want)
	}
	// Only what the track covers comes out.
	sw.Track.Times = sw.Track.Times[:60]
	sw.Track.Points, sw.Bat.Sights = sw.Track.Points[:60], sw.Bat.Sights[:60]
	last := sw.Track.Times[59]
	p, _ = path(t, sw, o)
	if end := p.Times[len(p.Times)-1]; end > last || end < last-0.021 {
		t.Errorf("ends at %.3f, the track at %.3f", end, last)
	}
	// A stance long ago is not in the path.
	sw.Events = map[swing.EventName]swing.Event{swing.Plant: sw.Events[swing.Plant], swing.Stance: {Time: plant - 3}}
	if p, _ := path(t, sw, o); p.Stance || !p.Known() {
		t.Error("a stance before the path counts as known")
	}
}

func TestCameraYawGoesIn(t *testing.T) {
	_, sw := readRecorded(t)
	o := DefaultOptions()
	o.CameraYaw, o.CameraYawSigma = -15, 4
	_, e := path(t, sw, o)
	if got := e.in[77:80]; got[0] != 1 || got[1] != -0.5 || got[2] != 0.4 {
		t.Errorf("the yaw stands as %v", got)
	}
}

func TestWhatCannotBeLifted(t *testing.T) {
	_, whole := readRecorded(t)
	for name, spoil := range map[string]func(sw *swing.Swing){
		"no plant":   func(sw *swing.Swing) { sw.Events = map[swing.EventName]swing.Event{} },
		"no frames":  func(sw *swing.Swing) { sw.Track = swing.Track{} },
		"no picture": func(sw *swing.Swing) { sw.Width = 0 },
		"no hips": func(sw *swing.Swing) {
			sw.Track.Points = append([][swing.NumPoints]swing.TrackPoint{}, sw.Track.Points...)
			for i := range sw.Track.Points {
				sw.Track.Points[i][swing.LeftHip].State = swing.Missing
			}
		},
	} {
		sw := whole
		spoil(&sw)
		if p, e := path(t, sw, DefaultOptions()); p.Known() || e.runs > 0 {
			t.Errorf("%s: something came out", name)
		}
	}
	e := newEcho()
	e.fail = errors.New("out of order")
	l, _ := New(e, DefaultOptions())
	if _, err := l.Path(context.Background(), &whole); err == nil {
		t.Error("a failing network is not reported")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := l.Path(ctx, &whole); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	e.fail = nil
	nan := whole
	nan.Track.Points = append([][swing.NumPoints]swing.TrackPoint{}, whole.Track.Points...)
	nan.Track.Points[30][swing.LeftAnkle].X = math.NaN()
	if p, err := l.Path(context.Background(), &nan); err != nil || p.Known() && !finite(&p) {
		t.Errorf("a point that is no number: %v %v", p.Known(), err)
	}
}

func TestNewRefuses(t *testing.T) {
	if _, err := New(nil, DefaultOptions()); err == nil {
		t.Error("no network")
	}
	short := newEcho()
	short.in = short.in[1:]
	if _, err := New(short, DefaultOptions()); err == nil {
		t.Error("another input")
	}
	short = newEcho()
	short.out = short.out[1:]
	if _, err := New(short, DefaultOptions()); err == nil {
		t.Error("another output")
	}
	for _, o := range []Options{
		{WidenOpen: 1, WidenRear: 0.5},
		{WidenOpen: math.NaN(), WidenRear: 1},
		{WidenOpen: 1, WidenRear: 1, CameraYawSigma: 30},
		{WidenOpen: 1, WidenRear: 1, CameraYaw: 100},
	} {
		if _, err := New(newEcho(), o); err == nil {
			t.Errorf("%+v is accepted", o)
		}
	}
}
