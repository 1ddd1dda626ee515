package swing

// Verdicts on a change between two days.
const (
	Changed       Verdict = "changed"         // by more than chance and measurement explain
	NoClearChange Verdict = "no clear change" // smaller than that
	OneDayOnly    Verdict = "one day only"    // nothing to compare with yet
)

// Heading says where a change went, seen from the target band.
type Heading string

// Headings.
const (
	Toward Heading = "toward the band"
	Away   Heading = "away from the band"
	Inside Heading = "within the band"
)

// TrendDay is one checkpoint on one day, the swings of the day pooled.
type TrendDay struct {
	Day    string  `json:"day"`    // YYYY-MM-DD
	Value  float64 `json:"value"`  // mean of the swings, in the trend's unit
	Sigma  float64 `json:"sigma"`  // one standard deviation of Value: measurement and spread from swing to swing
	Swings int     `json:"swings"` // with a value
	Weak   bool    `json:"weak"`   // every value of the day is weak
}

// Trend is one checkpoint of a hitter over the days.
type Trend struct {
	ID      string     `json:"id"` // of the checkpoint
	Title   string     `json:"title"`
	Measure string     `json:"measure"`
	Event   EventName  `json:"event"`
	View    View       `json:"view"`
	Bats    Bats       `json:"bats"`
	Unit    string     `json:"unit"`
	Lo      *float64   `json:"lo"`   // band of the latest analysis, nil = open on that side
	Hi      *float64   `json:"hi"`   // in Unit
	Days    []TrendDay `json:"days"` // in time order, at least one
	// Missing counts swings in which the checkpoint could not be judged.
	Missing int `json:"missing"`
	// Spread is the standard deviation from swing to swing within a day, in Unit.
	// SpreadSwings says how many differences between swings it is from; 0 = it is
	// assumed.
	Spread       float64 `json:"spread"`
	SpreadSwings int     `json:"spread_swings"`
	// Change is the last day less the first, with its standard deviation; both 0 with
	// OneDayOnly.
	Change      float64 `json:"change"`
	ChangeSigma float64 `json:"change_sigma"`
	Verdict     Verdict `json:"verdict"`
	Heading     Heading `json:"heading"` // "" unless changed
}
