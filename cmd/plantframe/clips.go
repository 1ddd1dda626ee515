package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"path/filepath"
	"slices"

	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/ingest"
)

// clipFile is one clip of a run.
type clipFile struct {
	path   string
	size   int64  // bytes; -1 when not known
	sum    string // SHA-256, computed when first asked for
	sameAs string // path of an earlier clip with the same content
	err    error  // why there is nothing to analyse
}

// findClips lists the clips that paths name. A path that does not exist is an
// entry with its error; the others go on. A file that is named twice is
// listed once; a file with the content of an earlier one refers to it.
func findClips(ctx context.Context, paths []string) []*clipFile {
	var clips []*clipFile
	listed := map[string]bool{}
	for _, p := range paths {
		found, err := ingest.Find([]string{p})
		if err != nil {
			clips = append(clips, &clipFile{path: p, size: -1, err: err})
			continue
		}
		for _, f := range found {
			key := f
			if abs, err := filepath.Abs(f); err == nil {
				key = abs
			}
			if real, err := filepath.EvalSymlinks(key); err == nil {
				key = real
			}
			if listed[key] {
				continue
			}
			listed[key] = true
			c := &clipFile{path: f, size: -1}
			if st, err := os.Stat(f); err == nil {
				c.size = st.Size()
			}
			clips = append(clips, c)
		}
	}
	markSame(ctx, clips)
	return clips
}

// markSame finds clips with the same content. Only files of equal size are
// read.
func markSame(ctx context.Context, clips []*clipFile) {
	bySize := map[int64][]*clipFile{}
	for _, c := range clips {
		if c.err == nil && c.size > 0 { // empty files are errors, each its own
			bySize[c.size] = append(bySize[c.size], c)
		}
	}
	for _, group := range bySize {
		if len(group) < 2 {
			continue
		}
		first := map[string]string{}
		for _, c := range group {
			sum, err := c.checksum(ctx)
			if err != nil {
				continue // reading it again will say why
			}
			if earlier, ok := first[sum]; ok {
				c.sameAs = earlier
			} else {
				first[sum] = c.path
			}
		}
	}
}

// checksum returns the SHA-256 of the clip's bytes, hex.
func (c *clipFile) checksum(ctx context.Context) (string, error) {
	if c.sum != "" {
		return c.sum, nil
	}
	f, err := os.Open(c.path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, stoppable{ctx, f}); err != nil {
		return "", err
	}
	c.sum = hex.EncodeToString(h.Sum(nil))
	return c.sum, nil
}

// stoppable is a reader that ends with its context.
type stoppable struct {
	ctx context.Context
	r   io.Reader
}

func (s stoppable) Read(p []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	return s.r.Read(p)
}

// fresh returns the clips that are to be analysed.
func fresh(clips []*clipFile) []*clipFile {
	return slices.DeleteFunc(slices.Clone(clips), func(c *clipFile) bool { return c.err != nil || c.sameAs != "" })
}

// outcome returns the result of a clip that is not analysed.
func (c *clipFile) outcome() ui.Result {
	if c.err != nil {
		return ui.Result{Clip: c.path, Status: ui.StatusFailed, Error: explain(c.err)}
	}
	return ui.Result{Clip: c.path, Status: ui.StatusSame, SameAs: c.sameAs}
}
