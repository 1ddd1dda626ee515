package render

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// encoder is a running ffmpeg that turns raw pictures into an MP4 file.
type encoder struct {
	cmd    *exec.Cmd
	in     io.WriteCloser
	stderr tail
}

// startEncoder begins the file at path, which is overwritten. Pictures are w
// by h; an odd last row or column is dropped, because 4:2:0 video has even
// sides. Cancelling ctx kills the process.
func startEncoder(ctx context.Context, path string, w, h, num, den int, o Options) (*encoder, error) {
	// Colours: phones and browsers take untagged HD for BT.709 and untagged
	// SD for BT.601, so convert with one matrix and say which.
	filter := fmt.Sprintf("crop=%d:%d:0:0:exact=1,scale=out_color_matrix=bt709:out_range=tv,format=yuv420p", w&^1, h&^1)
	rate := fmt.Sprintf("%d/%d", num, den)
	args := []string{
		"-hide_banner", "-nostdin", "-v", "error", "-y",
		"-f", "rawvideo", "-pixel_format", "bgr24", "-video_size", fmt.Sprintf("%dx%d", w, h), "-framerate", rate, "-i", "pipe:0",
		"-map", "0:v:0", "-an", "-vf", filter,
		"-c:v", "libx264", "-preset", o.Preset, "-crf", strconv.Itoa(o.CRF),
		// A key frame a second lets a thumb on the time line find its place.
		"-g", strconv.Itoa((num + den - 1) / den),
		"-color_primaries", "bt709", "-color_trc", "bt709", "-colorspace", "bt709", "-color_range", "tv",
		"-map_metadata", "-1", "-movflags", "+faststart",
	}
	if o.Threads > 0 {
		args = append(args, "-threads", strconv.Itoa(o.Threads))
	}
	args = append(args, "-f", "mp4", "file:"+path)

	e := &encoder{cmd: exec.CommandContext(ctx, o.FFmpeg, args...)}
	e.cmd.Stderr = &e.stderr
	e.cmd.WaitDelay = 2 * time.Second
	ownGroup(e.cmd)
	in, err := e.cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	e.in = in
	if f, ok := in.(syscall.Conn); ok {
		widen(f)
	}
	if err := e.cmd.Start(); err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, noEncoder{err}
	}
	return e, nil
}

// noEncoder is a program that could not be started.
type noEncoder struct{ error }

func (e noEncoder) Unwrap() error { return e.error }

// write hands over one picture.
func (e *encoder) write(pix []byte) error {
	_, err := e.in.Write(pix)
	return err
}

// finish ends the stream and waits for the file to be complete.
func (e *encoder) finish() error {
	err := e.in.Close()
	if werr := e.cmd.Wait(); werr != nil {
		err = werr
	}
	if err == nil && e.stderr.String() == "" {
		return nil
	}
	return e.reason(err)
}

// reason joins what went wrong with what the encoder said; its own words name
// the cause, the broken pipe on this side does not.
func (e *encoder) reason(err error) error {
	said := e.stderr.String()
	switch {
	case said == "" && err == nil:
		return errors.New("the encoder ended early")
	case said == "":
		return err
	case e.stderr.has("No space left on device"):
		return fmt.Errorf("%w: %s", syscall.ENOSPC, said)
	case e.stderr.has("File too large"):
		return fmt.Errorf("%w: %s", syscall.EFBIG, said)
	}
	return errors.New(said)
}

// abort stops the process and waits until it is gone.
func (e *encoder) abort() {
	if e.cmd.Process != nil {
		_ = e.cmd.Process.Kill()
	}
	_ = e.in.Close()
	_ = e.cmd.Wait() // a killed process always reports a failure
}

// tail keeps the end of what is written to it, as one line.
type tail struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

const tailBytes = 2000

func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.buf.Len() > 2*tailBytes {
		t.buf.Next(t.buf.Len() - tailBytes)
	}
	t.buf.Write(p)
	return len(p), nil
}

// has looks in all that is kept: the cause often comes first and its consequences
// fill the end.
func (t *tail) has(words string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return bytes.Contains(t.buf.Bytes(), []byte(words))
}

func (t *tail) String() string {
	t.mu.Lock()
	defer t.mu.Unlock()
	s := strings.Join(strings.Fields(t.buf.String()), " ")
	if len(s) > 300 {
		s = "…" + strings.ToValidUTF8(s[len(s)-300:], "")
	}
	return s
}

// checkMP4 makes sure that the file is whole and starts at once on a phone:
// its boxes (ISO/IEC 14496-12) fill the file and the index precedes the
// pictures. An encoder that runs out of disk while writing the index can end
// without complaint.
func checkMP4(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return err
	}
	var at int64
	index := false
	for at < st.Size() {
		var head [16]byte
		if _, err := f.ReadAt(head[:8], at); err != nil {
			return fmt.Errorf("the video file is cut off: %w", err)
		}
		size := int64(head[0])<<24 | int64(head[1])<<16 | int64(head[2])<<8 | int64(head[3])
		if size == 1 {
			if _, err := f.ReadAt(head[8:], at+8); err != nil {
				return fmt.Errorf("the video file is cut off: %w", err)
			}
			size = 0
			for _, b := range head[8:] {
				size = size<<8 | int64(b)
			}
		}
		switch kind := string(head[4:8]); {
		case size < 8 || at+size > st.Size():
			return errors.New("the video file is cut off")
		case kind == "moov":
			index = true
		case kind == "mdat" && !index:
			return errors.New("the video file has its index at the end")
		}
		at += size
	}
	if !index {
		return errors.New("the video file has no index")
	}
	return nil
}
