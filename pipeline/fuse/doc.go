// Package fuse puts two views of one swing together: one clip filmed from the
// open side, one from behind, by two phones that know nothing of each other.
//
// Input: two swings with their tracks, events, bats and lifted turns. Output:
// whether both clips show the same swing, the offset between their clocks to a
// fraction of a frame, and the body in space around the swing with the turns,
// bends and distances that one picture cannot show.
//
// # Same swing
//
// A camera that stands about level sees heights as they are, wherever it stands
// (the epipolar lines of two level cameras are about level). So the heights of
// feet, knees, hands and head over time are the same curves in both clips, up to
// scale. That is what tells two clips of one swing from two similar swings, and
// what finds the offset of the clocks; the events only say where to look.
//
// # In space
//
// Coordinates: X to the pitcher, Y to the plate, Z up, statures; left-handed
// hitters are mirrored, so that the lead side is the left one. A bundle
// adjustment (Triggs et al. 2000, Bundle adjustment: a modern synthesis) finds
// both cameras (heading, tilt, roll, lens, distance), the offset of the clocks,
// the lengths of the body's parts and the joints at some fifty instants, from
// both tracks. The parts of the body keep their lengths; shoulder and hip lines
// also follow the lifted turns of both views, which know how networks err; along the
// line of sight they stand in for what the track shows across the picture, so that
// nothing counts twice.
//
// What the pictures cannot tell is where the pitcher is: cameras are placed by
// eye and feet stand along the line about. The errors of both cameras and the
// feet are independent, so two views know it better than one.
//
// # Uncertainty
//
// The adjustment is repeated with disturbed points, lifted turns, clocks and
// cameras (randomise, then optimise). As in package measure a network's error is
// half a habit that stays and half one that wanders with the posture.
//
// Failure: clips of different swings, or cameras that look the same way, give no
// fusion and one sentence why.
package fuse
