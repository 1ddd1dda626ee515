package queue

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"regexp"

	"golang.org/x/sys/unix"

	"plantframe/pipeline/swing"
)

// ErrBusy says that a process with the same worker name is alive.
var ErrBusy = errors.New("a worker of that name is running already")

// Lock holds a name for this process, so that a second one of it is refused
// (ErrBusy).
func Lock(dir, name string) (unlock func(), err error) { return lockName(dir, name) }

// lockName holds the name of a worker for this process. The lock is the
// kernel's: it ends with the process, however it ends.
func lockName(dir, name string) (unlock func(), err error) {
	if !workerName.MatchString(name) {
		return nil, &swing.Error{
			Op: "queue.Work", Frame: -1, Kind: swing.KindUsage, Msg: "the name of the worker " + name + " cannot be used",
			Hint: "take up to 100 letters, digits, dots and dashes",
		}
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(filepath.Join(dir, name+".lock"), os.O_CREATE|os.O_RDWR|unix.O_CLOEXEC, 0o600)
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, ErrBusy
		}
		return nil, err
	}
	return func() { _ = f.Close() }, nil // the file stays: removing it would race with a successor
}

var workerName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$`)

// WorkerName returns a name for the worker of a purpose on this machine, the
// same at every start. Machines are told apart by their host name and the
// identity that the system gave them when it was installed.
func WorkerName(purpose string) string {
	host, _ := os.Hostname()
	id, _ := os.ReadFile("/etc/machine-id")
	sum := sha256.Sum256([]byte(host + "\n" + string(id) + "\n" + purpose))
	plain := regexp.MustCompile(`[^A-Za-z0-9.-]+`).ReplaceAllString(host, "-")
	if len(plain) > 40 {
		plain = plain[:40]
	}
	return "w-" + plain + "-" + hex.EncodeToString(sum[:5])
}
