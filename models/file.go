package models

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// tempPrefix marks unfinished files and folders in the cache; whoever holds the lock may remove them.
const tempPrefix = ".unfinished-"

// writeFile puts the bytes of r at path so that the file is there whole or not at all, also after a power cut.
func writeFile(path string, r io.Reader) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), tempPrefix)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, f.Close(), os.Remove(f.Name()))
		}
	}()
	if _, err = io.Copy(f, r); err != nil {
		return err
	}
	if err = f.Chmod(0o644); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return err
	}
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return nil // the file is in place; only its folder entry is not forced to disk
	}
	_ = d.Sync()
	return d.Close()
}

// sumFile returns the SHA-256 of a file, hex.
func sumFile(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func sum(b []byte) string {
	s := sha256.Sum256(b)
	return hex.EncodeToString(s[:])
}

// lock waits until no other process or goroutine holds the lock file. The kernel drops the lock when its holder dies,
// so a killed installation blocks nobody. waiting is called once when somebody else holds it.
func lock(ctx context.Context, path string, waiting func()) (unlock func(), err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, err
	}
	for first := true; ; first = false {
		err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if err == nil {
			return func() { _ = f.Close() }, nil
		}
		if !errors.Is(err, syscall.EWOULDBLOCK) && !errors.Is(err, syscall.EINTR) {
			return nil, errors.Join(err, f.Close())
		}
		if first {
			waiting()
		}
		select {
		case <-ctx.Done():
			return nil, errors.Join(context.Cause(ctx), f.Close())
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// sweep removes what killed installations left behind. Call it with the lock held.
func sweep(dir string) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return
	}
	for _, e := range entries {
		if len(e.Name()) > len(tempPrefix) && e.Name()[:len(tempPrefix)] == tempPrefix {
			_ = os.RemoveAll(filepath.Join(dir, e.Name()))
		}
	}
}

func missing(err error) bool { return errors.Is(err, fs.ErrNotExist) }
