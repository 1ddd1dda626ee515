package models_test

import (
	"compress/gzip"
	"context"
	"encoding/binary"
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"plantframe/models"
	"plantframe/pipeline/lift"
	"plantframe/pipeline/swing"
)

// liftCase is an invented swing with its truth (scripts/train/lift/record.py); its kind
// is in the training, this swing is not.
type liftCase struct {
	Width, Height int
	Swing         struct {
		Events map[swing.EventName]swing.Event
		Track  struct {
			Times  []float64       `json:"times_s"`
			Points [][]*[3]float64 `json:"points"`
		}
		Bat struct{ Knob, Tip []*[2]float64 }
	}
	Truth map[string][2]float64 // at stance and plant, degrees
}

func readLiftCase(t *testing.T) (liftCase, swing.Swing) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "pipeline", "lift", "testdata", "swing.json"))
	if err != nil {
		t.Fatal(err)
	}
	var c liftCase
	if err := json.Unmarshal(b, &c); err != nil {
		t.Fatal(err)
	}
	sw := swing.Swing{Bats: swing.Right, View: swing.OpenSide, Events: c.Swing.Events, Width: c.Width, Height: c.Height}
	sw.Track.Times = c.Swing.Track.Times
	for i, row := range c.Swing.Track.Points {
		var p [swing.NumPoints]swing.TrackPoint
		for k, v := range row {
			if v != nil {
				p[k] = swing.TrackPoint{X: v[0], Y: v[1], Score: v[2], State: swing.Seen}
			}
		}
		sw.Track.Points = append(sw.Track.Points, p)
		var s swing.BatSight
		if k, tip := c.Swing.Bat.Knob[i], c.Swing.Bat.Tip[i]; k != nil {
			s = swing.BatSight{Seen: true, Knob: swing.Point{X: k[0], Y: k[1]}, Tip: swing.Point{X: tip[0], Y: tip[1]}}
		}
		sw.Bat.Sights = append(sw.Bat.Sights, s)
	}
	return c, sw
}

func openLifter(t *testing.T) *lift.Lifter {
	t.Helper()
	_, s := openOwn(t, "lift")
	l, err := lift.New(s, lift.DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func TestLiftingNetworkOnAnInventedSwing(t *testing.T) {
	c, sw := readLiftCase(t)
	l := openLifter(t)
	p, err := l.Path(context.Background(), &sw)
	if err != nil || !p.Known() || !p.Stance {
		t.Fatalf("%v %v %v", err, p.Known(), p.Stance)
	}
	for i, e := range []swing.EventName{swing.Stance, swing.Plant} {
		for name, turn := range map[string]swing.Turn{"shoulder_turn": swing.ShoulderTurn, "hip_turn": swing.HipTurn, "separation": swing.Separation} {
			q, ok := p.At(turn, sw.Events[e].Time)
			want := c.Truth[name][i]
			// As good as it says, and sure to about what the view allows.
			if off := math.Abs(q.Median() - want); !ok || off > 2.6*q.Sigma() || q.Sigma() > 15 || q.Sigma() < 2 {
				t.Errorf("%s at %s: %.1f +- %.1f, truth %.1f", name, e, q.Median(), q.Sigma(), want)
			}
		}
	}
	// Nothing has turned since stance at stance.
	q, _ := p.At(swing.ShoulderTurnSinceStance, sw.Events[swing.Stance].Time)
	if math.Abs(q.Median()) > 2.5 || q.Sigma() > 3 {
		t.Errorf("since stance, at stance: %.1f +- %.1f", q.Median(), q.Sigma())
	}
}

func TestLiftingTakesLittleTime(t *testing.T) {
	_, sw := readLiftCase(t)
	l := openLifter(t)
	best := time.Hour
	for range 8 { // the best of some: others use the machine too
		start := time.Now()
		if _, err := l.Path(context.Background(), &sw); err != nil {
			t.Fatal(err)
		}
		best = min(best, time.Since(start))
	}
	if best > 200*time.Millisecond { // 50 ms are the goal on one quiet core
		t.Errorf("a swing takes %v", best)
	}
	t.Logf("a swing takes %v", best)
}

func BenchmarkLift(b *testing.B) {
	m, err := models.Lookup("lift")
	if err != nil {
		b.Fatal(err)
	}
	dir, err := models.DefaultDir()
	if err != nil {
		b.Fatal(err)
	}
	s, err := models.NewStore(dir).Open(m, models.DefaultSessionOptions())
	if err != nil {
		b.Skip(err)
	}
	defer s.Close()
	for b.Loop() {
		if err := s.Run(); err != nil {
			b.Fatal(err)
		}
	}
}

// half turns a half-precision number into a float.
func half(b uint16) float64 {
	sign, exp, frac := 1.0, int(b>>10&31), float64(b&1023)
	if b>>15 == 1 {
		sign = -1
	}
	if exp == 0 {
		return sign * math.Ldexp(frac, -24)
	}
	return sign * math.Ldexp(1024+frac, exp-25)
}

// On swings kept out of the training, with its noise, the stated intervals hold about
// what they say, and the errors are what the recipe reports.
func TestIntervalsHoldOnSwingsKeptOut(t *testing.T) {
	f, err := os.Open(filepath.Join("testdata", "kept-out.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	raw, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	const head = 7
	size := 2 * (head + lift.Steps*lift.Channels)
	if len(raw) == 0 || len(raw)%size != 0 {
		t.Fatalf("%d bytes are no whole records", len(raw))
	}
	m, err := models.Lookup("lift")
	if err != nil {
		t.Fatal(err)
	}
	s, err := networkStore(t).Open(m, models.DefaultSessionOptions())
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var in68, in90, n float64
	var errs [2][]float64 // by view, separation at plant
	for rec := 0; rec < len(raw); rec += size {
		v := make([]float64, size/2)
		for i := range v {
			v[i] = half(binary.LittleEndian.Uint16(raw[rec+2*i:]))
		}
		for i := range s.Input() {
			s.Input()[i] = float32(v[head+i])
		}
		if err := s.Run(); err != nil {
			t.Fatal(err)
		}
		for k, sample := range []int{60, 75} {
			for a := range 3 {
				q := s.Output("angles")[(sample*swing.NumTurns+a)*5:][:5]
				truth := v[1+3*k+a]
				n++
				if truth > float64(q[1]) && truth < float64(q[3]) {
					in68++
				}
				if truth > float64(q[0]) && truth < float64(q[4]) {
					in90++
				}
				if k == 1 && a == int(swing.Separation) {
					errs[int(v[0])] = append(errs[int(v[0])], math.Abs(float64(q[2])-truth))
				}
			}
		}
	}
	t.Logf("%.0f values: %.2f in 68 %%, %.2f in 90 %%", n, in68/n, in90/n)
	// 288 values of 48 swings, alike within a swing: a tenth of play.
	if in68/n < 0.56 || in68/n > 0.80 || in90/n < 0.80 || in90/n > 0.98 {
		t.Errorf("%.2f in 68 %%, %.2f in 90 %%", in68/n, in90/n)
	}
	for view, e := range errs {
		slices.Sort(e)
		if median := e[len(e)/2]; median > 12 {
			t.Errorf("view %d: separation at plant is off by %.1f degrees in the middle", view, median)
		}
	}
}
