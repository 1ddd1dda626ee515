// Package ingest finds clips, describes them and decodes them into upright
// frames with presentation times.
//
// Decoding is done by ffmpeg in a process of its own: raw pictures arrive on
// one pipe, one time per picture on a second, and complaints on a third. A
// broken file can therefore neither crash nor hang this program, the time of
// every frame is the container's own, and nothing of a clip but the frames in
// flight is ever held in memory.
//
// Trust: a clip comes from somebody's phone or from the internet. Only a short
// list of containers is opened and only local files are read, so that a
// playlist dressed up as a video cannot pull in other files; sizes are checked
// before memory is asked for; every wait has a limit; no shell is involved.
package ingest
