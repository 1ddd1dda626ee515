package models

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

// The published ONNX Runtime reports its use over the network unless told
// otherwise, and its reporter leaves a log of its own in the temporary folder
// as soon as it starts. Without the log it never started.
func TestNothingIsReported(t *testing.T) {
	s := open(t, "pose-detector", 1)
	if err := s.Run(); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if got := os.Getenv(noReports); got != "1" {
		t.Errorf("%s is %q, want 1", noReports, got)
	}
	for _, dir := range []string{os.TempDir(), "/tmp"} {
		log := filepath.Join(dir, fmt.Sprintf("mat-debug-%d.log", os.Getpid()))
		if _, err := os.Stat(log); err == nil {
			t.Errorf("%s is there: the library's reporter is on", log)
		}
	}
}
