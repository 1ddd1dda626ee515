package swing

// Verdict says whether a difference of two swings is beyond its uncertainty.
type Verdict string

// Verdicts.
const (
	Differs           Verdict = "differs"
	NoClearDifference Verdict = "no clear difference"
	NotComparable     Verdict = "not comparable" // Difference and Sigma mean nothing; Reason says why
)

// Party is one of the two swings of a comparison.
type Party struct {
	Clip  Clip
	Swing *Swing // only read
	// Zero is the time of the instant at which the swings are aligned, s of the
	// clip's own clock; Clock times of a comparison count from it.
	Zero float64
	// Stature is the standing height in the picture, px, by the same estimate for
	// both parties.
	Stature float64
	// Mirrored says that the picture is to be shown mirrored, because the hitters
	// bat from different sides.
	Mirrored bool
}

// EventDifference compares when an event falls, on the common clock.
type EventDifference struct {
	Event   EventName `json:"event"`
	A       *float64  `json:"a_ms"` // after the aligned instant, ms; nil: not found
	B       *float64  `json:"b_ms"`
	Value   *float64  `json:"difference_ms"` // A less B; + = A is later
	Sigma   *float64  `json:"sigma_ms"`      // one standard deviation of Value
	Verdict Verdict   `json:"verdict"`
	Reason  string    `json:"reason"` // empty unless not comparable
}

// MeasureDifference compares one measure at one event.
type MeasureDifference struct {
	ID      string    `json:"id"`
	Event   EventName `json:"event"` // "" for a measure that spans events
	Unit    string    `json:"unit"`
	A       *float64  `json:"a"` // nil: not measurable
	SigmaA  *float64  `json:"a_sigma"`
	B       *float64  `json:"b"`
	SigmaB  *float64  `json:"b_sigma"`
	Value   *float64  `json:"difference"` // A less B; angles by the shorter way round
	Sigma   *float64  `json:"sigma"`      // one standard deviation of Value
	Verdict Verdict   `json:"verdict"`
	Weak    bool      `json:"weak"`   // one of the two values is weak
	Reason  string    `json:"reason"` // why it is weak or not comparable
}

// Comparison is two swings on one clock: A is the hitter, B the reference.
type Comparison struct {
	A, B     Party
	Align    EventName // the instant that both clocks count from
	SameView bool      // both cameras stand at the same place: measures compare
	Events   []EventDifference
	Measures []MeasureDifference
	Warnings []Warning
}
