package ingest

import (
	"fmt"
	"strings"
)

// maxRuns bounds the length of the filter expression. Frames of a steady clip
// need a handful of runs; a clip that needs more is delivered whole.
const maxRuns = 60

// choose writes the wanted frames of the window as an expression of ffmpeg's
// select filter, which numbers frames from the first of the window, and counts
// them. The expression is "" when all are wanted, when the list has no times to
// find the window by, or when it would become too long.
func choose(t *timetable, o OpenOptions) (pick string, n int) {
	if o.Want == nil || !t.whole || len(t.times) == 0 {
		return "", 0
	}
	first, end := 0, len(t.times) // without a start even pictures before time 0 come
	if o.From > 0 {
		first = t.index(o.From)
	}
	if o.To > 0 {
		end = t.index(o.To)
	}
	var wanted []int
	for i := first; i < end; i++ {
		if o.Want(i) {
			wanted = append(wanted, i-first)
		}
	}
	if len(wanted) == 0 || len(wanted) == end-first {
		return "", 0
	}
	terms := runs(wanted)
	if len(terms) > maxRuns {
		return "", 0
	}
	return strings.Join(terms, "+"), len(wanted)
}

// runs writes increasing numbers as stretches of equal steps.
func runs(wanted []int) []string {
	var out []string
	for i := 0; i < len(wanted); {
		j, step := i, 1
		if i+1 < len(wanted) {
			step = wanted[i+1] - wanted[i]
			for j+1 < len(wanted) && wanted[j+1]-wanted[j] == step {
				j++
			}
		}
		term := fmt.Sprintf("between(n,%d,%d)", wanted[i], wanted[j])
		if step > 1 && j > i {
			term += fmt.Sprintf("*not(mod(n-%d,%d))", wanted[i], step)
		}
		out = append(out, term)
		i = j + 1
	}
	return out
}
