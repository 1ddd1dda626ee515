package web

import (
	"net/http"
	"strings"
	"testing"
)

// A monitoring program on this machine gets figures without any name; nobody else
// does, not even an instructor.
func TestMetrics(t *testing.T) {
	b := newBench(t, true)
	b.hitterNamed("Annabel Nobody")
	c := b.client()
	c.from = "127.0.0.1:4000"
	w := c.do("GET", "/metrics", nil, nil)
	if w.Code != http.StatusOK {
		t.Fatal(w.Code, w.Body)
	}
	text := w.Body.String()
	for _, want := range []string{
		`plantframe_jobs{state="waiting"} 0`, `plantframe_jobs{state="given-up"} 0`, "plantframe_queue_up 1",
		"plantframe_disk_free_bytes 1.099511627776e+12", "plantframe_connections 0", "process_open_fds ", "go_goroutines ",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the figures lack %q", want)
		}
	}
	if strings.Contains(text, "Annabel") {
		t.Error("a hitter is named")
	}
	for name, header := range map[string]map[string]string{"X-Forwarded-For": {"X-Forwarded-For": "192.0.2.7"}, "Via": {"Via": "1.1 x"}} {
		if w := c.do("GET", "/metrics", nil, header); w.Code != http.StatusNotFound {
			t.Errorf("through a proxy (%s): %d", name, w.Code)
		}
	}
	c.from = "192.0.2.1:4000"
	if w := c.do("GET", "/metrics", nil, nil); w.Code != http.StatusNotFound || strings.Contains(w.Body.String(), "go_goroutines") {
		t.Errorf("from elsewhere: %d", w.Code)
	}
}
