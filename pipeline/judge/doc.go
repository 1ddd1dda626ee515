// Package judge compares the measures of a swing with target bands and says in
// plain words what is good, what to work on first, and why.
//
// Input: a swing with its measures and events, and Targets: bands per measure,
// event and view with their texts, read elsewhere from files that an instructor
// may change. Output: one swing.Finding per checkpoint of the swing's view,
// those to work on first in front. The stage decodes nothing and draws no
// random numbers: equal input gives equal output.
//
// # Unsure numbers
//
// A value is out only when it lies outside its band by more than its own sigma,
// near when the edge is within sigma on either side, and not judged when sigma
// is larger than half the band: such a number cannot tell inside from outside.
// Severity is the distance to the band in half widths, times z*z/(1+z*z) with z
// the distance in sigmas: half at one sigma, nine tenths at three.
//
// # The launch position
//
// Checkpoints of the launch position hold for a hitter who has not begun to
// swing. Some have when the front foot is fully down; their elbow and barrel
// are then on their way and say nothing about the launch. Such a checkpoint is
// not judged when the swing had surely begun before its event, and is never
// more than near when nobody knows when the swing began.
//
// # Root causes
//
// A finding that another one explains (rules.go) gets no priority. When nothing is
// out, the one that is likely outside, three to one, is named first; it stays near.
//
// Failure: targets without a text or with an impossible band are refused by
// Targets.Validate, which Judge calls; everything else is a finding.
package judge
