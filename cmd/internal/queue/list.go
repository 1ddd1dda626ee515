package queue

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

// ErrNoJob says that there is no job of that number.
var ErrNoJob = errors.New("there is no such job")

// Add puts a clip into the queue. When the same clip with the same key is there
// already, whatever became of it, that job is returned and added is false.
func (q *Queue) Add(ctx context.Context, c Clip, p Priority) (_ Job, added bool, err error) {
	r, err := q.client.Insert(ctx, c, q.o.insert(p))
	if err != nil {
		return Job{}, false, fmt.Errorf("queue.Add: %w", err)
	}
	return jobOf(r.Job), !r.UniqueSkippedAsDuplicate, nil
}

// Get returns one job; ErrNoJob when there is none.
func (q *Queue) Get(ctx context.Context, id int64) (Job, error) {
	return one(q.client.JobGet(ctx, id))
}

// Cancel ends a job: one that waits at once, one that runs within a second or
// two, also on another machine. A job that is over stays as it is.
func (q *Queue) Cancel(ctx context.Context, id int64) (Job, error) {
	return one(q.client.JobCancel(ctx, id))
}

// Retry makes a job wait again, whatever became of it, with one attempt more
// than it has used. One that runs stays as it is.
func (q *Queue) Retry(ctx context.Context, id int64) (Job, error) {
	return one(q.client.JobRetry(ctx, id))
}

// Delete removes a job that does not run and all that was known of it.
func (q *Queue) Delete(ctx context.Context, id int64) error {
	_, err := one(q.client.JobDelete(ctx, id))
	return err
}

func one(r *rivertype.JobRow, err error) (Job, error) {
	switch {
	case errors.Is(err, rivertype.ErrNotFound):
		return Job{}, ErrNoJob
	case err != nil:
		return Job{}, err
	}
	return jobOf(r), nil
}

// Filter chooses jobs. The zero Filter chooses all.
type Filter struct {
	States []State
	Hitter string           // "" = any
	Keep   func(j Job) bool // nil = all
	Limit  int              // of jobs returned; 0 = all
}

// page is how many rows are read at once.
const page = 500

// List returns jobs, the newest first.
func (q *Queue) List(ctx context.Context, f Filter) ([]Job, error) {
	p := river.NewJobListParams().Kinds(Clip{}.Kind()).First(page).OrderBy(river.JobListOrderByID, river.SortOrderDesc)
	var states []rivertype.JobState
	for _, s := range f.States {
		states = append(states, rowStates(s)...)
	}
	if states == nil {
		states = rivertype.JobStates()
	}
	p = p.States(states...)
	var out []Job
	for {
		r, err := q.client.JobList(ctx, p)
		if err != nil {
			return nil, fmt.Errorf("queue.List: %w", err)
		}
		for _, row := range r.Jobs {
			j := jobOf(row)
			if f.Hitter != "" && j.Clip.Hitter != f.Hitter || f.Keep != nil && !f.Keep(j) {
				continue
			}
			out = append(out, j)
			if f.Limit > 0 && len(out) == f.Limit {
				return out, nil
			}
		}
		if len(r.Jobs) < page {
			return out, nil
		}
		p = p.After(r.LastCursor)
	}
}

// Counts returns how many jobs there are in each state.
func (q *Queue) Counts(ctx context.Context) (map[State]int, error) {
	rows, err := q.db.QueryContext(ctx, `SELECT state, count(*) FROM river_job WHERE kind = $1 GROUP BY state`, Clip{}.Kind())
	if err != nil {
		return nil, fmt.Errorf("queue.Counts: %w", err)
	}
	defer rows.Close()
	out := map[State]int{}
	for rows.Next() {
		var state string
		var n int
		if err := rows.Scan(&state, &n); err != nil {
			return nil, fmt.Errorf("queue.Counts: %w", err)
		}
		out[jobOf(&rivertype.JobRow{State: rivertype.JobState(state)}).State] += n
	}
	return out, rows.Err()
}

// Watch calls each with every job that changed since the last look, progress
// included, until ctx ends or each returns an error. It looks every so often,
// so that changes made by other processes and machines are seen too; what
// begins and ends between two looks is reported once, at its end. Jobs that
// were over when Watch began are not reported.
func (q *Queue) Watch(ctx context.Context, every time.Duration, each func(Job) error) error {
	known := map[int64]string{}
	last := int64(0)
	all, err := q.List(ctx, Filter{Limit: 1})
	if err != nil {
		return err
	}
	if len(all) > 0 {
		last = all[0].ID
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		// What waits, runs or will be tried again, and what is new.
		open, err := q.List(ctx, Filter{States: []State{Waiting, Running, Again}})
		if err != nil {
			return err
		}
		now := map[int64]Job{}
		for _, j := range open {
			now[j.ID] = j
		}
		fresh, err := q.newer(ctx, last)
		if err != nil {
			return err
		}
		for _, j := range fresh {
			now[j.ID], last = j, max(last, j.ID)
		}
		for id := range known {
			if _, ok := now[id]; !ok { // over since the last look, or deleted
				j, err := q.Get(ctx, id)
				if errors.Is(err, ErrNoJob) {
					delete(known, id)
					continue
				}
				if err != nil {
					return err
				}
				now[id] = j
			}
		}
		for _, id := range slices.Sorted(maps.Keys(now)) {
			j := now[id]
			state := fmt.Sprint(j.State, j.Attempt, j.Progress, j.Due)
			if known[id] == state {
				continue
			}
			known[id] = state
			if j.Over() {
				delete(known, id)
			}
			if err := each(j); err != nil {
				return err
			}
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
	}
}

// newer returns the jobs whose number is above id.
func (q *Queue) newer(ctx context.Context, id int64) ([]Job, error) {
	r, err := q.client.JobList(ctx, river.NewJobListParams().Kinds(Clip{}.Kind()).First(page).
		States(rivertype.JobStates()...).OrderBy(river.JobListOrderByID, river.SortOrderAsc).
		Where("id > @last", river.NamedArgs{"last": id}))
	if err != nil {
		return nil, err
	}
	out := make([]Job, 0, len(r.Jobs))
	for _, row := range r.Jobs {
		out = append(out, jobOf(row))
	}
	return out, nil
}
