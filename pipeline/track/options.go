package track

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// Options are the settings of Build.
type Options struct {
	// BodyCutoff is the low-pass cut-off of Track.Points, Hz. Default 8: the
	// landing of the foot is at its sharpest a stop from about 1 m/s, and 8 Hz
	// keeps its time within a few ms while it halves the noise of a network
	// at 60 frames/s.
	BodyCutoff float64
	// HandCutoff is the low-pass cut-off of Track.Fast, Hz. Default 12: the
	// hands of a swing go from rest to rest in about 0.25 s; 8 Hz lowers their
	// peak speed, 12 Hz does not.
	HandCutoff float64
	// MaxGap is the longest time without a point that is bridged, s; a longer
	// gap stays missing. Default 0.15: half a stride, after which a curve
	// through the neighbours is a guess.
	MaxGap float64
	// MinScore is the score below which a point counts as not seen, 0..1.
	// Default 0.001: scores say whether a joint is in sight, and networks
	// place hidden joints by the rest of the body, well enough until contact;
	// dropping them loses the rear arm for most of a swing.
	MinScore float64
	// Swaps turns the repair of left/right exchanges on. Default true.
	Swaps bool
}

// DefaultOptions returns the defaults described at the fields.
func DefaultOptions() Options {
	return Options{BodyCutoff: 8, HandCutoff: 12, MaxGap: 0.15, MinScore: 0.001, Swaps: true}
}

// Validate returns an error of kind usage that names the wrong setting.
func (o Options) Validate() error {
	bad := func(format string, a ...any) error {
		return &swing.Error{Op: "track.Options", Frame: -1, Kind: swing.KindUsage, Msg: fmt.Sprintf(format, a...)}
	}
	switch {
	case !(o.BodyCutoff >= 1 && o.BodyCutoff <= 30):
		return bad("body cut-off is %g Hz; it must lie between 1 and 30", o.BodyCutoff)
	case !(o.HandCutoff >= 1 && o.HandCutoff <= 40):
		return bad("hand cut-off is %g Hz; it must lie between 1 and 40", o.HandCutoff)
	case !(o.MaxGap >= 0 && o.MaxGap <= 1):
		return bad("longest bridged gap is %g s; it must lie between 0 and 1", o.MaxGap)
	case !(o.MinScore >= 0 && o.MinScore < 1):
		return bad("lowest score is %g; it must lie between 0 and 1", o.MinScore)
	}
	return nil
}
