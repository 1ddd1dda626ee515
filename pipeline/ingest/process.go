package ingest

import (
	"bufio"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"sync"
	"time"

	"plantframe/pipeline/swing"
)

// Containers that may be opened, and the only ways to reach bytes. Playlists
// and scripts are not among them: they name other files.
const (
	formats   = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi"
	protocols = "file,pipe"
)

// input returns the arguments that name a file. The protocol prefix keeps a
// name with a colon or a leading dash from being taken for something else.
func input(path string) []string {
	return []string{"-format_whitelist", formats, "-protocol_whitelist", protocols, "-i", "file:" + path}
}

// graceAfterKill is how long the pipes of a killed program are waited for.
const graceAfterKill = 2 * time.Second

// command prepares a program in a process group of its own, so that Ctrl-C on
// the terminal reaches this program alone and killing reaches every child.
func command(ctx context.Context, bin string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, bin, args...)
	ownGroup(cmd)
	cmd.Cancel = func() error { return killGroup(cmd) }
	cmd.WaitDelay = graceAfterKill
	return cmd
}

// missingProgram turns the error of a program that could not be started into
// one a user can act on.
func missingProgram(op, clip, bin string, err error) *swing.Error {
	if errors.Is(err, exec.ErrNotFound) || errors.Is(err, os.ErrNotExist) {
		return fail(op, clip, swing.KindMissing, "the program "+bin+" is not installed",
			"install ffmpeg, on Debian: apt-get install ffmpeg", nil)
	}
	return fail(op, clip, swing.KindMissing, "the program "+bin+" does not start",
		"reinstall ffmpeg, on Debian: apt-get install --reinstall ffmpeg", err)
}

// address is the memory address in ffmpeg's "[h264 @ 0x55d0c8a3c0]": noise
// that would make two reports of one file differ.
var address = regexp.MustCompile(` @ 0x[0-9a-f]+`)

// complaints counts the lines a program writes to its error output and keeps
// the first few. Safe for one writer and later readers.
type complaints struct {
	mu    sync.Mutex
	count int
	first []string
}

const (
	keptComplaints   = 8
	complaintLength  = 300 // bytes of a line that are kept
	complaintScratch = 4096
)

// read takes lines from r until it ends. Memory is bounded whatever arrives.
func (c *complaints) read(r io.Reader) {
	br := bufio.NewReaderSize(r, complaintScratch)
	for {
		line, err := br.ReadSlice('\n')
		text := strings.ToValidUTF8(strings.TrimSpace(string(line)), "?")
		for errors.Is(err, bufio.ErrBufferFull) {
			_, err = br.ReadSlice('\n')
		}
		if text != "" {
			c.add(text)
		}
		if err != nil {
			return
		}
	}
}

func (c *complaints) add(text string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.count++
	text = address.ReplaceAllString(text, "")
	if len(c.first) < keptComplaints {
		if len(text) > complaintLength {
			text = strings.ToValidUTF8(text[:complaintLength], "") + "..."
		}
		c.first = append(c.first, text)
	}
}

// lines returns the number of lines and the first few.
func (c *complaints) lines() (int, []string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.count, append([]string(nil), c.first...)
}
