package judge

import "fmt"

// Options are the settings of Judge.
type Options struct {
	// OutSigmas is how many sigmas a value must lie outside its band to be out.
	// Default 1. More = fewer faults are named, of which more are real.
	OutSigmas float64
	// Priorities is the most that is named to work on first. Default 2: a
	// hitter changes one thing at a time (common practice, no source).
	Priorities int
	// MaybeSigmas is how many sigmas outside its band a value must lie to be
	// named first when nothing is out. Default 0.67: three to one that it is
	// outside. It stays near, and its text says so. More = less often.
	MaybeSigmas float64
	// Praise is the most checkpoints that are marked as done well. Default 3.
	Praise int
	// StartSigmas is how surely the swing must have begun before an event, in
	// sigmas of the time between both, for the launch position not to be judged
	// there. Default 0.67: three to one. More = judged more often, and more
	// often wrongly.
	StartSigmas float64
	// CauseShare is the least severity of a cause against that of the finding
	// it explains. Default 0.33. More = fewer findings are explained away.
	CauseShare float64
	// ReferenceDistance is the barrel's distance that swing_inertia_ratio
	// compares with, statures. Follows the option of the measure stage of the
	// same name, default 0.25.
	ReferenceDistance float64
}

// DefaultOptions returns the defaults described at the fields.
func DefaultOptions() Options {
	return Options{OutSigmas: 1, Priorities: 2, MaybeSigmas: 0.67, Praise: 3, StartSigmas: 0.67, CauseShare: 0.33, ReferenceDistance: 0.25}
}

// Validate reports the first setting that makes no sense.
func (o Options) Validate() error {
	switch {
	case !(o.OutSigmas >= 0.5 && o.OutSigmas <= 5):
		return fmt.Errorf("out sigmas is %g, it must be between 0.5 and 5", o.OutSigmas)
	case o.Priorities < 1 || o.Priorities > 2:
		return fmt.Errorf("priorities is %d, it must be 1 or 2", o.Priorities)
	case !(o.MaybeSigmas >= 0 && o.MaybeSigmas <= 5):
		return fmt.Errorf("maybe sigmas is %g, it must be between 0 and 5", o.MaybeSigmas)
	case o.Praise < 0 || o.Praise > 20:
		return fmt.Errorf("praise is %d, it must be between 0 and 20", o.Praise)
	case !(o.StartSigmas >= 0 && o.StartSigmas <= 5):
		return fmt.Errorf("start sigmas is %g, it must be between 0 and 5", o.StartSigmas)
	case !(o.CauseShare >= 0 && o.CauseShare <= 10):
		return fmt.Errorf("cause share is %g, it must be between 0 and 10", o.CauseShare)
	case !(o.ReferenceDistance > 0 && o.ReferenceDistance < 1):
		return fmt.Errorf("reference distance is %g, it must be between 0 and 1", o.ReferenceDistance)
	}
	return nil
}
