package render

import (
	"syscall"

	"golang.org/x/sys/unix"
)

// widen asks for a pipe of 1 MiB, the most an ordinary user gets: a picture
// then crosses in few large pieces. Failure only costs speed.
func widen(f syscall.Conn) {
	rc, err := f.SyscallConn()
	if err != nil {
		return
	}
	_ = rc.Control(func(fd uintptr) { _, _ = unix.FcntlInt(fd, unix.F_SETPIPE_SZ, 1<<20) })
}
