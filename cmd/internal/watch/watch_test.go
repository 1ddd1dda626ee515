package watch

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// bench is a watcher on a folder of its own.
type bench struct {
	t    *testing.T
	dir  string
	stop func() error

	mu    sync.Mutex
	ready []string // path=size
	notes []string // path: text
}

// start watches a new folder. set may change the options, or nil.
func start(t *testing.T, set func(o *Options)) *bench {
	t.Helper()
	b := &bench{t: t, dir: t.TempDir()}
	b.run(set)
	return b
}

func (b *bench) run(set func(o *Options)) {
	o := DefaultOptions()
	o.Root, o.Extensions = b.dir, []string{".mov", ".mp4"}
	o.Quiet, o.QuietShare, o.Rescan = 120*time.Millisecond, 120*time.Millisecond, 60*time.Millisecond
	if set != nil {
		set(&o)
	}
	ctx, cancel := context.WithCancel(b.t.Context())
	end := make(chan error, 1)
	go func() {
		end <- Run(ctx, o, Handler{
			Ready: func(_ context.Context, f File) error {
				b.mu.Lock()
				defer b.mu.Unlock()
				b.ready = append(b.ready, fmt.Sprintf("%s=%d", f.Path, f.Size))
				return nil
			},
			Note: func(f File, text string) {
				b.mu.Lock()
				defer b.mu.Unlock()
				b.notes = append(b.notes, f.Path+": "+text)
			},
		})
	}()
	b.stop = func() error { cancel(); return <-end }
}

func (b *bench) path(name string) string { return filepath.Join(b.dir, filepath.FromSlash(name)) }

func (b *bench) put(name, content string) {
	b.t.Helper()
	if err := os.MkdirAll(filepath.Dir(b.path(name)), 0o755); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(b.path(name), []byte(content), 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// got returns what was ready, sorted.
func (b *bench) got() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Sorted(slices.Values(b.ready))
}

// wait waits until what was ready is want, and a moment longer for more.
func (b *bench) wait(want ...string) {
	b.t.Helper()
	for end := time.Now().Add(3 * time.Second); time.Now().Before(end) && !slices.Equal(b.got(), want); {
		time.Sleep(10 * time.Millisecond)
	}
	time.Sleep(250 * time.Millisecond)
	if got := b.got(); !slices.Equal(got, want) {
		b.t.Fatalf("ready %q, want %q", got, want)
	}
}

func TestWholeFilesAreReadyOnce(t *testing.T) {
	for _, poll := range []bool{false, true} {
		t.Run(fmt.Sprintf("poll=%v", poll), func(t *testing.T) {
			t.Parallel()
			b := start(t, func(o *Options) { o.Poll = poll })
			b.put("a.mov", "1")
			b.put("Ann/2026-03-04/b.MP4", "22") // folders that are made later
			b.put("notes.txt", "no clip")
			b.wait("Ann/2026-03-04/b.MP4=2", "a.mov=1")
			b.put("a.mov", "other content") // the name again
			b.wait("Ann/2026-03-04/b.MP4=2", "a.mov=1", "a.mov=13")
			if err := b.stop(); !errors.Is(err, context.Canceled) {
				t.Error(err)
			}
		})
	}
}

// A file that grows, stalls while it is open and grows again is not taken
// before it is closed.
func TestStalledTransferIsWaitedFor(t *testing.T) {
	t.Parallel()
	b := start(t, nil)
	f, err := os.Create(b.path("a.mov"))
	if err != nil {
		t.Fatal(err)
	}
	for i := range 4 {
		if _, err := f.WriteString("12345"); err != nil {
			t.Fatal(err)
		}
		time.Sleep(100 * time.Millisecond * time.Duration(1+i)) // longer and longer
		if got := b.got(); len(got) > 0 {
			t.Fatalf("half a file was taken: %q", got)
		}
	}
	f.Close()
	b.wait("a.mov=20")
}

// Where nobody sees whether a file is open, stillness alone decides: a file
// that grows is not taken.
func TestGrowingFileIsNotTaken(t *testing.T) {
	t.Parallel()
	b := start(t, func(o *Options) { o.Poll = true })
	for i := range 10 { // opened and closed each time
		b.put("a.mov", strings.Repeat("x", i+1))
		time.Sleep(40 * time.Millisecond)
	}
	if got := b.got(); len(got) > 0 {
		t.Fatalf("taken while it grew: %q", got)
	}
	b.wait("a.mov=10")
}

func TestTemporaryNames(t *testing.T) {
	t.Parallel()
	b := start(t, nil)
	names := []string{".a.mov.Xy12", ".a.mov", "a.mov.part", "a.mov.crdownload", "~a.mov", "a.tmp.mov", "a.partial.mp4", "_tmp_a.mov", ".sync/a.mov"}
	for _, n := range names {
		b.put(n, "half")
	}
	time.Sleep(400 * time.Millisecond)
	if got := b.got(); len(got) > 0 {
		t.Fatalf("taken: %q", got)
	}
	if err := os.Rename(b.path("a.mov.part"), b.path("a.mov")); err != nil {
		t.Fatal(err)
	}
	b.wait("a.mov=4")
}

func TestEmptyFileIsTold(t *testing.T) {
	t.Parallel()
	b := start(t, func(o *Options) { o.Stall = 300 * time.Millisecond })
	b.put("a.mov", "")
	time.Sleep(time.Second)
	b.mu.Lock()
	if !slices.Equal(b.notes, []string{"a.mov: it is empty"}) || len(b.ready) > 0 {
		t.Errorf("notes %q, ready %q", b.notes, b.ready)
	}
	b.mu.Unlock()
	b.put("a.mov", "now it came")
	b.wait("a.mov=11")
}

func TestLinksThatLeadOut(t *testing.T) {
	t.Parallel()
	b := start(t, nil)
	outside := filepath.Join(t.TempDir(), "secret.mov")
	if err := os.WriteFile(outside, []byte("not yours"), 0o600); err != nil {
		t.Fatal(err)
	}
	b.put("sub/a.mov", "mine")
	for from, to := range map[string]string{
		"out.mov": outside, "dir": filepath.Dir(outside), "dangling.mov": b.path("nothing.mov"), "in.mov": b.path("sub/a.mov"), "loop": b.dir,
	} {
		if err := os.Symlink(to, b.path(from)); err != nil {
			t.Fatal(err)
		}
	}
	b.wait("in.mov=4", "sub/a.mov=4")
	b.mu.Lock()
	defer b.mu.Unlock()
	if !slices.Equal(b.notes, []string{"out.mov: it is a link that leads out of the folder"}) {
		t.Errorf("notes %q", b.notes)
	}
}

func TestKnownAndSkipped(t *testing.T) {
	t.Parallel()
	b := start(t, func(o *Options) {
		o.Known = func(f File) bool { return f.Path == "old.mov" && f.Size == 3 }
		o.Skip = func(dir string) bool { return filepath.Base(dir) == "results" }
	})
	b.put("old.mov", "old")
	b.put("results/overlay.mp4", "film")
	b.put("new.mov", "new")
	b.wait("new.mov=3")
	b.put("old.mov", "changed")
	b.wait("new.mov=3", "old.mov=7")
}

func TestOnce(t *testing.T) {
	t.Parallel()
	b := &bench{t: t, dir: t.TempDir()}
	b.put("a.mov", "1")
	b.put("empty.mov", "")
	b.run(func(o *Options) { o.Once = true })
	b.wait("a.mov=1")
	if err := b.stop(); err != nil {
		t.Error(err)
	}
	if !slices.Equal(b.notes, []string{"empty.mov: it is empty"}) {
		t.Errorf("notes %q", b.notes)
	}
}

// The folder is taken away and comes back, as a disk does.
func TestFolderComesBack(t *testing.T) {
	t.Parallel()
	b := start(t, nil)
	b.put("a.mov", "1")
	b.wait("a.mov=1")
	aside := b.dir + "-aside"
	if err := os.Rename(b.dir, aside); err != nil {
		t.Fatal(err)
	}
	time.Sleep(200 * time.Millisecond)
	if err := os.Rename(aside, b.dir); err != nil {
		t.Fatal(err)
	}
	b.put("b.mov", "2")
	b.wait("a.mov=1", "b.mov=1")
}

func TestLaterIsAskedAgain(t *testing.T) {
	o := DefaultOptions()
	o.Root, o.Extensions, o.Once = t.TempDir(), []string{".mov"}, true
	o.Quiet = 40 * time.Millisecond
	if err := os.WriteFile(filepath.Join(o.Root, "a.mov"), []byte("1"), 0o600); err != nil {
		t.Fatal(err)
	}
	asked := 0
	err := Run(t.Context(), o, Handler{Note: func(File, string) {}, Ready: func(context.Context, File) error {
		if asked++; asked < 3 {
			return fmt.Errorf("the database is away: %w", ErrLater)
		}
		return nil
	}})
	if err != nil || asked != 3 {
		t.Error(asked, err)
	}
}

// The look through all open files finds a writer too.
func TestListed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.mov")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if !listed(path) {
		t.Error("a file that is open for writing is not seen")
	}
	f.Close()
	r, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if listed(path) || writing(path) {
		t.Error("a reader counts as a writer")
	}
}
