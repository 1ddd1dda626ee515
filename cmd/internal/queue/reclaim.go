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

// died is the reason that a job gets whose process ended in the middle of it.
const died = "the program ended in the middle of this clip: it crashed, was killed, or the machine went off"

// reclaim puts back what a dead process of the same name left running. River
// itself would find it only after the time limit of the job. The caller holds
// the lock of the name, so nobody works on these rows.
//
// A job whose attempts are used up is given up: a clip that crashes the program
// must not do so at every start.
//
// The rows are changed through River's own driver, with the call of its
// rescuer: it is the same act, earlier.
func (q *Queue) reclaim(ctx context.Context, name string, left func(Job)) error {
	running, err := q.client.JobList(ctx, river.NewJobListParams().Kinds(Clip{}.Kind()).
		States(rivertype.JobStateRunning).First(10_000).OrderBy(river.JobListOrderByID, river.SortOrderAsc))
	if err != nil {
		return err
	}
	now := time.Now().UTC()
	p := &riverdriver.JobRescueManyParams{StuckHorizon: now.Add(time.Minute)} // however young
	for _, r := range running.Jobs {
		if n := len(r.AttemptedBy); n == 0 || r.AttemptedBy[n-1] != name {
			continue
		}
		state, finalized := rivertype.JobStateAvailable, (*time.Time)(nil)
		if r.Attempt >= r.MaxAttempts {
			state, finalized = rivertype.JobStateDiscarded, &now
		}
		var meta struct {
			Cancel *time.Time `json:"cancel_attempted_at"`
		}
		if json.Unmarshal(r.Metadata, &meta) == nil && meta.Cancel != nil {
			state, finalized = rivertype.JobStateCancelled, &now
		}
		reason, err := json.Marshal(rivertype.AttemptError{At: now, Attempt: r.Attempt, Error: died})
		if err != nil {
			return err
		}
		p.ID = append(p.ID, r.ID)
		p.Error = append(p.Error, reason)
		p.FinalizedAt = append(p.FinalizedAt, finalized)
		p.ScheduledAt = append(p.ScheduledAt, now)
		p.State = append(p.State, string(state))
	}
	if len(p.ID) == 0 {
		return nil
	}
	if _, err := q.exec.JobRescueMany(ctx, p); err != nil {
		return fmt.Errorf("jobs of an earlier run cannot be put back: %w", err)
	}
	for _, id := range p.ID {
		j, err := q.Get(ctx, id)
		if err != nil {
			return err
		}
		q.log.Info("a clip of a run that died is put back", "job", id, "state", j.State, "attempt", j.Attempt)
		if left != nil {
			left(j)
		}
	}
	return nil
}
