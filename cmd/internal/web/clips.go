package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// clip is one clip, wherever it is known from: the records when it was analysed for a
// hitter, else the queue.
type clip struct {
	store.ClipLine
	Path string     // where it lies; "" = not there any more
	Job  *queue.Job // the latest; nil = none
	seen []queue.Seen
}

// shaForm is the form of a clip's number, which is a part of paths.
var shaForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

// clip finds a clip; the error says when it is not there.
func (s *Server) clip(ctx context.Context, sha256 string) (*clip, error) {
	if !shaForm.MatchString(sha256) {
		return nil, notFound()
	}
	line, found, err := s.d.Records.Clip(ctx, nil, sha256)
	if err != nil {
		return nil, err
	}
	c := &clip{ClipLine: line}
	if c.seen, err = s.d.Queue.SameContent(ctx, sha256); err != nil {
		return nil, err
	}
	for _, x := range c.seen {
		p := filepath.Join(x.Root, filepath.FromSlash(x.Path))
		if _, err := os.Stat(p); err == nil {
			c.Path = p
		}
		j, err := s.d.Queue.Get(ctx, x.Job)
		if errors.Is(err, queue.ErrNoJob) {
			continue
		}
		if err != nil {
			return nil, err
		}
		c.Job = &j
	}
	if !found && c.Job == nil {
		return nil, notFound()
	}
	c.SHA256 = sha256
	if !found { // not analysed yet, or nobody's
		c.File, c.Hitter = filepath.Base(c.Job.Clip.Path), c.Job.Clip.Hitter
		if h, err := s.d.Records.FindHitter(ctx, nil, c.Hitter); err == nil && c.Hitter != "" {
			c.HitterID = h.ID
		}
	}
	if c.Folder == "" && c.Job != nil {
		folder := filepath.Join(c.Job.Clip.Out, c.Job.Clip.Folder)
		if _, err := os.Stat(filepath.Join(folder, "analysis.json")); err == nil {
			c.Folder = folder
		}
	}
	return c, nil
}

// seenBy finds a clip for somebody who may see it.
func (s *Server) seenBy(r *http.Request) (*clip, error) {
	c, err := s.clip(r.Context(), r.PathValue("sha"))
	if err == nil && !personOf(r).sees(c.HitterID) {
		err = notFound()
	}
	return c, err
}

type clipsView struct {
	frame
	Clips      []store.ClipLine
	Hitters    []store.Hitter
	Hitter     string
	Page       int
	Prev, Next string
}

// perPage is how many clips a page lists.
const perPage = 60

func (s *Server) clipsPage(w http.ResponseWriter, r *http.Request) error {
	n, _ := strconv.Atoi(r.URL.Query().Get("page"))
	n = min(max(n, 0), 1_000_000)
	v := &clipsView{frame: s.frame(r, "Clips", "clips"), Hitter: r.URL.Query().Get("hitter"), Page: n + 1}
	var more bool
	var err error
	if v.Clips, more, err = s.d.Records.Clips(r.Context(), nil, v.Hitter, perPage, n*perPage); err != nil {
		return err
	}
	if v.Hitters, err = s.d.Records.Hitters(r.Context(), nil); err != nil {
		return err
	}
	to := func(n int) string { return fmt.Sprintf("/clips?page=%d&hitter=%s", n, urlEscape(v.Hitter)) }
	if n > 0 {
		v.Prev = to(n - 1)
	}
	if more {
		v.Next = to(n + 1)
	}
	s.pages.show(w, http.StatusOK, "clips", v)
	return nil
}

type clipView struct {
	frame
	*clip
	Row      *jobRow
	Here     string // address of the clip's files
	Overlay  bool
	Beside   bool
	JSON     bool
	Reports  []file
	Stills   []file
	Needs    []need
	Hitters  []store.Hitter
	Versions int
	Ours     bool // the clip lies in our folder: deleting removes it
}

type file struct {
	Name, Words, Alt string
	order            int
}

// need is what a swing is about, in short.
type need struct {
	Swing             int
	Title, Text, Cue  string
	Judged            bool
	Bats, View, Plant string
}

// clipFiles are the files of a clip that the page gives out.
var clipFiles = regexp.MustCompile(`^(analysis\.json|comparison\.json|overlay\.mp4|side-by-side(-\d+)?\.mp4|report(-\d+)?\.(html|pdf)|stills/[A-Za-z0-9-]+\.png)$`)

func (s *Server) clipPage(w http.ResponseWriter, r *http.Request) error {
	c, err := s.seenBy(r)
	if err != nil {
		return err
	}
	v := &clipView{frame: s.frame(r, c.File, "clips"), clip: c, Here: "/clips/" + c.SHA256 + "/files/"}
	v.Ours = below(s.clipsFolder(), c.Path) || c.Path == ""
	if c.Job != nil && !v.Who.Guest() {
		row := newJobRow(*c.Job, v.Who)
		v.Row = &row
	}
	if c.Analysis != "" {
		if v.Needs, err = s.needs(r.Context(), c.ClipLine); err != nil {
			return err
		}
		versions, err := s.d.Records.Versions(r.Context(), nil, c.SHA256)
		if err != nil {
			return err
		}
		v.Versions = len(versions)
	}
	v.list(c.Folder)
	if v.Who.Instructor() {
		if v.Hitters, err = s.d.Records.Hitters(r.Context(), nil); err != nil {
			return err
		}
	}
	s.pages.show(w, http.StatusOK, "clip", v)
	return nil
}

// list finds what there is to show in the folder of a clip.
func (v *clipView) list(folder string) {
	if folder == "" {
		return
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return
	}
	defer root.Close()
	has := func(name string) bool {
		st, err := root.Stat(name)
		return err == nil && st.Mode().IsRegular()
	}
	v.Overlay, v.Beside, v.JSON = has("overlay.mp4"), has("side-by-side.mp4"), has("analysis.json")
	entries, _ := fs.ReadDir(root.FS(), ".")
	for _, e := range entries {
		if m := reportName.FindStringSubmatch(e.Name()); m != nil && e.Type().IsRegular() {
			words := map[string]string{"html": "Report", "pdf": "Report to print"}[m[2]]
			if m[1] != "" {
				words += ", swing " + m[1][1:]
			}
			v.Reports = append(v.Reports, file{Name: e.Name(), Words: words})
		}
	}
	entries, _ = fs.ReadDir(root.FS(), "stills")
	for _, e := range entries {
		if m := stillForm.FindStringSubmatch(e.Name()); m != nil && e.Type().IsRegular() {
			v.Stills = append(v.Stills, newStill(e.Name(), m[1], m[2], len(v.Needs) > 1))
		}
	}
	slices.SortStableFunc(v.Stills, func(a, b file) int { return a.order - b.order })
}

// newStill describes a still; with several swings it says of which.
func newStill(name, number, event string, several bool) file {
	f := file{Name: "stills/" + name, Words: words(event)}
	f.Alt = "The hitter at " + f.Words + ", with the lines drawn"
	if event == "plan" {
		f.Words, f.Alt = "from above", "Shoulders and hips seen from above"
	}
	n, _ := strconv.Atoi(number)
	f.order = 100*n + instant(event)
	if several {
		f.Words += ", swing " + number
		f.Alt += ", swing " + number
	}
	return f
}

var (
	reportName = regexp.MustCompile(`^report(-\d+)?\.(html|pdf)$`)
	stillForm  = regexp.MustCompile(`^(\d+)-([a-z-]+)\.png$`)
)

func words(event string) string { return strings.ReplaceAll(event, "-", " ") }

// instant orders stills in time.
func instant(event string) int {
	all := []swing.EventName{swing.Stance, swing.Load, swing.Lift, swing.Touch, swing.Plant, swing.SwingStart, swing.Contact, swing.Finish}
	i := slices.Index(all, swing.EventName(event))
	if i < 0 {
		return len(all)
	}
	return i
}

// needs says what each swing of a clip needs first.
func (s *Server) needs(ctx context.Context, l store.ClipLine) ([]need, error) {
	doc, ok, err := s.d.Records.Document(ctx, nil, l.Analysis)
	if err != nil || !ok {
		return nil, err
	}
	var a struct {
		Swings []struct {
			Index      int
			Bats, View string
			Events     map[string]struct {
				Time  float64 `json:"time_s"`
				Sigma float64 `json:"sigma_s"`
			}
			Findings []struct {
				Title, Text, Cue string
				Priority         int
			}
		}
	}
	if err := json.Unmarshal(doc, &a); err != nil {
		return nil, err
	}
	var out []need
	for _, w := range a.Swings {
		n := need{Swing: w.Index, Judged: len(w.Findings) > 0, Bats: batsWords(w.Bats), View: viewWords(w.View), Plant: "not found"}
		if p, ok := w.Events["plant"]; ok {
			n.Plant = fmt.Sprintf("%.3f s ± %.0f ms", p.Time, 1000*p.Sigma)
		}
		for _, f := range w.Findings {
			if f.Priority == 1 {
				n.Title, n.Text, n.Cue = f.Title, f.Text, f.Cue
			}
		}
		out = append(out, n)
	}
	return out, nil
}

func batsWords(b string) string {
	return map[string]string{"R": "right-handed", "L": "left-handed"}[b]
}

func viewWords(v string) string {
	return map[string]string{"open-side": "from the open side", "rear": "from behind"}[v]
}

// clipFile gives out one file of a clip. Videos come in ranges; pages get the
// permission for their own style and for nothing else.
func (s *Server) clipFile(w http.ResponseWriter, r *http.Request) error {
	c, err := s.seenBy(r)
	if err != nil {
		return err
	}
	return s.give(w, r, c.Folder, clipFiles, c.File, "/clips/"+c.SHA256, "Back to the clip")
}

// give gives out a file below a folder whose name has a form. Links that lead out of
// the folder are not followed.
func (s *Server) give(w http.ResponseWriter, r *http.Request, folder string, form *regexp.Regexp, title, back, backWords string) error {
	name := r.PathValue("name")
	if folder == "" || !form.MatchString(name) {
		return notFound()
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return notFound()
	}
	defer root.Close()
	f, err := root.Open(filepath.FromSlash(name))
	if err != nil {
		return notFound()
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil || !st.Mode().IsRegular() {
		return notFound()
	}
	h := w.Header()
	h.Set("Cache-Control", "private, no-cache")
	switch path.Ext(name) {
	case ".html":
		var b bytes.Buffer
		if _, err := b.ReadFrom(f); err != nil {
			return err
		}
		return s.givePage(w, b.Bytes(), back, backWords)
	case ".mp4":
		h.Set("Content-Type", "video/mp4")
	case ".png":
		h.Set("Content-Type", "image/png")
	case ".pdf":
		h.Set("Content-Type", "application/pdf")
	case ".json":
		h.Set("Content-Type", "application/json")
	}
	if r.URL.Query().Has("download") {
		stem := strings.TrimSuffix(title, path.Ext(title))
		h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": stem + "-" + path.Base(name)}))
	}
	http.ServeContent(s.longTransfer(w), r, "", st.ModTime(), f)
	return nil
}

// below tells whether a path lies in a folder.
func below(folder, p string) bool {
	rel, err := filepath.Rel(folder, p)
	return p != "" && err == nil && rel != "." && filepath.IsLocal(rel)
}
