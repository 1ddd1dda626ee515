package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"plantframe/cmd/internal/config"
	"plantframe/cmd/internal/queue"
)

// hurry makes watching and trying again quick.
func hurry(t *testing.T) {
	t.Helper()
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	for name, v := range map[string]string{"WATCH_QUIET": "30ms", "WATCH_RESCAN": "30ms", "QUEUE_RETRY_AFTER": "10ms"} {
		t.Setenv(config.EnvPrefix+name, v)
	}
}

// events reads the lines of --json.
func events(t *testing.T, stdout string) []jobLine {
	t.Helper()
	var out []jobLine
	sc := bufio.NewScanner(strings.NewReader(stdout))
	sc.Buffer(nil, 1<<20)
	for sc.Scan() {
		var l jobLine
		if err := json.Unmarshal(sc.Bytes(), &l); err != nil || l.Schema != jobSchema || l.Time == "" {
			t.Fatalf("%v in %s", err, sc.Text())
		}
		out = append(out, l)
	}
	return out
}

// told lists events as "event name", without beginnings, sorted.
func told(ls []jobLine) []string {
	var out []string
	for _, l := range ls {
		if l.Event != eventBegan {
			out = append(out, l.Event+" "+filepath.Base(l.Clip))
		}
	}
	slices.Sort(out)
	return out
}

func sameStrings(t *testing.T, got []string, want ...string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// Everything that arrives ends as a result or with a reason; the second run does
// nothing; the files are those of analyze.
func TestWatchOnce(t *testing.T) {
	hurry(t)
	dir := filepath.Join(t.TempDir(), "clips")
	clip(t, dir, "Ann/2026-03-04/a.mov", "swing")
	clip(t, dir, "Bo/2026-03-05/b.mp4", "swing long")
	clip(t, dir, "b.mp4", "swing rear")
	clip(t, dir, "again.mov", "swing") // the content of Ann's
	clip(t, dir, "bad.mov", "bad")
	clip(t, dir, "panic.mov", "panic")
	clip(t, dir, "text.mov", "noclip")
	clip(t, dir, "empty.mov", "")
	clip(t, dir, ".hidden.mov", "swing left")
	code, stdout, stderr := try(t, "watch", dir, "--once", "--json", "--jobs=2")
	if code != exitIncomplete {
		t.Errorf("exit code %d: %s", code, stderr)
	}
	ls := events(t, stdout)
	sameStrings(t, told(ls),
		"done a.mov", "done b.mp4", "done b.mp4",
		"failed bad.mov", "failed bad.mov", "failed panic.mov", "failed panic.mov",
		"found a.mov", "found b.mp4", "found b.mp4", "found bad.mov", "found panic.mov",
		"given-up bad.mov", "given-up panic.mov",
		"refused empty.mov", "refused text.mov", "same again.mov")
	for _, l := range ls {
		switch {
		case l.Event == eventGivenUp && l.Attempt != 3,
			l.Event == eventGivenUp && filepath.Base(l.Clip) == "bad.mov" && l.Text != "this is not a video; choose another",
			l.Event == eventDone && (l.Result == nil || len(l.Result.Swings) != 1):
			t.Errorf("%+v", l)
		}
	}
	results := tree(t, dir+"-results")
	for _, want := range []string{"Ann/2026-03-04/a/analysis.json", "Ann/2026-03-04/measures.csv", "Bo/2026-03-05/b/report.html", "b/overlay.mp4"} {
		if !slices.Contains(results, want) {
			t.Errorf("no %s in %v", want, results)
		}
	}
	for _, f := range results {
		if strings.Contains(f, tempPrefix) || strings.Contains(f, "bad") {
			t.Errorf("%s was left", f)
		}
	}

	out := t.TempDir()
	if code, _, stderr := try(t, "analyze", filepath.Join(dir, "Ann"), "--out", out, "--store=none"); code != exitDone {
		t.Fatal(stderr)
	}
	sameTree(t, filepath.Join(dir+"-results", "Ann", "2026-03-04", "a"), filepath.Join(out, "a"))

	_, stdout, _ = try(t, "watch", dir, "--once", "--json")
	sameStrings(t, told(events(t, stdout)), "refused empty.mov", "refused text.mov")

	code, stdout, _ = try(t, "jobs")
	if code != exitDone {
		t.Error(code)
	}
	mustContain(t, stdout, "given-up", "bad.mov", "this is not a video; choose another", "2 given up, 3 done")
	code, stdout, _ = try(t, "roster", "--out", t.TempDir())
	if code != exitDone {
		t.Error(code)
	}
	mustContain(t, stdout, "Ann", "Bo")
}

// sameTree tells that two folders hold the same files with the same bytes.
func sameTree(t *testing.T, a, b string) {
	t.Helper()
	files := tree(t, a)
	if other := tree(t, b); !slices.Equal(files, other) || len(files) == 0 {
		t.Fatalf("%v\n%v", files, other)
	}
	for _, f := range files {
		one, _ := os.ReadFile(filepath.Join(a, f))
		two, _ := os.ReadFile(filepath.Join(b, f))
		if string(one) != string(two) {
			t.Errorf("%s differs", f)
		}
	}
}

// A watcher that runs: clips come one after the other, results are removed and
// made again after a restart, a clip moves.
func TestWatchGoesOn(t *testing.T) {
	hurry(t)
	t.Setenv(config.EnvPrefix+"QUEUE_MAX_IDLE", "100ms") // the worker ends between clips
	dir := filepath.Join(t.TempDir(), "clips")
	clip(t, dir, "a.mov", "swing")
	// look is what the queue says, from outside.
	look := func(see func(q *queue.Queue) bool) func() bool {
		return func() bool {
			o, err := config.Default().JobOptions()
			if err != nil {
				t.Error(err)
				return true
			}
			q, err := queue.Open(context.Background(), o)
			if err != nil {
				return false
			}
			defer q.Close()
			return see(q)
		}
	}
	done := func(n int) func() bool {
		return look(func(q *queue.Queue) bool {
			c, err := q.Counts(context.Background())
			return err == nil && c[queue.Done] == n && c[queue.Waiting]+c[queue.Running] == 0
		})
	}
	inbox := func(path string) func() bool {
		root, err := realFolder(dir)
		if err != nil {
			t.Fatal(err)
		}
		return look(func(q *queue.Queue) bool {
			all, err := q.Inbox(context.Background(), root)
			_, ok := all[path]
			return err == nil && ok
		})
	}
	var ls []jobLine
	session := func(first func() bool, change func(), then func() bool) {
		t.Helper()
		ctx, stop := context.WithCancel(t.Context())
		go func() {
			defer stop()
			for _, until := range []func() bool{first, then} {
				for end := time.Now().Add(20 * time.Second); !until() && time.Now().Before(end); {
					time.Sleep(50 * time.Millisecond)
				}
				time.Sleep(400 * time.Millisecond) // and nothing more comes
				change()
				change = func() {}
			}
		}()
		code, stdout, stderr := tryIn(t, ctx, nil, "watch", dir, "--json")
		if code != exitDone {
			t.Errorf("exit code %d: %s", code, stderr)
		}
		ls = events(t, stdout)
	}
	session(done(1), func() { clip(t, dir, "late/b.mov", "swing left") }, done(2))
	sameStrings(t, told(ls), "done a.mov", "done b.mov", "found a.mov", "found b.mov")
	session(done(2), func() {
		if err := os.Rename(filepath.Join(dir, "a.mov"), filepath.Join(dir, "late/c.mov")); err != nil {
			t.Error(err)
		}
	}, inbox("late/c.mov"))
	sameStrings(t, told(ls), "same c.mov")
	if err := os.RemoveAll(dir + "-results/late"); err != nil {
		t.Fatal(err)
	}
	again := filepath.Join(dir+"-results", "late", "b", analysisFile)
	session(done(2), func() { // the file is put there again
		now := time.Now()
		if err := os.Chtimes(filepath.Join(dir, "late/b.mov"), now, now); err != nil {
			t.Error(err)
		}
	}, func() bool { return exists(again) && done(2)() })
	sameStrings(t, told(ls), "done b.mov", "found b.mov")
}

// A clip of another name and the same stem, and a folder that somebody else's
// results lie in, are not overwritten.
func TestWatchFolderNames(t *testing.T) {
	hurry(t)
	dir := filepath.Join(t.TempDir(), "clips")
	clip(t, dir, "a.mov", "swing")
	clip(t, dir, "a.mp4", "swing left")
	clip(t, dir+"-results", "mine/analysis.json", `{"clip":{"sha256":"1234"}}`)
	clip(t, dir, "mine.mov", "swing rear")
	if code, _, stderr := try(t, "watch", dir, "--once"); code != exitDone {
		t.Fatal(stderr)
	}
	n := 0
	for _, f := range tree(t, dir+"-results") {
		if strings.HasSuffix(f, analysisFile) {
			n++
		}
	}
	if b, _ := os.ReadFile(filepath.Join(dir+"-results", "mine", analysisFile)); string(b) != `{"clip":{"sha256":"1234"}}` || n != 4 {
		t.Errorf("%d results, and of another clip: %s", n, b)
	}
}

func TestWatchBeside(t *testing.T) {
	hurry(t)
	dir := filepath.Join(t.TempDir(), "clips")
	clip(t, dir, "x/a.mov", "swing")
	for range 2 { // overlay.mp4 of the first run is no clip
		if code, _, stderr := try(t, "watch", dir, "--once", "--beside"); code != exitDone {
			t.Fatal(stderr)
		}
	}
	if files := tree(t, dir); !slices.Contains(files, "x/plantframe-out/a/overlay.mp4") || slices.ContainsFunc(files, func(f string) bool { return strings.Contains(f, "/overlay/") }) {
		t.Error(files)
	}
}

func TestWatchUsage(t *testing.T) {
	hurry(t)
	dir := filepath.Join(t.TempDir(), "clips")
	clip(t, dir, "a.mov", "swing")
	for _, c := range []struct {
		args []string
		want []string
	}{
		{[]string{"watch"}, []string{"accepts 1 arg"}},
		{[]string{"watch", dir + "-not"}, []string{"there is no such folder", "hint:"}},
		{[]string{"watch", dir, "--out", filepath.Dir(dir)}, []string{"the watched folder lies in it", "hint:"}},
		{[]string{"jobs", "--retry", "99"}, []string{"there is no job 99", "hint:"}},
		{[]string{"jobs", "--cancel", "x"}, []string{"there is no job x"}},
		{[]string{"work", "--drain", "--name", "../x"}, []string{"cannot be used", "hint:"}},
		{[]string{"work", "now"}, []string{"now"}},
	} {
		code, _, stderr := try(t, c.args...)
		if code != exitUsage {
			t.Errorf("%v: exit code %d", c.args, code)
		}
		mustContain(t, stderr, c.want...)
	}
}

// A full disk stops nothing for good: clips wait.
func TestFullDiskWaits(t *testing.T) {
	hurry(t)
	t.Setenv(config.EnvPrefix+"QUEUE_MIN_FREE_MB", "1000000000")
	dir := filepath.Join(t.TempDir(), "clips")
	clip(t, dir, "a.mov", "swing")
	ctx, stop := context.WithTimeout(t.Context(), 1500*time.Millisecond)
	defer stop()
	_, stdout, _ := tryIn(t, ctx, nil, "watch", dir, "--json")
	ls := events(t, stdout)
	sameStrings(t, told(ls), "found a.mov", "waits a.mov")
	for _, l := range ls {
		if l.Event == eventWaits {
			mustContain(t, l.Text, "MB left", "free some space")
		}
	}
	_, stdout, _ = try(t, "jobs", "--json")
	if ls := events(t, stdout); len(ls) != 1 || ls[0].Event != string(queue.Waiting) || ls[0].Attempt != 0 {
		t.Errorf("%+v", ls)
	}
}

func TestLines(t *testing.T) {
	var b strings.Builder
	p := newLinePrinter(&b, false, "/clips")
	p.now = func() time.Time { return time.Date(2026, 3, 4, 15, 4, 5, 0, time.Local) }
	due := p.now().Add(15 * time.Second).UTC().Format(time.RFC3339)
	for _, l := range []jobLine{
		{Event: eventFound, Clip: "/clips/Ann/a.mov"},
		{Event: eventBegan, Clip: "/clips/Ann/a.mov"},
		{Event: eventFailed, Clip: "/clips/a\x1b[2J.mov", Attempt: 1, Attempts: 3, Text: "The disk is full.", Due: due},
		{Event: eventGivenUp, Clip: "/else/a.mov", Attempt: 3, Attempts: 3, Text: "no"},
	} {
		p.print(l)
	}
	want := `15:04:05  found     Ann/a.mov
15:04:05  failed    a?[2J.mov, attempt 1 of 3: The disk is full; again at 15:04:20
15:04:05  given-up  /else/a.mov after 3 attempts: no
`
	if b.String() != want {
		t.Errorf("got\n%swant\n%s", b.String(), want)
	}
	if p.code(false) != exitFailed {
		t.Error(fmt.Sprint(p.counts))
	}
}
