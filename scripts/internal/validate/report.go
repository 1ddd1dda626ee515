package main

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"text/tabwriter"
)

var eventOrder = []string{"stance", "load", "lift", "touch", "plant", "contact"}

// writeText prints the report as tables.
func writeText(w io.Writer, r *Report, clips bool) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	line := func(format string, a ...any) { fmt.Fprintf(t, format+"\n", a...) }
	if clips {
		line("clip\tswings\tbats\tview\tload ms\tlift\ttouch\tplant\tcontact\tkp median\tPCK.2\tswaps")
		for _, c := range r.Clips {
			n := 0
			for _, v := range c.Swaps {
				n += v
			}
			line("%s\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%d", c.Clip, c.Swings, ok(c.BatsRight), ok(c.ViewRight),
				ms(c, "load"), ms(c, "lift"), ms(c, "touch"), ms(c, "plant"), ms(c, "contact"), num(c.Median, 3), num(c.PCK20, 2), n)
		}
		line("")
	}
	line("event\tn\tnot found\tmedian |error| ms\tbias ms\twithin 17 ms\tworst ms\tin 1 sigma\tin 2 sigma")
	for _, e := range eventOrder {
		if s, found := r.Events[e]; found {
			line("%s\t%d\t%d\t%s\t%s\t%s\t%s\t%s\t%s", e, s.N, s.NotFound, num(s.MedianMS, 1), num(s.BiasMS, 1),
				num(s.Within17, 2), num(s.MaxMS, 0), num(s.Coverage1, 2), num(s.Coverage2, 2))
		}
	}
	k := r.Keypoints
	line("")
	line("key points\tpoints\tmedian\tmean\tPCK@0.1\tPCK@0.2\tOKS\tmissing\tframes covered")
	line("torso lengths\t%d\t%s\t%s\t%s\t%s\t%s\t%d\t%s", k.Points, num(k.Median, 3), num(k.Mean, 3), num(k.PCK10, 3),
		num(k.PCK20, 3), num(k.OKS, 3), k.Missing, num(k.Frames, 2))
	var cells []string
	for _, j := range bodyJoints {
		cells = append(cells, j+" "+num(at(k.Joints, j), 3))
	}
	for _, p := range phases {
		cells = append(cells, p+" "+num(at(k.Phases, p), 3))
	}
	line("means: %s", strings.Join(cells, ", "))
	cells = nil
	for _, g := range swapGroups {
		cells = append(cells, fmt.Sprintf("%s %d", g.name, k.Swaps[g.name]))
	}
	line("frames with exchanged sides before contact: %s", strings.Join(cells, ", "))
	line("")
	line("bat\tframes\tfound\tdirection median deg\t90 %%\ttip torso\tknob torso\tin 1 sigma\tin 2 sigma\twrong but sure")
	for _, p := range batPhases {
		b := r.Bat[p]
		line("%s\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%d", p, b.Frames, num(b.Found, 3), num(b.MedianDeg, 2), num(b.P90Deg, 1),
			num(b.Tip, 3), num(b.Knob, 3), num(b.Coverage1, 2), num(b.Coverage2, 2), b.Sure)
	}
	line("")
	line("measure\tunit\tn\tnot given\tbias\tmedian |error|\tmedian sigma\tin 1 sigma\tin 2 sigma")
	for _, id := range slices.Sorted(maps.Keys(r.Measures)) {
		measureLine(line, id, r.Measures[id])
		for _, key := range slices.Sorted(maps.Keys(r.AtEvent)) {
			if e, found := strings.CutPrefix(key, id+" "); found && e != "" {
				measureLine(line, "  "+e, r.AtEvent[key])
			}
		}
	}
	line("all\t\t%d\t\t\t\t\t%s\t%s", r.Coverage.N, num(r.Coverage.Sigma1, 3), num(r.Coverage.Sigma2, 3))
	writeTurns(line, r)
	line("")
	line("goal\tvalue\tasked\t")
	for _, g := range r.Targets {
		line("%s\t%s\t%s\t%s", g.Name, num(g.Value, 3), g.Goal, map[bool]string{true: "met", false: "MISSED"}[g.Met])
	}
	t.Flush()
	if len(r.Unscored) > 0 {
		fmt.Fprintf(w, "\nmeasures without a truth: %s\n", strings.Join(r.Unscored, ", "))
	}
	if len(r.Missing) > 0 {
		fmt.Fprintf(w, "\ntruth files without an analysis: %s\n", strings.Join(r.Missing, ", "))
	}
}

func measureLine(line func(string, ...any), name string, m *MeasureScore) {
	d := 3
	if m.Unit == "deg" || m.Unit == "ms" {
		d = 1
	}
	line("%s\t%s\t%d\t%d\t%s\t%s\t%s\t%s\t%s", name, m.Unit, m.N, m.Absent, num(m.Bias, d), num(m.Median, d), num(m.Sigma, d),
		num(m.Sigma1, 2), num(m.Sigma2, 2))
}

func at(m map[string]float64, key string) float64 {
	if v, found := m[key]; found {
		return v
	}
	return math.NaN()
}

func ok(b bool) string {
	if b {
		return "ok"
	}
	return "WRONG"
}

func ms(c ClipScore, e string) string { return num(at(c.EventsMS, e), 0) }

// num formats a number; what is not known is a dash.
func num(v float64, decimals int) string {
	if math.IsNaN(v) {
		return "-"
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

// writeJSON writes the report to a file or, for "-", to stdout. Numbers that
// are not known become null.
func writeJSON(path string, stdout io.Writer, r *Report) error {
	b, err := json.MarshalIndent(plain(reflect.ValueOf(r)), "", "  ")
	if err != nil {
		return fmt.Errorf("scores: %w", err)
	}
	b = append(b, '\n')
	if path == "-" {
		_, err = stdout.Write(b)
		return err
	}
	return os.WriteFile(path, b, 0o644)
}

// plain turns a report into maps, lists and numbers that JSON can hold: a number
// that is not known becomes null. Only exported fields are kept.
func plain(v reflect.Value) any {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		return plain(v.Elem())
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			return nil
		}
	case reflect.Struct:
		out := map[string]any{}
		for i := range v.NumField() {
			f := v.Type().Field(i)
			switch name := f.Tag.Get("json"); {
			case !f.IsExported():
			case name != "":
				out[name] = plain(v.Field(i))
			case f.Anonymous:
				if m, isMap := plain(v.Field(i)).(map[string]any); isMap {
					maps.Copy(out, m)
				}
			}
		}
		return out
	case reflect.Slice:
		out := make([]any, v.Len())
		for i := range out {
			out[i] = plain(v.Index(i))
		}
		return out
	case reflect.Map:
		out := map[string]any{}
		for _, k := range v.MapKeys() {
			out[k.String()] = plain(v.MapIndex(k))
		}
		return out
	}
	return v.Interface()
}

// writeEvents prints the true event times, s, by clip.
func writeEvents(w io.Writer, truths map[string]*truth) error {
	out := map[string]map[string]float64{}
	for n, t := range truths {
		out[n] = t.events()
	}
	b, err := json.MarshalIndent(out, "", "  ")
	if err != nil {
		return fmt.Errorf("events: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", b)
	return err
}
