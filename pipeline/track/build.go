package track

import (
	"fmt"
	"math"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/swing"
)

// minFrames is the fewest frames with a person that make a track: a cubic
// needs four points, and one more to be checked against.
const minFrames = 5

// Build makes a track of the poses of one hitter. poses are in time order, one
// per frame; steady has one map per pose (frame to first frame) or is empty
// for a still camera; moves tells whether the maps differ from the identity.
//
// It fails with kind too-short when fewer than five frames hold a person, and
// with kind internal when times do not increase or steady has another length.
func Build(poses []swing.Pose, steady []swing.Similarity, moves bool, o Options) (swing.Track, []swing.Warning, error) {
	fail := func(kind swing.Kind, frame int, msg, hint string) (swing.Track, []swing.Warning, error) {
		return swing.Track{}, nil, &swing.Error{Op: "track.Build", Frame: frame, Kind: kind, Msg: msg, Hint: hint}
	}
	if err := o.Validate(); err != nil {
		return swing.Track{}, nil, err
	}
	if len(steady) != 0 && len(steady) != len(poses) {
		return fail(swing.KindInternal, -1, fmt.Sprintf("%d background maps for %d poses", len(steady), len(poses)), "")
	}
	found := 0
	for i, p := range poses {
		if i > 0 && !(p.Time > poses[i-1].Time) {
			return fail(swing.KindInternal, p.Frame, "frame times do not increase", "")
		}
		if p.Found {
			found++
		}
	}
	if found < minFrames {
		return fail(swing.KindTooShort, -1, fmt.Sprintf("a person is seen in %d frames only", found),
			"film the whole swing with the whole body in the picture")
	}

	w := newWork(poses, steady, o)
	var warnings []swing.Warning
	if o.Swaps {
		warnings = append(warnings, w.repairSwaps()...)
	}
	dropped := w.dropWild()
	warnings = append(warnings, dropped.warnings(w.frames, "point-dropped", "%s jumped where it cannot be; left out")...)
	var led frameSet
	w.fillFromGrip(&led)
	warnings = append(warnings, led.without(dropped).warnings(w.frames, "gap-filled", "%s not seen for a moment; placed by the other hand")...)
	warnings = append(warnings, w.fill(dropped)...)

	t := swing.Track{
		Frames: make([]int, len(poses)), Times: w.times,
		Steady: w.steady, CameraMoves: moves && len(steady) > 0,
	}
	for i, p := range poses {
		t.Frames[i] = p.Frame
	}
	body, fast := w.smoothed(o.BodyCutoff), w.smoothed(o.HandCutoff)
	t.Points, t.Fast, t.Raw = w.export(body), w.export(fast), w.export(w.pos)
	t.Torso = w.torso
	t.Stature = w.stature(body)
	t.Sigma = w.sigma(o.BodyCutoff)
	return t, warnings, nil
}

// work holds one track while it is repaired, in steady picture coordinates,
// px. Time is the last index, because every step works along time.
type work struct {
	o      Options
	frames []int
	times  []float64
	steady []swing.Similarity
	pos    [swing.NumPoints][]swing.Point
	score  [swing.NumPoints][]float64
	state  [swing.NumPoints][]swing.PointState
	torso  float64
	runs   [][2]int // stretches [from, to) without a hole in time
}

func newWork(poses []swing.Pose, steady []swing.Similarity, o Options) *work {
	n := len(poses)
	w := &work{o: o, frames: make([]int, n), times: make([]float64, n), steady: make([]swing.Similarity, n)}
	for i, p := range poses {
		w.frames[i], w.times[i] = p.Frame, p.Time
		w.steady[i] = swing.IdentitySimilarity()
		if len(steady) > 0 && validMap(steady[i]) {
			w.steady[i] = steady[i]
		}
	}
	for j := range swing.NumPoints {
		w.pos[j], w.score[j] = make([]swing.Point, n), make([]float64, n)
		w.state[j] = make([]swing.PointState, n)
		for i, p := range poses {
			k := p.Points[j]
			if !p.Found || k.Score <= 0 || k.Score < o.MinScore || !finite(k.X) || !finite(k.Y) {
				continue
			}
			w.pos[j][i], w.score[j][i], w.state[j][i] = w.steady[i].Apply(k.Point()), k.Score, swing.Seen
		}
	}
	w.torso = w.torsoLength()
	// A clip in which only the swings were followed has holes of seconds;
	// nothing may be smoothed or bridged across them.
	hole := max(4*signal.Spacing(w.times), 2*o.MaxGap, 0.2)
	from := 0
	for i := 1; i <= n; i++ {
		if i == n || w.times[i]-w.times[i-1] > hole {
			w.runs = append(w.runs, [2]int{from, i})
			from = i
		}
	}
	return w
}

func validMap(s swing.Similarity) bool {
	d := s.A*s.A + s.B*s.B
	return d > 1e-6 && finite(d) && finite(s.TX) && finite(s.TY)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func (w *work) ok(j swing.Joint, i int) bool { return w.state[j][i] != swing.Missing }

// export maps positions back to each frame's own picture.
func (w *work) export(pos [swing.NumPoints][]swing.Point) [][swing.NumPoints]swing.TrackPoint {
	out := make([][swing.NumPoints]swing.TrackPoint, len(w.times))
	for i := range out {
		back := w.steady[i].Inverse()
		for j := range swing.NumPoints {
			if w.state[j][i] == swing.Missing {
				continue
			}
			p := back.Apply(pos[j][i])
			out[i][j] = swing.TrackPoint{X: p.X, Y: p.Y, Score: w.score[j][i], State: w.state[j][i]}
		}
	}
	return out
}

// torsoLength is the median distance mid-shoulder to mid-hip; when too few
// frames show all four joints, a quarter of the median height of what is seen.
func (w *work) torsoLength() float64 {
	var d, tall []float64
	for i := range w.times {
		if w.ok(swing.LeftShoulder, i) && w.ok(swing.RightShoulder, i) && w.ok(swing.LeftHip, i) && w.ok(swing.RightHip, i) {
			s := w.pos[swing.LeftShoulder][i].Mid(w.pos[swing.RightShoulder][i])
			h := w.pos[swing.LeftHip][i].Mid(w.pos[swing.RightHip][i])
			d = append(d, s.Sub(h).Norm())
		}
		lo, hi := math.Inf(1), math.Inf(-1)
		for j := range swing.NumPoints {
			if w.state[j][i] != swing.Missing {
				lo, hi = min(lo, w.pos[j][i].Y), max(hi, w.pos[j][i].Y)
			}
		}
		if hi > lo {
			tall = append(tall, hi-lo)
		}
	}
	if len(d) >= minFrames {
		return max(signal.Median(d), 1)
	}
	if len(tall) > 0 {
		return max(signal.Median(tall)/4, 1)
	}
	return 1
}
