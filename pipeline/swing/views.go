package swing

// TwoViews is what a clip and another one of the same swing, filmed from the other
// side at the same time, show together. It stands in the swings of both clips, on each
// clip's own clock.
type TwoViews struct {
	Partner ViewRef
	// Offset is the time on the partner's clock less that on this clip's, s, with
	// its one-sigma error.
	Offset, OffsetSigma float64
	// Alike is how much of the motion of heights both clips have in common, share
	// of its variance, 0..1.
	Alike float64
	// Events are the instants that both views were asked for, each the mean of both
	// by their uncertainty, on this clip's clock.
	Events map[EventName]Event
	Body   SpacePath
	Turns  TurnPath
	// Measures are those that both views give, at Events. The better ones also
	// stand in Swing.Measures.
	Measures []Measure
	// Cameras are where the two cameras stood: this clip's and the partner's.
	Cameras [2]ViewCamera
}

// ViewRef names a swing of another clip.
type ViewRef struct {
	File   string `json:"file"` // base name
	SHA256 string `json:"sha256"`
	Swing  int    `json:"swing"` // Swing.Index
	View   View   `json:"view"`
}

// ViewCamera is how a camera stood.
type ViewCamera struct {
	// Yaw is how far it was off its place, degrees, as Turn CameraYaw, with its
	// one-sigma error.
	Yaw, YawSigma float64
	Tilt          float64 // degrees, looking down is +
	Distance      float64 // statures, from the hitter
}

// Place is a place in space, statures, as a right-handed hitter's: X to the pitcher, Y
// to the plate, Z up. Only differences of places mean something.
type Place struct{ X, Y, Z float64 }

// Places of SpacePath.Points.
const (
	LeadShoulderAt = iota
	RearShoulderAt
	LeadElbowAt
	RearElbowAt
	LeadWristAt
	RearWristAt
	LeadHipAt
	RearHipAt
	LeadKneeAt
	RearKneeAt
	LeadAnkleAt
	RearAnkleAt
	LeadHeelAt
	RearHeelAt
	LeadToeAt
	RearToeAt
	HeadAt // middle of the ears
	KnobAt
	TipAt

	// NumSpace counts the points of a SpacePath.
	NumSpace = TipAt + 1
)

// SpaceNames returns the names of the points of a SpacePath in files, in order.
func SpaceNames() []string {
	return []string{
		"lead_shoulder", "rear_shoulder", "lead_elbow", "rear_elbow", "lead_wrist", "rear_wrist",
		"lead_hip", "rear_hip", "lead_knee", "rear_knee", "lead_ankle", "rear_ankle",
		"lead_heel", "rear_heel", "lead_big_toe", "rear_big_toe", "head", "bat_knob", "bat_tip",
	}
}

// SpacePath is the body and the bat in space over time.
type SpacePath struct {
	Times []float64 // s, rising, not evenly spaced
	// Points has one entry per time; nil = not known then.
	Points [][NumSpace]*Place
}

// Known reports whether there is a path.
func (p *SpacePath) Known() bool { return len(p.Times) > 1 && len(p.Points) == len(p.Times) }

// At returns a point at time t, linearly between the times; false where it is not
// known.
func (p *SpacePath) At(k int, t float64) (Place, bool) {
	n := len(p.Times)
	if !p.Known() || !(t >= p.Times[0] && t <= p.Times[n-1]) {
		return Place{}, false
	}
	i := 1
	for i < n-1 && p.Times[i] < t {
		i++
	}
	a, b := p.Points[i-1][k], p.Points[i][k]
	if a == nil || b == nil {
		return Place{}, false
	}
	f := (t - p.Times[i-1]) / (p.Times[i] - p.Times[i-1])
	return Place{a.X + f*(b.X-a.X), a.Y + f*(b.Y-a.Y), a.Z + f*(b.Z-a.Z)}, true
}
