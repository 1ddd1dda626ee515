// Package report writes the page that is handed out: one HTML file with
// everything in it, for a phone, a desk and a sheet of paper. It needs no
// network and no script. What to work on first stands on top, beside the
// picture of the plant; below it the checkpoints as bands with the value and
// its whisker, the instants, the hands' way, and how it was measured.
//
// Colours are never alone: every state has a word and a shape, so that the page
// can be read printed in grey and by colour-blind people.
package report
