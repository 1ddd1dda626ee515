package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
)

const workHelp = `Analyse the clips that wait in the queue.

The queue lies in the store (--store). With an SQLite file, the default,
plantframe watch and serve start a worker by themselves. On further machines
run this with the address of the same PostgreSQL database; the folders of clips
and results must be there under the same path, on a share for instance.

What a worker of this name left when it died is put back at once and tried
again; a clip that ended the program that often that its attempts are used up is
given up, with the reason (plantframe jobs).`

// exitStuck is the exit code of a worker in which a clip hangs in a library. Its
// successor tries it again, or gives it up.
const exitStuck = 70

func (a *app) work() *cobra.Command {
	var file, name string
	var drain, supervised bool
	d := config.Default()
	cmd := &cobra.Command{
		Use:     "work",
		Short:   "Analyse the clips that wait in the queue",
		Long:    workHelp,
		Example: "  plantframe work --store postgres://plantframe@server/plantframe --jobs 4",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if supervised {
				// Wrong settings are no crash: see endOf.
				if err := a.workSupervised(cmd.Context(), name); err != nil {
					a.complain(explain(err))
					a.code = exitFailed
				}
				return nil
			}
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			if name == "" {
				name = queue.WorkerName("work")
			}
			return a.workSupervising(cmd.Context(), s, name, drain)
		},
	}
	f := cmd.Flags()
	f.StringVar(&file, "config", "", "settings file (YAML)")
	f.StringVar(&name, "name", "", "name of this worker, the same at every start (default one of this machine)")
	f.BoolVar(&drain, "drain", false, "end when nothing waits any more")
	f.BoolVar(&supervised, "supervised", false, "take settings from standard input and end with it")
	_ = f.MarkHidden("supervised")
	f.String("store", d.Store, "the store with the queue: an SQLite file or postgres://USER@HOST/DATABASE")
	f.IntP("jobs", "j", d.Jobs, "clips analysed at once (0 = one per core)")
	f.Int("threads", d.Threads, "threads of one clip (0 = cores divided by jobs)")
	f.Bool("json", d.JSON, "one line of JSON per event")
	f.String("log-level", d.LogLevel, "debug, info, warn or error")
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	return cmd
}

// workSupervising has a worker of its own run while there is work.
func (a *app) workSupervising(ctx context.Context, s config.Settings, name string, drain bool) error {
	log := newLog(a.stderrScreen(), s.LogLevel, false)
	if drain {
		s.Queue.MaxIdle = min(s.Queue.MaxIdle, time.Second)
	}
	locks, err := workerFolder()
	if err != nil {
		return err
	}
	unlock, err := queue.Lock(locks, name+".supervisor")
	if errors.Is(err, queue.ErrBusy) {
		return busyError(name)
	}
	if err != nil {
		return err
	}
	defer unlock()
	o, err := a.openQueue(s)
	if err != nil {
		return err
	}
	o.Log = log
	q, err := queue.Open(ctx, o)
	if err != nil {
		return err
	}
	defer q.Close()
	if !s.JSON {
		fmt.Fprintf(a.stderr, "working on the clips of %s; Ctrl-C ends\n", queue.Shown(o.Database))
	}
	lines := newLinePrinter(a.stdout, s.JSON, "")
	super := &supervisor{app: a, settings: s, queue: q, name: name, tell: lines.print, log: log, wake: make(chan struct{}, 1)}
	end := make(chan struct{})
	if drain {
		close(end)
	}
	err = super.run(ctx, end)
	if ctx.Err() != nil {
		if drain {
			a.code = exitStopped
		}
		return nil
	}
	a.code = lines.code(false)
	return err
}

// workSupervised is the worker of another process of this program, which gives
// the settings as a line on standard input, reads what happens on standard
// output, and is followed when it ends.
func (a *app) workSupervised(ctx context.Context, name string) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	in := bufio.NewReader(a.stdin)
	line, err := in.ReadBytes('\n')
	if err != nil {
		return fmt.Errorf("no settings on standard input: %w", err)
	}
	var o childOrder
	if err := json.Unmarshal(line, &o); err != nil {
		return fmt.Errorf("no settings on standard input: %w", err)
	}
	s, err := config.Default().Take(o.Settings)
	if err != nil {
		return err
	}
	go func() {
		_, _ = io.Copy(io.Discard, in) // until the other side is gone
		stop()
	}()
	p := newLinePrinter(a.stdout, true, "")
	return a.workOn(ctx, s, name, o.Crashed, p.print)
}

// workOn does jobs until ctx ends, or until nothing was to do for the time of
// queue.max_idle. crashed is how the predecessor did.
func (a *app) workOn(ctx context.Context, s config.Settings, name, crashed string, tell func(jobLine)) error {
	log := newLog(a.stderrScreen(), s.LogLevel, false)
	locks, err := workerFolder()
	if err != nil {
		return err
	}
	o, err := a.openQueue(s)
	if err != nil {
		return err
	}
	o.Log = log
	q, err := queue.Open(ctx, o)
	if err != nil {
		return err
	}
	defer q.Close()
	records, err := openRecords(ctx, s)
	if err != nil {
		return err
	}
	if records != nil {
		defer records.Close()
	}
	artifacts, prune := openArtifacts(s, log)
	defer prune()
	h, slots := a.newHand(s, records, artifacts, log)
	if err := h.catchUp(ctx, q); err != nil {
		return err
	}
	h.overviews()
	stopped, end := context.WithCancel(context.Background())
	overviews := make(chan struct{})
	go func() { // while there is work, now and then; the rest at the end
		defer close(overviews)
		tick := time.NewTicker(5 * time.Second)
		defer tick.Stop()
		for {
			select {
			case <-stopped.Done():
				return
			case <-tick.C:
				h.overviews()
			}
		}
	}()
	err = q.Work(ctx, queue.WorkOptions{
		Name: name, LockDir: locks, Slots: slots, Idle: s.Queue.MaxIdle, Crashed: crashed, Do: h.do,
		Tell: func(j queue.Job) {
			l := lineOf(j)
			if r, ok := h.take(j.ID); ok && j.State != queue.Running {
				l.Result = &r
			}
			tell(l)
		},
		Stuck: func(id int64) {
			log.Error("a clip hangs and does not hear: this worker ends, its successor goes on", "job", id)
			a.exit(exitStuck)
		},
	})
	end()
	<-overviews
	h.overviews()
	if ctx.Err() == nil {
		h.close() // else a network may still be running: the process ends anyway
	}
	if errors.Is(err, queue.ErrBusy) {
		return busyError(name)
	}
	return err
}

// catchUp marks overviews that a killed worker did not write any more.
func (h *hand) catchUp(ctx context.Context, q *queue.Queue) error {
	recent, err := q.List(ctx, queue.Filter{States: []queue.State{queue.Done}, Limit: 500})
	if err != nil {
		return err
	}
	seen := map[string]bool{}
	var outs []string
	for _, j := range recent {
		if !seen[j.Clip.Out] {
			seen[j.Clip.Out] = true
			outs = append(outs, j.Clip.Out)
		}
	}
	h.overviewDue(outs)
	return nil
}

// exitProcess is app.exit of real runs.
func exitProcess(code int) { os.Exit(code) }
