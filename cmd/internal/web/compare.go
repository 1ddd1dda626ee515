package web

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// Comparisons are made one at a time, in the background of the server; so many may
// wait.
const mostCompares = 8

// compareTime is how long one may take: drawing some seconds of two clips.
const compareTime = 3 * time.Minute

// compares are the comparisons that are being made, and why others could not be.
type compares struct {
	one  chan struct{}
	jobs sync.WaitGroup

	mu      sync.Mutex
	running map[string]bool
	failed  map[string]string
}

func newCompares() *compares {
	return &compares{one: make(chan struct{}, 1), running: map[string]bool{}, failed: map[string]string{}}
}

// wait returns when none is made any more.
func (c *compares) wait() { c.jobs.Wait() }

// state tells how a comparison stands.
func (c *compares) state(key string) (running bool, failed string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.running[key], c.failed[key]
}

// start makes a comparison unless it is being made; false when too many wait.
func (c *compares) start(ctx context.Context, key string, do func(ctx context.Context) error, say func(error) string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.running[key] {
		return true
	}
	if len(c.running) >= mostCompares {
		return false
	}
	if len(c.failed) > 100 {
		clear(c.failed)
	}
	c.running[key] = true
	delete(c.failed, key)
	c.jobs.Go(func() {
		var err error
		select {
		case c.one <- struct{}{}:
			limited, end := context.WithTimeout(ctx, compareTime)
			if err = ctx.Err(); err == nil {
				err = do(limited)
			}
			end()
			<-c.one
		case <-ctx.Done():
			err = ctx.Err()
		}
		c.mu.Lock()
		defer c.mu.Unlock()
		delete(c.running, key)
		if err != nil {
			c.failed[key] = say(err)
		}
	})
	return true
}

type compareView struct {
	frame
	A, B  string
	Clips []store.ClipLine
}

func (s *Server) comparePage(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	v := &compareView{frame: s.frame(r, "Compare two swings", "compare"), A: q.Get("a"), B: q.Get("b")}
	list, _, err := s.d.Records.Clips(r.Context(), nil, "", 500, 0)
	if err != nil {
		return err
	}
	for _, l := range list {
		if l.Swings > 0 {
			v.Clips = append(v.Clips, l)
		}
	}
	s.pages.show(w, http.StatusOK, "compare", v)
	return nil
}

func (s *Server) compareStart(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return badForm(err)
	}
	var sides [2]Side
	sha := [2]string{r.PostForm.Get("a"), r.PostForm.Get("b")}
	if sha[0] == sha[1] {
		return refuse(http.StatusUnprocessableEntity, "Choose two different clips.")
	}
	for i := range sides {
		c, err := s.clip(r.Context(), sha[i])
		if err != nil {
			return err
		}
		if c.Folder == "" || c.Swings == 0 {
			return refuse(http.StatusUnprocessableEntity, "%s has no analysed swing.", c.File)
		}
		sides[i] = Side{c.Folder, c.Path}
	}
	key := sha[0] + "-" + sha[1]
	dir := filepath.Join(s.compareFolder(), key)
	ok := s.compares.start(s.background, key, func(ctx context.Context) error { return s.d.Compare(ctx, sides[0], sides[1], dir) }, s.d.Say)
	if !ok {
		return refuse(http.StatusServiceUnavailable, "Other comparisons are being made. Try again in a minute.")
	}
	http.Redirect(w, r, "/compare/"+sha[0]+"/"+sha[1], http.StatusSeeOther)
	return nil
}

type comparedView struct {
	frame
	A, B              *clip
	Running           bool
	Failed            string
	Here              string
	Video, Grid       bool
	Aligned           string
	SameView, Done    bool
	Events, Differing []difference
	Same              []difference
	Warnings          []string
}

type difference struct{ Name, A, B, Less, Verdict string }

// comparedFiles are the files of a comparison that the page gives out.
var comparedFiles = regexp.MustCompile(`^(comparison\.json|side-by-side\.mp4|stills/compare\.png)$`)

func (s *Server) comparedPage(w http.ResponseWriter, r *http.Request) error {
	a, err := s.clip(r.Context(), r.PathValue("a"))
	if err != nil {
		return err
	}
	b, err := s.clip(r.Context(), r.PathValue("b"))
	if err != nil {
		return err
	}
	key := a.SHA256 + "-" + b.SHA256
	v := &comparedView{frame: s.frame(r, "Two swings", "compare"), A: a, B: b, Here: "/compare/" + a.SHA256 + "/" + b.SHA256 + "/files/"}
	v.Running, v.Failed = s.compares.state(key)
	dir := filepath.Join(s.compareFolder(), key)
	if !v.Running && v.Failed == "" {
		doc, err := os.ReadFile(filepath.Join(dir, "comparison.json"))
		switch {
		case err == nil:
			if err := v.read(doc); err != nil {
				return err
			}
			v.Video, v.Grid = isFile(filepath.Join(dir, "side-by-side.mp4")), isFile(filepath.Join(dir, "stills", "compare.png"))
		case !os.IsNotExist(err):
			return err
		}
	}
	if v.Running {
		w.Header().Set("Refresh", "3") // for browsers without script too
	}
	s.pages.show(w, http.StatusOK, "compared", v)
	return nil
}

func isFile(p string) bool {
	st, err := os.Stat(p)
	return err == nil && st.Mode().IsRegular()
}

func (s *Server) comparedFile(w http.ResponseWriter, r *http.Request) error {
	a, b := r.PathValue("a"), r.PathValue("b")
	if !shaForm.MatchString(a) || !shaForm.MatchString(b) {
		return notFound()
	}
	return s.give(w, r, filepath.Join(s.compareFolder(), a+"-"+b), comparedFiles, "comparison", "/compare/"+a+"/"+b, "Back")
}

// read takes what a comparison says: its first pair.
func (v *comparedView) read(doc []byte) error {
	var c struct {
		Comparisons []struct {
			Aligned  string                    `json:"aligned_at"`
			SameView bool                      `json:"same_view"`
			Events   []swing.EventDifference   `json:"events"`
			Measures []swing.MeasureDifference `json:"measures"`
			Warnings []struct{ Text string }   `json:"warnings"`
		}
	}
	if err := json.Unmarshal(doc, &c); err != nil {
		return err
	}
	if len(c.Comparisons) == 0 {
		return nil
	}
	one := c.Comparisons[0]
	v.Done, v.Aligned, v.SameView = true, one.Aligned, one.SameView
	for _, e := range one.Events {
		v.Events = append(v.Events, difference{words(string(e.Event)), amount(e.A, nil, "ms"), amount(e.B, nil, "ms"), amount(e.Value, e.Sigma, "ms"), string(e.Verdict)})
	}
	for _, m := range one.Measures {
		name := strings.ReplaceAll(m.ID, "_", " ")
		if m.Event != "" {
			name += " at " + words(string(m.Event))
		}
		if strings.HasSuffix(m.ID, "_m") {
			continue // the same in metres
		}
		d := difference{name, amount(m.A, m.SigmaA, m.Unit), amount(m.B, m.SigmaB, m.Unit), amount(m.Value, m.Sigma, m.Unit), string(m.Verdict)}
		switch m.Verdict {
		case swing.Differs:
			v.Differing = append(v.Differing, d)
		case swing.NoClearDifference:
			v.Same = append(v.Same, d)
		}
	}
	for _, x := range one.Warnings {
		v.Warnings = append(v.Warnings, x.Text)
	}
	return nil
}

// amount writes a value with its uncertainty and no more digits than that carries.
func amount(v, sigma *float64, unit string) string {
	if v == nil {
		return "not measurable"
	}
	digits, name := 2, " "+strings.ReplaceAll(unit, "_", " ")
	switch unit {
	case "deg":
		digits, name = 0, "°"
	case "ms":
		digits, name = 0, " ms"
	case "stature":
		digits, name = 3, " height"
	case "1", "":
		name = ""
	}
	text := func(x float64) string {
		x = math.Round(x*math.Pow10(digits)) / math.Pow10(digits)
		return strconv.FormatFloat(x+0, 'f', digits, 64) // +0: no minus zero
	}
	if sigma == nil {
		return text(*v) + name
	}
	return fmt.Sprintf("%s ± %s%s", text(*v), text(math.Max(*sigma, math.Pow10(-digits))), name)
}
