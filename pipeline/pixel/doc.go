// Package pixel cuts and scales pictures held as plain bytes. It fills network
// inputs straight from a frame: a rotated rectangle of the picture, sampled
// bilinearly, normalised and written as float32 in the order the network
// wants, in one pass and without allocation in steady state. Pure Go, no C.
//
// Two coordinate systems meet here. Picture coordinates follow the vocabulary:
// (0,0) is the outer corner of the first pixel, so that pixel's centre is
// (0.5, 0.5). Crop coordinates are the network's input pixels.
package pixel
