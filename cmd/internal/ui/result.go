package ui

import (
	"encoding/json"
	"errors"
	"io"
	"reflect"
	"slices"

	"plantframe/pipeline/swing"
)

// ResultSchema names the form of a Result in JSON.
const ResultSchema = "plantframe/result/1"

// Statuses of a Result.
const (
	StatusDone    = "done"    // analysed; results are in Folder
	StatusFailed  = "failed"  // Error says why
	StatusSame    = "same"    // the same content as the clip SameAs, analysed once
	StatusStopped = "stopped" // the run was stopped before the clip was through
)

// Result is what became of one clip: one line of --json output, one or more
// rows of the table.
type Result struct {
	Schema   string          `json:"schema"`            // ResultSchema
	Clip     string          `json:"clip"`              // path as given
	Status   string          `json:"status"`            // one of the statuses
	SameAs   string          `json:"same_as,omitempty"` // path of the clip with the same content
	Folder   string          `json:"folder,omitempty"`  // where the files of the clip lie
	Files    []string        `json:"files,omitempty"`   // in Folder, slash-separated
	Seconds  float64         `json:"seconds"`           // wall time of the analysis
	Swings   []SwingResult   `json:"swings"`
	Warnings []swing.Warning `json:"warnings"` // of the clip and of its swings
	Error    *ErrorResult    `json:"error,omitempty"`
}

// SwingResult is the short form of a swing.
type SwingResult struct {
	Index    int             `json:"index"`
	Bats     swing.Bats      `json:"bats"`
	View     swing.View      `json:"view"`
	Plant    *swing.Event    `json:"plant"`    // null when not found
	Measures []swing.Measure `json:"measures"` // the three key measures at plant, KeyMeasures
	Warnings int             `json:"warnings"` // how many the swing has
	// Findings are what is worth saying: the priorities, then what is done well.
	Findings []swing.Finding `json:"findings,omitempty"`
	Judged   int             `json:"judged"` // how many checkpoints were judged
}

// ErrorResult is an error for programs and people.
type ErrorResult struct {
	Kind    swing.Kind `json:"kind"`
	Message string     `json:"message"` // one sentence
	Hint    string     `json:"hint,omitempty"`
}

// KeyMeasures lists the measures shown in the table, taken at plant.
func KeyMeasures() []string {
	return []string{"rear_elbow_height", "lead_elbow_flexion", "stride_length"}
}

// add appends warnings that are not there yet: what is said of the file may be
// said of the analysis again.
func (r *Result) add(ws []swing.Warning) {
	for _, w := range ws {
		if !slices.ContainsFunc(r.Warnings, func(o swing.Warning) bool { return reflect.DeepEqual(o, w) }) {
			r.Warnings = append(r.Warnings, w)
		}
	}
}

// Summarise fills swings and warnings of r from an analysis.
func (r *Result) Summarise(a swing.Analysis) {
	r.add(a.Clip.Warnings)
	r.add(a.Warnings)
	for _, sw := range a.Swings {
		s := SwingResult{Index: sw.Index, Bats: sw.Bats, View: sw.View, Warnings: len(sw.Warnings)}
		if e, ok := sw.Events[swing.Plant]; ok {
			s.Plant = &e
		}
		for _, id := range KeyMeasures() {
			for _, m := range sw.Measures {
				// Metres repeat what the stature fraction says.
				if m.ID == id && m.Event == swing.Plant && m.Unit != "m" {
					s.Measures = append(s.Measures, m)
					break
				}
			}
		}
		for _, f := range sw.Findings { // in order: priorities come first
			if f.Priority > 0 || f.Good {
				s.Findings = append(s.Findings, f)
			}
			if f.Status != swing.NotJudgeable {
				s.Judged++
			}
		}
		r.Swings = append(r.Swings, s)
		r.add(sw.Warnings)
	}
}

// longCause is the length from which a cause is left out of a message, columns:
// it is then the talk of a library or program, which belongs into the log.
const longCause = 120

// Explain turns any error into words for people: the sentence with a short
// cause, the first hint there is, and the kind, without the clip's path.
func Explain(err error) *ErrorResult {
	var e *swing.Error
	if !errors.As(err, &e) {
		return &ErrorResult{Kind: swing.KindInternal, Message: Plain(err.Error())}
	}
	out := &ErrorResult{Kind: e.Kind, Hint: Plain(e.Hint)}
	bare := *e
	bare.Clip = ""
	if bare.Err != nil && bare.Msg != "" && Columns(Plain(bare.Err.Error())) > longCause {
		bare.Err = nil
	}
	out.Message = Plain(bare.Error())
	for inner := e.Err; out.Hint == "" && errors.As(inner, &e); inner = e.Err {
		out.Hint = Plain(e.Hint)
	}
	return out
}

// WriteResult writes r as one line of JSON.
func WriteResult(w io.Writer, r Result) error {
	r.Schema = ResultSchema
	if r.Swings == nil {
		r.Swings = []SwingResult{}
	}
	for i := range r.Swings {
		if r.Swings[i].Measures == nil {
			r.Swings[i].Measures = []swing.Measure{}
		}
	}
	if r.Warnings == nil {
		r.Warnings = []swing.Warning{}
	}
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return enc.Encode(r)
}
