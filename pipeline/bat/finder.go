package bat

import (
	"fmt"
	"slices"

	"plantframe/pipeline/signal"
	"plantframe/pipeline/spot"
	"plantframe/pipeline/swing"
)

// Points that the network must give, in this order.
const (
	knob = iota
	grip
	tip
)

func names() []string { return []string{"knob", "grip", "tip"} }

// Sighting is what one frame shows of the bat, before other frames are asked.
type Sighting struct {
	Frame  int          `json:"frame"`  // Frame.Index
	Looked bool         `json:"looked"` // false: the hands were not known
	Knob   []spot.Place `json:"knob"`   // where the end of the handle may be, likeliest first
	Tip    []spot.Place `json:"tip"`    // where the end of the barrel may be
	Grip   spot.Place   `json:"grip"`   // the middle of the hands on the handle
	Absent float64      `json:"absent"` // probability that no tip is in the picture
	// Edges tells for the likeliest knob and each tip of Tip which share of
	// the line between them stands out against both sides, 0..1.
	Edges []float64 `json:"edges"`
	// Axis is, for each tip of Tip, where the barrel runs by its own edges.
	Axis []Axis `json:"axis"`
}

// Enlarge turns px of a reduced picture into px of the full one.
func (s *Sighting) Enlarge(scale float64) {
	for _, ps := range [][]spot.Place{s.Knob, s.Tip} {
		for i := range ps {
			ps[i].At, ps[i].Sigma = ps[i].At.Scale(scale), ps[i].Sigma*scale
		}
	}
	for i := range s.Axis {
		s.Axis[i].Shift *= scale
	}
	s.Grip.At, s.Grip.Sigma = s.Grip.At.Scale(scale), s.Grip.Sigma*scale
}

// Finder looks for a bat frame by frame, in several frames at once when it has
// several sessions of its network.
type Finder struct {
	o     Options
	lanes []lane
	torso []float64 // px, of the newest frames noted
}

// lane is what one goroutine needs.
type lane struct {
	net   *spot.Finder
	found []spot.Found
	torso []float64 // scratch
}

// torsoFrames is how many frames the torso length is the median of: a trunk
// that leans toward the camera for a moment must not shrink the square.
const torsoFrames = 61

// New prepares a Finder with a network that gives knob, grip and tip, once a
// lane.
//
// Errors: KindUsage (options), KindModel (the network does not fit).
func New(nets []*spot.Network, o Options) (*Finder, error) {
	const op = "bat.New"
	if err := o.Validate(); err != nil {
		return nil, &swing.Error{Op: op, Frame: -1, Kind: swing.KindUsage, Msg: err.Error()}
	}
	f := &Finder{o: o}
	for _, n := range nets {
		l, err := spot.New(n)
		if err != nil {
			return nil, err
		}
		if !slices.Equal(l.Points(), names()) {
			return nil, &swing.Error{
				Op: op, Frame: -1, Kind: swing.KindModel, Msg: "the bat network cannot be used", Hint: "install the models again",
				Err: fmt.Errorf("it gives the points %v, not %v", l.Points(), names()),
			}
		}
		f.lanes = append(f.lanes, lane{net: l})
	}
	if len(f.lanes) == 0 {
		return nil, &swing.Error{Op: op, Frame: -1, Kind: swing.KindModel, Msg: "no bat network was given"}
	}
	return f, nil
}

// Reset forgets the frames before, for the next clip.
func (f *Finder) Reset() { f.torso = f.torso[:0] }

// Runs returns the network's name and how often it has run.
func (f *Finder) Runs() (string, int) {
	name, all := "", 0
	for _, l := range f.lanes {
		n, runs := l.net.Runs()
		name, all = n, all+runs
	}
	return name, all
}

// Lanes returns how many calls of Look may run at the same time.
func (f *Finder) Lanes() int { return len(f.lanes) }

// Note takes in how large the hitter is in p, for the calls of Look after it.
// No Look may run at the same time.
func (f *Finder) Note(p swing.Pose) {
	if !p.Found {
		return
	}
	f.torso = append(f.torso, torsoOf(p))
	if len(f.torso) > torsoFrames {
		f.torso = append(f.torso[:0], f.torso[1:]...)
	}
}

func torsoOf(p swing.Pose) float64 {
	neck := p.Points[swing.LeftShoulder].Point().Mid(p.Points[swing.RightShoulder].Point())
	hip := p.Points[swing.LeftHip].Point().Mid(p.Points[swing.RightHip].Point())
	return neck.Sub(hip).Norm()
}

// Look says what frame fr shows of the bat in the hands of p, in px of fr.
// Calls with different lanes, 0 to Lanes-1, may run at the same time.
//
// Errors: KindModel (the network did not run).
func (f *Finder) Look(n int, fr swing.Frame, p swing.Pose) (Sighting, error) {
	if !p.Found {
		return Sighting{Frame: fr.Index}, nil
	}
	l := &f.lanes[n]
	l.torso = append(append(l.torso[:0], f.torso...), torsoOf(p))
	size := signal.Median(l.torso)
	hands := p.Points[swing.LeftWrist].Point().Mid(p.Points[swing.RightWrist].Point())
	if size < minTorso {
		return Sighting{Frame: fr.Index}, nil
	}
	var err error
	if l.found, err = l.net.Look(fr, hands, f.o.Reach*size, l.found[:0]); err != nil {
		return Sighting{}, err
	}
	s := Sighting{
		Frame: fr.Index, Looked: true, Knob: l.found[knob].Peaks, Tip: l.found[tip].Peaks,
		Grip: l.found[grip].Best(), Absent: l.found[tip].Absent,
	}
	for _, t := range s.Tip {
		x := axis(fr, s.Knob[0].At, t.At, size)
		k, e := s.Knob[0].At, t.At
		if x.Strength >= clearAxis {
			k, e = x.along(k, e)
		}
		s.Axis = append(s.Axis, x)
		s.Edges = append(s.Edges, standsOut(fr, k, e, size))
	}
	return s, nil
}

// clearAxis is the strength from which the barrel's own edges are believed.
const clearAxis = 0.45

// minTorso is the torso length, px, under which a bat is not looked for: its
// barrel is then less than one pixel wide.
const minTorso = 12
