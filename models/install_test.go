package models

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// rig is a store in a temporary folder and an npm client of the test's own, a shell script.
type rig struct {
	t     *testing.T
	store Store
	npm   string // the script
	calls string // file with one line a call
}

func newRig(t *testing.T, script string) rig {
	t.Helper()
	dir := t.TempDir()
	r := rig{t: t, store: NewStore(filepath.Join(dir, "cache", "models")), npm: filepath.Join(dir, "npm"), calls: filepath.Join(dir, "calls")}
	text := "#!/bin/sh\necho \"$@\" >> '" + r.calls + "'\n" + script + "\n"
	if err := os.WriteFile(r.npm, []byte(text), 0o700); err != nil {
		t.Fatal(err)
	}
	return r
}

// delivering is a rig whose client delivers a package with these files.
func delivering(t *testing.T, files map[string][]byte) rig {
	t.Helper()
	return newRig(t, "cp '"+save(t, tarball(t, files))+"' ./package.tgz && echo package.tgz")
}

func (r rig) put(ctx context.Context, goods ...good) (Installed, error) {
	return r.store.put(ctx, goods, InstallOptions{NPM: r.npm})
}

func (r rig) called() int {
	b, err := os.ReadFile(r.calls)
	if err != nil && !missing(err) {
		r.t.Fatal(err)
	}
	return strings.Count(string(b), "\n")
}

// left lists what is in the store's folder besides the lock.
func (r rig) left() (names []string) {
	entries, err := os.ReadDir(r.store.dir)
	if err != nil {
		r.t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() != ".lock" {
			names = append(names, e.Name())
		}
	}
	return names
}

// thing is a good that needs no conversion.
func (r rig) thing(id string, content []byte) good {
	return good{
		id: id, path: filepath.Join(r.store.dir, id+".onnx"), sha256: sum(content), pkg: "networks@1.0.0",
		source: Source{Package: "networks", Version: "1.0.0", File: "dir/" + id, SHA256: sum(content)},
	}
}

func tarball(t *testing.T, files map[string][]byte) []byte {
	t.Helper()
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	w := tar.NewWriter(z)
	for name, content := range files {
		if err := w.WriteHeader(&tar.Header{Name: "package/" + name, Mode: 0o600, Size: int64(len(content)), Typeflag: tar.TypeReg}); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(content); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(w.Close(), z.Close()); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func save(t *testing.T, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "saved")
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// noise is content that gzip cannot shrink much, so that cutting the tarball cuts the file.
func noise(n int, seed uint32) []byte {
	b := make([]byte, n)
	for i := range b {
		seed = seed*1664525 + 1013904223
		b[i] = byte(seed >> 24)
	}
	return b
}

// wantError checks the sentence and that there is a hint.
func wantError(t *testing.T, err error, text string) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) {
		t.Fatalf("got error %v, want an *Error with %q", err, text)
	}
	if !strings.Contains(e.Error(), text) || e.Hint == "" {
		t.Fatalf("got message %q, hint %q; want the text %q and a hint", e.Error(), e.Hint, text)
	}
}

func TestInstallOnceThenOffline(t *testing.T) {
	a, b := noise(5000, 1), noise(7000, 2)
	r := delivering(t, map[string][]byte{"dir/a": a, "dir/b": b, "other": noise(100, 3)})
	goods := []good{r.thing("a", a), r.thing("b", b)}
	done, err := r.put(t.Context(), goods...)
	if err != nil {
		t.Fatal(err)
	}
	if len(done.New) != 2 || len(done.Present) != 0 || done.Fetched == 0 || r.called() != 1 {
		t.Errorf("first: %+v after %d calls, want two new things by one call", done, r.called())
	}
	line, _ := os.ReadFile(r.calls)
	if !strings.HasPrefix(string(line), "pack networks@1.0.0 ") {
		t.Errorf("npm was called with %q", line)
	}
	if err := os.Remove(r.npm); err != nil {
		t.Fatal(err)
	}
	done, err = r.put(t.Context(), goods...)
	if err != nil || len(done.Present) != 2 || len(done.New) != 0 || done.Fetched != 0 {
		t.Errorf("second, without npm: %+v, error %v; want two present things", done, err)
	}
	if names := r.left(); len(names) != 2 {
		t.Errorf("the folder holds %v", names)
	}
}

func TestInstallRepairsDamage(t *testing.T) {
	a := noise(5000, 1)
	r := delivering(t, map[string][]byte{"dir/a": a})
	g := r.thing("a", a)
	if _, err := r.put(t.Context(), g); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(g.path, a[:4000], 0o600); err != nil {
		t.Fatal(err)
	}
	// What a killed installation leaves behind goes away too.
	if err := os.MkdirAll(filepath.Join(r.store.dir, tempPrefix+"1", "sub"), 0o700); err != nil {
		t.Fatal(err)
	}
	done, err := r.put(t.Context(), g)
	if err != nil || len(done.New) != 1 {
		t.Fatalf("%+v, error %v; want the cut file replaced", done, err)
	}
	if got, _ := os.ReadFile(g.path); !bytes.Equal(got, a) {
		t.Error("the file is still damaged")
	}
	if names := r.left(); len(names) != 1 {
		t.Errorf("the folder holds %v", names)
	}
}

func TestInstallWrongContent(t *testing.T) {
	a := noise(5000, 1)
	t.Run("source checksum", func(t *testing.T) {
		r := delivering(t, map[string][]byte{"dir/a": noise(5000, 9)})
		_, err := r.put(t.Context(), r.thing("a", a))
		wantError(t, err, "dir/a of networks@1.0.0 has the wrong checksum")
		if names := r.left(); len(names) != 0 {
			t.Errorf("the folder holds %v", names)
		}
	})
	t.Run("converted checksum", func(t *testing.T) {
		r := delivering(t, map[string][]byte{"dir/a": a})
		g := r.thing("a", a)
		g.sha256 = sum([]byte("other"))
		_, err := r.put(t.Context(), g)
		wantError(t, err, "the converted network a has the wrong checksum")
	})
	t.Run("no such file", func(t *testing.T) {
		r := delivering(t, map[string][]byte{"dir/b": a})
		_, err := r.put(t.Context(), r.thing("a", a))
		wantError(t, err, "dir/a, are not in it")
	})
	for _, kind := range []string{"tflite", "tfjs"} {
		t.Run("not "+kind, func(t *testing.T) {
			r := delivering(t, map[string][]byte{"dir/a": a})
			g := r.thing("a", a)
			g.m = Manifest{Convert: kind}
			_, err := r.put(t.Context(), g)
			wantError(t, err, "the network a cannot be converted")
		})
	}
}

func TestInstallCutTarball(t *testing.T) {
	a := noise(3000, 1)
	whole := tarball(t, map[string][]byte{"dir/a": a})
	// The gzip trailer behind the wanted file is not read, so cuts reach up to the end of its contents.
	for _, n := range []int{0, 1, 5, 20, 100, 1000, 2000, 2900} {
		r := newRig(t, "cp '"+save(t, whole[:n])+"' ./package.tgz")
		_, err := r.put(t.Context(), r.thing("a", a))
		wantError(t, err, "arrived cut off or damaged")
		if names := r.left(); len(names) != 0 {
			t.Fatalf("cut to %d bytes: the folder holds %v", n, names)
		}
	}
}

func TestInstallNpmFails(t *testing.T) {
	a := noise(10, 1)
	for code, want := range map[string]string{
		"code ENOTFOUND":                      "no connection to the package registry",
		"code ETIMEDOUT":                      "no connection to the package registry",
		"code E404":                           "the package registry has no networks@1.0.0",
		"code ETARGET":                        "the package registry has no networks@1.0.0",
		"code ENOSPC":                         "the disk is full",
		"code EINTEGRITY":                     "arrived damaged",
		"code EACCES":                         "npm may not write",
		"code E401":                           "refuses networks@1.0.0",
		"something new went wrong in the air": "something new went wrong in the air",
	} {
		r := newRig(t, fmt.Sprintf("echo 'npm error %s' >&2; exit 1", code))
		_, err := r.put(t.Context(), r.thing("a", a))
		wantError(t, err, want)
	}
	t.Run("delivers nothing", func(t *testing.T) {
		r := newRig(t, "exit 0")
		_, err := r.put(t.Context(), r.thing("a", a))
		wantError(t, err, "delivered no package")
	})
	t.Run("is not there", func(t *testing.T) {
		r := newRig(t, "")
		r.npm = "npm-that-is-not-there"
		_, err := r.put(t.Context(), r.thing("a", a))
		wantError(t, err, "is not installed")
	})
}

func TestInstallStops(t *testing.T) {
	a := noise(10, 1)
	// The child holds the error pipe open, so that only its end lets the call return before the grace time of 5 s.
	r := newRig(t, "sleep 600 & wait")
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	begin := time.Now()
	_, err := r.put(ctx, r.thing("a", a))
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("error %v, want the cause of the stop", err)
	}
	if d := time.Since(begin); d > 4*time.Second {
		t.Errorf("it took %v to stop", d)
	}
	if names := r.left(); len(names) != 0 {
		t.Errorf("the folder holds %v", names)
	}
}

// TestInstallAtTheSameTime: the second installation waits for the first and finds its work done.
func TestInstallAtTheSameTime(t *testing.T) {
	a := noise(5000, 1)
	r := newRig(t, "sleep 0.3; cp '"+save(t, tarball(t, map[string][]byte{"dir/a": a}))+"' ./package.tgz")
	var group sync.WaitGroup
	var fresh [4]int
	for i := range fresh {
		group.Go(func() {
			done, err := r.put(t.Context(), r.thing("a", a))
			if err != nil {
				t.Error(err)
			}
			fresh[i] = len(done.New)
		})
	}
	group.Wait()
	if n := fresh[0] + fresh[1] + fresh[2] + fresh[3]; n != 1 || r.called() != 1 {
		t.Errorf("%d installations worked by %d calls of npm, want 1 and 1", n, r.called())
	}
}

func TestInstallCannotWrite(t *testing.T) {
	a := noise(10, 1)
	r := delivering(t, map[string][]byte{"dir/a": a})
	file := save(t, nil)
	r.store = NewStore(filepath.Join(file, "models")) // below a file, where no folder can be
	_, err := r.put(t.Context(), r.thing("a", a))
	wantError(t, err, "cannot write")

	wantError(t, writing("/x", &os.PathError{Op: "write", Path: "/x", Err: syscall.ENOSPC}), "the disk is full")
	wantError(t, writing("/x", &os.PathError{Op: "open", Path: "/x", Err: syscall.EACCES}), "no permission")
	wantError(t, writing("/x", &os.PathError{Op: "open", Path: "/x", Err: syscall.EROFS}), "no permission")
}

// TestWriteFileFails: a failed copy leaves neither the file nor a piece of it.
func TestWriteFileFails(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a")
	if err := os.WriteFile(path, []byte("old"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := writeFile(path, &failing{}); !errors.Is(err, syscall.EIO) {
		t.Errorf("error %v, want the one of the reader", err)
	}
	entries, _ := os.ReadDir(dir)
	old, _ := os.ReadFile(path)
	if len(entries) != 1 || string(old) != "old" {
		t.Errorf("%d files, content %q; want the old file alone", len(entries), old)
	}
}

type failing struct{ n int }

func (f *failing) Read(p []byte) (int, error) {
	if f.n++; f.n > 3 {
		return 0, syscall.EIO
	}
	return copy(p, "new content"), nil
}

func TestLibraryIsPinnedPerProcessor(t *testing.T) {
	amd, ok1 := libraryFor("linux", "amd64")
	arm, ok2 := libraryFor("linux", "arm64")
	if !ok1 || !ok2 || amd == arm || len(amd.sha256) != 64 || len(arm.sha256) != 64 {
		t.Errorf("libraries %+v, %+v", amd, arm)
	}
	if _, ok := libraryFor("plan9", "mips"); ok {
		t.Error("a library for a platform that has none")
	}
}
