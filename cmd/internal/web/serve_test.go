package web

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/store"
)

// running serves a page on a port of its own until the test ends; stop ends it.
func (b *bench) running(t *testing.T) (address string, stop func() time.Duration) {
	t.Helper()
	l, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- b.Serve(ctx, l) }()
	done := false
	stop = func() time.Duration {
		start := time.Now()
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		done = true
		return time.Since(start)
	}
	t.Cleanup(func() {
		if !done {
			stop()
		}
	})
	return l.Addr().String(), stop
}

func dial(t *testing.T, address string) net.Conn {
	t.Helper()
	c, err := (&net.Dialer{}).DialContext(t.Context(), "tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// closed waits until the other side has closed a connection.
func closed(t *testing.T, c net.Conn) {
	t.Helper()
	_ = c.SetReadDeadline(time.Now().Add(20 * time.Second))
	if _, err := io.Copy(io.Discard, c); err != nil {
		if ne, ok := err.(net.Error); ok && ne.Timeout() {
			t.Error("it is kept open")
		}
	}
}

// Clients that send their head, their form or their clip by drops, or not at all, are
// let go; what arrived of the clip is kept.
func TestSlowClients(t *testing.T) {
	b := newBench(t, false)
	h := b.hitterNamed("Ann")
	b.o.Slow = 200 * time.Millisecond
	b.restart()
	address, _ := b.running(t)
	w := b.client().do("POST", "/uploads/", nil, tusHeaders(1000, "filename", "b.mp4", "hitter", h.ID))
	id := strings.TrimPrefix(w.Header().Get("Location"), "/uploads/")
	t.Run("all", func(t *testing.T) {
		for name, head := range map[string]string{
			"nothing": "",
			"head":    "GET / HTTP/1.1\r\nHost: localhost\r\nX-",
			"form":    "POST /hitters HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 100\r\n\r\nname",
			"clip":    "PATCH /uploads/" + id + " HTTP/1.1\r\nHost: localhost\r\nTus-Resumable: 1.0.0\r\nUpload-Offset: 0\r\nContent-Type: application/offset+octet-stream\r\nContent-Length: 1000\r\n\r\nswing",
			"files":   "POST /upload HTTP/1.1\r\nHost: localhost\r\nContent-Type: multipart/form-data; boundary=x\r\nContent-Length: 1000\r\n\r\n--x\r\n",
		} {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				c := dial(t, address)
				_, _ = io.WriteString(c, head)
				closed(t, c)
			})
		}
	})
	if u, _, err := b.upload(t.Context(), id); err != nil || u.Have != 5 {
		t.Error("kept: ", u.Have, err)
	}
}

// Heads of a megabyte are refused, and so is a reader that does not read.
func TestGreedyClients(t *testing.T) {
	b := newBench(t, false)
	b.o.Slow = 200 * time.Millisecond
	b.restart()
	address, _ := b.running(t)
	c := dial(t, address)
	go func() {
		_, _ = io.WriteString(c, "GET / HTTP/1.1\r\nHost: localhost\r\nX: "+strings.Repeat("x", 1<<20)+"\r\n\r\n")
	}()
	_ = c.SetReadDeadline(time.Now().Add(20 * time.Second))
	line, _ := bufio.NewReader(c).ReadString('\n')
	if !strings.Contains(line, "431") && line != "" { // or the line is cut while it still sends
		t.Error(line)
	}
}

// Who asks for a film and does not read it holds no connection for long.
func TestReaderThatDoesNotRead(t *testing.T) {
	b := newBench(t, false)
	sha := b.analysed("a.mp4", "one", b.hitterNamed("Ann"))
	if err := os.Truncate(filepath.Join(ResultFolder(b.o.Folder), sha[:8], "overlay.mp4"), 256<<20); err != nil {
		t.Fatal(err)
	}
	b.o.Slow = 200 * time.Millisecond
	b.restart()
	address, _ := b.running(t)
	c := dial(t, address)
	_, _ = io.WriteString(c, "GET /clips/"+sha+"/files/overlay.mp4 HTTP/1.1\r\nHost: localhost\r\n\r\n")
	one := make([]byte, 1)
	if _, err := io.ReadFull(c, one); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(20 * time.Second); b.conns.open() > 0; runtime.Gosched() {
		if time.Now().After(end) {
			t.Fatal("it is waited for")
		}
	}
}

// 2,000 connections that wait for nothing: the page answers others all the while, holds
// no more than it may, and its memory stays small.
func TestIdleConnections(t *testing.T) {
	b := newBench(t, false)
	b.o.Connections = 100
	b.restart()
	address, _ := b.running(t)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	const many = 2000
	for i := range many {
		c := dial(t, address)
		if i%2 == 0 {
			_, _ = io.WriteString(c, "GET / HTTP/1.1\r\n")
		}
		if i%500 == 499 {
			r, err := http.Get("http://" + address + "/static/style.css") //nolint:noctx // ends with the test
			if err != nil {
				t.Fatal("others are not answered: ", err)
			}
			r.Body.Close()
			http.DefaultClient.CloseIdleConnections()
		}
	}
	if n := b.conns.open(); n > b.o.Connections {
		t.Error("open: ", n)
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 30<<20 {
		t.Errorf("the heap grew by %d MB", grown>>20)
	}
}

// stream reads events of the page.
func stream(t *testing.T, address, path string) (*bufio.Scanner, func()) {
	t.Helper()
	ctx, end := context.WithCancel(t.Context())
	r, _ := http.NewRequestWithContext(ctx, "GET", "http://"+address+path, nil)
	r.Header.Set("Accept", "text/event-stream")
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	if resp.StatusCode != 200 || resp.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatal(resp.Status, resp.Header)
	}
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 1<<20)
	return lines, func() { end(); resp.Body.Close() }
}

func until(t *testing.T, lines *bufio.Scanner, want string) {
	t.Helper()
	for lines.Scan() {
		if strings.Contains(lines.Text(), want) {
			return
		}
	}
	t.Fatal("the stream ended without ", want, lines.Err())
}

// A page that looks on is told of jobs and uploads; the queue is looked at only while
// somebody does.
func TestEvents(t *testing.T) {
	b := newBench(t, false)
	h := b.hitterNamed("Ann")
	b.o.Streams = 1
	b.restart()
	address, _ := b.running(t)
	for range 2 { // the second time the look has to begin anew
		lines, end := stream(t, address, "/events")
		until(t, lines, "event: hello")
		w := b.client().get("/events")
		wantCode(t, w, http.StatusServiceUnavailable)
		if _, err := b.begin(t.Context(), "told.mp4", h.ID, 5, 0); err != nil {
			t.Fatal(err)
		}
		until(t, lines, "told.mp4")
		name := fmt.Sprintf("clip%d.mp4", time.Now().UnixNano())
		if _, _, err := b.d.Queue.Add(t.Context(), queue.Clip{SHA256: name, Path: "/x/" + name}, queue.Usual); err != nil {
			t.Fatal(err)
		}
		until(t, lines, name)
		end()
		for { // until the server has seen that it is gone
			b.hub.mu.Lock()
			n, looking := len(b.hub.subs), b.hub.stop != nil
			b.hub.mu.Unlock()
			if n == 0 && !looking {
				break
			}
			runtime.Gosched()
		}
	}
	wantCode(t, newBench(t, true).client().do("GET", "/events", nil, map[string]string{"Accept": "text/event-stream"}), http.StatusUnauthorized)
}

// A page that does not read its events is cut off, and nobody waits for it.
func TestEventsOfADeafPage(t *testing.T) {
	h := newHub(5)
	deaf, _ := h.join()
	for range 10_000 {
		h.send(event{})
	}
	n := 0
	for range deaf {
		n++
	}
	if n == 0 || n > 1000 || len(h.subs) != 0 {
		t.Error(n, len(h.subs))
	}
	h.leave(deaf)
}

// The end comes within a second or so, with an upload and a stream under way; what has
// arrived of the upload is there.
func TestEndsSoon(t *testing.T) {
	b := newBench(t, false)
	h := b.hitterNamed("Ann")
	address, stop := b.running(t)
	lines, end := stream(t, address, "/events")
	defer end()
	until(t, lines, "event: hello")
	w := b.client().do("POST", "/uploads/", nil, tusHeaders(1000, "filename", "b.mp4", "hitter", h.ID))
	id := strings.TrimPrefix(w.Header().Get("Location"), "/uploads/")
	c := dial(t, address)
	_, _ = io.WriteString(c, "PATCH /uploads/"+id+" HTTP/1.1\r\nHost: localhost\r\nTus-Resumable: 1.0.0\r\nUpload-Offset: 0\r\nContent-Type: application/offset+octet-stream\r\nContent-Length: 1000\r\n\r\nswing")
	offset := func() string {
		u, _, _ := b.upload(t.Context(), id)
		return itoa(u.Have)
	}
	for offset() != "5" {
		runtime.Gosched()
	}
	if d := stop(); d > 2*time.Second {
		t.Error("it took ", d)
	}
	if offset() != "5" {
		t.Error("kept: ", offset())
	}
}

// What went wrong inside is told to instructors alone: it may name folders.
func TestInnerErrorsAreNotTold(t *testing.T) {
	b := newBench(t, true)
	h := b.hitterNamed("Ann")
	b.Server.d.Progress = func(context.Context, io.Writer, store.Hitter) error { return errors.New("/srv/secret is broken") }
	for name, told := range map[string]bool{"coach": true, "helper": false} {
		w := b.as(name).get("/hitters/" + h.ID + "/progress")
		wantCode(t, w, 500)
		if strings.Contains(w.Body.String(), "/srv/secret") != told {
			t.Error(name, w.Body)
		}
	}
	b.Server.d.Progress = func(context.Context, io.Writer, store.Hitter) error { panic("a fault") }
	w := b.as("helper").get("/hitters/" + h.ID + "/progress")
	wantCode(t, w, 500)
	if strings.Contains(w.Body.String(), "a fault") || strings.Contains(w.Body.String(), "goroutine") {
		t.Error(w.Body)
	}
}
