package models_test

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
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
	m, err := models.Lookup("lift")
	if err != nil {
		t.Fatal(err)
	}
	s, err := networkStore(t).Open(m, models.DefaultSessionOptions())
	if err != nil {
		t.Fatalf("%v\nthis test needs the networks: run scripts/test, or plantframe models install once", err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
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
	if math.Abs(q.Median()) > 1.5 || q.Sigma() > 3 {
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
