package compare

import (
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// Options are the settings of Swings.
type Options struct {
	// Align is the instant that the clocks of both swings count from: plant
	// (default), touch or contact. Where one swing lacks it, the next of plant,
	// touch and contact that both have is taken, with a warning.
	Align swing.EventName
	// Sigmas is how many standard deviations a difference must exceed to be
	// called one. Default 2: of two equal swings about one difference in twenty
	// is then called so wrongly. Larger = fewer differences.
	Sigmas float64
}

// DefaultOptions returns the defaults described at the fields.
func DefaultOptions() Options { return Options{Align: swing.Plant, Sigmas: 2} }

// Validate returns a *swing.Error of KindUsage that names the wrong setting.
func (o Options) Validate() error {
	bad := func(format string, a ...any) error {
		return &swing.Error{
			Op: "compare.Options", Frame: -1, Kind: swing.KindUsage,
			Msg: fmt.Sprintf(format, a...), Hint: "correct the setting or leave it out",
		}
	}
	switch o.Align {
	case swing.Plant, swing.Touch, swing.Contact:
	default:
		return bad("swings cannot be aligned at %q, only at plant, touch or contact", string(o.Align))
	}
	if math.IsNaN(o.Sigmas) || o.Sigmas < 0.5 || o.Sigmas > 10 {
		return bad("compare.sigmas is %v, it must lie between 0.5 and 10", o.Sigmas)
	}
	return nil
}
