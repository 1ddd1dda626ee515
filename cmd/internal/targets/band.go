package targets

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"plantframe/pipeline/judge"
	"plantframe/pipeline/measure"
	"plantframe/pipeline/swing"
)

// raw is a band as files tell it, with the places where they do.
type raw struct {
	judge.Band
	in      source         // the file that said something last
	at      map[string]int // line of each key, 0 = from a file below
	off     bool
	hasText bool
}

func bandKeys() []string {
	return []string{
		"id", "measure", "event", "view", "unit", "lo", "hi", "half_width", "weight", "launch", "good", "origin",
		"drills_low", "drills_high", "text", "off",
	}
}

// merge lays the bands of this file over those it is based on.
func (f *file) merge(list *yaml.Node) error {
	seen := map[string]int{}
	for _, n := range list.Content {
		es, err := f.entries(n, "a band", bandKeys()...)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(es, func(e entry) bool { return e.key == "id" })
		if i < 0 {
			return f.wrong(n.Line, "give it a short name such as rear-elbow-up", "a band has no id")
		}
		id, err := f.text(es[i])
		if err != nil {
			return err
		}
		if first, twice := seen[id]; twice {
			return f.wrong(n.Line, "give it another id, or take one out", "the band %s is there twice, first in line %d", id, first)
		}
		seen[id] = n.Line
		k := slices.IndexFunc(f.bands, func(r raw) bool { return r.ID == id })
		if k < 0 {
			f.bands = append(f.bands, raw{Band: judge.Band{ID: id, Weight: 1}})
			k = len(f.bands) - 1
		}
		r := &f.bands[k]
		r.in, r.at = f.source, map[string]int{"": n.Line}
		r.Origin = or(f.origin, r.Origin)
		for _, e := range es {
			r.at[e.key] = e.line
			if err := r.set(e); err != nil {
				return err
			}
		}
		if err := r.check(); err != nil {
			return err
		}
	}
	return nil
}

// set takes one key of a band.
func (r *raw) set(e entry) (err error) {
	s := r.in
	edge := func(to **float64) error {
		if e.value.Tag == "!!null" || e.value.Value == "open" {
			*to = nil
			return nil
		}
		v, err := s.number(e)
		*to = &v
		return err
	}
	switch e.key {
	case "measure":
		r.Measure, err = s.text(e)
	case "event":
		var t string
		t, err = s.text(e)
		r.Event = swing.EventName(t)
	case "view":
		var t string
		if t, err = s.text(e); err != nil {
			return err
		}
		switch t {
		case "both":
			r.Views = []swing.View{swing.OpenSide, swing.Rear}
		case string(swing.OpenSide), string(swing.Rear):
			r.Views = []swing.View{swing.View(t)}
		default:
			return s.wrong(e.line, "it must be open-side, rear or both", "view is %q", t)
		}
	case "unit":
		r.Unit, err = s.text(e)
	case "lo":
		err = edge(&r.Lo)
	case "hi":
		err = edge(&r.Hi)
	case "half_width":
		r.HalfWidth, err = s.number(e)
	case "weight":
		r.Weight, err = s.number(e)
	case "launch":
		r.Launch, err = s.flag(e)
	case "good":
		r.Good, err = s.flag(e)
	case "off":
		r.off, err = s.flag(e)
	case "origin":
		if r.Origin, err = s.text(e); err == nil && !slices.Contains(origins(), r.Origin) {
			return s.wrong(e.line, oneOf(origins()), "origin is %q", r.Origin)
		}
	case "drills_low":
		r.DrillsLow, err = s.list(e)
	case "drills_high":
		r.DrillsHigh, err = s.list(e)
	case "text":
		r.hasText = true
		r.Text, err = s.texts(e)
	}
	return err
}

// known returns the definition of a measure, in metres too.
func known(id string) (measure.Definition, bool) {
	for _, d := range measure.Catalogue() {
		if d.ID == id {
			return d, true
		}
		if d.Unit == "stature" && d.ID+"_m" == id {
			d.ID, d.Unit = id, "m"
			return d, true
		}
	}
	return measure.Definition{}, false
}

// measureIDs lists what bands can be given for.
func measureIDs() []string {
	var out []string
	for _, d := range measure.Catalogue() {
		out = append(out, d.ID)
	}
	return out
}

// check refuses a band that makes no sense, at the line that says it.
func (r *raw) check() error {
	s := r.in
	line := func(key string) int {
		if l := r.at[key]; l > 0 {
			return l
		}
		return r.at[""]
	}
	if r.off {
		return nil
	}
	if r.Measure == "" {
		return s.wrong(line(""), "add one, such as measure: bat_tilt; a band of another file is changed only when based_on names that file", "the band %s has no measure", r.ID)
	}
	d, ok := known(r.Measure)
	if !ok {
		return s.wrong(line("measure"), nearest(r.Measure, measureIDs()), "the band %s has the unknown measure %q", r.ID, r.Measure)
	}
	if err := r.checkEvent(d, line("event")); err != nil {
		return err
	}
	switch {
	case r.Unit == "":
		return s.wrong(line(""), "add unit: "+quoted(d.Unit), "the band %s has no unit", r.ID)
	case r.Unit != d.Unit:
		return s.wrong(line("unit"), "write unit: "+quoted(d.Unit)+" and give lo and hi in it", "the band %s is in %q, but %s is measured in %q", r.ID, r.Unit, d.ID, d.Unit)
	case len(r.Views) == 0:
		return s.wrong(line(""), "add view: open-side, rear or both", "the band %s has no view", r.ID)
	case r.Lo == nil && r.Hi == nil:
		return s.wrong(line(""), "add lo, hi or both", "the band %s has neither lo nor hi", r.ID)
	case r.Lo != nil && r.Hi != nil && *r.Lo >= *r.Hi:
		return s.wrong(line("lo"), "exchange them, or leave one out", "the band %s has lo %g, which is not below hi %g", r.ID, *r.Lo, *r.Hi)
	case r.HalfWidth < 0 || (r.HalfWidth == 0 && (r.Lo == nil || r.Hi == nil)):
		return s.wrong(line("half_width"), "add half_width: how far outside counts as severity 1", "the band %s is open on one side and has no half_width over 0", r.ID)
	case !(r.Weight > 0 && r.Weight <= 100):
		return s.wrong(line("weight"), "1 is usual", "the band %s has the weight %g", r.ID, r.Weight)
	case r.Origin == "":
		return s.wrong(line(""), "add origin: instructor, to this band or for the whole file", "the band %s does not say its origin", r.ID)
	}
	for _, v := range r.Views {
		if !slices.Contains(d.Views, v) {
			return s.wrong(line("view"), "leave that view out", "the band %s is judged in the view %s, which cannot carry %s", r.ID, v, d.ID)
		}
	}
	for _, key := range []string{"drills_low", "drills_high"} {
		if list := map[string][]string{"drills_low": r.DrillsLow, "drills_high": r.DrillsHigh}[key]; len(list) > 2 {
			return s.wrong(line(key), "name the best two", "the band %s has %d drills", r.ID, len(list))
		}
	}
	return nil
}

func (r *raw) checkEvent(d measure.Definition, line int) error {
	var have []string
	for _, e := range d.Events {
		if e != "" {
			have = append(have, string(e))
		}
	}
	switch {
	case slices.Contains(d.Events, r.Event):
		return nil
	case r.Event == "":
		return r.in.wrong(line, oneOf(have), "the band %s has no event, but %s is taken at events", r.ID, d.ID)
	case !slices.Contains(swing.EventNames(), r.Event):
		return r.in.wrong(line, nearest(string(r.Event), have), "the band %s has the unknown event %q", r.ID, r.Event)
	case len(have) == 0:
		return r.in.wrong(line, "leave event out", "the band %s has an event, but %s spans the swing", r.ID, d.ID)
	}
	return r.in.wrong(line, oneOf(have), "%s is not taken at %s", d.ID, r.Event)
}

func quoted(unit string) string {
	if unit == "1" {
		return `"1"`
	}
	return unit
}

// nearest suggests the word that shares the longest beginning, else all.
func nearest(word string, all []string) string {
	best, most := "", 3
	for _, w := range all {
		n := 0
		for n < len(w) && n < len(word) && w[n] == word[n] {
			n++
		}
		if n > most {
			best, most = w, n
		}
	}
	if best != "" {
		return "did you mean " + best + "? known are " + strings.Join(all, ", ")
	}
	return oneOf(all)
}
