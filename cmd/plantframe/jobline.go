package main

import (
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"plantframe/cmd/internal/queue"
	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/swing"
)

// jobSchema names the form of a jobLine in JSON.
const jobSchema = "plantframe/job/1"

// Events of a jobLine.
const (
	eventFound   = "found"    // a clip is whole and in the queue
	eventBegan   = "began"    // an attempt begins
	eventDone    = "done"     // results are there
	eventFailed  = "failed"   // an attempt failed; the clip is tried again
	eventGivenUp = "given-up" // failed for good
	eventWaits   = "waits"    // cannot begin yet, or was stopped
	eventStopped = "cancelled"
	eventSame    = "same"    // the content of a clip that is known
	eventRefused = "refused" // not taken: Text says why
)

// jobLine is one thing that happened to a clip: a line for people, or of JSON.
type jobLine struct {
	Schema   string     `json:"schema"`
	Event    string     `json:"event"`
	Time     string     `json:"time"` // RFC 3339
	Clip     string     `json:"clip"`
	Job      int64      `json:"job,omitempty"`
	Attempt  int        `json:"attempt,omitempty"`
	Attempts int        `json:"attempts,omitempty"`
	Text     string     `json:"text,omitempty"` // for people
	Due      string     `json:"due,omitempty"`  // of the next attempt, RFC 3339
	Result   *ui.Result `json:"result,omitempty"`
}

// lineOf says what the queue tells of a job.
func lineOf(j queue.Job) jobLine {
	l := jobLine{Clip: j.Clip.Path, Job: j.ID, Attempt: j.Attempt, Attempts: j.Attempts}
	switch j.State {
	case queue.Running:
		l.Event = eventBegan
	case queue.Done:
		l.Event, l.Text = eventDone, j.Progress.Note
	case queue.GivenUp:
		l.Event, l.Text = eventGivenUp, j.Reason()
	case queue.Cancelled:
		l.Event = eventStopped
	case queue.Again:
		l.Event, l.Text, l.Due = eventFailed, j.Reason(), j.Due.UTC().Format(time.RFC3339)
	default:
		l.Event, l.Text = eventWaits, j.Progress.Note
		if r := j.Reason(); l.Text == "" && r != "" {
			l.Event, l.Text = eventFailed, r
		}
	}
	return l
}

// outcomeText says in short what was found in a clip.
func outcomeText(r ui.Result) string {
	text := "no swing"
	for i, s := range r.Swings {
		if i == 0 {
			text = fmt.Sprintf("%d swings", len(r.Swings))
			if len(r.Swings) == 1 {
				text = "1 swing"
			}
		}
		if i == 3 {
			text += ", ..."
			break
		}
		text += fmt.Sprintf(", %s %s", s.Bats, s.View)
		if s.Plant != nil {
			text += fmt.Sprintf(" plant %.3f s", s.Plant.Time)
		} else {
			text += " without a plant"
		}
	}
	if n := len(r.Warnings); n == 1 {
		text += "; 1 warning"
	} else if n > 1 {
		text += fmt.Sprintf("; %d warnings", n)
	}
	return text
}

// linePrinter prints what happens, one line each. It is safe for concurrent use.
type linePrinter struct {
	w     io.Writer
	json  bool
	root  string // paths below it are shown without it
	began bool   // print beginnings too
	now   func() time.Time

	mu     sync.Mutex
	counts map[string]int
}

func newLinePrinter(w io.Writer, asJSON bool, root string) *linePrinter {
	return &linePrinter{w: w, json: asJSON, root: root, now: time.Now, counts: map[string]int{}}
}

// print prints a line.
func (p *linePrinter) print(l jobLine) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.counts[l.Event]++
	now := p.now()
	if p.json {
		l.Schema, l.Time = jobSchema, now.UTC().Format(time.RFC3339)
		if l.Result != nil {
			r := *l.Result
			r.Schema = ui.ResultSchema
			l.Result = &r
		}
		enc := json.NewEncoder(p.w)
		enc.SetEscapeHTML(false)
		_ = enc.Encode(l)
		return
	}
	if l.Event == eventBegan && !p.began {
		return
	}
	fmt.Fprintf(p.w, "%s  %-9s %s%s\n", now.Format("15:04:05"), l.Event, ui.Plain(p.short(l.Clip)), ui.Plain(p.tail(l)))
}

// tail is what follows the clip's name.
func (p *linePrinter) tail(l jobLine) string {
	text := ""
	if l.Text != "" {
		text = ": " + strings.TrimSuffix(l.Text, ".")
	}
	switch l.Event {
	case eventDone:
		if l.Result != nil && l.Result.Seconds > 0 {
			text += fmt.Sprintf("; took %.0f s", l.Result.Seconds)
		}
	case eventFailed:
		text = fmt.Sprintf(", attempt %d of %d%s", l.Attempt, l.Attempts, text)
		if due, err := time.Parse(time.RFC3339, l.Due); err == nil {
			text += "; again at " + due.Local().Format("15:04:05")
		} else {
			text += "; again now"
		}
	case eventGivenUp:
		text = fmt.Sprintf(" after %d attempts%s", l.Attempt, text)
	}
	return text
}

// short is a path as people know it.
func (p *linePrinter) short(path string) string {
	if rel, err := filepath.Rel(p.root, path); p.root != "" && err == nil && filepath.IsLocal(rel) {
		return rel
	}
	return path
}

// count returns how many lines of an event were printed.
func (p *linePrinter) count(event string) int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.counts[event]
}

// code is the exit code that follows from what happened.
func (p *linePrinter) code(stopped bool) int {
	bad := p.count(eventGivenUp) + p.count(eventRefused)
	switch {
	case stopped:
		return exitStopped
	case bad == 0:
		return exitDone
	case p.count(eventDone)+p.count(eventSame) == 0:
		return exitFailed
	}
	return exitIncomplete
}

// busyError says that a worker of this name is alive.
func busyError(name string) error {
	return &swing.Error{
		Op: "work", Frame: -1, Kind: swing.KindUsage, Msg: "a worker with the name " + name + " is running on this machine already",
		Hint: "one is enough: it does several clips at once (--jobs); give a second one a name of its own (--name)",
	}
}
