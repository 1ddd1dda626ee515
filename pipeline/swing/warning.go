package swing

import (
	"errors"
	"fmt"
)

// Warning is partial failure as data: something was missing, repaired or
// doubtful and the analysis went on.
type Warning struct {
	Code   string `json:"code"`             // stable, kebab-case, such as "sides-swapped"
	Text   string `json:"text"`             // one sentence for the coach
	Frames []int  `json:"frames,omitempty"` // [first, last] frame index, or empty for the whole clip
}

// Kind sorts errors for programs.
type Kind string

// Error kinds.
const (
	KindUnreadable Kind = "unreadable" // the file cannot be decoded
	KindTooShort   Kind = "too-short"  // too few frames
	KindTooLarge   Kind = "too-large"  // over a size cap
	KindMissing    Kind = "missing"    // a program, model or file is not there
	KindOutput     Kind = "output"     // results cannot be written
	KindModel      Kind = "model"      // a network file is wrong or does not run
	KindUsage      Kind = "usage"      // a setting is wrong
	KindInternal   Kind = "internal"   // a bug
)

// Error is what an exported function of a stage returns: wrapped once, with
// the operation, the clip and the frame.
type Error struct {
	Op    string // such as "ingest.Open"
	Clip  string // path as given; may be empty
	Frame int    // frame index, or -1
	Kind  Kind
	Msg   string // one plain sentence, lower case, no full stop
	Hint  string // what the user can do; may be empty
	Err   error  // cause; may be nil
}

// Error returns "clip: message: cause".
func (e *Error) Error() string {
	s := e.Msg
	if e.Frame >= 0 {
		s = fmt.Sprintf("frame %d: %s", e.Frame, s)
	}
	if e.Clip != "" {
		s = e.Clip + ": " + s
	}
	if e.Err != nil {
		if s != "" {
			s += ": "
		}
		s += e.Err.Error()
	}
	return s
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// Progress receives how far a stage is. Implementations are safe for use from
// one goroutine at a time.
type Progress interface {
	// Stage begins a stage of a clip with total units of work; 0 = unknown.
	Stage(name string, total int)
	// Add reports n more units done.
	Add(n int)
}

// NoProgress ignores everything.
type NoProgress struct{}

// Stage does nothing.
func (NoProgress) Stage(string, int) {}

// Add does nothing.
func (NoProgress) Add(int) {}

// AsError returns the *Error in err's chain.
func AsError(err error) (*Error, bool) {
	var e *Error
	ok := errors.As(err, &e)
	return e, ok
}
