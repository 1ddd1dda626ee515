package ui

import (
	"strings"
	"unicode"

	"github.com/rivo/uniseg"
)

// Columns returns how many columns of a terminal a text takes.
func Columns(s string) int { return uniseg.StringWidth(s) }

// Plain returns a text that is safe on one line of a terminal: control
// characters, line ends and characters that change the writing direction,
// which a file name may hold, become a question mark.
func Plain(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsControl(r), r == '\u2028', r == '\u2029',
			r >= '\u202a' && r <= '\u202e', r >= '\u2066' && r <= '\u2069':
			return '?'
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
}

// Cut shortens a text to at most width columns; a cut text ends in "~".
// Characters are never split.
func Cut(s string, width int) string {
	if Columns(s) <= width {
		return s
	}
	if width <= 0 {
		return ""
	}
	var b strings.Builder
	used, state := 0, -1
	for rest := s; rest != ""; {
		var c string
		var w int
		c, rest, w, state = uniseg.FirstGraphemeClusterInString(rest, state)
		if used+w > width-1 {
			break
		}
		b.WriteString(c)
		used += w
	}
	return b.String() + "~"
}

// CutMiddle shortens like Cut but keeps the beginning and the end, where the
// clips of one phone differ.
func CutMiddle(s string, width int) string {
	if Columns(s) <= width {
		return s
	}
	if width < 8 {
		return Cut(s, width)
	}
	tail := clusters(s)
	keep, used := "", 0
	for i := len(tail) - 1; i >= 0 && used+Columns(tail[i]) <= (width-1)/2; i-- {
		used += Columns(tail[i])
		keep = tail[i] + keep
	}
	return Cut(s, width-used) + keep
}

// clusters splits a text into what a reader calls characters.
func clusters(s string) []string {
	var out []string
	for g := uniseg.NewGraphemes(s); g.Next(); {
		out = append(out, g.Str())
	}
	return out
}

// Table lays out rows under a header, two blanks between columns. Columns
// whose name begins with "<" are flush left, the others flush right; the sign
// is not printed. Trailing blanks are removed.
func Table(header []string, rows [][]string) string {
	width := make([]int, len(header))
	left := make([]bool, len(header))
	head := make([]string, len(header))
	for i, h := range header {
		head[i] = strings.TrimPrefix(h, "<")
		left[i] = head[i] != h
		width[i] = Columns(head[i])
		for _, r := range rows {
			width[i] = max(width[i], Columns(r[i]))
		}
	}
	var b strings.Builder
	for _, r := range append([][]string{head}, rows...) {
		var line strings.Builder
		for i, cell := range r {
			if i > 0 {
				line.WriteString("  ")
			}
			pad := strings.Repeat(" ", width[i]-Columns(cell))
			if left[i] {
				line.WriteString(cell + pad)
			} else {
				line.WriteString(pad + cell)
			}
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
	return b.String()
}
