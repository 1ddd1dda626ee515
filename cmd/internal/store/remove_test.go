package store

import "testing"

func TestRemove(t *testing.T) {
	d, err := OpenDisk(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Put("a", []byte("x")); err != nil || !d.Has("a") || d.Has("b") {
		t.Fatal(err)
	}
	for range 2 {
		if err := d.Remove("a"); err != nil || d.Has("a") {
			t.Error(err)
		}
	}
}
