// Package lift estimates what one picture cannot show: how far shoulders and
// hips are turned about the vertical, how far they are wound against each
// other, and how limbs bend out of the picture.
//
// A small network of our own (scripts/train/lift) looks at the whole track of a
// swing at once, body, feet and bat's ends, on a fixed grid of times around
// plant, and gives for every angle and time five quantiles, so that what the
// view does not tell stays open. It has learnt from invented motions, seen by
// random cameras with the errors that this program's own track has; it never saw
// a picture.
//
// Left-handed hitters are mirrored before. Places are measured from the middle of
// the hips in body lengths, so the picture's size does not matter.
package lift
