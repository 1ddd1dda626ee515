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

// Finder looks for a bat frame by frame. It must not be used by two goroutines
// at once.
type Finder struct {
	o     Options
	net   *spot.Finder
	torso []float64 // px, of the newest frames
	found []spot.Found
}

// torsoFrames is how many frames the torso length is the median of: a trunk
// that leans toward the camera for a moment must not shrink the square.
const torsoFrames = 61

// New prepares a Finder with a network that gives knob, grip and tip.
//
// Errors: KindUsage (options), KindModel (the network does not fit).
func New(n *spot.Network, o Options) (*Finder, error) {
	const op = "bat.New"
	if err := o.Validate(); err != nil {
		return nil, &swing.Error{Op: op, Frame: -1, Kind: swing.KindUsage, Msg: err.Error()}
	}
	f, err := spot.New(n)
	if err != nil {
		return nil, err
	}
	if !slices.Equal(f.Points(), names()) {
		return nil, &swing.Error{
			Op: op, Frame: -1, Kind: swing.KindModel, Msg: "the bat network cannot be used", Hint: "install the models again",
			Err: fmt.Errorf("it gives the points %v, not %v", f.Points(), names()),
		}
	}
	return &Finder{o: o, net: f}, nil
}

// Reset forgets the frames before, for the next clip.
func (f *Finder) Reset() { f.torso = f.torso[:0] }

// Runs returns the network's name and how often it has run.
func (f *Finder) Runs() (string, int) { return f.net.Runs() }

// Look says what frame fr shows of the bat in the hands of p, in px of fr.
//
// Errors: KindModel (the network did not run).
func (f *Finder) Look(fr swing.Frame, p swing.Pose) (Sighting, error) {
	if !p.Found {
		return Sighting{Frame: fr.Index}, nil
	}
	at := func(j swing.Joint) swing.Point { return p.Points[j].Point() }
	neck := at(swing.LeftShoulder).Mid(at(swing.RightShoulder))
	hip := at(swing.LeftHip).Mid(at(swing.RightHip))
	f.torso = append(f.torso, neck.Sub(hip).Norm())
	if len(f.torso) > torsoFrames {
		f.torso = f.torso[1:]
	}
	size := signal.Median(f.torso)
	hands := at(swing.LeftWrist).Mid(at(swing.RightWrist))
	if size < minTorso {
		return Sighting{Frame: fr.Index}, nil
	}
	var err error
	if f.found, err = f.net.Look(fr, hands, f.o.Reach*size, f.found[:0]); err != nil {
		return Sighting{}, err
	}
	s := Sighting{
		Frame: fr.Index, Looked: true, Knob: f.found[knob].Peaks, Tip: f.found[tip].Peaks,
		Grip: f.found[grip].Best(), Absent: f.found[tip].Absent,
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
