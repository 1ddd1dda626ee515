package watch

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// writing tells whether somebody has a file open for writing, as far as the
// system lets us see. The kernel grants a read lease only on a file that nobody
// writes; it does so to the owner. For files of others the open files of all
// processes are looked through, of which only root sees all.
func writing(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false // reading it will say why
	}
	defer f.Close()
	_, err = unix.FcntlInt(f.Fd(), unix.F_SETLEASE, unix.F_RDLCK)
	switch err {
	case nil:
		_, _ = unix.FcntlInt(f.Fd(), unix.F_SETLEASE, unix.F_UNLCK)
		return false
	case unix.EAGAIN:
		return true
	}
	return listed(path)
}

// listed looks for a file among the open files of all processes.
func listed(path string) bool {
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return false
	}
	links, _ := filepath.Glob("/proc/[0-9]*/fd/*")
	for _, l := range links {
		if to, err := os.Readlink(l); err != nil || to != real {
			continue
		}
		info, err := os.ReadFile(strings.Replace(l, "/fd/", "/fdinfo/", 1))
		if err != nil {
			continue
		}
		_, flags, ok := strings.Cut(string(info), "flags:")
		if !ok {
			continue
		}
		n, err := strconv.ParseUint(strings.Fields(flags)[0], 8, 64)
		if err == nil && n&(unix.O_WRONLY|unix.O_RDWR) != 0 {
			return true
		}
	}
	return false
}

// network tells whether a folder lies on a file system of another machine, or
// on one made by a program: neither tells of changes reliably.
func network(dir string) bool {
	var st unix.Statfs_t
	if unix.Statfs(dir, &st) != nil {
		return false
	}
	switch uint32(st.Type) {
	case unix.NFS_SUPER_MAGIC, unix.SMB_SUPER_MAGIC, unix.CIFS_SUPER_MAGIC, unix.SMB2_SUPER_MAGIC,
		unix.FUSE_SUPER_MAGIC, unix.V9FS_MAGIC, unix.AFS_SUPER_MAGIC, unix.CODA_SUPER_MAGIC:
		return true
	}
	return false
}
