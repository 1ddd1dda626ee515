// Package signal is the arithmetic of sampled motion: low-pass filters without
// lag, interpolation and derivatives on true sample times, gap filling and
// robust statistics. It knows nothing of bodies or swings.
//
// Times are seconds and strictly increasing but not necessarily evenly spaced:
// phones record at a variable rate, so nothing here takes a frame rate from the
// outside. Values have any unit; results have the same.
//
// All functions leave their arguments unchanged. A slice of times and a slice
// of values that belong together must have the same length; handing in slices
// of different lengths is a programming error and panics like an index out of
// range.
package signal
