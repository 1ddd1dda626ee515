// Package watch finds clips that arrive in a folder and tells when each is
// whole.
//
// It looks at the folder and everything below it every few seconds, and at once
// where the system tells of changes (local disks do, network shares do not). A
// file is whole when its size and its time of change have been the same for a
// while and nobody has it open for writing, as far as the system lets us see: a
// phone that stalls in the middle of a transfer must not give half a clip.
//
// One goroutine looks and calls back; nothing is analysed here. Files are named
// by their path below the folder, with slashes. Links that lead out of the
// folder are refused: whoever may put a file into it must not be able to have
// another file of this machine read.
package watch
