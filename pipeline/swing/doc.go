// Package swing is the vocabulary of plantframe: the nouns that two or more
// stages share. It imports only the standard library and holds no algorithm.
//
// Frames of reference and units, unless a comment says otherwise:
//
//   - picture coordinates are pixels of the upright picture, x to the right,
//     y down, (0,0) the outer corner of the top-left pixel, so the centre of
//     that pixel is (0.5, 0.5);
//   - times are seconds of presentation time, measured from the clip's own
//     zero; they are read from the container, never computed from an index;
//   - scores are 0 (nothing known) to 1 (certain);
//   - angles are degrees, flexion 0 = straight;
//   - lengths in results are fractions of stature, in metres too when the
//     hitter's height was given;
//   - lead is the side nearer the pitcher, rear the side nearer the catcher.
package swing
