package swing

// BatCue is a set of the independent signs that agreed on where the bat is.
type BatCue uint8

// Signs of a bat.
const (
	CueNetwork BatCue = 1 << iota // the bat network sees it
	CueEdges                      // two straight opposite edges run along it
	CueMotion                     // it continues the bat's own motion
)

// BatSight is the bat in one frame.
type BatSight struct {
	Seen  bool    `json:"seen"`      // false: everything else is meaningless
	Knob  Point   `json:"knob"`      // end of the handle, px
	Tip   Point   `json:"tip"`       // end of the barrel, px
	Sigma float64 `json:"sigma_deg"` // one-sigma error of the direction knob-tip in the picture, degrees
	// KnobSigma and TipSigma are one-sigma position errors along one axis, px.
	KnobSigma float64 `json:"knob_sigma_px"`
	TipSigma  float64 `json:"tip_sigma_px"`
	Cues      BatCue  `json:"cues"` // which signs agreed
}

// BatPath is the bat over time: one sight per frame of the swing's Track.
type BatPath struct {
	Sights []BatSight `json:"sights"`
	// Length is the bat's true length as it would appear parallel to the
	// picture at the hitter's distance, px, with its one-sigma error; 0 when
	// nothing is known of it.
	Length      float64 `json:"length_px"`
	LengthSigma float64 `json:"length_sigma_px"`
	// LengthSource tells where Length is from: "given" (bat length and
	// hitter's height were told), "learned" (longest sight in the clip) or
	// "common" (common practice for the hitter's size).
	LengthSource string `json:"length_source"`
}

// Known reports whether a bat was looked for and seen in some frame.
func (b *BatPath) Known() bool {
	for _, s := range b.Sights {
		if s.Seen {
			return true
		}
	}
	return false
}
