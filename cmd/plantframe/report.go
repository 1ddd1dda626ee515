package main

import (
	"fmt"
	"path/filepath"
	"strings"

	"plantframe/cmd/internal/ui"
	"plantframe/pipeline/output"
	"plantframe/pipeline/swing"
)

// Bounds of what is printed under the table.
const (
	textWidth    = 100 // columns
	warningLines = 40  // the rest is in analysis.json
)

// report is what a person reads after a run: the table, then in words what to
// work on first, what was doubtful, what failed, where the results lie, and the cautions.
func report(results []ui.Result, out string, width int) string {
	var b strings.Builder
	b.WriteString(ui.Summary(results, width))
	reportFindings(&b, results)
	reportWarnings(&b, results)
	reportFailures(&b, results)
	if n := count(results, ui.StatusDone); n > 0 {
		b.WriteString("\n")
		where := "Results of " + clips(n) + ": " + out
		if n == 1 {
			for _, r := range results {
				if r.Status == ui.StatusDone {
					where = "Results: " + r.Folder
				}
			}
		}
		wrap(&b, "", where+"; all measures: "+filepath.Join(out, measuresFile))
		wrap(&b, "", strings.Join(output.Cautions(), " "))
	}
	b.WriteString("Nothing left this machine.\n")
	return b.String()
}

// reportFindings says for each judged swing what to work on first, or that
// nothing stands out.
func reportFindings(b *strings.Builder, results []ui.Result) {
	head := "\nTo work on first:\n"
	for _, r := range results {
		for i, s := range r.Swings {
			if s.Judged == 0 {
				continue
			}
			who := name(r)
			if len(r.Swings) > 1 {
				who += fmt.Sprintf(", swing %d", i+1)
			}
			b.WriteString(head)
			head = ""
			if len(s.Findings) == 0 || s.Findings[0].Priority != 1 {
				wrap(b, "  ", fmt.Sprintf("%s: nothing stands out (%d checkpoints judged).", who, s.Judged))
				continue
			}
			f := s.Findings[0]
			wrap(b, "  ", who+": "+f.Text)
			if f.Cue != "" {
				wrap(b, "    ", "cue: "+f.Cue)
			}
			if len(f.Drills) > 0 {
				wrap(b, "    ", "drills: "+strings.Join(f.Drills, ", "))
			}
		}
	}
}

// reportWarnings says in words what was doubtful: those about a whole clip
// first, and of each kind the first one with the number of its like.
func reportWarnings(b *strings.Builder, results []ui.Result) {
	var lines []string
	for _, r := range results {
		var of, like []swing.Warning
		more := map[string]int{}
		for _, w := range r.Warnings {
			key := fmt.Sprint(w.Code, len(w.Frames) == 0)
			if more[key]++; more[key] > 1 {
				continue
			}
			if len(w.Frames) == 0 {
				of = append(of, w)
			} else {
				like = append(like, w)
			}
		}
		for _, w := range append(of, like...) {
			text := name(r) + ": " + w.Text + frames(w)
			if n := more[fmt.Sprint(w.Code, len(w.Frames) == 0)] - 1; n > 0 {
				text += fmt.Sprintf("; %d more of this kind", n)
			}
			lines = append(lines, text)
		}
	}
	if len(lines) == 0 {
		return
	}
	b.WriteString("\nTo know:\n")
	for _, l := range lines[:min(len(lines), warningLines)] {
		wrap(b, "  ", l)
	}
	if n := len(lines) - warningLines; n > 0 {
		fmt.Fprintf(b, "  and %d more, see the warnings in each analysis.json\n", n)
	}
}

// frames says where in the clip a warning applies, when it does not do so
// itself.
func frames(w swing.Warning) string {
	switch {
	case len(w.Frames) != 2 || strings.Contains(w.Text, "frame "):
		return ""
	case w.Frames[0] == w.Frames[1]:
		return fmt.Sprintf(" (frame %d)", w.Frames[0])
	}
	return fmt.Sprintf(" (frames %d to %d)", w.Frames[0], w.Frames[1])
}

func reportFailures(b *strings.Builder, results []ui.Result) {
	head := "\nNot done:\n"
	for _, r := range results {
		text, hint := "", ""
		switch {
		case r.Status == ui.StatusSame:
			text = "has the same content as " + ui.Plain(r.SameAs) + ", which was analysed once"
		case r.Status == ui.StatusStopped:
			text = "stopped before it was through; nothing was written"
		case r.Error != nil:
			text, hint = r.Error.Message, r.Error.Hint
			if r.Folder != "" {
				text += "; what could be stored is in " + r.Folder
			}
		default:
			continue
		}
		b.WriteString(head)
		head = ""
		wrap(b, "  ", ui.Plain(r.Clip)+": "+text)
		if hint != "" {
			wrap(b, "    ", "hint: "+hint)
		}
	}
}

// name is how a clip is called in the report.
func name(r ui.Result) string {
	return ui.CutMiddle(ui.Plain(filepath.Base(r.Clip)), 40)
}

func clips(n int) string {
	if n == 1 {
		return "1 clip"
	}
	return fmt.Sprintf("%d clips", n)
}

// wrap writes a text in lines of at most textWidth columns, where words allow,
// the first indented by indent, the others by two more.
func wrap(b *strings.Builder, indent, text string) {
	line, used := indent, ui.Columns(indent)
	first := true
	for word := range strings.FieldsSeq(text) {
		w := ui.Columns(word)
		if !first && used+1+w > textWidth {
			b.WriteString(line + "\n")
			line, used, first = indent+"  ", ui.Columns(indent)+2, true
		}
		if !first {
			line += " "
			used++
		}
		line += word
		used += w
		first = false
	}
	b.WriteString(line + "\n")
}
