package swing

// Status says how far a value can be trusted.
type Status string

// Measure statuses.
const (
	Measured      Status = "measured"
	Weak          Status = "weak"           // usable with care; Reason says why
	NotMeasurable Status = "not measurable" // Value and Sigma mean nothing; Reason says why
)

// Measure is one number of a swing at one event, or one path between events.
type Measure struct {
	ID     string    `json:"id"`    // such as "lead_elbow_flexion"
	Event  EventName `json:"event"` // "" for a measure that spans events
	Value  *float64  `json:"value"` // nil when not measurable
	Unit   string    `json:"unit"`  // "deg", "stature", "m", "upper_arm", "shoulder_width", "ms", "1"
	Sigma  *float64  `json:"sigma"` // one standard deviation in Unit; nil with Value
	Status Status    `json:"status"`
	Reason string    `json:"reason"` // empty when measured
	Frames []int     `json:"frames"` // frames used
	// Words says the value in words, the likeliest first, for turns and the coil, of
	// which degrees often say more than one view knows; see InWords. Else absent.
	Words []Chance `json:"words,omitempty"`
	// Method is how it was found when that is not the usual way from this clip
	// alone, such as "two-views"; empty otherwise.
	Method string `json:"method,omitempty"`
}
