package ingest

import (
	"path/filepath"
	"testing"
	"time"
)

func TestWhenAClipWasMade(t *testing.T) {
	for text, want := range map[string]time.Time{
		"2026-05-04T16:30:12.000000Z": time.Date(2026, 5, 4, 16, 30, 12, 0, time.UTC),
		"1904-01-01T00:00:00Z":        {}, "1970-01-01T00:00:00.000000Z": {}, "": {}, "yesterday": {},
	} {
		if got := madeAt(text); !got.Equal(want) {
			t.Errorf("%q: %v, want %v", text, got, want)
		}
	}
	dir := t.TempDir()
	c := probe(t, h264(t, filepath.Join(dir, "a.mov"), "testsrc=size=64x64:rate=30:duration=1", "-metadata", "creation_time=2026-05-04T16:30:12Z"))
	if want := time.Date(2026, 5, 4, 16, 30, 12, 0, time.UTC); !c.Made.Equal(want) {
		t.Errorf("made at %v, want %v", c.Made, want)
	}
	if c := probe(t, h264(t, filepath.Join(dir, "b.mov"), "testsrc=size=64x64:rate=30:duration=1")); !c.Made.IsZero() {
		t.Errorf("made at %v, but nothing tells", c.Made)
	}
}
