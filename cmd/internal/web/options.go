package web

import (
	"context"
	"io"
	"log/slog"
	"net"
	"strings"
	"time"

	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// Options say where the page is served and how much it takes.
type Options struct {
	// Listen is the address with its port. Default 127.0.0.1:8765.
	Listen string
	// Folder holds uploaded clips, absolute: clips/ and, below it, unfinished
	// uploads; results/ and comparisons/.
	Folder string
	// Passwords is the password file; it need not be there.
	Passwords string
	// Cert and Key are PEM files for HTTPS; "" = plain HTTP.
	Cert, Key string
	// MaxClip is the size of the largest clip, bytes. Default 2 GB.
	MaxClip int64
	// MaxUploads is how many uploads may be unfinished. Default 300.
	MaxUploads int
	// MinFree is the room on the disk that uploads leave, bytes. Default 1 GB.
	MinFree int64
	// KeepUploads is how long an upload that does not go on is kept. Default 7 days.
	KeepUploads time.Duration
	// Session is how long a login lives. Default 12 h.
	Session time.Duration
	// LinkDays is how long a link lives unless told otherwise. Default 14.
	LinkDays int
	// Connections is how many may be open at a time. Of more, those that wait longest
	// without a request are closed. Default 512: some hundred browsers.
	Connections int
	// Streams is how many pages may be told of progress at a time. Default 100; the
	// others have to reload.
	Streams int
	// Slow is how long a client may take for the head of a request, and stand still
	// in the middle of a transfer. Default 15 s.
	Slow time.Duration
	// Look is the pause between two looks at the jobs while somebody looks on.
	// Default 1 s.
	Look time.Duration
}

// DefaultOptions returns the defaults described at Options, without a folder.
func DefaultOptions() Options {
	return Options{
		Listen: "127.0.0.1:8765", MaxClip: 2048 << 20, MaxUploads: 300, MinFree: 1 << 30,
		KeepUploads: 7 * 24 * time.Hour, Session: 12 * time.Hour, LinkDays: 14,
		Connections: 512, Streams: 100, Slow: 15 * time.Second, Look: time.Second,
	}
}

// Loopback tells whether only this machine reaches an address.
func Loopback(listen string) bool {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return strings.EqualFold(host, "localhost") || ip != nil && ip.IsLoopback()
}

// Side is one side of a comparison.
type Side struct {
	Folder string // of the stored analysis
	Clip   string // path; "" = not there any more
}

// Deps is what the page is built on. All are needed except Log.
type Deps struct {
	Records *store.Records
	Queue   *queue.Queue
	// Probe looks into a file; the error is a sentence for people (Say).
	Probe func(ctx context.Context, path string) (swing.Clip, error)
	// Order makes the order for a clip of a hitter. c.Path is where it lies for good.
	Order func(ctx context.Context, c swing.Clip, h store.Hitter) (queue.Clip, error)
	// Compare writes the comparison of two swings into the folder dir, which appears
	// whole.
	Compare func(ctx context.Context, a, b Side, dir string) error
	// Progress writes the page of a hitter over time.
	Progress func(ctx context.Context, w io.Writer, h store.Hitter) error
	// Roster writes the page of all hitters; link gives the address of one.
	Roster func(ctx context.Context, w io.Writer, link func(id string) string) error
	// Forget removes what a clip that is deleted left outside of records, queue and
	// folders, such as stored results of stages; nil = nothing. It is called while
	// the folders of the clip's results are still there.
	Forget func(ctx context.Context, folders []string) error
	// Height reads a body height as people write it, m.
	Height func(text string) (float64, error)
	// Say puts an error into words.
	Say func(err error) string
	// Free is the room on the disk of a folder, bytes.
	Free func(dir string) (int64, error)
	// Added is called after jobs were added.
	Added func()
	// Extensions of clips, with the dot, in small letters.
	Extensions []string
	// Levels and Sports that a hitter may have.
	Levels, Sports []string
	// Log receives what an operator wants to know, without names of people; nil
	// discards.
	Log *slog.Logger
	// Now is the clock; nil = time.Now.
	Now func() time.Time
}
