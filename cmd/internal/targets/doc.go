// Package targets reads the files that swings are judged by: target bands, their
// texts and the drills, from the program itself or from the user's own files. It
// also learns bands from good swings and writes them.
//
// A file that is wrong is refused whole, as a *swing.Error of KindUsage whose
// Clip is "file:line" and whose Hint says what to do: unknown keys, measures,
// events, units and drills, lo that is not below hi, a missing unit or text.
package targets
