package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/web"
	"plantframe/pipeline"
)

// serving runs serve with fake workers until stop; it returns the page's address.
func serving(t *testing.T, args ...string) (address string, stop func() int) {
	t.Helper()
	r, w := io.Pipe()
	a := &app{
		stdout: io.Discard, stderr: w, identify: fakeIdentity,
		newWorker: func(s config.Settings, _ int, _ pipeline.Artifacts) (worker, error) {
			return &fakeWorker{settings: s}, nil
		},
		terminal: func(io.Writer) (bool, int) { return false, 0 },
	}
	a.spawn = a.fakeSpawn
	ctx, cancel := context.WithCancel(t.Context())
	code := make(chan int, 1)
	go func() {
		code <- a.run(ctx, append([]string{"serve", "--listen", "127.0.0.1:0"}, args...))
		w.Close()
	}()
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		if m := regexp.MustCompile(`http://[^/]+`).FindString(lines.Text()); m != "" {
			address = m
			break
		}
		t.Log(lines.Text())
	}
	go func() { _, _ = io.Copy(io.Discard, r) }()
	if address == "" {
		t.Fatal("it does not say where the page is")
	}
	return address, func() int { cancel(); return <-code }
}

// A clip is uploaded for a hitter, filed, analysed with what is known of the hitter, and
// shown; a second server of the folder is refused; the first one ends in order.
func TestServe(t *testing.T) {
	hurry(t)
	home := filepath.Join(t.TempDir(), "academy")
	address, stop := serving(t, "--folder", home)
	get := func(path string) string {
		t.Helper()
		r, err := http.Get(address + path) //nolint:noctx // ends with the test
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		b, _ := io.ReadAll(r.Body)
		return string(b)
	}
	events, err := http.Get(address + "/events") //nolint:noctx // ends with the test
	if err != nil {
		t.Fatal(err)
	}
	defer events.Body.Close()
	r, err := http.PostForm(address+"/hitters", url.Values{"name": {"Ann Able"}, "bats": {"L"}, "height": {"5ft4in"}, "level": {"youth"}, "sport": {"softball"}, "next": {"upload"}}) //nolint:noctx // ends with the test
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	hitter := r.Request.URL.Query().Get("hitter")
	data, err := os.ReadFile("../../testdata/clips/open-right.mp4")
	if err != nil {
		t.Fatal(err)
	}
	var form bytes.Buffer
	m := multipart.NewWriter(&form)
	_ = m.WriteField("hitter", hitter)
	p, _ := m.CreateFormFile("clips", "IMG_1.MP4")
	_, _ = p.Write(data)
	m.Close()
	if r, err = http.Post(address+"/upload", m.FormDataContentType(), &form); err != nil || r.StatusCode != 200 { //nolint:noctx // ends with the test
		t.Fatal(r, err)
	}
	r.Body.Close()
	sha := ""
	stream := bufio.NewScanner(events.Body)
	for stream.Scan() {
		if l := stream.Text(); strings.HasPrefix(l, "data: ") && strings.Contains(l, `\u003eAnalyse again\u003c`) {
			sha = regexp.MustCompile(`/clips/([0-9a-f]{64})`).FindStringSubmatch(l)[1]
			break
		}
	}
	if sha == "" {
		t.Fatal("the clip is not told as done", stream.Err())
	}
	mustContain(t, get("/clips/"+sha), "IMG_1.mp4", "Ann Able", "Report", "overlay.mp4", "plant 0.500 s")
	mustContain(t, get("/hitters/"+hitter), "IMG_1.mp4", "1.63 m", "left-handed")
	mustContain(t, get("/hitters/"+hitter+"/progress"), "Ann Able: progress", "Back to Ann Able")
	mustContain(t, get("/roster"), "Ann Able", "/hitters/"+hitter+"/progress")
	mustContain(t, get("/clips/"+sha+"/files/report.html"), "Back to the clip")
	var doc struct {
		Tool struct{ Options map[string]any }
	}
	if err := json.Unmarshal([]byte(get("/clips/"+sha+"/files/analysis.json")), &doc); err != nil {
		t.Fatal(err)
	}
	// The fake worker is opened for an order and notes its settings.
	if o := doc.Tool.Options; o["bats"] != "L" || o["level"] != "youth" || o["sport"] != "softball" || !strings.HasPrefix(o["height"].(string), "1.6") {
		t.Error(o)
	}
	kept, err := os.ReadFile(filepath.Join(home, "clips", sha[:2], sha, "IMG_1.mp4"))
	if err != nil || !bytes.Equal(kept, data) {
		t.Error("the clip is not where it belongs: ", err)
	}
	if code, _, stderr := try(t, "serve", "--listen", "127.0.0.1:0", "--folder", home); code != exitUsage {
		t.Error(code, stderr)
	} else {
		mustContain(t, stderr, "another process serves the folder")
	}
	if code := stop(); code != exitDone {
		t.Error("it ends with ", code)
	}
	// Everything is there for the next one.
	address, stop = serving(t, "--folder", home, "--no-work")
	mustContain(t, get("/clips"), "IMG_1.mp4")
	stop()
}

func TestServeRefuses(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	nobody := filepath.Join(t.TempDir(), "passwords")
	for want, args := range map[string][]string{
		"without passwords the page is for this machine alone": {"--listen", "0.0.0.0:0"},
		"it must be an address with a port":                    {"--listen", "8765"},
		"there is no password file":                            {"--passwords", nobody},
		"the store is switched off":                            {"--store", "none"},
	} {
		code, _, stderr := try(t, append([]string{"serve"}, args...)...)
		if code != exitUsage {
			t.Error(args, code)
		}
		mustContain(t, stderr, want, "hint:")
	}
}

func TestServePasswd(t *testing.T) {
	path := filepath.Join(t.TempDir(), "sub", "passwords")
	run := func(stdin string, args ...string) (int, string) {
		var out bytes.Buffer
		a := &app{stdout: &out, stderr: &out, stdin: strings.NewReader(stdin), terminal: func(io.Writer) (bool, int) { return false, 0 }}
		code := a.run(t.Context(), append([]string{"serve", "passwd", "--passwords", path}, args...))
		return code, out.String()
	}
	for _, x := range []struct {
		stdin string
		args  []string
		code  int
		want  string
	}{
		{"long enough\n", []string{"coach"}, exitDone, "coach may log in as instructor"},
		{"long enough", []string{"helper", "--role", "viewer"}, exitDone, "helper may log in as viewer"},
		{"short\n", []string{"x"}, exitUsage, "less than 8"},
		{"\n", []string{"x"}, exitUsage, "no password"},
		{"", []string{"x"}, exitUsage, "no password"},
		{"long enough\n", []string{"x", "--role", "boss"}, exitUsage, "instructor or viewer"},
		{"long enough\n", []string{"a:b"}, exitUsage, "cannot be used"},
		{"", []string{"helper", "--remove"}, exitDone, "taken out"},
		{"", []string{"helper", "--remove"}, exitUsage, "there is no helper"},
	} {
		code, out := run(x.stdin, x.args...)
		if code != x.code || !strings.Contains(out, x.want) {
			t.Error(x, code, out)
		}
		if strings.Contains(out, "long enough") {
			t.Error("the password is shown")
		}
	}
	b, err := os.ReadFile(path)
	if err != nil || !strings.HasPrefix(string(b), "coach:instructor:$argon2id$") || strings.Count(string(b), "\n") != 1 {
		t.Errorf("%s %v", b, err)
	}
}

// The process that compares two stored swings for the page: files of compare in a folder
// that appears whole; what cannot be compared is said on one line.
func TestServeCompares(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	for name, content := range map[string]string{"a.mp4": "swing a", "b.mp4": "swing b left", "c.mp4": "swing c rear"} {
		if code, _, stderr := try(t, "analyze", clip(t, dir, name, content), "--out", out); code != exitDone {
			t.Fatal(stderr)
		}
	}
	pairUp := func(other string) (int, string) {
		in, _ := json.Marshal(pairOrder{
			A:   web.Side{Folder: filepath.Join(out, "a"), Clip: filepath.Join(dir, "a.mp4")},
			B:   web.Side{Folder: filepath.Join(out, other), Clip: filepath.Join(dir, other+".mp4")},
			Dir: filepath.Join(dir, "pair"),
		})
		var errs bytes.Buffer
		a := &app{
			stdout: io.Discard, stderr: &errs, stdin: bytes.NewReader(in), terminal: func(io.Writer) (bool, int) { return false, 0 },
			newWorker: func(s config.Settings, _ int, _ pipeline.Artifacts) (worker, error) {
				return &fakeWorker{settings: s}, nil
			},
		}
		code := a.run(t.Context(), []string{"serve", "compare"})
		return code, errs.String()
	}
	for range 2 { // the second one takes the place of the first
		if code, stderr := pairUp("b"); code != exitDone {
			t.Fatal(code, stderr)
		}
		if _, err := os.Stat(filepath.Join(dir, "pair", comparisonFile)); err != nil {
			t.Error(err)
		}
	}
	code, stderr := pairUp("c")
	var e struct{ Message string }
	if err := json.Unmarshal([]byte(stderr), &e); code != exitFailed || err != nil || !strings.Contains(e.Message, "seen from") {
		t.Error(code, stderr, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "pair", comparisonFile)); err != nil {
		t.Error("the earlier one is gone: ", err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, tempPrefix+"*")); len(left) > 0 {
		t.Error(left)
	}
}
