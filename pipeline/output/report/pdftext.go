package report

import (
	"bytes"
	"fmt"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// typefaces are the fonts of the sheet: Go Regular and Go Bold of the Go project, by
// Bigelow & Holmes, under the 3-clause BSD licence of the Go sources. They hold
// Latin, Greek and Cyrillic letters, ± and °.
type typefaces struct {
	regular *sfnt.Font
	buf     sfnt.Buffer
}

func loadTypefaces() (*typefaces, error) {
	f, err := sfnt.Parse(goregular.TTF)
	return &typefaces{regular: f}, err
}

func (t *typefaces) install(pdf *fpdf.Fpdf) {
	pdf.AddUTF8FontFromBytes("go", "", goregular.TTF)
	pdf.AddUTF8FontFromBytes("go", "B", gobold.TTF)
}

// plain replaces what the fonts have no letter for by a question mark: names may be
// written in any script.
func (t *typefaces) plain(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return r
		case r == '\t', r == '\u00a0':
			return ' '
		case r < ' ':
			return -1
		case r > 0xffff:
			return '?'
		}
		if i, err := t.regular.GlyphIndex(&t.buf, r); err != nil || i == 0 {
			return '?'
		}
		return r
	}, s)
}

func (s *sheet) font(size float64, bold bool) {
	style := ""
	if bold {
		style = "B"
	}
	s.pdf.SetFont("go", style, size)
	s.pdf.SetTextColor(27, 31, 36)
}

// width is how wide a text is set, mm.
func (s *sheet) width(text string) float64 { return s.pdf.GetStringWidth(text) }

// lines breaks a text into at most most lines of a width, mm; the last one ends in
// dots when there was more.
func (s *sheet) lines(w, size float64, bold bool, text string, most int) []string {
	s.font(size, bold)
	var out []string
	for _, paragraph := range strings.Split(s.fonts.plain(text), "\n") {
		line := ""
		for _, word := range strings.Fields(paragraph) {
			for s.width(word) > w && len([]rune(word)) > 1 { // a word longer than the line is cut
				rs := []rune(word)
				n := len(rs)
				for n > 1 && s.width(string(rs[:n])) > w {
					n--
				}
				if line != "" {
					out, line = append(out, line), ""
				}
				out, word = append(out, string(rs[:n])), string(rs[n:])
			}
			switch {
			case line == "":
				line = word
			case s.width(line+" "+word) <= w:
				line += " " + word
			default:
				out, line = append(out, line), word
			}
		}
		if line != "" {
			out = append(out, line)
		}
	}
	if len(out) <= most || most < 1 {
		return out
	}
	out = out[:most]
	last := []rune(out[most-1])
	for len(last) > 0 && s.width(string(last)+" …") > w {
		last = last[:len(last)-1]
	}
	out[most-1] = strings.TrimRight(string(last), " .,;") + " …"
	return out
}

// put sets lines below each other from the upper edge y.
func (s *sheet) put(x, y, size float64, bold bool, lines []string) float64 {
	s.font(size, bold)
	for _, l := range lines {
		s.pdf.Text(x, y+0.353*size*0.95, l) // 0.353 mm a point; letters stand on their line
		s.low, s.wide = max(s.low, y+0.353*size*0.95), max(s.wide, x+s.width(l))
		y += lineShare * size
	}
	return y
}

// text breaks and sets a text and returns the height below it.
func (s *sheet) text(x, y, w, size float64, bold bool, text string, most int) float64 {
	return s.put(x, y, size, bold, s.lines(w, size, bold, text, most))
}

// right sets a text that ends at x.
func (s *sheet) right(x, y, size float64, bold bool, text string) {
	s.font(size, bold)
	text = s.fonts.plain(text)
	s.pdf.Text(x-s.width(text), y+0.353*size*0.95, text)
}

// picture puts a picture into a box, upper left, as large as it fits, and returns
// how wide it is and the height below it.
func (s *sheet) picture(p Picture, x, y, w, h float64) (wide, below float64) {
	kind := map[string]string{"image/jpeg": "JPG", "image/png": "PNG"}[p.Type]
	o := fpdf.ImageOptions{ImageType: kind}
	s.names++
	name := fmt.Sprint("picture", s.names)
	info := s.pdf.RegisterImageOptionsReader(name, o, bytes.NewReader(p.Data))
	if s.pdf.Err() || info == nil || info.Width() <= 0 || info.Height() <= 0 {
		return 0, y
	}
	k := min(w/info.Width(), h/info.Height())
	s.pdf.ImageOptions(name, x, y, k*info.Width(), k*info.Height(), false, o, 0, "")
	return k * info.Width(), y + k*info.Height()
}
