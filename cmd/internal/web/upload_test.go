package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"plantframe/cmd/internal/queue"
	"plantframe/pipeline/swing"
)

// tusHeaders are those of a new upload.
func tusHeaders(size int, meta ...string) map[string]string {
	var m []string
	for i := 0; i+1 < len(meta); i += 2 {
		m = append(m, meta[i]+" "+base64.StdEncoding.EncodeToString([]byte(meta[i+1])))
	}
	return map[string]string{"Tus-Resumable": "1.0.0", "Upload-Length": strconv.Itoa(size), "Upload-Metadata": strings.Join(m, ",")}
}

func (c *client) patch(id string, offset int, data io.Reader) *http.Response {
	c.t.Helper()
	return c.do("PATCH", "/uploads/"+id, data, map[string]string{
		"Tus-Resumable": "1.0.0", "Upload-Offset": strconv.Itoa(offset), "Content-Type": "application/offset+octet-stream",
	}).Result()
}

func (c *client) offset(id string) string {
	c.t.Helper()
	return c.do("HEAD", "/uploads/"+id, nil, map[string]string{"Tus-Resumable": "1.0.0"}).Header().Get("Upload-Offset")
}

// broken is a line that is cut after some bytes.
type broken struct{ r io.Reader }

func (b broken) Read(p []byte) (int, error) {
	n, err := b.r.Read(p)
	if errors.Is(err, io.EOF) {
		err = io.ErrUnexpectedEOF
	}
	return n, err
}

// An upload is cut, goes on at a server that was started anew, is cut at its end before
// anybody filed it, and is filed by the next server: once, under its hash, with a job.
func TestUploadSurvivesRestarts(t *testing.T) {
	b := newBench(t, false)
	h := b.hitterNamed("Ann")
	c := b.client()
	content := []byte(strings.Repeat("swing", 5000))
	w := c.do("POST", "/uploads/", nil, tusHeaders(len(content), "filename", "../../IMG 1.MOV", "hitter", h.ID, "modified", "1700000000000"))
	wantCode(t, w, http.StatusCreated)
	id, ok := strings.CutPrefix(w.Header().Get("Location"), "/uploads/")
	if !ok || !uploadID.MatchString(id) {
		t.Fatal(w.Header())
	}
	if r := c.patch(id, 0, broken{bytes.NewReader(content[:10000])}); r.StatusCode < 400 {
		t.Error("a line that was cut counts as whole")
	}
	b.restart()
	if got := c.offset(id); got != "10000" {
		t.Fatal("after the restart there are ", got)
	}
	if r := c.patch(id, 9000, bytes.NewReader(content[9000:])); r.StatusCode != http.StatusConflict {
		t.Error("a wrong offset: ", r.StatusCode)
	}
	if r := c.patch(id, 10000, bytes.NewReader(content[10000:])); r.StatusCode != http.StatusNoContent {
		t.Fatal(r.StatusCode)
	}
	b.restart() // killed before it was filed: nobody remembers that it arrived
	b.sweep(t.Context())
	u, _, err := b.upload(t.Context(), id)
	sum := sha256.Sum256(content)
	sha := hex.EncodeToString(sum[:])
	want := filepath.Join(b.o.Folder, "clips", sha[:2], sha, "IMG 1.mov")
	if err != nil || u.State != queued || u.Path != want {
		t.Fatalf("%+v %v", u, err)
	}
	got, err := os.ReadFile(want)
	if err != nil || !bytes.Equal(got, content) {
		t.Error("the clip is another one", err)
	}
	if st, _ := os.Stat(want); st.ModTime().Unix() != 1700000000 {
		t.Error("its time is ", st.ModTime())
	}
	job, err := b.d.Queue.Get(t.Context(), u.Job)
	if err != nil || job.Priority != queue.Urgent || job.Clip.Hitter != "Ann" || job.Clip.Path != want {
		t.Errorf("%+v %v", job, err)
	}
	if left, _ := os.ReadDir(b.incoming.dir); len(left) != 0 {
		t.Error("left: ", left)
	}
	if got := c.offset(id); got != strconv.Itoa(len(content)) {
		t.Error("one that was filed is not told as complete: ", got)
	}
	b.sweep(t.Context())
	if all, _ := b.d.Queue.List(t.Context(), queue.Filter{}); len(all) != 1 || b.added != 1 {
		t.Error("jobs: ", len(all), b.added)
	}
}

// The server dies at every step of filing: the next one ends with one clip and one job.
func TestFilingCanBeCutAnywhere(t *testing.T) {
	for cutAt := range 8 {
		b := newBench(t, false)
		h := b.hitterNamed("Ann")
		u, err := b.begin(t.Context(), "a.mp4", h.ID, 5, 0)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(b.incoming.data(u.ID), []byte("swing"), 0o600); err != nil {
			t.Fatal(err)
		}
		// ctx ends at the cutAt-th look at the pipeline or the clock, which stand between
		// all steps.
		ctx, end := context.WithCancel(t.Context())
		n := 0
		step := func() {
			if n++; n > cutAt {
				end()
			}
		}
		probe, order, now := b.d.Probe, b.d.Order, b.d.Now
		b.Server.d.Probe = func(ctx context.Context, p string) (swing.Clip, error) { step(); return probe(ctx, p) }
		b.Server.now = func() time.Time { step(); return now() }
		b.Server.d.Order = order
		b.fileOne(ctx, u.ID)
		end()
		b.restart()
		b.sweep(t.Context())
		got, _, err := b.upload(t.Context(), u.ID)
		if err != nil || got.State != queued {
			t.Errorf("cut at %d: %+v %v", cutAt, got, err)
		}
		if all, _ := b.d.Queue.List(t.Context(), queue.Filter{}); len(all) != 1 {
			t.Errorf("cut at %d: %d jobs", cutAt, len(all))
		}
		if data, err := os.ReadFile(got.Path); err != nil || string(data) != "swing" {
			t.Errorf("cut at %d: %q %v", cutAt, data, err)
		}
	}
}

func TestUploadsThatAreNotTaken(t *testing.T) {
	b := newBench(t, false)
	h := b.hitterNamed("Ann")
	b.o.MaxUploads, b.o.MaxClip = 3, 1<<20
	b.restart()
	c := b.client()
	try := func(size int, meta ...string) int {
		w := c.do("POST", "/uploads/", nil, tusHeaders(size, meta...))
		if w.Code != http.StatusCreated && (w.Body.Len() == 0 || strings.Contains(w.Body.String(), b.o.Folder)) {
			t.Error(w.Code, w.Body)
		}
		return w.Code
	}
	for _, x := range []struct {
		size, code int
		meta       []string
	}{
		{10, 422, []string{"filename", "a.exe", "hitter", h.ID}},
		{10, 422, []string{"filename", "mp4", "hitter", h.ID}},
		{10, 422, []string{"filename", "", "hitter", h.ID}},
		{10, 422, []string{"filename", "a.mp4/", "hitter", "Ann"}},
		{10, 422, []string{"filename", "a.mp4", "hitter", "Ann"}},
		{10, 422, []string{"filename", "a.mp4", "hitter", "../../../../"}},
		{10, 422, []string{"filename", "a.mp4"}},
		{0, 422, []string{"filename", "a.mp4", "hitter", h.ID}},
		{1<<20 + 1, 413, []string{"filename", "a.mp4", "hitter", h.ID}},
		{1 << 20, 201, []string{"filename", "a.mp4", "hitter", h.ID}},
	} {
		if got := try(x.size, x.meta...); got != x.code {
			t.Error(x, got)
		}
	}
	b.free = b.o.MinFree + 1<<20 + 100 // what is expected already counts
	if got := try(101, "filename", "a.mp4", "hitter", h.ID); got != 507 {
		t.Error("no room: ", got)
	}
	if got := try(100, "filename", "a.mp4", "hitter", h.ID); got != 201 {
		t.Error("room: ", got)
	}
	b.free = 1 << 40
	try(100, "filename", "a.mp4", "hitter", h.ID)
	if got := try(100, "filename", "a.mp4", "hitter", h.ID); got != 429 {
		t.Error("too many: ", got)
	}
	for _, id := range []string{"../passwords", "..%2f..%2fpasswords", strings.Repeat("a", 32) + ".info", "%00", strings.Repeat("A", 32)} {
		for _, m := range []string{"HEAD", "PATCH", "DELETE"} {
			w := c.do(m, "/uploads/"+id, strings.NewReader("x"), map[string]string{"Tus-Resumable": "1.0.0", "Upload-Offset": "0", "Content-Type": "application/offset+octet-stream"})
			if w.Code < 300 {
				t.Error(m, id, w.Code)
			}
		}
	}
	// More than was announced does not arrive; another method does not slip in.
	w := c.do("POST", "/uploads/", nil, tusHeaders(5, "filename", "b.mp4", "hitter", h.ID))
	if w.Code != 429 {
		t.Fatal(w.Code)
	}
	list, _ := b.uploads(t.Context(), `ORDER BY u.size LIMIT 1`)
	id := list[0].ID
	if r := c.patch(id, 0, bytes.NewReader(make([]byte, 200))); r.StatusCode < 400 {
		t.Error("more than announced is taken")
	}
	if st, _ := os.Stat(b.incoming.data(id)); st.Size() > 100 {
		t.Error("it wrote ", st.Size())
	}
	// Ending it frees its place.
	if w := c.do("DELETE", "/uploads/"+id, nil, map[string]string{"Tus-Resumable": "1.0.0"}); w.Code != 204 {
		t.Error(w.Code)
	}
	if _, ok, _ := b.upload(t.Context(), id); ok {
		t.Error("its row is left")
	}
	if got := try(100, "filename", "a.mp4", "hitter", h.ID); got != 201 {
		t.Error(got)
	}
}

func TestClipNames(t *testing.T) {
	b := newBench(t, false)
	for in, want := range map[string]string{
		"IMG_1.MOV": "IMG_1.mov", "../../etc/passwd": "", "../../a.mp4": "a.mp4", `C:\clips\a.mp4`: "a.mp4", "/etc/cron.d/x.mp4": "x.mp4",
		".mp4": "clip.mp4", "...mp4": "clip.mp4", "a\x00b.mp4": "a_b.mp4", "a\nb.mp4": "a_b.mp4", "CON:.mp4": "CON_.mp4", " a .mp4": "a.mp4",
		"\u202egnp.mp4": "_gnp.mp4", `"><script>.mp4`: "___script_.mp4", "a.mp4.exe": "", "größe 5.mp4": "größe 5.mp4", "\xff.mp4": "clip.mp4",
		strings.Repeat("ö", 300) + ".mp4": strings.Repeat("ö", 50) + ".mp4",
	} {
		if got := b.clipName(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
		if got := b.clipName(in); strings.ContainsAny(got, `/\<>:"|?*`+"\x00\n") || strings.HasPrefix(got, ".") {
			t.Errorf("%q becomes %q", in, got)
		}
	}
}

func TestDuplicatesAndWhatIsNoClip(t *testing.T) {
	b := newBench(t, false)
	ann, bo := b.hitterNamed("Ann"), b.hitterNamed("Bo")
	sha := b.analysed("first.mp4", "same", ann)
	put := func(name, content, hitter string) upload {
		u, err := b.begin(t.Context(), name, hitter, int64(len(content)), 0)
		if err != nil {
			t.Fatal(err)
		}
		_ = os.WriteFile(b.incoming.data(u.ID), []byte(content), 0o600)
		b.fileOne(t.Context(), u.ID)
		u, _, _ = b.upload(t.Context(), u.ID)
		return u
	}
	u := put("second.mp4", "same", bo.ID)
	if u.State != known || !strings.Contains(u.Note, "first.mp4") || !strings.Contains(u.Note, "Ann") || u.SHA256 != sha {
		t.Errorf("%+v", u)
	}
	bad := put("note.mp4", "bad", bo.ID)
	if bad.State != refused || !strings.Contains(bad.Note, "not a video") {
		t.Errorf("%+v", bad)
	}
	if left, _ := os.ReadDir(b.incoming.dir); len(left) != 0 {
		t.Error("left: ", left)
	}
	page := b.client().get("/upload").Body.String()
	for _, want := range []string{"first.mp4", "not taken again", "this is not a video"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q on the page", want)
		}
	}
	if all, _ := b.d.Queue.List(t.Context(), queue.Filter{}); len(all) != 1 {
		t.Error("jobs: ", len(all))
	}
}

// A form without script: several clips at once, each as whole or not at all.
func TestPlainUpload(t *testing.T) {
	b := newBench(t, false)
	h := b.hitterNamed("Ann")
	b.o.MaxClip = 1000
	b.restart()
	send := func(hitter string, files ...string) *http.Response {
		var body bytes.Buffer
		m := multipart.NewWriter(&body)
		_ = m.WriteField("hitter", hitter)
		for i, f := range files {
			p, _ := m.CreateFormFile("clips", "clip-"+strconv.Itoa(i)+".mp4")
			_, _ = io.WriteString(p, f)
		}
		m.Close()
		return b.client().do("POST", "/upload", &body, map[string]string{"Content-Type": m.FormDataContentType()}).Result()
	}
	if r := send(h.ID, "one", "two"); r.StatusCode != http.StatusSeeOther {
		t.Fatal(r.StatusCode)
	}
	for len(b.arrived) > 0 {
		b.fileOne(t.Context(), <-b.arrived)
	}
	if all, _ := b.d.Queue.List(t.Context(), queue.Filter{}); len(all) != 2 {
		t.Error("jobs: ", len(all))
	}
	for code, r := range map[int]*http.Response{
		422: send(h.ID), 413: send(h.ID, strings.Repeat("x", 100_000)),
	} {
		if r.StatusCode != code {
			t.Error(code, r.StatusCode)
		}
	}
	if r := send("nobody", "x"); r.StatusCode != 422 {
		t.Error(r.StatusCode)
	}
	if left, _ := os.ReadDir(b.incoming.dir); len(left) != 0 {
		t.Error("left: ", left)
	}
	if open, _ := b.uploads(t.Context(), `WHERE u.state = $1`, receiving); len(open) != 0 {
		t.Error("open: ", open)
	}
}

func TestTidy(t *testing.T) {
	b := newBench(t, false)
	h := b.hitterNamed("Ann")
	old, err := b.begin(t.Context(), "old.mp4", h.ID, 5, 0)
	if err != nil {
		t.Fatal(err)
	}
	past := b.now.Add(-time.Hour)
	for name, mod := range map[string]time.Time{old.ID: past, old.ID + ".info": past, "stray": past, "fresh": b.now} {
		p := filepath.Join(b.incoming.dir, name)
		_ = os.WriteFile(p, nil, 0o600)
		_ = os.Chtimes(p, mod, mod)
	}
	if err := b.tidyOnce(t.Context()); err != nil {
		t.Fatal(err)
	}
	left, _ := os.ReadDir(b.incoming.dir)
	if len(left) != 3 { // the live one with its note, and the fresh one
		t.Error(left)
	}
	b.now = b.now.Add(b.o.KeepUploads + time.Minute)
	if err := b.tidyOnce(t.Context()); err != nil {
		t.Fatal(err)
	}
	if left, _ := os.ReadDir(b.incoming.dir); len(left) != 0 {
		t.Error(left)
	}
	if _, ok, _ := b.upload(t.Context(), old.ID); ok {
		t.Error("the row is left")
	}
}
