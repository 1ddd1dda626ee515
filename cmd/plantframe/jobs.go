package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/swing"
)

const jobsHelp = `List the clips in the queue: those that wait, run, or were given up, with the
reason. --all lists those that are done too.

--retry tries a clip again that was given up or cancelled; --cancel ends one.`

func (a *app) jobs() *cobra.Command {
	var file, retry, cancel string
	var all bool
	d := config.Default()
	cmd := &cobra.Command{
		Use:   "jobs",
		Short: "List the clips in the queue, try them again, cancel them",
		Long:  jobsHelp,
		Example: `  plantframe jobs
  plantframe jobs --retry 12`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := settings(cmd, file)
			if err != nil {
				return err
			}
			o, err := a.openQueue(s)
			if err != nil {
				return err
			}
			q, err := queue.Open(cmd.Context(), o)
			if err != nil {
				return err
			}
			defer q.Close()
			switch {
			case retry != "":
				return a.changeJob(cmd.Context(), retry, q.Retry)
			case cancel != "":
				return a.changeJob(cmd.Context(), cancel, q.Cancel)
			}
			return a.listJobs(cmd.Context(), q, s.JSON, all)
		},
	}
	f := cmd.Flags()
	f.StringVar(&file, "config", "", "settings file (YAML)")
	f.StringVar(&retry, "retry", "", "number of a job to try again")
	f.StringVar(&cancel, "cancel", "", "number of a job to cancel")
	f.BoolVar(&all, "all", false, "list jobs that are done too")
	f.String("store", d.Store, "the store with the queue")
	f.Bool("json", d.JSON, "one line of JSON per job")
	cmd.MarkFlagsMutuallyExclusive("retry", "cancel")
	return cmd
}

// changeJob does something to the job of a number.
func (a *app) changeJob(ctx context.Context, number string, change func(context.Context, int64) (queue.Job, error)) error {
	id, err := strconv.ParseInt(number, 10, 64)
	var j queue.Job
	if err == nil {
		j, err = change(ctx, id)
	}
	if err != nil {
		e := &swing.Error{Op: "jobs", Frame: -1, Kind: swing.KindUsage, Msg: "there is no job " + number, Hint: "plantframe jobs --all lists them"}
		if !errors.Is(err, queue.ErrNoJob) && !errors.Is(err, strconv.ErrSyntax) && !errors.Is(err, strconv.ErrRange) {
			e = &swing.Error{Op: "jobs", Frame: -1, Kind: swing.KindOutput, Msg: "the job cannot be changed", Err: err}
		}
		return e
	}
	fmt.Fprintf(a.stdout, "%s: %s\n", ui.Plain(j.Clip.Path), j.State)
	return nil
}

func (a *app) listJobs(ctx context.Context, q *queue.Queue, asJSON, all bool) error {
	f := queue.Filter{States: []queue.State{queue.Waiting, queue.Running, queue.Again, queue.GivenUp, queue.Cancelled}}
	if all {
		f.States = nil
	}
	list, err := q.List(ctx, f)
	if err != nil {
		return &swing.Error{Op: "jobs", Frame: -1, Kind: swing.KindOutput, Msg: "the queue cannot be read", Err: err}
	}
	if asJSON {
		for _, j := range list {
			l := lineOf(j)
			l.Schema, l.Event, l.Time = jobSchema, string(j.State), j.Added.Format(time.RFC3339)
			enc := json.NewEncoder(a.stdout)
			enc.SetEscapeHTML(false)
			if err := enc.Encode(struct {
				jobLine
				Progress queue.Progress `json:"progress"`
				Worker   string         `json:"worker,omitempty"`
			}{l, j.Progress, j.Worker}); err != nil {
				return err
			}
		}
		return nil
	}
	var rows [][]string
	for _, j := range list {
		note := j.Reason()
		switch {
		case j.State == queue.Running && j.Progress.Stage != "":
			note = fmt.Sprintf("%s, %.0f %%", j.Progress.Stage, 100*j.Progress.Part)
		case j.State == queue.Done || j.State == queue.Waiting && note == "":
			note = j.Progress.Note
		case j.State == queue.Again:
			note += "; again at " + j.Due.Local().Format("15:04:05")
		}
		rows = append(rows, []string{strconv.FormatInt(j.ID, 10), string(j.State), j.Clip.Path, note})
	}
	if len(list) == 0 {
		fmt.Fprintln(a.stdout, "no clip waits, runs or was given up")
		return nil
	}
	fmt.Fprint(a.stdout, ui.Table([]string{"job", "<state", "<clip", "<"}, rows))
	n, err := q.Counts(ctx)
	if err == nil {
		fmt.Fprintf(a.stdout, "\n%d waiting, %d running, %d to be tried again, %d given up, %d done\n",
			n[queue.Waiting], n[queue.Running], n[queue.Again], n[queue.GivenUp], n[queue.Done])
	}
	return nil
}
