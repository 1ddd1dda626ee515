package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Disk keeps entries as files below one folder. Several processes may share
// the folder.
type Disk struct{ dir string }

// suffix marks the files of the store; anything else in the folder is left
// alone.
const suffix = ".art"

// digest is the length of the checksum in front of the bytes of a file. A
// file that was cut by a full disk or a power failure does not match it.
const digest = sha256.Size

// OpenDisk returns the store below dir and creates the folder, private to the
// user: clips may show minors.
func OpenDisk(dir string) (*Disk, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	return &Disk{dir: dir}, nil
}

// path returns the file of a key. The first two digits name a folder, so that
// no folder holds all files.
func (d *Disk) path(key string) string {
	h := sha256.Sum256([]byte(key))
	name := hex.EncodeToString(h[:])
	return filepath.Join(d.dir, name[:2], name+suffix)
}

// Get returns the bytes stored under key; false when there are none. A
// damaged file is removed and counts as none.
func (d *Disk) Get(key string) ([]byte, bool, error) {
	path := d.path(key)
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, false, nil
	}
	if err != nil {
		return nil, false, err
	}
	if len(b) >= digest {
		if h := sha256.Sum256(b[digest:]); bytes.Equal(h[:], b[:digest]) {
			// The time of last use decides what Prune removes first. It does
			// not matter when it cannot be written.
			now := time.Now()
			_ = os.Chtimes(path, now, now)
			return b[digest:], true, nil
		}
	}
	return nil, false, os.Remove(path)
}

// Put stores data under key: written to a temporary name in the same folder,
// synced and renamed, so that a reader sees all of it or the old bytes.
func (d *Disk) Put(key string, data []byte) (err error) {
	path := d.path(key)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".put-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	h := sha256.Sum256(data)
	if _, err := f.Write(h[:]); err != nil {
		return err
	}
	if _, err := f.Write(data); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
