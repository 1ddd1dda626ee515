package main

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/swing"
)

// moves says what a rerun changed.
type moves struct {
	Schema     string        `json:"schema"` // "plantframe/moved/1"
	Clips      int           `json:"clips"`
	Same       int           `json:"same"` // clips whose measures and findings are as they were
	Measures   []movedValue  `json:"measures"`
	Priorities []newPriority `json:"priorities"`
	Swings     []newSwings   `json:"swings"` // clips with another number of swings
}

// movedValue is how one measure moved over all swings that have it before and
// after.
type movedValue struct {
	ID      string  `json:"id"`
	Event   string  `json:"event,omitempty"`
	Unit    string  `json:"unit"`
	Swings  int     `json:"swings"`
	Moved   int     `json:"moved"`   // of them with another value
	Median  float64 `json:"median"`  // of new - old
	Largest float64 `json:"largest"` // the one farthest from 0
	Gained  int     `json:"gained"`  // measured now and not before
	Lost    int     `json:"lost"`    // measured before and not now

	changes []float64
}

// newPriority is a swing whose first priority is another one.
type newPriority struct {
	Folder string `json:"folder"`
	Swing  int    `json:"swing"`
	Before string `json:"before"` // id of the checkpoint; "" = none
	Now    string `json:"now"`
}

// newSwings is a clip in which another number of swings is found.
type newSwings struct {
	Folder string `json:"folder"`
	Before int    `json:"before"`
	Now    int    `json:"now"`
}

// moved compares the old and the new results of what was done.
func (p *plan) moved() (moves, error) {
	m := moves{Schema: "plantframe/moved/1", Measures: []movedValue{}, Priorities: []newPriority{}, Swings: []newSwings{}}
	values := map[string]*movedValue{}
	root := filepath.Dir(filepath.Dir(p.dir))
	for _, it := range p.Items {
		if !it.Done {
			continue
		}
		before, err := readAnalysis(filepath.Join(p.old(it), analysisFile))
		if err != nil {
			return m, err
		}
		now, err := readAnalysis(filepath.Join(root, it.Folder, analysisFile))
		if err != nil {
			return m, err
		}
		m.Clips++
		if !m.compare(values, it.Folder, before, now) {
			m.Same++
		}
	}
	for _, key := range slices.Sorted(maps.Keys(values)) {
		v := values[key]
		v.Median = median(v.changes)
		if v.Moved+v.Gained+v.Lost > 0 {
			m.Measures = append(m.Measures, *v)
		}
	}
	return m, nil
}

// compare adds one clip and tells whether anything moved.
func (m *moves) compare(values map[string]*movedValue, folder string, before, now swing.Analysis) bool {
	moved := false
	if len(before.Swings) != len(now.Swings) {
		m.Swings = append(m.Swings, newSwings{folder, len(before.Swings), len(now.Swings)})
		return true // which swing is which is not known
	}
	for i := range now.Swings {
		was, is := &before.Swings[i], &now.Swings[i]
		// The instants move like measures do.
		a, b := instants(was), instants(is)
		a, b = append(a, was.Measures...), append(b, is.Measures...)
		old := map[string]swing.Measure{}
		for _, x := range a {
			old[measureKey(x)] = x
		}
		for _, x := range b {
			key := measureKey(x)
			v := values[key]
			if v == nil {
				v = &movedValue{ID: x.ID, Event: string(x.Event), Unit: x.Unit}
				values[key] = v
			}
			if v.add(old[key].Value, x.Value) {
				moved = true
			}
			delete(old, key)
		}
		for key, x := range old { // gone altogether
			v := values[key]
			if v == nil {
				v = &movedValue{ID: x.ID, Event: string(x.Event), Unit: x.Unit}
				values[key] = v
			}
			if v.add(x.Value, nil) {
				moved = true
			}
		}
		if x, y := firstPriority(was), firstPriority(is); x != y {
			m.Priorities = append(m.Priorities, newPriority{folder, is.Index, x, y})
			moved = true
		}
	}
	return moved
}

// add takes one pair of values and tells whether it moved.
func (v *movedValue) add(before, now *float64) bool {
	switch {
	case before == nil && now == nil:
		return false
	case before == nil:
		v.Gained++
		return true
	case now == nil:
		v.Lost++
		return true
	}
	d := *now - *before
	v.Swings++
	v.changes = append(v.changes, d)
	if math.Abs(d) > math.Abs(v.Largest) {
		v.Largest = d
	}
	if d != 0 {
		v.Moved++
	}
	return d != 0
}

func measureKey(m swing.Measure) string { return m.ID + "\x00" + string(m.Event) + "\x00" + m.Unit }

// instants are the times of a swing's events as measures.
func instants(s *swing.Swing) []swing.Measure {
	var out []swing.Measure
	for name, e := range s.Events {
		out = append(out, swing.Measure{ID: "time", Event: name, Unit: "s", Value: &e.Time})
	}
	return out
}

// firstPriority is the checkpoint to work on first, "" when there is none.
func firstPriority(s *swing.Swing) string {
	for _, f := range s.Findings {
		if f.Priority == 1 {
			return f.ID
		}
	}
	return ""
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(x))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// shownMoves is how many measures the text lists; summary.json has all.
const shownMoves = 15

// text is the summary for people: what moved most, by the share of swings.
func (m moves) text() string {
	var b strings.Builder
	if m.Same > 0 {
		fmt.Fprintf(&b, "%d of %d with the same measures and priorities as before\n", m.Same, m.Clips)
	}
	most := slices.Clone(m.Measures)
	slices.SortStableFunc(most, func(a, b movedValue) int {
		return cmp.Compare(b.Moved+b.Gained+b.Lost, a.Moved+a.Gained+a.Lost)
	})
	var rows [][]string
	for _, v := range most[:min(len(most), shownMoves)] {
		rows = append(rows, []string{
			strings.TrimSuffix(v.ID+" "+v.Event, " "), fmt.Sprintf("%d of %d", v.Moved, v.Swings),
			fmt.Sprintf("%+.3g", v.Median), fmt.Sprintf("%+.3g", v.Largest), v.Unit, count0(v.Gained), count0(v.Lost),
		})
	}
	if len(rows) > 0 {
		b.WriteString("\n" + ui.Table([]string{"<measure", "moved", "median", "largest", "<unit", "new", "gone"}, rows))
		if n := len(most) - len(rows); n > 0 {
			fmt.Fprintf(&b, "and %d more measures, in summary.json\n", n)
		}
	}
	fmt.Fprintf(&b, "\nThe first priority is another one in %d swings", len(m.Priorities))
	for i, p := range m.Priorities {
		if i == shownMoves {
			b.WriteString("\n  ...")
			break
		}
		fmt.Fprintf(&b, "\n  %s, swing %d: %s -> %s", ui.Plain(p.Folder), p.Swing, cmp.Or(p.Before, "none"), cmp.Or(p.Now, "none"))
	}
	b.WriteString("\n")
	for _, s := range m.Swings {
		fmt.Fprintf(&b, "%s: %d swings, %d before\n", ui.Plain(s.Folder), s.Now, s.Before)
	}
	return b.String()
}

func count0(n int) string {
	if n == 0 {
		return "-"
	}
	return fmt.Sprint(n)
}
