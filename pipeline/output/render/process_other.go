//go:build !unix

package render

import "os/exec"

// ownGroup does nothing: process groups are a Unix thing.
func ownGroup(*exec.Cmd) {}
