package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"sync"
	"time"

	"plantframe/cmd/internal/queue"
)

// event is a change that pages which are open show: of a job or of an upload.
type event struct {
	job    *queue.Job
	upload *upload
}

// hub passes events on to the pages that look on. The queue is looked at only while
// there are any.
type hub struct {
	most int
	wake chan struct{}

	mu   sync.Mutex
	subs map[chan event]struct{}
	stop context.CancelFunc // ends the look at the queue; nil = there is none
}

func newHub(most int) *hub {
	return &hub{most: most, wake: make(chan struct{}, 1), subs: map[chan event]struct{}{}}
}

// join adds a page; false when there are too many.
func (h *hub) join() (chan event, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.subs) >= h.most {
		return nil, false
	}
	c := make(chan event, 256)
	h.subs[c] = struct{}{}
	select {
	case h.wake <- struct{}{}:
	default:
	}
	return c, true
}

// leave takes a page out.
func (h *hub) leave(c chan event) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.subs, c)
	if len(h.subs) == 0 && h.stop != nil {
		h.stop()
	}
}

// send tells all pages. One that does not keep up is cut off: it comes back and loads
// the state as it is then.
func (h *hub) send(e event) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for c := range h.subs {
		select {
		case c <- e:
		default:
			delete(h.subs, c)
			close(c)
		}
	}
}

// look watches the queue while pages look on, until ctx ends.
func (h *hub) look(ctx context.Context, s *Server) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-h.wake:
		}
		watching, stop := context.WithCancel(ctx)
		h.mu.Lock()
		h.stop = stop
		if len(h.subs) == 0 {
			stop()
		}
		h.mu.Unlock()
		for watching.Err() == nil {
			err := s.d.Queue.Watch(watching, s.o.Look, func(j queue.Job) error {
				h.send(event{job: &j})
				return nil
			})
			if watching.Err() != nil {
				break
			}
			s.log.Warn("the jobs cannot be looked at for the moment", "error", err)
			select {
			case <-watching.Done():
			case <-time.After(2 * time.Second):
			}
		}
		h.mu.Lock()
		h.stop = nil
		h.mu.Unlock()
		stop()
	}
}

// pingEvery keeps lines open that would be taken for dead, and finds those that are.
const pingEvery = 15 * time.Second

// events is the stream of changes: each is a row of a table as the server draws it.
func (s *Server) events(w http.ResponseWriter, r *http.Request) error {
	p := personOf(r)
	c, ok := s.hub.join()
	if !ok {
		w.Header().Set("Retry-After", "30")
		return refuse(http.StatusServiceUnavailable, "Too many pages look on. Reload this one to see what is new.")
	}
	defer s.hub.leave(c)
	rc := http.NewResponseController(w)
	_ = rc.SetReadDeadline(time.Time{})
	w.Header().Set("Content-Type", "text/event-stream")
	write := func(text string) error {
		_ = rc.SetWriteDeadline(time.Now().Add(s.o.Slow))
		if _, err := fmt.Fprint(w, text); err != nil {
			return err
		}
		return rc.Flush()
	}
	if write("retry: 2000\nevent: hello\ndata: {}\n\n") != nil {
		return nil
	}
	ping := time.NewTicker(pingEvery)
	defer ping.Stop()
	for {
		var err error
		select {
		case <-r.Context().Done():
			return nil
		case <-ping.C:
			// A login that is over shows nothing more.
			if _, ok, werr := s.who(r); !ok || werr != nil {
				return nil
			}
			err = write(": still here\n\n")
		case e, ok := <-c:
			if !ok {
				return nil
			}
			var text string
			if text, err = s.eventText(e, p); err == nil {
				err = write(text)
			}
		}
		if err != nil {
			return nil //nolint:nilerr // the page is gone
		}
	}
}

// eventText is an event as the stream carries it. JSON has no line ends of its own.
func (s *Server) eventText(e event, p person) (string, error) {
	var name, id string
	var b bytes.Buffer
	var err error
	if e.job != nil {
		name, id = "job", fmt.Sprintf("job-%d", e.job.ID)
		err = s.pages.t.ExecuteTemplate(&b, "jobrow", newJobRow(*e.job, p))
	} else {
		name, id = "upload", "upload-"+e.upload.ID
		err = s.pages.t.ExecuteTemplate(&b, "uploadrow", uploadRow{*e.upload, p})
	}
	if err != nil {
		return "", err
	}
	data, err := json.Marshal(map[string]string{"id": id, "html": b.String()})
	return "event: " + name + "\ndata: " + string(data) + "\n\n", err
}
