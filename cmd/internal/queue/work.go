package queue

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

// WorkOptions say who works and how.
type WorkOptions struct {
	// Name of the worker. It must be the same at every start, so that it finds
	// what its dead predecessor left, and differ from all other workers of the
	// database.
	Name string
	// LockDir is a folder on this machine's disk, for the lock of the name.
	LockDir string
	// Slots is the number of clips at once. Default 1.
	Slots int
	// Do analyses one clip; see Task. It runs Slots times at once.
	Do func(ctx context.Context, t Task) (Result, error)
	// Tell is told of every attempt when it begins (Running) and when its fate
	// is settled: Done with the result stored; Again or GivenUp with the reason
	// as last of Errors; Waiting when it was stopped or could not begin;
	// Cancelled. It is also told what a dead process of this name left, before
	// any job begins. It runs Slots times at once; nil for nobody.
	Tell func(j Job)
	// Crashed says how the predecessor ended when that was a fault of the program,
	// such as "segmentation fault": what it left has used up an attempt. Empty when
	// it was ended from outside, or nobody knows: then it has not.
	Crashed string
	// Stuck is called when a job does not come back although its time is over
	// and its context ended: a call into a library that never returns. The
	// process should end; its successor takes over. nil waits for ever.
	Stuck func(id int64)
	// Idle ends Work when there has been nothing to do for that long, nothing
	// waiting for another attempt either. 0 = never.
	Idle time.Duration
}

// Task is one attempt at a job.
type Task struct {
	Job
	// Tell reports progress. It may be called for every frame: what is seen
	// from outside changes once a second at most.
	Tell func(p Progress)
}

// Result is what an attempt leaves.
type Result struct {
	// Save stores the result. It runs in the transaction that ends the job:
	// either both are there or none. nil stores nothing.
	Save func(ctx context.Context, tx Tx) error
	// Note is kept with the job, for people.
	Note string
}

// Later is the error of a Do that could not begin for a reason that is not the
// clip's: the job waits for After and the attempt does not count.
type Later struct {
	After time.Duration
	Why   string
}

func (l *Later) Error() string { return l.Why }

// tellEvery is the shortest time between two progress rows of a job: each is a
// write, and people look at most once a second.
const tellEvery = time.Second

// stuckAfter is how long a job may take to hear that its time is over.
const stuckAfter = 30 * time.Second

// Work does jobs until ctx ends, or until there is nothing to do (Idle). When
// ctx ends running jobs are stopped and wait again; that counts as no attempt.
// An error means that the worker could not begin, ErrBusy that another process
// of that name is alive.
func (q *Queue) Work(ctx context.Context, o WorkOptions) error {
	unlock, err := lockName(o.LockDir, o.Name)
	if err != nil {
		return err
	}
	defer unlock()
	if err := q.reclaim(ctx, o.Name, o.Crashed, o.Tell); err != nil {
		return fmt.Errorf("queue.Work: %w", err)
	}
	w := &clipWorker{q: q, o: o}
	workers := river.NewWorkers()
	river.AddWorker(workers, w)
	c := &river.Config{
		ID:                          o.Name,
		Queues:                      map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: max(1, o.Slots)}},
		Workers:                     workers,
		Logger:                      quiet(q.log),
		MaxAttempts:                 q.o.Attempts,
		JobTimeout:                  q.o.LimitBase,
		RescueStuckJobsAfter:        q.o.LimitBase + 2*stuckAfter, // of machines that are gone; a job's own limit counts if longer
		JobStuckThreshold:           stuckAfter,
		CompletedJobRetentionPeriod: q.o.Keep,
		CancelledJobRetentionPeriod: q.o.Keep,
		DiscardedJobRetentionPeriod: -1,
	}
	if o.Stuck != nil {
		c.JobStuckHandler = func(_ context.Context, p river.JobStuckHandlerParams) river.JobStuckHandlerResult {
			o.Stuck(p.ID)
			return river.JobStuckHandlerResult{}
		}
	}
	client, err := q.newClient(c)
	if err != nil {
		return fmt.Errorf("queue.Work: %w", err)
	}
	// The client gets a context of its own: it is stopped below, in order.
	if err := client.Start(context.WithoutCancel(ctx)); err != nil {
		return fmt.Errorf("queue.Work: %w", err)
	}
	q.untilIdle(ctx, o.Idle)
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), stuckAfter)
	defer cancel()
	if ctx.Err() != nil {
		return client.StopAndCancel(stop)
	}
	return client.Stop(stop)
}

// untilIdle returns when ctx ends or nothing was to do for the time idle.
func (q *Queue) untilIdle(ctx context.Context, idle time.Duration) {
	if idle <= 0 {
		<-ctx.Done()
		return
	}
	since := time.Now()
	tick := time.NewTicker(min(idle, time.Second))
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		n, err := q.Counts(ctx)
		switch {
		case err != nil: // a server that is away for a moment
			since = time.Now()
		case n[Running]+n[Waiting]+n[Again] > 0: // of all workers: what a dead one has comes back
			since = time.Now()
		case time.Since(since) >= idle:
			return
		}
	}
}

// clipWorker is River's view of Do.
type clipWorker struct {
	river.WorkerDefaults[Clip]
	q *Queue
	o WorkOptions
}

// Timeout limits one attempt.
func (w *clipWorker) Timeout(j *river.Job[Clip]) time.Duration { return w.q.o.limit(j.Args) }

// NextRetry is when a failed job is tried again.
func (w *clipWorker) NextRetry(j *river.Job[Clip]) time.Time {
	return time.Now().Add(w.q.o.backOff(j.Attempt))
}

// Work runs one attempt and, when it went well, ends the job.
func (w *clipWorker) Work(ctx context.Context, j *river.Job[Clip]) error {
	t := &teller{q: w.q, ctx: ctx, id: j.ID}
	told := jobOf(j.JobRow)
	w.tell(told)
	r, err := w.try(ctx, Task{Job: told, Tell: t.tell})
	if err == nil {
		err = w.end(ctx, j, r)
	}
	var later *Later
	switch {
	case err == nil:
		told.State, told.Progress = Done, Progress{Part: 1, Note: r.Note}
		w.tell(told)
		return nil
	case errors.As(err, &later):
		t.write(Progress{Note: later.Why})
		told.State, told.Progress, told.Due = Waiting, Progress{Note: later.Why}, time.Now().Add(later.After)
		w.tell(told)
		return river.JobSnooze(later.After)
	case errors.Is(ctx.Err(), context.DeadlineExceeded):
		err = fmt.Errorf("it took longer than its time limit of %v", w.q.o.limit(j.Args))
	case ctx.Err() != nil: // stopped, or cancelled by somebody: the cause tells
		told.State = Waiting
		if cancelled := (*rivertype.JobCancelError)(nil); errors.As(context.Cause(ctx), &cancelled) {
			told.State = Cancelled
		}
		w.tell(told)
		return ctx.Err()
	}
	told.State, told.Due = Again, w.NextRetry(j)
	if j.Attempt >= j.MaxAttempts {
		told.State = GivenUp
	}
	told.Errors = append(told.Errors, Failure{Attempt: j.Attempt, Time: time.Now().UTC(), Text: err.Error()})
	w.tell(told)
	return err
}

func (w *clipWorker) tell(j Job) {
	if w.o.Tell != nil {
		w.o.Tell(j)
	}
}

// try turns a fault of the program into an error: it must not take other clips
// with it, and the reason is kept.
func (w *clipWorker) try(ctx context.Context, t Task) (r Result, err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("the program failed on this clip (%v)", v)
		}
	}()
	return w.o.Do(ctx, t)
}

// end stores the result and marks the job done, both or none.
func (w *clipWorker) end(ctx context.Context, j *river.Job[Clip], r Result) error {
	if _, err := w.q.client.JobUpdate(ctx, j.ID, &river.JobUpdateParams{Output: Progress{Part: 1, Note: r.Note}}); err != nil {
		return fmt.Errorf("the job cannot be ended: %w", err)
	}
	return w.q.finish(ctx, j, func(tx Tx) error {
		if r.Save == nil {
			return nil
		}
		if err := r.Save(ctx, tx); err != nil {
			return fmt.Errorf("the result cannot be stored: %w", err)
		}
		return nil
	})
}

// teller writes the progress of one attempt.
type teller struct {
	q   *Queue
	ctx context.Context
	id  int64

	mu   sync.Mutex
	last time.Time
}

// tell writes p unless something was written a moment ago.
func (t *teller) tell(p Progress) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if time.Since(t.last) < tellEvery {
		return
	}
	t.last = time.Now()
	t.write(p)
}

// write never fails a job: progress is for looking at.
func (t *teller) write(p Progress) {
	if _, err := t.q.client.JobUpdate(t.ctx, t.id, &river.JobUpdateParams{Output: p}); err != nil && t.ctx.Err() == nil {
		t.q.log.Debug("progress of a job could not be written", "job", t.id, "error", err)
	}
}
