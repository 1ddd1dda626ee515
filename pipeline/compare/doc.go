// Package compare puts two analysed swings on one clock and says in what they
// differ.
//
// In: two swings with their events, track and measures. Out: a
// swing.Comparison: which of the two pictures is mirrored, the standing height
// of both in px, the instant at which the clocks are aligned, and a table of
// differences with their uncertainty. Nothing is drawn or decoded here.
//
// A difference counts as one when it is larger than Options.Sigmas times its
// own standard deviation, the root of the sum of both squares. Measures of
// swings that were filmed from different sides are not compared, times are:
// what one camera sees in its plane the other has to guess.
//
// Measures are told by lead and rear, toward the pitcher and toward the plate;
// mirroring a left-handed hitter changes no sign.
package compare
