package lift

import (
	"context"
	"errors"
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// Session is a loaded network with one input and fixed buffers. Calls must not
// overlap; nothing is allocated.
type Session interface {
	// Input returns the input tensor, batch 1.
	Input() []float32
	// Run computes all outputs from the input.
	Run() error
	// Output returns the output tensor of a name, nil for an unknown name.
	Output(name string) []float32
}

// Decoder is the name of this form of input and output in model manifests: an
// input of steps x channels and an output "angles" of steps x angles x quantiles.
const Decoder = "turns"

// Steps and Channels are the shape of the network's input.
const (
	Steps    = steps
	Channels = channels
)

// quantiles counts those of a swing.Quantiles.
const quantiles = len(swing.Quantiles{})

// Lifter turns swings into turns. It is for one goroutine at a time.
type Lifter struct {
	session Session
	o       Options
}

// New returns a lifter that runs the network of a session. Errors are
// *swing.Error: kind usage for a wrong setting, kind model for a network of
// another shape.
func New(s Session, o Options) (*Lifter, error) {
	if err := o.Validate(); err != nil {
		return nil, err
	}
	bad := func(err error) error {
		return &swing.Error{Op: "lift.New", Frame: -1, Kind: swing.KindModel, Msg: "the network does not lift a track", Hint: "run: plantframe models verify", Err: err}
	}
	if s == nil {
		return nil, bad(errors.New("no network given"))
	}
	if got := len(s.Input()); got != steps*channels {
		return nil, bad(fmt.Errorf("its input holds %d numbers, want %d x %d", got, steps, channels))
	}
	if got, want := len(s.Output("angles")), steps*swing.NumTurns*quantiles; got != want {
		return nil, bad(fmt.Errorf("its output angles holds %d numbers, want %d", got, want))
	}
	return &Lifter{session: s, o: o}, nil
}

// Path runs the network once and returns the swing's turns around plant. It reads
// Bats, View, Events, Track, Bat, Width and Height. Without a plant, a picture size
// or hips and shoulders the path is not known, which is no error.
func (l *Lifter) Path(ctx context.Context, sw *swing.Swing) (swing.TurnPath, error) {
	plant, ok := sw.Events[swing.Plant]
	n := sw.Track.Len()
	if !ok || n < 2 || len(sw.Track.Points) != n || sw.Width <= 0 || sw.Height <= 0 {
		return swing.TurnPath{}, nil
	}
	if err := ctx.Err(); err != nil {
		return swing.TurnPath{}, err
	}
	stance, hasStance := sw.Events[swing.Stance]
	at := stance.Time
	if !hasStance {
		at = plant.Time - before
	}
	g := newGrid(sw, plant.Time, at)
	if !g.encode(sw.View, l.o, l.session.Input()) {
		return swing.TurnPath{}, nil
	}
	if err := l.session.Run(); err != nil {
		return swing.TurnPath{}, &swing.Error{Op: "lift.Path", Frame: -1, Kind: swing.KindModel, Msg: "the lifting network failed", Err: err}
	}
	m, widen := marksOf(sw), l.o.WidenOpen
	if sw.View == swing.Rear {
		widen = l.o.WidenRear
	}
	p := g.decode(l.session.Output("angles"), func(a swing.Turn, t float64) float64 { return widen * widening(sw.View, a).at(t, m) })
	p.Stance = hasStance && p.Known() && at >= p.Times[0] && at <= p.Times[len(p.Times)-1]
	if p.Known() && !finite(&p) {
		return swing.TurnPath{}, nil // nonsense in, nonsense out: say nothing
	}
	return p, nil
}

// decode reads the output within the track and widens the intervals about their
// medians, by a factor of angle and time.
func (g *grid) decode(out []float32, widen func(swing.Turn, float64) float64) swing.TurnPath {
	var p swing.TurnPath
	for i := range g.samples {
		if !g.samples[i].valid {
			continue
		}
		now := g.first + float64(i)/rate
		p.Times = append(p.Times, now)
		for a := range swing.NumTurns {
			v := out[(i*swing.NumTurns+a)*quantiles:][:quantiles]
			var q swing.Quantiles
			m, f := float64(v[quantiles/2]), widen(swing.Turn(a), now)
			for k := range q {
				q[k] = m + f*(float64(v[k])-m)
			}
			p.Angles[a] = append(p.Angles[a], q)
		}
	}
	return p
}

// finite reports whether all angles are numbers.
func finite(p *swing.TurnPath) bool {
	for _, path := range p.Angles {
		for _, q := range path {
			for _, v := range q {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					return false
				}
			}
		}
	}
	return true
}
