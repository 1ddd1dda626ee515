package main

import (
	"strings"
	"testing"

	"plantframe/pipeline"
)

// Deleting a clip on the page takes the kept results of its stages along, and no
// others.
func TestForgetStages(t *testing.T) {
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	disk := openStages()
	if disk == nil {
		t.Fatal("no folder for results of stages")
	}
	mine, other := strings.Repeat("a", 64), strings.Repeat("b", 64)
	for _, key := range []string{mine, other} {
		if err := disk.Put(key, []byte("{}")); err != nil {
			t.Fatal(err)
		}
	}
	dir := t.TempDir()
	if err := writeStages(dir, []pipeline.StageKey{{Stage: "bodies", Key: mine}}); err != nil {
		t.Fatal(err)
	}
	if err := forgetStages(t.Context(), []string{t.TempDir(), dir}); err != nil {
		t.Fatal(err)
	}
	if _, there, err := disk.Get(mine); there || err != nil {
		t.Error("the clip's results of stages are still there", err)
	}
	if _, there, err := disk.Get(other); !there || err != nil {
		t.Error("another clip's results are gone", err)
	}
}
