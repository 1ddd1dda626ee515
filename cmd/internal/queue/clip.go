package queue

import (
	"encoding/json"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

// Clip is the order for one job: everything that a worker has to know, on
// whatever machine it runs.
type Clip struct {
	// SHA256 of the clip's bytes and Key, a hash of settings and networks,
	// name the job: the same twice is one job.
	SHA256 string `json:"sha256" river:"unique"`
	Key    string `json:"key" river:"unique"`

	Path    string `json:"path"`              // of the clip, absolute
	Frames  int    `json:"frames,omitempty"`  // announced by the container; 0 = unknown
	Out     string `json:"out"`               // folder for results, absolute
	Folder  string `json:"folder"`            // the clip's own, below Out
	Hitter  string `json:"hitter,omitempty"`  // "" = not told
	Session string `json:"session,omitempty"` // day of the practice, YYYY-MM-DD; "" = not told
	Source  string `json:"source,omitempty"`  // who added it, such as "watch"
	Keep    string `json:"keep,omitempty"`    // folder that takes the results that are replaced, absolute; "" = they go

	// Settings are those that the analysis is made with, opaque here.
	Settings json.RawMessage `json:"settings,omitempty"`
}

// Kind is River's name for these jobs. It must not change: rows hold it.
func (Clip) Kind() string { return "clip" }

// Priority of a job: a smaller number goes first.
type Priority int

// The priorities there are.
const (
	Urgent     Priority = 1 // somebody waits for this clip
	Usual      Priority = 2 // a folder of clips
	Background Priority = 3 // analysed before, to be done again
)

// insert returns how a clip is put into the queue. The states with which
// another job is the same cover all there are: what was done is not done again,
// and what was given up or cancelled only when somebody says so (Retry).
func (o Options) insert(p Priority) *river.InsertOpts {
	return &river.InsertOpts{
		MaxAttempts: o.Attempts,
		Priority:    int(p),
		UniqueOpts:  river.UniqueOpts{ByArgs: true, ByState: rivertype.JobStates()},
	}
}

// State of a job.
type State string

// States of a job.
const (
	Waiting   State = "waiting"
	Running   State = "running"
	Again     State = "again"     // failed, will be tried again
	Done      State = "done"      // results are there
	GivenUp   State = "given-up"  // failed for good; Errors say why
	Cancelled State = "cancelled" // by somebody
)

// Job is one job as it stands.
type Job struct {
	ID           int64
	Clip         Clip
	State        State
	Priority     Priority
	Attempt      int // of Attempts; 0 = not begun
	Attempts     int
	Errors       []Failure // one per failed attempt, oldest first
	Progress     Progress
	Worker       string    // who has or had it last
	Added        time.Time // UTC, as are the others
	Due          time.Time // when it may begin
	Began, Ended time.Time // zero = not yet
}

// Failure is the reason why an attempt failed.
type Failure struct {
	Attempt int
	Time    time.Time
	Text    string // one sentence, with its hint
}

// Reason is the last failure's text, "" when there is none.
func (j Job) Reason() string {
	if len(j.Errors) == 0 {
		return ""
	}
	return j.Errors[len(j.Errors)-1].Text
}

// Over tells whether nothing more will happen to the job by itself.
func (j Job) Over() bool { return j.State == Done || j.State == GivenUp || j.State == Cancelled }

// Progress is how far a running job is. Done, it holds the note of its worker.
type Progress struct {
	Stage string  `json:"stage,omitempty"` // such as "pose"
	At    int     `json:"at,omitempty"`    // units of the stage done, frames as a rule
	Of    int     `json:"of,omitempty"`    // 0 = unknown
	Part  float64 `json:"part,omitempty"`  // of the whole clip, 0 to 1
	Note  string  `json:"note,omitempty"`  // for people
}

// jobOf reads a row.
func jobOf(r *rivertype.JobRow) Job {
	j := Job{
		ID: r.ID, Priority: Priority(r.Priority), Attempt: r.Attempt, Attempts: r.MaxAttempts,
		Added: r.CreatedAt.UTC(), Due: r.ScheduledAt.UTC(),
	}
	_ = json.Unmarshal(r.EncodedArgs, &j.Clip) // an unreadable row is listed all the same
	if out := r.Output(); len(out) > 0 {
		_ = json.Unmarshal(out, &j.Progress)
	}
	if n := len(r.AttemptedBy); n > 0 {
		j.Worker = r.AttemptedBy[n-1]
	}
	if r.AttemptedAt != nil {
		j.Began = r.AttemptedAt.UTC()
	}
	if r.FinalizedAt != nil {
		j.Ended = r.FinalizedAt.UTC()
	}
	for _, e := range r.Errors {
		j.Errors = append(j.Errors, Failure{Attempt: e.Attempt, Time: e.At.UTC(), Text: e.Error})
	}
	switch r.State {
	case rivertype.JobStateRunning:
		j.State = Running
	case rivertype.JobStateRetryable:
		j.State = Again
	case rivertype.JobStateCompleted:
		j.State = Done
	case rivertype.JobStateDiscarded:
		j.State = GivenUp
	case rivertype.JobStateCancelled:
		j.State = Cancelled
	default:
		j.State = Waiting
		// An attempt that failed and waits for its next one is shortly
		// "available" before it runs.
	}
	return j
}

// rowStates are River's states behind one of ours.
func rowStates(s State) []rivertype.JobState {
	switch s {
	case Running:
		return []rivertype.JobState{rivertype.JobStateRunning}
	case Again:
		return []rivertype.JobState{rivertype.JobStateRetryable}
	case Done:
		return []rivertype.JobState{rivertype.JobStateCompleted}
	case GivenUp:
		return []rivertype.JobState{rivertype.JobStateDiscarded}
	case Cancelled:
		return []rivertype.JobState{rivertype.JobStateCancelled}
	}
	return []rivertype.JobState{rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateScheduled}
}
