// Package ui shows a run of several clips to the person who started it.
//
// On a terminal a Screen draws one bar with the clip, the stage, frames per
// second and the time left, and keeps log lines above it. Elsewhere (a pipe, a
// log file, a service) it writes a log line every few per cent instead. Result
// writes one JSON object per finished clip for programs, and Table lays out
// columns by display width.
//
// Nothing here reads a video or decides anything; it imports the vocabulary
// alone.
package ui
