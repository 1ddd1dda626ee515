package store_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"plantframe/cmd/internal/store"
)

type artifacts interface {
	Get(key string) ([]byte, bool, error)
	Put(key string, data []byte) error
}

func open(t *testing.T) (*store.Disk, string) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "cache")
	d, err := store.OpenDisk(dir)
	if err != nil {
		t.Fatal(err)
	}
	return d, dir
}

// What every kind that keeps things must do.
func TestConformance(t *testing.T) {
	disk, _ := open(t)
	for name, s := range map[string]artifacts{"disk": disk, "memory": &store.Memory{}} {
		t.Run(name, func(t *testing.T) {
			get := func(key string) ([]byte, bool) {
				t.Helper()
				b, ok, err := s.Get(key)
				if err != nil {
					t.Fatal(err)
				}
				return b, ok
			}
			put := func(key string, data []byte) {
				t.Helper()
				if err := s.Put(key, data); err != nil {
					t.Fatal(err)
				}
			}
			if _, ok := get("nothing"); ok {
				t.Error("found what was never stored")
			}
			for _, key := range []string{"k", "", "../../escape", "a/b", "日本\x00\n", strings.Repeat("long", 1000)} {
				want := []byte("value of " + key)
				put(key, want)
				if got, ok := get(key); !ok || !bytes.Equal(got, want) {
					t.Errorf("key %.20q: got %q, %v", key, got, ok)
				}
			}
			put("empty", nil)
			if got, ok := get("empty"); !ok || len(got) != 0 {
				t.Errorf("an empty value came back as %q, %v", got, ok)
			}
			put("k", []byte("second"))
			got, _ := get("k")
			if string(got) != "second" {
				t.Errorf("replaced value is %q", got)
			}
			got[0] = 'X'
			if again, _ := get("k"); string(again) != "second" {
				t.Error("a caller can change what is stored")
			}
			mine := []byte("mine")
			put("m", mine)
			mine[0] = 'X'
			if again, _ := get("m"); string(again) != "mine" {
				t.Error("a caller can change what it handed over")
			}

			// Writers and readers of one key at once: always a whole value.
			var wg sync.WaitGroup
			for i := range 4 {
				wg.Go(func() {
					for range 20 {
						if err := s.Put("shared", bytes.Repeat([]byte{byte('a' + i)}, 5000)); err != nil {
							t.Error(err)
						}
						b, ok, err := s.Get("shared")
						if err != nil || !ok || len(b) != 5000 || len(bytes.Trim(b, string(b[:1]))) != 0 {
							t.Errorf("half a value: %d bytes, %v, %v", len(b), ok, err)
						}
					}
				})
			}
			wg.Wait()
		})
	}
}

func TestNoneKeepsNothing(t *testing.T) {
	var s artifacts = store.None{}
	if err := s.Put("k", []byte("v")); err != nil {
		t.Fatal(err)
	}
	if _, ok, err := s.Get("k"); ok || err != nil {
		t.Errorf("got %v, %v", ok, err)
	}
}

func files(t *testing.T, dir string) []string {
	t.Helper()
	var out []string
	if err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			out = append(out, p)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

func TestDiskSurvivesDamage(t *testing.T) {
	for name, damage := range map[string]func([]byte) []byte{
		"cut":     func(b []byte) []byte { return b[:len(b)-3] },
		"empty":   func([]byte) []byte { return nil },
		"flipped": func(b []byte) []byte { b[len(b)-1] ^= 1; return b },
		"zeroed":  func(b []byte) []byte { return make([]byte, len(b)) },
	} {
		d, dir := open(t)
		if err := d.Put("k", []byte("a value")); err != nil {
			t.Fatal(err)
		}
		path := files(t, dir)[0]
		b, _ := os.ReadFile(path)
		if err := os.WriteFile(path, damage(b), 0o600); err != nil {
			t.Fatal(err)
		}
		if got, ok, err := d.Get("k"); ok || err != nil {
			t.Errorf("%s: got %q, %v, %v", name, got, ok, err)
		}
		if left := files(t, dir); len(left) != 0 {
			t.Errorf("%s: the damaged file is still there", name)
		}
	}
}

func TestDiskIsPrivate(t *testing.T) {
	d, dir := open(t)
	if err := d.Put("k", []byte("v")); err != nil {
		t.Fatal(err)
	}
	for _, p := range append(files(t, dir), dir) {
		st, err := os.Stat(p)
		if err != nil {
			t.Fatal(err)
		}
		if st.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s can be read by others: %v", p, st.Mode())
		}
	}
}

// Prune removes what was not used for longest and only what is the store's.
func TestPrune(t *testing.T) {
	d, dir := open(t)
	for i := range 10 {
		if err := d.Put(fmt.Sprint(i), make([]byte, 1000)); err != nil {
			t.Fatal(err)
		}
		// Put in order of age, the last the youngest.
		for _, p := range files(t, dir) {
			st, _ := os.Stat(p)
			old := st.ModTime().Add(-time.Minute)
			_ = os.Chtimes(p, old, old)
		}
	}
	if _, ok, _ := d.Get("0"); !ok { // used again: now the youngest
		t.Fatal("0 is gone")
	}
	foreign := filepath.Join(dir, "notes.txt")
	fresh := filepath.Join(dir, ".put-fresh")
	stale := filepath.Join(dir, ".put-stale")
	for _, p := range []string{foreign, fresh, stale} {
		if err := os.WriteFile(p, make([]byte, 100), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	old := time.Now().Add(-2 * time.Hour)
	_ = os.Chtimes(stale, old, old)

	freed, err := d.Prune(3200)
	if err != nil {
		t.Fatal(err)
	}
	var kept []string
	for i := range 10 {
		if _, ok, _ := d.Get(fmt.Sprint(i)); ok {
			kept = append(kept, fmt.Sprint(i))
		}
	}
	if got := strings.Join(kept, " "); got != "0 8 9" || freed != 7*1032 {
		t.Errorf("kept %s, freed %d bytes", got, freed)
	}
	if size, err := d.Size(); err != nil || size != 3*1032 {
		t.Errorf("size %d, %v", size, err)
	}
	for p, want := range map[string]bool{foreign: true, fresh: true, stale: false} {
		if _, err := os.Stat(p); (err == nil) != want {
			t.Errorf("%s: there is %v, want %v", filepath.Base(p), err == nil, want)
		}
	}
	if _, err := d.Prune(0); err != nil {
		t.Fatal(err)
	}
	if size, _ := d.Size(); size != 0 {
		t.Errorf("%d bytes after Prune(0)", size)
	}
}

// A cache folder that cannot be written is said at once, and a Put that fails
// leaves no temporary file.
func TestDiskErrors(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := store.OpenDisk(filepath.Join(file, "cache")); err == nil {
		t.Error("a store below a file was opened")
	}
	d, dir := open(t)
	if err := d.Put("k", []byte("v")); err != nil {
		t.Fatal(err)
	}
	path := files(t, dir)[0]
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(path, "in-the-way"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := d.Put("k", []byte("v")); err == nil {
		t.Error("a folder in the way went unnoticed")
	}
	if left := files(t, dir); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
}
