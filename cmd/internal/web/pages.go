package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"html/template"
	"net/http"
	"path"
	"strings"
	"time"

	"plantframe/cmd/internal/store"
)

//go:embed templates/*.html
var templates embed.FS

//go:embed static/style.css static/app.js static/tus.min.js
var statics embed.FS

// frame is what every page has.
type frame struct {
	Title string
	At    string // part of the menu
	Who   person
}

func (s *Server) frame(r *http.Request, title, at string) frame {
	return frame{Title: title, At: at, Who: personOf(r)}
}

// pages draws pages.
type pages struct{ t *template.Template }

func parsePages() (*pages, error) {
	t, err := template.New("").Funcs(template.FuncMap{
		"day": day, "mb": mb, "bats": batsWords, "view": viewWords, "count": countWords,
		"words": func(s string) string { return strings.ReplaceAll(s, "-", " ") },
		"pick":  func(list []store.Hitter, chosen, label string) picker { return picker{list, chosen, label} },
		"form": func(levels, sports []string, h store.Hitter, height, next string) hitterFormView {
			return hitterFormView{levels, sports, h, height, next}
		},
		"none": func() store.Hitter { return store.Hitter{} },
	}).ParseFS(templates, "templates/*.html")
	if err != nil {
		return nil, fmt.Errorf("web.New: %w", err)
	}
	return &pages{t}, nil
}

// picker is a list to choose a hitter from.
type picker struct {
	Hitters       []store.Hitter
	Chosen, Label string
}

// hitterFormView is the form of what is known of a hitter.
type hitterFormView struct {
	Levels, Sports []string
	Hitter         store.Hitter
	Height, Next   string
}

// show sends a page, whole or not at all.
func (p *pages) show(w http.ResponseWriter, status int, name string, v any) {
	var b bytes.Buffer
	if err := p.t.ExecuteTemplate(&b, name, v); err != nil {
		panic(err) // a fault of a template; the guard says so
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes())
}

// givePage sends a page of the report package. Its style stands in the page: that
// style is allowed by its checksum, and nothing else is, no script above all. A way
// back is put at its top.
func (s *Server) givePage(w http.ResponseWriter, page []byte, back, text string) error {
	sum := ""
	if _, rest, ok := bytes.Cut(page, []byte("<style>")); ok {
		if css, _, ok := bytes.Cut(rest, []byte("</style>")); ok {
			h := sha256.Sum256(css)
			sum = "'sha256-" + base64.StdEncoding.EncodeToString(h[:]) + "'"
		}
	}
	var nav bytes.Buffer
	if err := s.pages.t.ExecuteTemplate(&nav, "back", map[string]string{"Href": back, "Text": text}); err != nil {
		return err
	}
	page = bytes.Replace(page, []byte("<main>"), append([]byte("<main>"), nav.Bytes()...), 1)
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; style-src "+sum+"; img-src 'self' data:; media-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	h.Set("Content-Type", "text/html; charset=utf-8")
	_, err := w.Write(page)
	return err
}

// static gives out our own script and style.
func (s *Server) static(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("name")
	b, err := statics.ReadFile("static/" + name)
	if err != nil || strings.Contains(name, "/") {
		return notFound()
	}
	h := w.Header()
	h.Set("Content-Type", map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8"}[path.Ext(name)])
	sum := sha256.Sum256(b)
	h.Set("ETag", `"`+hex.EncodeToString(sum[:12])+`"`)
	h.Set("Cache-Control", "no-cache")
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(b))
	return nil
}

// noIcon answers browsers that ask for an icon on pages that do not name one.
func noIcon(w http.ResponseWriter, _ *http.Request) error {
	w.WriteHeader(http.StatusNoContent)
	return nil
}

type homeView struct {
	frame
	Clips   []store.ClipLine
	Counts  map[string]int
	Hitters int
}

// home is the first page: what goes on, and the latest clips.
func (s *Server) home(w http.ResponseWriter, r *http.Request) error {
	p := personOf(r)
	if p.Guest() {
		http.Redirect(w, r, "/hitters/"+p.hitter, http.StatusSeeOther)
		return nil
	}
	v := &homeView{frame: s.frame(r, "Swings", "home"), Counts: map[string]int{}}
	n, err := s.d.Queue.Counts(r.Context())
	if err != nil {
		return err
	}
	for state, k := range n {
		v.Counts[strings.ReplaceAll(string(state), "-", "")] = k
	}
	if v.Clips, _, err = s.d.Records.Clips(r.Context(), nil, "", 12, 0); err != nil {
		return err
	}
	hitters, err := s.d.Records.Hitters(r.Context(), nil)
	if err != nil {
		return err
	}
	v.Hitters = len(hitters)
	s.pages.show(w, http.StatusOK, "home", v)
	return nil
}

// day writes a day, or a time, for people.
func day(text string) string {
	if t, err := time.Parse(time.DateOnly, text); err == nil {
		return t.Format("2 January 2006")
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t.Local().Format("2 January 2006, 15:04")
	}
	return text
}

func mb(n int64) string {
	if n < 0 {
		return "size not known"
	}
	return fmt.Sprintf("%.1f MB", float64(n)/(1<<20))
}

func countWords(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}
