package queue

import (
	"fmt"
	"log/slog"
	"time"

	"plantframe/pipeline/swing"
)

// Options say where the queue lies and how patient it is.
type Options struct {
	// Database is the path of a SQLite file, which is created, or the address
	// of a PostgreSQL database (postgres://...).
	Database string
	// Attempts is how often a clip is tried before it is given up. Default 3:
	// two are not enough for a disk that was full for a minute, and a clip that
	// kills the process three times will do so again.
	Attempts int
	// RetryAfter is the pause before the second attempt; each further one is
	// four times as long. Default 15 s.
	RetryAfter time.Duration
	// LimitBase and LimitFrame limit the time of one attempt: the base, and so
	// much more for each frame of the clip. Default 5 min and 1 s: ten times
	// what a slow machine takes, so that only what hangs is stopped.
	LimitBase, LimitFrame time.Duration
	// Keep is how long jobs that are done or cancelled are listed. Default 90
	// days. What was given up stays until somebody deals with it.
	Keep time.Duration
	// Log receives what an operator wants to know; nil discards.
	Log *slog.Logger
}

// DefaultOptions returns the defaults described at Options, without a database.
func DefaultOptions() Options {
	return Options{
		Attempts: 3, RetryAfter: 15 * time.Second,
		LimitBase: 5 * time.Minute, LimitFrame: time.Second,
		Keep: 90 * 24 * time.Hour,
	}
}

func (o Options) validate() error {
	wrong := ""
	switch {
	case o.Database == "":
		wrong = "no database is named"
	case o.Attempts < 1 || o.Attempts > 100:
		wrong = fmt.Sprintf("the number of attempts is %d, it must be between 1 and 100", o.Attempts)
	case o.RetryAfter < 0 || o.LimitBase <= 0 || o.LimitFrame < 0 || o.Keep <= 0:
		wrong = "times of the queue must be positive"
	}
	if wrong == "" {
		return nil
	}
	return &swing.Error{Op: "queue.Open", Frame: -1, Kind: swing.KindUsage, Msg: wrong, Hint: "see the settings below queue in configs/default.yaml"}
}

// limit is the time that one attempt at a clip may take.
func (o Options) limit(c Clip) time.Duration {
	return o.LimitBase + time.Duration(max(0, c.Frames))*o.LimitFrame
}

// backOff is the pause after a failed attempt, counted from 1.
func (o Options) backOff(attempt int) time.Duration {
	d := o.RetryAfter
	for range min(max(0, attempt-1), 8) {
		d *= 4
	}
	return min(d, time.Hour)
}
