// Package render draws what was found into pictures: one overlay video a clip
// and one still per event of each swing.
//
// Input is the clip's frames a second time (blue, green, red bytes, at any
// delivered size) and the finished analysis, whose coordinates are pixels of
// the full-size upright picture. Output is overlay.mp4 (H.264, plays on a
// phone) and stills/<swing>-<event>.png.
//
// DrawPair makes a second video, side-by-side.mp4, and a sheet of stills from two
// swings that package compare has put on one clock: a plan says which frame of
// each clip every picture shows, and the clips are decoded once per pass.
//
// The stage draws only what is in the analysis: a point without a place
// leaves its lines out, a measure that could not be taken is not printed, a
// weak one says "weak". All drawing is plain arithmetic on bytes, without a C
// library: sub-pixel places keep slow motion from trembling, and text needs
// signs ("±", "°") that the C library's stroke fonts lack. Encoding is left to
// an ffmpeg process.
//
// A failure or a cancelled context leaves the folder as it was: everything is
// written under temporary names and renamed at the end.
package render
