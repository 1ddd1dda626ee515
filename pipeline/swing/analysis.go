package swing

// Swing is one swing of a clip, fully described. Data for files; the JSON
// form is made by the output stage.
type Swing struct {
	Index          int
	Window         [2]float64 // s, start and end of the part that was analysed
	Bats           Bats
	BatsSource     string  // "auto" or "user"
	BatsConfidence float64 // 0..1; 1 when given by the user
	View           View
	ViewSource     string // "auto" or "user"
	ViewConfidence float64
	Events         map[EventName]Event // only events that were found
	Track          Track
	// Bat has one sight per entry of Track.Times, or none when no bat was
	// looked for.
	Bat BatPath
	// Turns is how shoulders, hips and limbs turned in space; not known when
	// nothing was lifted out of the picture.
	Turns TurnPath
	// Views is what this clip and one from the other side show together; nil
	// when no such clip took part.
	Views *TwoViews `json:",omitempty"`
	// Width and Height are the picture's, upright, px; 0 when not known.
	Width, Height int
	// CentreOfMass is the body's centre of mass in the picture, px, one entry
	// per entry of Track.Times and nil where too few points were known; empty
	// when it was not computed.
	CentreOfMass []*Point
	Measures     []Measure
	Findings     []Finding // in order of severity; empty when nothing was judged
	Warnings     []Warning
}

// Analysis is the result for one clip.
type Analysis struct {
	ToolVersion string
	Models      []ModelRef
	Options     map[string]any // effective settings
	Clip        Clip
	FramesRead  int // frames actually decoded
	Swings      []Swing
	Warnings    []Warning // about the clip; a swing's own are in Swing.Warnings
}

// ModelRef names a network file that took part.
type ModelRef struct {
	ID     string `json:"id"`
	SHA256 string `json:"sha256"`
}
