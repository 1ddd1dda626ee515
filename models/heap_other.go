//go:build !linux

package models

// tidyHeap does nothing: only the C library of Linux needs it.
func tidyHeap() {}
