//go:build unix

package render

import (
	"os/exec"
	"syscall"
)

// ownGroup keeps Ctrl-C in a terminal from reaching the encoder directly: it
// is stopped in order, by the context.
func ownGroup(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }
