package ui_test

import (
	"strings"
	"testing"

	"plantframe/cmd/internal/ui"
)

func TestCutByDisplayWidth(t *testing.T) {
	for _, c := range []struct {
		in     string
		width  int
		want   string
		middle string
	}{
		{"swing", 5, "swing", "swing"},
		{"swing-01.mp4", 8, "swing-0~", "swin~mp4"},
		{"スイング動画.mp4", 9, "スイング~", "スイ~.mp4"}, // each kana is two columns
		{"e\u0301e\u0301e\u0301e\u0301", 3, "e\u0301e\u0301~", "e\u0301e\u0301~"},
		{"👨‍👩‍👧‍👦👨‍👩‍👧‍👦👨‍👩‍👧‍👦", 5, "👨‍👩‍👧‍👦👨‍👩‍👧‍👦~", "👨‍👩‍👧‍👦👨‍👩‍👧‍👦~"},
		{"abc", 0, "", ""},
		{"", 3, "", ""},
	} {
		for name, got := range map[string]string{"Cut": ui.Cut(c.in, c.width), "CutMiddle": ui.CutMiddle(c.in, c.width)} {
			want := c.want
			if name == "CutMiddle" {
				want = c.middle
			}
			if got != want {
				t.Errorf("%s(%q, %d) = %q, want %q", name, c.in, c.width, got, want)
			}
			if ui.Columns(got) > c.width {
				t.Errorf("%s(%q, %d) is %d columns wide", name, c.in, c.width, ui.Columns(got))
			}
		}
	}
}

// A file name may hold anything but "/" and NUL; none of it may move the
// cursor, ring the bell or turn the writing direction.
func TestPlain(t *testing.T) {
	got := ui.Plain("a\x1b[2Jb\nc\u202ed\xffe\u2028f\u0085")
	if want := "a?[2Jb?c?d?e?f?"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestTableAlignsWideText(t *testing.T) {
	got := ui.Table([]string{"<name", "n"}, [][]string{{"abcd", "1"}, {"日本", "20"}, {"é", "3"}})
	want := "name   n\nabcd   1\n日本  20\né      3\n"
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if strings.Contains(got, " \n") {
		t.Error("blanks at the end of a line")
	}
}
