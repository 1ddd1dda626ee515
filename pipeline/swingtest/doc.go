// Package swingtest builds known motions of hitters and of people who do not
// swing, films them with a pinhole camera and hands out what a pose network
// would, with noise, so that tests of several stages can ask for results that
// are known by construction. It also holds the helper for golden files.
//
// Only tests import it. Lengths are metres, x toward the pitcher, z up, times
// seconds; a right-handed hitter stands at the origin facing -y (the plate).
// The motions are invented; nothing in them is measured.
package swingtest
