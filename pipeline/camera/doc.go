// Package camera follows the motion of a hand-held or panned camera by the
// still background, so that positions of different frames can be compared.
//
// Method. A key picture's corners outside the people are followed into every
// later picture by pyramidal Lucas-Kanade optical flow, each time from the key
// picture itself, so that errors do not add up from frame to frame. The view
// of a frame (pan, tilt, roll, zoom against the first frame) is fitted to them
// robustly; a view turns the picture by a homography, not by a similarity, so
// the fit is good to the edges however few corners lie near the hitter. What
// leaves the package is the similarity that comes nearest to that homography
// over the hitter's body.
//
// Sources: B. D. Lucas and T. Kanade 1981 and J.-Y. Bouguet 2000 (pyramidal
// flow), J. Shi and C. Tomasi 1994 (corners), H. C. Longuet-Higgins and
// K. Prazdny 1980 (image motion of a turning camera), P. H. S. Torr and
// A. Zisserman 2000 (scoring of random hypotheses), J. W. Tukey's biweight.
//
// Limits. The camera is taken to turn and zoom about one place. A camera that
// walks shifts near things against far ones; the result is then a compromise.
package camera
