package pose

import (
	"fmt"
	"math"
)

// Options steer Scan and Follow.
type Options struct {
	// ShortClip is the length, s, up to which a clip is best followed as a
	// whole without a Scan before. Default 6; 0 scans every clip. Larger =
	// more time in the large network, less in decoding twice.
	ShortClip float64
	// ScanRate is how many times a second a coarse pass looks at each
	// person. Default 13: two looks fall into the 0.15 s in which the hands
	// are fast. Larger = safer and dearer.
	ScanRate float64
	// DetectEvery is the time, s, between searches for people in Scan.
	// Default 0.75. Smaller = people who pass are seen sooner.
	DetectEvery float64
	// OthersEvery is the time, s, between searches for other people in
	// Follow. Default 0.5; 0 never searches. Smaller = passers-by are seen
	// sooner, dearer.
	OthersEvery float64
	// ObjectEvery is the time, s, between looks for a bat in each person's
	// hands. Default 0.5. Smaller = surer choice among swingers, dearer.
	ObjectEvery float64
	// MaxPeople limits how many people a coarse pass follows at once, the
	// largest first. Default 5.
	MaxPeople int
	// MinHeight is the body height, px of the delivered picture, under which
	// people are ignored. Default 40: an arm is then 8 px long.
	MinHeight float64
	// MinHandSpeed is the speed of both hands against the hips, torsos a
	// second between two looks, from which a motion can be a swing. Default
	// 5, about 2.5 m/s: hands that swing a bat reach 8 m/s, hands of
	// walking people stay under 2. Larger = fewer false swings, soft swings
	// are lost.
	MinHandSpeed float64
	// JointCentres moves shoulders, hips and ankles from where a
	// network marks them to the joint centres, by constant shares of body
	// segments (see centres.go). Default true; false keeps the network's own
	// places.
	JointCentres bool
	// Before and After, s, are what a swing window keeps around the fastest
	// hands. Defaults 2.2 and 1.2: stance and stride before, finish after.
	Before, After float64
}

// DefaultOptions returns the defaults described at Options.
func DefaultOptions() Options {
	return Options{
		ShortClip: 6, ScanRate: 13, DetectEvery: 0.75, OthersEvery: 0.5, ObjectEvery: 0.5,
		MaxPeople: 5, MinHeight: 40, MinHandSpeed: 5, JointCentres: true, Before: 2.2, After: 1.2,
	}
}

// Validate reports the first setting that makes no sense.
func (o Options) Validate() error {
	for _, v := range []struct {
		name   string
		v      float64
		lo, hi float64
	}{
		{"short clip", o.ShortClip, 0, 3600},
		{"scan rate", o.ScanRate, 4, 240},
		{"detect every", o.DetectEvery, 0.01, 60},
		{"others every", o.OthersEvery, 0, 60},
		{"object every", o.ObjectEvery, 0.01, 60},
		{"max people", float64(o.MaxPeople), 1, 50},
		{"min height", o.MinHeight, 1, 1e5},
		{"min hand speed", o.MinHandSpeed, 0.1, 100},
		{"before", o.Before, 0.1, 600},
		{"after", o.After, 0.1, 600},
	} {
		if math.IsNaN(v.v) || v.v < v.lo || v.v > v.hi {
			return fmt.Errorf("pose: %s is %g, it must lie in %g..%g", v.name, v.v, v.lo, v.hi)
		}
	}
	return nil
}
