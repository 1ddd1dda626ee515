package swing

// PointState says where a track point comes from.
type PointState uint8

// Kinds of track points.
const (
	Missing PointState = iota // no position; X and Y are meaningless
	Seen                      // found by the network
	Filled                    // bridged over a gap
)

// TrackPoint is one body point of one frame after repair and smoothing.
type TrackPoint struct {
	X     float64    `json:"x"` // px
	Y     float64    `json:"y"` // px
	Score float64    `json:"score"`
	State PointState `json:"state"`
}

// Point returns the place of p.
func (p TrackPoint) Point() Point { return Point{p.X, p.Y} }

// Track is the hitter's body over time. All slices over time have one entry
// per frame of Times.
type Track struct {
	Frames []int     `json:"frames"`  // Frame.Index
	Times  []float64 `json:"times_s"` // s, strictly increasing
	// Points is smoothed for body and foot timing (zero lag).
	Points [][NumPoints]TrackPoint `json:"points"`
	// Fast is smoothed less, for hand speed (zero lag).
	Fast [][NumPoints]TrackPoint `json:"fast"`
	// Raw is repaired and gap-filled but not smoothed.
	Raw [][NumPoints]TrackPoint `json:"raw"`
	// Sigma is the one-sigma position noise of each point in Points, px
	// (one axis), constant over the track, from the residual of smoothing
	// and the documented bias of the network.
	Sigma [NumPoints]float64 `json:"sigma_px"`
	// Steady maps each frame's picture to the first frame's picture by the
	// still background; identity when the camera stands still. Positions in
	// Points, Fast and Raw are NOT mapped: they lie in their own picture.
	Steady []Similarity `json:"steady"`
	// CameraMoves is true when Steady is not the identity throughout.
	CameraMoves bool `json:"camera_moves"`
	// Torso is the median distance mid-shoulder to mid-hip, px.
	Torso float64 `json:"torso_px"`
	// Stature is the standing height, px, estimated from segment lengths.
	Stature float64 `json:"stature_px"`
}

// Len returns the number of frames.
func (t *Track) Len() int { return len(t.Times) }
