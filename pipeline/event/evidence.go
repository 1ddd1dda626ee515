package event

import "plantframe/pipeline/swing"

// Evidence is what other stages know of the swing besides the body; the zero
// value knows nothing.
type Evidence struct {
	// Bat is the bat over the track: one sight per time, or none.
	Bat swing.BatPath
	// Cracks are the sharp sounds of the clip in time order, corrected for
	// the way to the microphone.
	Cracks []swing.Crack
}
