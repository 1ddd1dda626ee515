package web

import (
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"plantframe/cmd/internal/queue"
)

// HTML in names of people and files is text wherever it is shown, and no page holds a
// script of its own.
func TestNamesAreText(t *testing.T) {
	b := newBench(t, true)
	evil := `"><script>alert(1)</script>`
	h := b.hitterNamed(evil + " Ann")
	sha := b.analysed("x'<img src=x onerror=alert(1)>.mp4", "one", h)
	c := b.as("coach")
	c.post("/hitters/"+h.ID+"/links", "days", "3")
	values := regexp.MustCompile(`"[^"]*"`) // of attributes: a quote in text is escaped
	inline := regexp.MustCompile(`(?i)<script(\s[^>]*)?>\s*[^<\s]|<[a-z][^>]*\son[a-z]+\s*=|<style|<[a-z][^>]*\sstyle=`)
	for _, p := range []string{
		"/", "/upload", "/jobs", "/clips", "/clips/" + sha, "/hitters", "/hitters/" + h.ID, "/compare", "/compare?a=" + url.QueryEscape(evil),
		"/clips?hitter=" + url.QueryEscape(evil), "/jobs?show=" + url.QueryEscape(evil), "/upload?hitter=" + url.QueryEscape(evil), "/" + url.PathEscape(evil),
		"/login?next=" + url.QueryEscape("/"+evil), "/clips/" + sha + "?" + url.QueryEscape(evil),
	} {
		w := c.get(p)
		text := w.Body.String()
		if strings.Contains(text, "<script>alert") || strings.Contains(text, "<img src=x") || inline.MatchString(values.ReplaceAllString(text, `""`)) || strings.Contains(text, "href=\"javascript") || strings.Contains(text, "<b>steep") {
			t.Errorf("%s: %s", p, inline.FindString(text))
		}
		csp := w.Header().Get("Content-Security-Policy")
		if !strings.Contains(csp, "default-src 'none'") || !strings.Contains(csp, "script-src 'self'") || strings.Contains(csp, "unsafe") {
			t.Error(p, csp)
		}
		if w.Header().Get("X-Content-Type-Options") != "nosniff" || w.Header().Get("Referrer-Policy") != "same-origin" {
			t.Error(p, w.Header())
		}
	}
	// What the stream carries is escaped too.
	all, _ := b.d.Queue.List(t.Context(), queue.Filter{})
	text, err := b.eventText(event{job: &all[0]}, person{role: Instructor})
	if err != nil || strings.Contains(text, "<img") || strings.Contains(text, "<script>") || strings.Count(strings.TrimSpace(text), "\n") != 1 {
		t.Error(text, err)
	}
}

// A stored report may have only the style that it carries, and no script whatever
// stands in it.
func TestReportsHaveNoScript(t *testing.T) {
	b := newBench(t, false)
	sha := b.analysed("a.mp4", "one", b.hitterNamed("Ann"))
	w := b.client().get("/clips/" + sha + "/files/report.html")
	wantCode(t, w, 200)
	csp := w.Header().Get("Content-Security-Policy")
	sum := sha256.Sum256([]byte("p{color:red}"))
	if !strings.Contains(csp, "'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'") || strings.Contains(csp, "script") || strings.Contains(csp, "unsafe") {
		t.Error(csp)
	}
	if !strings.Contains(w.Body.String(), `<a href="/clips/`+sha+`">`) {
		t.Error("no way back")
	}
}

func TestFilesOfAClip(t *testing.T) {
	b := newBench(t, false)
	sha := b.analysed("swing ö.mp4", "one", b.hitterNamed("Ann"))
	c := b.client()
	at := "/clips/" + sha + "/files/"
	w := c.do("GET", at+"overlay.mp4", nil, map[string]string{"Range": "bytes=2-5"})
	wantCode(t, w, http.StatusPartialContent)
	if w.Body.String() != "2345" || w.Header().Get("Content-Range") != "bytes 2-5/15" || w.Header().Get("Content-Type") != "video/mp4" {
		t.Error(w.Body, w.Header())
	}
	w = c.do("GET", at+"overlay.mp4", nil, map[string]string{"Range": "bytes=99-"})
	wantCode(t, w, http.StatusRequestedRangeNotSatisfiable)
	wantCode(t, c.get(at+"stills/1-plant.png"), 200)
	w = c.get(at + "analysis.json?download")
	if d := w.Header().Get("Content-Disposition"); !strings.HasPrefix(d, "attachment") || !strings.Contains(d, "%C3%B6") {
		t.Error(d)
	}
	folder := filepath.Join(ResultFolder(b.o.Folder), sha[:8])
	outside := filepath.Join(t.TempDir(), "outside.mp4")
	_ = os.WriteFile(outside, []byte("secret"), 0o600)
	if err := os.Symlink(outside, filepath.Join(folder, "side-by-side.mp4")); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{
		"secret.txt", "side-by-side.mp4", "../" + sha[:8] + "/overlay.mp4", "stills/../secret.txt", "..%2f..%2f..%2frecords.db", "stills/", "",
		"stills%2f..%2fsecret.txt", "overlay.mp4%00", "/etc/passwd", "....//overlay.mp4", "stills/..\\..\\secret.png",
	} {
		if w := c.get(at + name); w.Code < 300 {
			t.Error(name, w.Code, w.Body)
		}
	}
	for _, p := range []string{"/clips/" + strings.ToUpper(sha), "/clips/..", "/clips/" + sha + "x", "/static/../server.go", "/static/tus.LICENSE", "/hitters/Ann", "/jobs/x/retry"} {
		if w := c.get(p); w.Code == 200 {
			t.Error(p, w.Code)
		}
	}
}

// What is deleted leaves nothing, in folders, queue and store.
func TestDelete(t *testing.T) {
	b := newBench(t, false)
	ann, bo := b.hitterNamed("Ann"), b.hitterNamed("Bo")
	one, two, three := b.analysed("a.mp4", "one", ann), b.analysed("b.mp4", "two", ann), b.analysed("c.mp4", "three", bo)
	c := b.client()
	pair := filepath.Join(b.compareFolder(), one+"-"+three)
	if err := os.MkdirAll(pair, 0o700); err != nil {
		t.Fatal(err)
	}
	wantCode(t, c.post("/clips/"+one+"/delete"), 422)
	wantCode(t, c.get("/clips/"+one), 200)
	wantCode(t, c.post("/clips/"+one+"/delete", "sure", "yes"), http.StatusSeeOther)
	if len(b.forgot) != 1 {
		t.Errorf("what the stages left is looked for in %v, one folder is needed", b.forgot)
	}
	gone := func(sha string) {
		t.Helper()
		wantCode(t, c.get("/clips/"+sha), 404)
		err := filepath.WalkDir(b.o.Folder, func(p string, _ os.DirEntry, err error) error {
			if strings.Contains(p, sha) || strings.Contains(p, sha[:8]) {
				t.Error("left: ", p)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		if seen, _ := b.d.Queue.SameContent(t.Context(), sha); len(seen) > 0 {
			t.Error(seen)
		}
		if jobs, _ := b.d.Queue.List(t.Context(), queue.Filter{Keep: func(j queue.Job) bool { return j.Clip.SHA256 == sha }}); len(jobs) > 0 {
			t.Error(jobs)
		}
		if up, _ := b.uploads(t.Context(), `WHERE u.sha256 = $1`, sha); len(up) > 0 {
			t.Error(up)
		}
	}
	gone(one)
	wantCode(t, c.get("/clips/"+two), 200)
	// A half-sent upload of hers goes too; Bo's clip stays.
	u, err := b.begin(t.Context(), "half.mp4", ann.ID, 100, 0)
	if err != nil {
		t.Fatal(err)
	}
	_ = os.WriteFile(b.incoming.data(u.ID), []byte("half"), 0o600)
	wantCode(t, c.post("/hitters/"+ann.ID+"/delete", "name", "Bo"), 422)
	wantCode(t, c.post("/hitters/"+ann.ID+"/delete", "name", "Ann"), http.StatusSeeOther)
	gone(two)
	if left, _ := os.ReadDir(b.incoming.dir); len(left) != 0 {
		t.Error(left)
	}
	wantCode(t, c.get("/hitters/"+ann.ID), 404)
	wantCode(t, c.get("/clips/"+three), 200)
	// The same clip may come again.
	b.analysed("a.mp4", "one", bo)
}

// A clip of a watched folder is not ours to delete: its results go, the file stays.
func TestDeleteLeavesForeignFiles(t *testing.T) {
	b := newBench(t, false)
	h := b.hitterNamed("Ann")
	foreign := filepath.Join(t.TempDir(), "watched.mp4")
	_ = os.WriteFile(foreign, []byte("theirs"), 0o600)
	clip, _ := b.d.Probe(t.Context(), foreign)
	order, _ := b.d.Order(t.Context(), clip, h)
	order.Out = filepath.Dir(foreign)
	order.Folder = "results"
	kept := filepath.Join(order.Out, order.Folder, "analysis.json")
	_ = os.MkdirAll(filepath.Dir(kept), 0o700)
	_ = os.WriteFile(kept, nil, 0o600)
	j, _, err := b.d.Queue.Add(t.Context(), order, queue.Usual)
	if err != nil {
		t.Fatal(err)
	}
	_ = b.d.Queue.Remember(t.Context(), queue.Seen{Root: filepath.Dir(foreign), Path: "watched.mp4", SHA256: clip.SHA256, Job: j.ID})
	c := b.client()
	if !strings.Contains(c.get("/clips/"+clip.SHA256).Body.String(), "stays there") {
		t.Error("it is not said")
	}
	wantCode(t, c.post("/clips/"+clip.SHA256+"/delete", "sure", "yes"), http.StatusSeeOther)
	for _, p := range []string{foreign, kept} {
		if _, err := os.Stat(p); err != nil {
			t.Error(err)
		}
	}
	wantCode(t, c.get("/clips/"+clip.SHA256), 404)
}

func TestJobsAreChanged(t *testing.T) {
	b := newBench(t, false)
	h := b.hitterNamed("Ann")
	sha := b.analysed("a.mp4", "one", h)
	all, _ := b.d.Queue.List(t.Context(), queue.Filter{})
	id := all[0].ID
	c := b.client()
	state := func() queue.State {
		j, err := b.d.Queue.Get(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		return j.State
	}
	path := "/jobs/" + itoa(id)
	wantCode(t, c.post("/clips/"+sha+"/again"), http.StatusConflict) // it waits
	wantCode(t, c.post(path+"/cancel"), http.StatusSeeOther)
	if state() != queue.Cancelled {
		t.Error(state())
	}
	if !strings.Contains(c.get("/jobs?show=failed").Body.String(), "cancelled") || strings.Contains(c.get("/jobs?show=done").Body.String(), "a.mp4") {
		t.Error("the filter shows something else")
	}
	wantCode(t, c.post(path+"/retry"), http.StatusSeeOther)
	if state() != queue.Waiting {
		t.Error(state())
	}
	wantCode(t, c.post(path+"/explode"), 404)
	wantCode(t, c.post("/jobs/999/cancel"), 404)
	c.post(path + "/cancel")
	// With the same settings it is the same job, with others a new one behind new clips.
	wantCode(t, c.post("/clips/"+sha+"/again"), http.StatusSeeOther)
	if state() != queue.Waiting {
		t.Error(state())
	}
	c.post(path + "/cancel")
	order := b.d.Order
	b.Server.d.Order = func(ctx ctxT, cl clipT, h hitterT) (queue.Clip, error) {
		o, err := order(ctx, cl, h)
		o.Key = "other settings"
		return o, err
	}
	wantCode(t, c.post("/clips/"+sha+"/again"), http.StatusSeeOther)
	all, _ = b.d.Queue.List(t.Context(), queue.Filter{States: []queue.State{queue.Waiting}})
	if len(all) != 1 || all[0].Priority != queue.Background || all[0].ID == id {
		t.Errorf("%+v", all)
	}
	if got, _ := b.clip(t.Context(), sha); got.Job == nil || got.Job.ID != all[0].ID {
		t.Error("the clip's page shows another job")
	}
}

func TestHitters(t *testing.T) {
	b := newBench(t, false)
	c := b.client()
	w := c.post("/hitters", "name", " Ann  Able ", "bats", "L", "height", "1.7", "level", "youth", "next", "upload")
	wantCode(t, w, http.StatusSeeOther)
	id, ok := strings.CutPrefix(w.Header().Get("Location"), "/upload?hitter=")
	h, err := b.hitter(t.Context(), id)
	if !ok || err != nil || h.Name != "Ann Able" || h.Bats != "L" || h.HeightM != 1.7 || h.Level != "youth" || h.Adult {
		t.Errorf("%+v %v", h, err)
	}
	for _, bad := range [][]string{{"name", ""}, {"name", "x", "bats", "Z"}, {"name", "x", "level", "<b>"}, {"name", "x", "sport", "chess"}} {
		wantCode(t, c.post("/hitters", bad...), 422)
	}
	wantCode(t, c.post("/hitters", "name", strings.Repeat("x", mostForm)), http.StatusRequestEntityTooLarge)
	sha := b.analysed("a.mp4", "one", h)
	other := b.hitterNamed("Bo")
	wantCode(t, c.post("/clips/"+sha+"/assign", "hitter", "nobody"), 422)
	wantCode(t, c.post("/clips/"+sha+"/assign", "hitter", other.ID), http.StatusSeeOther)
	if l, _, _ := b.d.Records.Clip(t.Context(), nil, sha); l.HitterID != other.ID {
		t.Error(l)
	}
	// A name that looks like a number opens nobody else's page.
	odd := b.hitterNamed(strings.Repeat("0123456789abcdef", 1))
	wantCode(t, c.get("/hitters/0123456789abcdef"), 404)
	wantCode(t, c.get("/hitters/"+odd.ID), 200)
}

// The page over time and the roster are those of the commands, with a way back and
// their own style.
func TestPagesOfOtherCommands(t *testing.T) {
	b := newBench(t, false)
	h := b.hitterNamed("Ann")
	for p, want := range map[string]string{"/hitters/" + h.ID + "/progress": "progress", "/roster": "roster /hitters/x/progress"} {
		w := b.client().get(p)
		wantCode(t, w, 200)
		if !strings.Contains(w.Body.String(), want) || !strings.Contains(w.Body.String(), "Back to") {
			t.Error(w.Body)
		}
	}
}
