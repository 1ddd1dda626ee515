package pose

import (
	"errors"

	"plantframe/pipeline/swing"
)

// Estimator runs the networks over frames. It owns their buffers and must not
// be used by two goroutines at once.
type Estimator struct {
	o       Options
	people  detector
	fine    *landmarker // the followed hitter
	coarse  *landmarker // everybody
	objects *nanoDet    // may be nil
	lanes   []lane      // fine and feet for each frame worked on at once; at least one
	runners []*runner
	seen    Scan
	trail   []trail // of the last Follow
}

// New checks that the networks fit their descriptions and prepares all
// buffers.
//
// Errors: KindUsage (bad options), KindModel (a network that is missing or
// whose tensors do not have the sizes that its decoder needs).
func New(nets Networks, o Options) (*Estimator, error) {
	const op = "pose.New"
	if err := o.Validate(); err != nil {
		return nil, &swing.Error{Op: op, Frame: -1, Kind: swing.KindUsage, Msg: err.Error()}
	}
	e := &Estimator{o: o}
	wrap := func(role string, err error) error {
		hint := "install the models again"
		if errors.Is(err, errNoNetwork) {
			hint = "give the analysis a network for this role"
		}
		return &swing.Error{Op: op, Frame: -1, Kind: swing.KindModel, Msg: "the " + role + " network cannot be used", Hint: hint, Err: err}
	}
	var err error
	if e.people, err = e.newDetector(nets.Detector, nets.Objects); err != nil {
		return nil, wrap("person detector", err)
	}
	if e.fine, err = e.newLandmarker(nets.Landmarks); err != nil {
		return nil, wrap("landmark", err)
	}
	e.coarse = e.fine
	if nets.Scan != nil && nets.Scan != nets.Landmarks {
		if e.coarse, err = e.newLandmarker(nets.Scan); err != nil {
			return nil, wrap("scan", err)
		}
	}
	if nets.Objects != nil && e.objects == nil {
		if e.objects, err = e.newNanoDet(nets.Objects); err != nil {
			return nil, wrap("object", err)
		}
	}
	e.lanes = []lane{{fine: e.fine}}
	for _, l := range nets.More[:min(len(nets.More), AtOnce-1)] {
		fine, err := e.newLandmarker(l.Landmarks)
		if err != nil {
			return nil, wrap("landmark", err)
		}
		e.lanes = append(e.lanes, lane{fine: fine})
	}
	for i := range e.lanes {
		n := nets.Feet
		if i > 0 {
			n = nets.More[i-1].Feet
		}
		if n == nil {
			continue
		}
		if e.lanes[i].feet, err = newFeet(n); err != nil {
			return nil, wrap("feet", err)
		}
	}
	return e, nil
}

// Runs returns how often each network has run since New, by Spec.Name.
func (e *Estimator) Runs() map[string]int {
	m := map[string]int{}
	for _, r := range e.runners {
		m[r.Spec.Name] += r.runs
	}
	for _, l := range e.lanes {
		if l.feet != nil {
			name, n := l.feet.net.Runs()
			m[name] += n
		}
	}
	return m
}

func (e *Estimator) newLandmarker(n *Network) (*landmarker, error) {
	l, err := newLandmarker(n, e.o.JointCentres)
	if err == nil {
		e.runners = append(e.runners, l.run)
	}
	return l, err
}

func (e *Estimator) newNanoDet(n *Network) (*nanoDet, error) {
	r, err := newRunner(n, 0.5)
	if err != nil {
		return nil, err
	}
	e.runners = append(e.runners, r)
	if n.Spec.Decoder != NanoDet {
		return nil, errorf(n, "decoder %q finds no objects", n.Spec.Decoder)
	}
	return newNanoDet(r)
}

func (e *Estimator) newDetector(n, objects *Network) (detector, error) {
	if n == nil || n.Session == nil {
		return nil, errNoNetwork
	}
	switch n.Spec.Decoder {
	case NanoDet:
		d, err := e.newNanoDet(n)
		if err == nil && n == objects {
			e.objects = d // one network in both roles
		}
		return d, err
	case PoseDetector:
		if n.Spec.Width != detInput || n.Spec.Height != detInput {
			return nil, errorf(n, "decoder blazepose-detector needs a %dx%d input", detInput, detInput)
		}
		r, err := newRunner(n, 0.5)
		if err != nil {
			return nil, err
		}
		e.runners = append(e.runners, r)
		return newPoseDetector(r)
	}
	return nil, errorf(n, "decoder %q finds no people", n.Spec.Decoder)
}

// networkFailed wraps the error of a run.
func networkFailed(op string, frame int, err error) error {
	return &swing.Error{
		Op: op, Frame: frame, Kind: swing.KindModel, Msg: "a network did not run",
		Hint: "install the models again; if that does not help, free some memory", Err: err,
	}
}
