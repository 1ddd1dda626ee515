package models_test

import (
	"compress/gzip"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"plantframe/pipeline/swing"
)

// shiftCase is the track of a rendered clip of which the lifting network's training
// used nothing, as this program's pose stage saw it, with the truth of both lines at
// its events, degrees (scripts/train/lift/calibrate.py --record).
type shiftCase struct {
	Width, Height int
	Bats          swing.Bats
	View          swing.View
	Events        map[swing.EventName]float64
	Times         []float64
	Points        [][]*[3]float64
	Knob, Tip     []*[2]float64
	Shoulders     []float64 // in the order of stance, load, touch, plant
	Hips          []float64
}

func (c *shiftCase) swing() swing.Swing {
	sw := swing.Swing{Bats: c.Bats, View: c.View, Events: map[swing.EventName]swing.Event{}, Width: c.Width, Height: c.Height}
	for e, at := range c.Events {
		sw.Events[e] = swing.Event{Time: at}
	}
	sw.Track.Times = c.Times
	for i, row := range c.Points {
		var p [swing.NumPoints]swing.TrackPoint
		for k, v := range row {
			if v != nil {
				p[k] = swing.TrackPoint{X: v[0], Y: v[1], Score: v[2], State: swing.Seen}
			}
		}
		sw.Track.Points = append(sw.Track.Points, p)
		var s swing.BatSight
		if k, tip := c.Knob[i], c.Tip[i]; k != nil && tip != nil {
			s = swing.BatSight{Seen: true, Knob: swing.Point{X: k[0], Y: k[1]}, Tip: swing.Point{X: tip[0], Y: tip[1]}}
		}
		sw.Bat.Sights = append(sw.Bat.Sights, s)
	}
	return sw
}

// Off the training's own ground the stated intervals, with what widen.go adds, hold
// about what they say. There are few clips, and the values of one are alike, so the
// band is wide; bare intervals fall out of it.
func TestIntervalsHoldOnOtherClips(t *testing.T) {
	f, err := os.Open(filepath.Join("testdata", "shift.gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	var cases []shiftCase
	if err := json.NewDecoder(z).Decode(&cases); err != nil {
		t.Fatal(err)
	}
	l := openLifter(t)
	var in68, in90, n float64
	for i := range cases {
		c := &cases[i]
		sw := c.swing()
		p, err := l.Path(context.Background(), &sw)
		if err != nil || !p.Known() {
			t.Fatalf("clip %d: %v %v", i, err, p.Known())
		}
		k := 0
		for _, e := range []swing.EventName{swing.Stance, swing.Load, swing.Touch, swing.Plant} {
			at, ok := c.Events[e]
			if !ok {
				continue
			}
			for a, truth := range map[swing.Turn]float64{swing.ShoulderTurn: c.Shoulders[k], swing.HipTurn: c.Hips[k], swing.Separation: c.Shoulders[k] - c.Hips[k]} {
				q, ok := p.At(a, at)
				if !ok {
					continue
				}
				n++
				if truth > q[1] && truth < q[3] {
					in68++
				}
				if truth > q[0] && truth < q[4] {
					in90++
				}
			}
			k++
		}
	}
	t.Logf("%.0f values of %d clips: %.2f in 68 %%, %.2f in 90 %%", n, len(cases), in68/n, in90/n)
	if len(cases) < 5 || n < 50 {
		t.Fatalf("only %.0f values of %d clips", n, len(cases))
	}
	if in68/n < 0.55 || in68/n > 0.90 || in90/n < 0.80 {
		t.Errorf("%.2f in 68 %%, %.2f in 90 %%", in68/n, in90/n)
	}
}
