package web

import (
	"errors"
	"fmt"
	"net/http"
	"path/filepath"
	"strconv"
	"strings"

	"plantframe/cmd/internal/queue"
)

// jobRow is one job as a page shows it.
type jobRow struct {
	ID                      int64
	Name, SHA, Hitter, Note string
	State                   string // in words
	Class                   string
	Percent                 int
	Running, Over, Failed   bool
	Who                     person
}

func newJobRow(j queue.Job, p person) jobRow {
	r := jobRow{
		ID: j.ID, Name: filepath.Base(j.Clip.Path), SHA: j.Clip.SHA256, Hitter: j.Clip.Hitter, Who: p,
		Running: j.State == queue.Running, Over: j.Over(), Failed: j.State == queue.GivenUp || j.State == queue.Cancelled,
		Percent: int(100 * j.Progress.Part), Class: string(j.State),
	}
	switch j.State {
	case queue.Running:
		r.State, r.Note = "being analysed", j.Progress.Stage
	case queue.Done:
		r.State, r.Note = "done", j.Progress.Note
	case queue.GivenUp:
		r.State, r.Note = "given up", fmt.Sprintf("after %d attempts: %s", j.Attempt, j.Reason())
	case queue.Cancelled:
		r.State = "cancelled"
	case queue.Again:
		r.State, r.Note = "failed, tried again", fmt.Sprintf("at %s; %s", j.Due.Local().Format("15:04:05"), j.Reason())
	default:
		r.State, r.Note = "waiting", j.Progress.Note
		if j.Priority == queue.Background {
			r.State = "waiting, after new clips"
		}
	}
	return r
}

type jobsView struct {
	frame
	Jobs   []jobRow
	Counts []count
	Filter string
	Cut    bool
}

type count struct {
	Name, Key string
	N         int
}

// mostJobs is how many jobs a page lists.
const mostJobs = 200

// jobFilters are the groups that the list can be cut to.
var jobFilters = []struct {
	name, key string
	states    []queue.State
}{
	{"all", "", nil},
	{"open", "open", []queue.State{queue.Waiting, queue.Running, queue.Again}},
	{"given up or cancelled", "failed", []queue.State{queue.GivenUp, queue.Cancelled}},
	{"done", "done", []queue.State{queue.Done}},
}

func (s *Server) jobsPage(w http.ResponseWriter, r *http.Request) error {
	n, err := s.d.Queue.Counts(r.Context())
	if err != nil {
		return err
	}
	v := &jobsView{frame: s.frame(r, "Jobs", "jobs"), Filter: r.URL.Query().Get("show")}
	var states []queue.State
	for _, f := range jobFilters {
		c := count{Name: f.name, Key: f.key}
		for state, k := range n {
			if f.states == nil || has(f.states, state) {
				c.N += k
			}
		}
		v.Counts = append(v.Counts, c)
		if f.key == v.Filter {
			states = f.states
		}
	}
	list, err := s.d.Queue.List(r.Context(), queue.Filter{States: states, Limit: mostJobs + 1})
	if err != nil {
		return err
	}
	if len(list) > mostJobs {
		list, v.Cut = list[:mostJobs], true
	}
	for _, j := range list {
		v.Jobs = append(v.Jobs, newJobRow(j, v.Who))
	}
	s.pages.show(w, http.StatusOK, "jobs", v)
	return nil
}

func has(states []queue.State, s queue.State) bool {
	for _, x := range states {
		if x == s {
			return true
		}
	}
	return false
}

func (s *Server) changeJob(w http.ResponseWriter, r *http.Request) error {
	id, err := strconv.ParseInt(r.PathValue("id"), 10, 64)
	if err != nil {
		return notFound()
	}
	switch r.PathValue("act") {
	case "cancel":
		_, err = s.d.Queue.Cancel(r.Context(), id)
	case "retry":
		if _, err = s.d.Queue.Retry(r.Context(), id); err == nil {
			s.d.Added()
		}
	default:
		return notFound()
	}
	if errors.Is(err, queue.ErrNoJob) {
		return notFound()
	}
	if err != nil {
		return err
	}
	if strings.Contains(r.Header.Get("Accept"), "application/json") { // the script: the stream shows it
		w.WriteHeader(http.StatusNoContent)
		return nil
	}
	http.Redirect(w, r, "/jobs", http.StatusSeeOther)
	return nil
}
