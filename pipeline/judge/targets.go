package judge

import (
	"fmt"
	"math"

	"plantframe/pipeline/swing"
)

// Targets are the bands that a swing is judged by, with their texts.
type Targets struct {
	Name   string // such as "adult-baseball"
	Level  string // "youth", "high-school" or "adult"; for display
	Sport  string // "baseball" or "softball"; for display
	Bands  []Band
	Phrase Phrases
}

// Empty reports whether there is nothing to judge by.
func (t Targets) Empty() bool { return len(t.Bands) == 0 }

// Band is one checkpoint: the range that one measure should lie in at one event.
type Band struct {
	ID      string // of the checkpoint, such as "barrel-steep"
	Measure string // swing.Measure.ID
	Event   swing.EventName
	Views   []swing.View // in which it is judged
	Unit    string       // of Lo and Hi, the measure's
	// Lo and Hi are the edges; nil = open on that side, not both.
	Lo, Hi *float64
	// HalfWidth is the distance from an edge that counts as severity 1, in Unit,
	// > 0; 0 = half of Hi - Lo, when both are there.
	HalfWidth float64
	Origin    string  // "instructor", "learned" or "common practice, no source"
	Weight    float64 // how much it matters against the others, > 0, 1 = usual
	// Launch marks a checkpoint of the launch position: not judged once the
	// swing has begun.
	Launch bool
	// Good marks a checkpoint that is worth telling as done well.
	Good       bool
	DrillsLow  []string // names of drills when below Lo
	DrillsHigh []string // when above Hi
	Text       Texts
}

// Texts are the words of a checkpoint. In Low, High and In the mark {value}
// stands for the number with its uncertainty and unit and {band} for the band.
type Texts struct {
	Title           string // a few words
	Low, High       string // what is seen below and above the band, one sentence
	In              string // inside the band
	Why             string // why it matters
	CueLow, CueHigh string // what to tell the hitter
}

// Unit says how numbers of a unit are written.
type Unit struct {
	Scale    float64 // what the value is multiplied by, 0 = 1
	Decimals int     // after the point
	Suffix   string  // such as "°" or " % of body height"
	Signed   bool    // + before positive values
}

// Phrases are the words that belong to no checkpoint.
type Phrases struct {
	Units map[string]Unit // by unit of the measures
	// PlusMinus is "{value} ± {sigma}{suffix}".
	PlusMinus string
	// AtLeast, AtMost and Between say a band: {lo}, {hi}.
	AtLeast, AtMost, Between string
	Near                     string // added to a finding near the edge
	NotJudged                string // {title}, {reason}
	Unsure                   string // reason: {value}
	Begun                    string // reason: {ms}
	StartUnknown             string // added when the swing's start is not known
	Explained                string // added to a symptom: {cause}
	Saving                   string // {time}: per cent of time saved with the barrel close
}

// Validate reports the first band that makes no sense.
func (t Targets) Validate() error {
	seen := map[string]bool{}
	for _, b := range t.Bands {
		switch {
		case b.ID == "" || seen[b.ID]:
			return fmt.Errorf("checkpoint %q is named twice or has no name", b.ID)
		case b.Lo == nil && b.Hi == nil:
			return fmt.Errorf("checkpoint %s has neither lo nor hi", b.ID)
		case !finite(b.Lo) || !finite(b.Hi) || (b.Lo != nil && b.Hi != nil && *b.Lo >= *b.Hi):
			return fmt.Errorf("checkpoint %s: lo must be below hi", b.ID)
		case !(b.halfWidth() > 0) || math.IsInf(b.halfWidth(), 0):
			return fmt.Errorf("checkpoint %s is open on one side and needs a half width over 0", b.ID)
		case !(b.Weight > 0) || math.IsInf(b.Weight, 0):
			return fmt.Errorf("checkpoint %s: weight must be over 0", b.ID)
		case b.Measure == "" || b.Unit == "" || len(b.Views) == 0:
			return fmt.Errorf("checkpoint %s needs a measure, a unit and a view", b.ID)
		case b.Text.Title == "" || b.Text.In == "" || (b.Lo != nil && b.Text.Low == "") || (b.Hi != nil && b.Text.High == ""):
			return fmt.Errorf("checkpoint %s lacks a text", b.ID)
		}
		seen[b.ID] = true
	}
	return nil
}

func finite(v *float64) bool { return v == nil || !(math.IsNaN(*v) || math.IsInf(*v, 0)) }

// halfWidth returns the distance that counts as severity 1.
func (b Band) halfWidth() float64 {
	if b.HalfWidth > 0 || b.Lo == nil || b.Hi == nil {
		return b.HalfWidth
	}
	return (*b.Hi - *b.Lo) / 2
}

// in reports whether the band is judged in a view.
func (b Band) in(v swing.View) bool {
	for _, x := range b.Views {
		if x == v {
			return true
		}
	}
	return false
}
