package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
)

// crashLog passes the lines of a worker on until it crashes: what the language's
// runtime and libraries say then is for developers and goes into a file.
type crashLog struct {
	to   io.Writer
	path string

	mu   sync.Mutex
	line []byte // begun
	file *os.File
	size int
}

// crashLimit bounds the file, bytes: every goroutine is in it.
const crashLimit = 1 << 20

// crashStarts begin what is said of a crash.
func crashStarts() []string {
	return []string{"SIG", "fatal error:", "panic:", "runtime:", "unexpected fault", "terminate called", "Assertion", "double free", "free():", "malloc", "corrupted", "[signal ", "goroutine "}
}

// newCrashLog returns a writer that passes lines on to w. The file lies with the
// locks of the workers; a later crash of the same worker replaces it.
func newCrashLog(w io.Writer, worker string) *crashLog {
	dir, err := workerFolder()
	if err != nil {
		return &crashLog{to: w}
	}
	return &crashLog{to: w, path: filepath.Join(dir, worker+".crash.txt")}
}

// Write takes what the worker writes.
func (c *crashLog) Write(p []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for rest := p; len(rest) > 0; {
		i := bytes.IndexByte(rest, '\n')
		if i < 0 {
			c.line = append(c.line, rest...)
			break
		}
		c.take(append(c.line, rest[:i+1]...))
		c.line, rest = nil, rest[i+1:]
	}
	return len(p), nil
}

// take sorts one line.
func (c *crashLog) take(line []byte) {
	if c.file == nil && c.size == 0 {
		crash := false
		for _, s := range crashStarts() {
			crash = crash || strings.HasPrefix(string(line), s)
		}
		if !crash {
			_, _ = c.to.Write(line)
			return
		}
		c.size = 1
		if c.path != "" {
			c.file, _ = os.OpenFile(c.path, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
		}
	}
	if c.file != nil && c.size < crashLimit {
		c.size += len(line)
		_, _ = c.file.Write(line)
	}
}

// end returns the file of a crash, "" when there was none.
func (c *crashLog) end() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.line) > 0 {
		c.take(append(c.line, '\n'))
		c.line = nil
	}
	if c.file == nil {
		return ""
	}
	_ = c.file.Close()
	c.file = nil
	return c.path
}
