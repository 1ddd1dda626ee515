package models

import (
	"archive/tar"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"strings"
)

// maxFile bounds one unpacked file, so that a wrong package cannot fill memory or disk. The largest wanted is 46 MB.
const maxFile = 256 << 20

// unpack calls each for every wanted file of an npm tarball (paths inside the package, without the leading folder) with
// its contents. A tarball that is cut, or lacks a wanted file, is an error.
func unpack(tarball string, wanted map[string]bool, each func(file string, r io.Reader) error) error {
	f, err := os.Open(tarball)
	if err != nil {
		return err
	}
	defer f.Close()
	broken := func(err error) error {
		return &Error{
			Msg:  "the package " + path.Base(tarball) + " arrived cut off or damaged",
			Hint: "run again; if it happens again: npm cache verify", Err: err,
		}
	}
	z, err := gzip.NewReader(f)
	if err != nil {
		return broken(err)
	}
	t := tar.NewReader(z)
	left := len(wanted)
	for left > 0 {
		h, err := t.Next()
		if errors.Is(err, io.EOF) {
			for name := range wanted {
				err = fmt.Errorf("%d wanted files, such as %s, are not in it", left, name)
			}
			return broken(err)
		}
		if err != nil {
			return broken(err)
		}
		// The first folder is called "package" by convention only.
		_, name, _ := strings.Cut(path.Clean(h.Name), "/")
		if h.Typeflag != tar.TypeReg || !wanted[name] {
			continue
		}
		if h.Size > maxFile {
			return broken(fmt.Errorf("%s is %d MB large", name, h.Size>>20))
		}
		r := &reader{r: t}
		if err := each(name, r); err != nil {
			if r.err != nil {
				return broken(r.err)
			}
			return err
		}
		left--
	}
	return nil
}

// reader remembers a failed read, which tells a damaged tarball from a failure of the consumer.
type reader struct {
	r   io.Reader
	err error
}

func (r *reader) Read(p []byte) (int, error) {
	n, err := r.r.Read(p)
	if err != nil && !errors.Is(err, io.EOF) {
		r.err = err
	}
	return n, err
}
