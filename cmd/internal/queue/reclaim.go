package queue

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/rivertype"
)

// interruptions is how often a job may be cut off by an end of the process that
// nobody can tell from a power cut or a kill before that counts as its fault: a
// clip that eats all memory gets the process killed too.
const interruptions = 10

// interrupted is what we keep with a job, in River's metadata.
const interrupted = "plantframe_interrupted"

// reclaim puts back what a dead process of the same name left running. River
// itself would find it only after the time limit of the job. The caller holds
// the lock of the name, so nobody works on these rows.
//
// When the process was ended from outside (a kill, a power cut, an update) the
// attempt does not count. When it crashed, it does, for all clips that ran: one
// of them did it, and which one shows when the others are done at their next
// attempt. A clip that crashes the program each time is given up like any other.
//
// The rows are changed through River's own driver, with the calls that it uses
// itself when it is stopped and when a job fails.
func (q *Queue) reclaim(ctx context.Context, name, crashed string, tell func(Job)) error {
	running, err := q.client.JobList(ctx, river.NewJobListParams().Kinds(Clip{}.Kind()).
		States(rivertype.JobStateRunning).First(10_000).OrderBy(river.JobListOrderByID, river.SortOrderAsc))
	if err != nil {
		return err
	}
	now := time.Now().UTC()
	p := &riverdriver.JobSetStateIfRunningManyParams{}
	for _, r := range running.Jobs {
		if n := len(r.AttemptedBy); n == 0 || r.AttemptedBy[n-1] != name {
			continue
		}
		s, err := afterDeath(r, crashed, now)
		if err != nil {
			return err
		}
		p.ID = append(p.ID, s.ID)
		p.Attempt = append(p.Attempt, s.Attempt)
		p.ErrData = append(p.ErrData, s.ErrData)
		p.FinalizedAt = append(p.FinalizedAt, s.FinalizedAt)
		p.MetadataDoMerge = append(p.MetadataDoMerge, s.MetadataDoMerge)
		p.MetadataUpdates = append(p.MetadataUpdates, s.MetadataUpdates)
		p.ScheduledAt = append(p.ScheduledAt, s.ScheduledAt)
		p.State = append(p.State, s.State)
	}
	if len(p.ID) == 0 {
		return nil
	}
	rows, err := q.exec.JobSetStateIfRunningMany(ctx, p)
	if err != nil {
		return fmt.Errorf("jobs of an earlier run cannot be put back: %w", err)
	}
	for _, r := range rows {
		j := jobOf(r)
		q.log.Info("a clip of a run that ended in the middle of it is put back", "job", j.ID, "state", j.State, "attempt", j.Attempt)
		if tell != nil {
			tell(j)
		}
	}
	return nil
}

// afterDeath is the state of a job whose process died.
func afterDeath(r *rivertype.JobRow, crashed string, now time.Time) (*riverdriver.JobSetStateIfRunningParams, error) {
	var meta struct {
		Cancel      *time.Time `json:"cancel_attempted_at"`
		Interrupted int        `json:"plantframe_interrupted"`
	}
	if err := json.Unmarshal(r.Metadata, &meta); err != nil {
		meta.Interrupted = interruptions // a row that cannot be read is not tried for ever
	}
	if meta.Cancel == nil && crashed == "" && meta.Interrupted < interruptions {
		update, err := json.Marshal(map[string]int{interrupted: meta.Interrupted + 1})
		return riverdriver.JobSetStateInterrupted(r.ID, now, max(0, r.Attempt-1), update), err
	}
	why := "the program crashed while it analysed this clip (" + crashed + ")"
	if crashed == "" {
		why = fmt.Sprintf("the program was ended %d times in the middle of this clip: it may take more memory than there is", meta.Interrupted+1)
	}
	reason, err := json.Marshal(rivertype.AttemptError{At: now, Attempt: r.Attempt, Error: why})
	if err != nil {
		return nil, err
	}
	switch {
	case meta.Cancel != nil:
		return riverdriver.JobSetStateCancelled(r.ID, now, reason, nil), nil
	case r.Attempt >= r.MaxAttempts:
		return riverdriver.JobSetStateDiscarded(r.ID, now, reason, nil), nil
	}
	return riverdriver.JobSetStateErrorAvailable(r.ID, now, reason, nil), nil
}
