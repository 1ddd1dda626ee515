package swing

// FindingStatus says where a measure lies against its target band.
type FindingStatus string

// Finding statuses.
const (
	InBand       FindingStatus = "in"             // inside the band, surely enough
	NearEdge     FindingStatus = "near"           // within its own uncertainty of the band's edge
	OutOfBand    FindingStatus = "out"            // outside by more than its uncertainty
	NotJudgeable FindingStatus = "not measurable" // no value, or one too unsure to judge
)

// Finding is what a target band makes of one measure at one event.
type Finding struct {
	ID      string        `json:"id"`      // of the checkpoint, such as "barrel-steep"
	Measure string        `json:"measure"` // Measure.ID
	Event   EventName     `json:"event"`
	Status  FindingStatus `json:"status"`
	// Severity is how far outside the band the value lies, 0 = inside; 1 = by
	// the band's own half width, damped by the value's uncertainty.
	Severity float64 `json:"severity"`
	// Priority is 1 or 2 for what to work on first, 0 for everything else.
	Priority int      `json:"priority"`
	Text     string   `json:"text"`   // one plain sentence with the number and its +/-
	Why      string   `json:"why"`    // why it matters
	Cue      string   `json:"cue"`    // what to tell the hitter
	Drills   []string `json:"drills"` // names of drills, described in the drill file
	// Lo and Hi are the band, in the measure's unit; nil = open on that side.
	Lo *float64 `json:"lo,omitempty"`
	Hi *float64 `json:"hi,omitempty"`
	// Good is true for a checkpoint that is worth telling the hitter as done
	// well.
	Good bool `json:"good,omitempty"`
	// Title is the checkpoint in a few words, such as "barrel steep".
	Title string `json:"title,omitempty"`
	// Origin is where the band comes from: "instructor", "learned" or "common
	// practice, no source".
	Origin string `json:"origin,omitempty"`
}
