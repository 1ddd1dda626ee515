// Package track turns the networks' poses of one hitter into a clean track:
// left/right exchanges undone, wild points dropped, short gaps bridged, noise
// smoothed away without lag. Every repair leaves a warning that names the
// frames.
//
// All of it happens in the steady picture (the first frame's, into which the
// still background maps every other frame), where a standing foot stands still
// although the camera pans or shakes; results are mapped back.
package track
