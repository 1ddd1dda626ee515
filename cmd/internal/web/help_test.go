package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// bench is a page on a store and a queue of its own; the pipeline is played by functions.
type bench struct {
	*Server
	t      *testing.T
	o      Options
	d      Deps
	now    time.Time
	forgot []string // folders handed to Forget while they were there
	added  int
	free   int64
}

// newBench makes a page. With passwords "coach" (instructor) and "helper" (viewer) may
// log in.
func newBench(t *testing.T, passwords bool) *bench {
	t.Helper()
	dir := t.TempDir()
	b := &bench{t: t, now: time.Now(), free: 1 << 40}
	b.o = DefaultOptions()
	b.o.Folder = filepath.Join(dir, "academy")
	b.o.Passwords = filepath.Join(dir, "passwords")
	b.o.Look = 20 * time.Millisecond
	if passwords {
		b.password("coach", Instructor)
		b.password("helper", Viewer)
	}
	db := filepath.Join(dir, "records.db")
	r, err := store.Open(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	qo := queue.DefaultOptions()
	qo.Database = db
	q, err := queue.Open(t.Context(), qo)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { q.Close() })
	b.d = Deps{
		Records: r, Queue: q, Extensions: []string{".mov", ".mp4"}, Levels: []string{"youth", "adult"}, Sports: []string{"baseball", "softball"},
		Probe: func(_ context.Context, path string) (swing.Clip, error) {
			data, err := os.ReadFile(path)
			if err != nil {
				return swing.Clip{}, err
			}
			if strings.HasPrefix(string(data), "bad") {
				return swing.Clip{}, &swing.Error{Kind: swing.KindUnreadable, Msg: "this is not a video"}
			}
			sum := sha256.Sum256(data)
			return swing.Clip{Path: path, SHA256: hex.EncodeToString(sum[:]), Frames: 10}, nil
		},
		Order: func(_ context.Context, c swing.Clip, h store.Hitter) (queue.Clip, error) {
			return queue.Clip{SHA256: c.SHA256, Key: "k", Path: c.Path, Out: ResultFolder(b.o.Folder), Folder: c.SHA256[:8], Hitter: h.Name, Source: "serve"}, nil
		},
		Compare: func(context.Context, Side, Side, string) error { return nil },
		Progress: func(_ context.Context, w io.Writer, h store.Hitter) error {
			_, err := fmt.Fprintf(w, "<html><head><style>p{}</style></head><body><main>\nprogress</main></body></html>")
			return err
		},
		Roster: func(_ context.Context, w io.Writer, link func(string) string) error {
			_, err := fmt.Fprintf(w, "<style></style><main>roster %s</main>", link("x"))
			return err
		},
		Height: func(string) (float64, error) { return 1.7, nil },
		Say:    func(err error) string { return err.Error() },
		Free:   func(string) (int64, error) { return b.free, nil },
		Forget: func(_ context.Context, folders []string) error {
			for _, f := range folders {
				if _, err := os.Stat(filepath.Join(f, "analysis.json")); err == nil {
					b.forgot = append(b.forgot, f)
				}
			}
			return nil
		},
		Added: func() { b.added++ },
		Now:   func() time.Time { return b.now },
	}
	b.restart()
	return b
}

// restart makes the page anew on what is there, as a server that was killed does.
func (b *bench) restart() {
	b.t.Helper()
	s, err := New(b.t.Context(), b.o, b.d)
	if err != nil {
		b.t.Fatal(err)
	}
	b.Server = s
}

func (b *bench) password(name string, role Role) {
	b.t.Helper()
	if err := SetPassword(b.o.Passwords, name, "secret "+name, role); err != nil {
		b.t.Fatal(err)
	}
}

// hitterNamed adds a hitter.
func (b *bench) hitterNamed(name string) store.Hitter {
	b.t.Helper()
	h, err := b.d.Records.SetHitter(b.t.Context(), nil, store.Hitter{Name: name, Bats: swing.Right})
	if err != nil {
		b.t.Fatal(err)
	}
	return h
}

// analysed puts a clip with results into the store, the queue and the folders.
func (b *bench) analysed(name, content string, h store.Hitter) string {
	b.t.Helper()
	ctx := b.t.Context()
	u, err := b.begin(ctx, name, h.ID, int64(len(content)), 0)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(b.incoming.data(u.ID), []byte(content), 0o600); err != nil {
		b.t.Fatal(err)
	}
	b.fileOne(ctx, u.ID)
	u, _, err = b.upload(ctx, u.ID)
	if err != nil || u.State != queued {
		b.t.Fatalf("%+v %v", u, err)
	}
	folder := filepath.Join(ResultFolder(b.o.Folder), u.SHA256[:8])
	doc := `{"swings":[{"index":1,"bats":"R","view":"open-side","events":{"plant":{"time_s":1.5,"sigma_s":0.004}},"findings":[{"title":"Barrel <b>steep</b>","priority":1,"text":"T","cue":"C"}]}]}`
	for f, text := range map[string]string{
		"analysis.json": doc, "overlay.mp4": "0123456789video", "stills/1-plant.png": "png", "secret.txt": "no",
		"report.html": "<html><head><style>p{color:red}</style></head><body><main>\nreport<script>alert(1)</script></main></body></html>",
	} {
		p := filepath.Join(folder, f)
		if err := os.MkdirAll(filepath.Dir(p), 0o700); err != nil {
			b.t.Fatal(err)
		}
		if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
			b.t.Fatal(err)
		}
	}
	_, err = b.d.Records.Save(ctx, nil, store.Entry{
		Hitter: store.Hitter{Name: h.Name}, Document: []byte(doc), Folder: folder, Shot: b.now, ShotSource: "clip",
		Analysis: swing.Analysis{ToolVersion: "1", Clip: swing.Clip{Path: u.Path, SHA256: u.SHA256}, Swings: []swing.Swing{{Index: 1, Bats: swing.Right, View: swing.OpenSide}}},
	})
	if err != nil {
		b.t.Fatal(err)
	}
	return u.SHA256
}

// client keeps cookies and follows nothing.
type client struct {
	t       *testing.T
	h       func() http.Handler
	cookies map[string]string
	host    string
	from    string
}

func (b *bench) client() *client {
	return &client{t: b.t, h: func() http.Handler { return b.Handler() }, cookies: map[string]string{}, host: "localhost:8765", from: "192.0.2.1:4000"}
}

// do sends a request as a browser on the page itself does.
func (c *client) do(method, target string, body io.Reader, header map[string]string) *httptest.ResponseRecorder {
	c.t.Helper()
	r := httptest.NewRequestWithContext(c.t.Context(), method, "/", body)
	u, err := url.ParseRequestURI(target)
	if err != nil {
		c.t.Fatal(err)
	}
	r.URL, r.RequestURI, r.Host, r.RemoteAddr = u, target, c.host, c.from
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	for k, v := range header {
		r.Header.Set(k, v)
	}
	for k, v := range c.cookies {
		r.AddCookie(&http.Cookie{Name: k, Value: v})
	}
	w := httptest.NewRecorder()
	c.h().ServeHTTP(w, r)
	for _, k := range w.Result().Cookies() {
		if c.cookies[k.Name] = k.Value; k.MaxAge < 0 {
			delete(c.cookies, k.Name)
		}
	}
	return w
}

func (c *client) get(target string) *httptest.ResponseRecorder {
	c.t.Helper()
	return c.do("GET", target, nil, nil)
}

func (c *client) post(target string, form ...string) *httptest.ResponseRecorder {
	c.t.Helper()
	v := url.Values{}
	for i := 0; i+1 < len(form); i += 2 {
		v.Set(form[i], form[i+1])
	}
	return c.do("POST", target, strings.NewReader(v.Encode()), map[string]string{"Content-Type": "application/x-www-form-urlencoded"})
}

// as logs somebody in.
func (b *bench) as(name string) *client {
	b.t.Helper()
	c := b.client()
	if w := c.post("/login", "name", name, "password", "secret "+name); w.Code != http.StatusSeeOther {
		b.t.Fatal("login: ", w.Code, w.Body)
	}
	return c
}

func wantCode(t *testing.T, w *httptest.ResponseRecorder, code int) {
	t.Helper()
	if w.Code != code {
		t.Errorf("status %d, want %d: %s", w.Code, code, cut(w.Body.String(), 2000))
	}
}

func itoa(n int64) string { return strconv.FormatInt(n, 10) }

type (
	ctxT    = context.Context
	clipT   = swing.Clip
	hitterT = store.Hitter
)
