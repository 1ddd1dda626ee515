package web

import (
	"context"
	"errors"
	"io/fs"
	"maps"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"plantframe/cmd/internal/queue"
)

// clipAgain analyses a clip again with the settings and networks of now. New clips go
// first.
func (s *Server) clipAgain(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	c, err := s.clip(ctx, r.PathValue("sha"))
	if err != nil {
		return err
	}
	if c.Path == "" {
		return &problem{status: http.StatusConflict, text: "The clip itself is not there any more.", hint: "Upload it again."}
	}
	if c.HitterID == "" {
		return refuse(http.StatusConflict, "Say first whose clip it is.")
	}
	if c.Job != nil && !c.Job.Over() {
		return refuse(http.StatusConflict, "It waits or is being analysed already.")
	}
	h, err := s.hitter(ctx, c.HitterID)
	if err != nil {
		return err
	}
	probed, err := s.d.Probe(ctx, c.Path)
	if err != nil {
		return err
	}
	if probed.SHA256 != c.SHA256 {
		return refuse(http.StatusConflict, "The file of the clip has been changed since.")
	}
	order, err := s.d.Order(ctx, probed, h)
	if err != nil {
		return err
	}
	job, added, err := s.d.Queue.Add(ctx, order, queue.Background)
	if err == nil && !added && job.Over() {
		job, err = s.d.Queue.Retry(ctx, job.ID)
	}
	if err != nil {
		return err
	}
	for _, x := range c.seen {
		x.Job = job.ID
		if err := s.d.Queue.Remember(ctx, x); err != nil {
			return err
		}
	}
	s.d.Added()
	http.Redirect(w, r, "/clips/"+c.SHA256, http.StatusSeeOther)
	return nil
}

// clipAssign makes a clip another hitter's.
func (s *Server) clipAssign(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return badForm(err)
	}
	c, err := s.clip(r.Context(), r.PathValue("sha"))
	if err != nil {
		return err
	}
	h, err := s.hitter(r.Context(), r.PostForm.Get("hitter"))
	if err != nil {
		return refuse(http.StatusUnprocessableEntity, "Choose a hitter of the list.")
	}
	ok, err := s.d.Records.Assign(r.Context(), nil, c.SHA256, h.ID)
	if err != nil {
		return err
	}
	if !ok {
		return refuse(http.StatusConflict, "It can be given to another hitter when it has been analysed.")
	}
	http.Redirect(w, r, "/clips/"+c.SHA256, http.StatusSeeOther)
	return nil
}

func (s *Server) clipDelete(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return badForm(err)
	}
	c, err := s.clip(r.Context(), r.PathValue("sha"))
	if err != nil {
		return err
	}
	if r.PostForm.Get("sure") != "yes" {
		return refuse(http.StatusUnprocessableEntity, "Tick the box to say that you are sure.")
	}
	if err := s.remove(context.WithoutCancel(r.Context()), c); err != nil {
		return err
	}
	if err := s.d.Records.Compact(r.Context()); err != nil {
		return err
	}
	to := "/clips"
	if c.HitterID != "" {
		to = "/hitters/" + c.HitterID
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

// stopWait is how long a job that is cancelled may take to hear it.
const stopWait = 10 * time.Second

// remove takes a clip out with all that there is of it: files first, rows last, so that
// a crash in between leaves something that can be deleted again. Files outside of our
// folder, such as those of a watched one, stay where they are.
func (s *Server) remove(ctx context.Context, c *clip) error {
	s.filing.Lock() // no upload of the same content is filed meanwhile
	defer s.filing.Unlock()
	folders := map[string]bool{c.Folder: true}
	jobs, err := s.d.Queue.List(ctx, queue.Filter{Keep: func(j queue.Job) bool { return j.Clip.SHA256 == c.SHA256 }})
	if err != nil {
		return err
	}
	for _, j := range jobs {
		folders[filepath.Join(j.Clip.Out, j.Clip.Folder)] = true
		if err := s.stopJob(ctx, j); err != nil {
			return err
		}
	}
	versions, err := s.d.Records.Versions(ctx, nil, c.SHA256)
	if err != nil {
		return err
	}
	for _, v := range versions {
		folders[v.Folder] = true
	}
	if s.d.Forget != nil {
		if err := s.d.Forget(ctx, slices.Sorted(maps.Keys(folders))); err != nil {
			return err
		}
	}
	for f := range folders {
		if below(s.resultFolder(), f) {
			if err := os.RemoveAll(f); err != nil {
				return err
			}
		}
	}
	if err := s.removeComparisons(c.SHA256); err != nil {
		return err
	}
	if err := os.RemoveAll(filepath.Join(s.clipsFolder(), c.SHA256[:2], c.SHA256)); err != nil {
		return err
	}
	if running, err := s.d.Queue.Forget(ctx, c.SHA256); err != nil || len(running) > 0 {
		return errors.Join(err, errRuns(running))
	}
	if _, err := s.db.Exec(ctx, `DELETE FROM web_uploads WHERE sha256 = $1`, c.SHA256); err != nil {
		return err
	}
	_, err = s.d.Records.DeleteClip(ctx, nil, c.SHA256)
	return err
}

func errRuns(running []queue.Job) error {
	if len(running) == 0 {
		return nil
	}
	return refuse(http.StatusConflict, "The clip is being analysed and does not stop. Try again in a moment.")
}

// stopJob cancels a job and waits until it has stopped.
func (s *Server) stopJob(ctx context.Context, j queue.Job) error {
	if j.Over() {
		return nil
	}
	j, err := s.d.Queue.Cancel(ctx, j.ID)
	for end := time.Now().Add(stopWait); err == nil && j.State == queue.Running; {
		if time.Now().After(end) {
			return errRuns([]queue.Job{j})
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
		j, err = s.d.Queue.Get(ctx, j.ID)
	}
	if errors.Is(err, queue.ErrNoJob) {
		return nil
	}
	return err
}

// removeComparisons removes the comparisons that a clip takes part in.
func (s *Server) removeComparisons(sha256 string) error {
	entries, err := os.ReadDir(s.compareFolder())
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, e := range entries {
		if strings.Contains(e.Name(), sha256) {
			if err := os.RemoveAll(filepath.Join(s.compareFolder(), e.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}
