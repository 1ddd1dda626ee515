package store_test

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"testing"
	"time"

	"plantframe/cmd/internal/store"
)

func TestFromFolders(t *testing.T) {
	for path, want := range map[string][2]string{
		"/x/Sam  Reed/2026-03-04/a.mp4": {"Sam Reed", "2026-03-04"},
		"/x/Sam/20260304/a.mp4":         {"Sam", "2026-03-04"},
		"/x/Sam/2026_03_04/a.mp4":       {"Sam", "2026-03-04"},
		"/x/Sam/2026-02-30/a.mp4":       {}, // no such day
		"/x/Sam/2026-0304/a.mp4":        {},
		"/x/Sam/march/a.mp4":            {},
		"/x/Sam/a 2026-03-04/a.mp4":     {},
		"/x/Sam/a.mp4":                  {},
		"/2026-03-04/a.mp4":             {}, // no folder above it
		"/x/Sam/2026-03-04/cam 2/a.mp4": {},
	} {
		name, day, ok := store.FromFolders(path)
		if ok != (want[0] != "") || ok && (name != want[0] || day.Format(time.DateOnly) != want[1]) {
			t.Errorf("%s: %q %v %v", path, name, day, ok)
		}
	}
}

// movie is the beginning of a clip: sizes as in ISO/IEC 14496-12.
func movie(t *testing.T, created time.Time, long bool) []byte {
	t.Helper()
	seconds := uint64(created.Sub(time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)) / time.Second)
	head := []byte{0, 0, 0, 0}
	if long {
		head = append([]byte{1, 0, 0, 0}, binary.BigEndian.AppendUint64(nil, seconds)...)
	} else {
		head = binary.BigEndian.AppendUint32(head, uint32(seconds))
	}
	head = append(head, make([]byte, 90)...)
	wrap := func(name string, content []byte) []byte {
		return append(append(binary.BigEndian.AppendUint32(nil, uint32(8+len(content))), name...), content...)
	}
	var b bytes.Buffer
	b.Write(wrap("ftyp", []byte("isomiso2")))
	b.Write(append([]byte{0, 0, 0, 1, 'm', 'd', 'a', 't', 0, 0, 0, 0, 0, 0, 0, 20}, 1, 2, 3, 4)) // a length of 64 bits
	b.Write(wrap("moov", append(wrap("udta", []byte("mvhd")), wrap("mvhd", head)...)))
	return b.Bytes()
}

func TestShotDay(t *testing.T) {
	dir := t.TempDir()
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.Local)
	filmed := time.Date(2026, 5, 6, 12, 0, 0, 0, time.UTC)
	file := time.Date(2026, 10, 1, 12, 0, 0, 0, time.Local)
	for _, c := range []struct {
		path, day, source string
		content           []byte
	}{
		{"2026-03-04/PXL_20260405_1.mp4", "2026-03-04", "folder", movie(t, filmed, false)},
		{"PXL_20260405_101112.mp4", "2026-04-05", "name", movie(t, filmed, false)},
		{"IMG_120260405.mp4", "2026-05-06", "clip", movie(t, filmed, false)}, // digits that are no day
		{"long.mov", "2026-05-06", "clip", movie(t, filmed, true)},
		{"20270101.mp4", "2026-05-06", "clip", movie(t, filmed, false)}, // not yet
		{"noclock.mp4", "2026-10-01", "file", movie(t, time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC), false)},
		{"ahead.mp4", "2026-10-01", "file", movie(t, now.AddDate(1, 0, 0), false)},
		{"cut.mp4", "2026-10-01", "file", movie(t, filmed, false)[:70]},
		{"empty.mp4", "2026-10-01", "file", nil},
		{"text.mp4", "2026-10-01", "file", bytes.Repeat([]byte("text "), 100)},
		{"zeros.mp4", "2026-10-01", "file", make([]byte, 1000)},
	} {
		path := filepath.Join(dir, c.path)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, c.content, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, file, file); err != nil {
			t.Fatal(err)
		}
		if day, source := store.ShotDay(path, now); day.Format(time.DateOnly) != c.day || source != c.source {
			t.Errorf("%s: %s from %s, want %s from %s", c.path, day.Format(time.DateOnly), source, c.day, c.source)
		}
	}
	if day, source := store.ShotDay(filepath.Join(dir, "gone.mp4"), now); day != now || source != "file" {
		t.Errorf("%v %s", day, source)
	}
}
