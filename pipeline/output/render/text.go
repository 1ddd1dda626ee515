package render

import (
	"image"
	"math"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomedium"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// writer sets text in one face and size. Glyphs are drawn once and kept, so
// that a running clock costs no outlines per frame. Not for use from several
// goroutines.
type writer struct {
	face   font.Face
	size   float64 // px per em
	height float64 // px, height of a capital letter
	glyphs map[rune]glyph
}

// glyph is the coverage of one character, 0..255, and where it sits.
type glyph struct {
	mask    []uint8
	w, h    int
	dx, dy  int     // px from pen to the mask's top-left corner
	advance float64 // px
}

// typefaces holds the fonts: Go Bold and Go Medium of the Go project, by
// Bigelow & Holmes, under the 3-clause BSD licence of the Go sources.
type typefaces struct{ bold, medium *opentype.Font }

func loadTypefaces() (typefaces, error) {
	b, err := opentype.Parse(gobold.TTF)
	if err != nil {
		return typefaces{}, err
	}
	m, err := opentype.Parse(gomedium.TTF)
	return typefaces{b, m}, err
}

func newWriter(f *opentype.Font, size float64) (*writer, error) {
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		return nil, err
	}
	w := &writer{face: face, size: size, glyphs: map[rune]glyph{}}
	if b, _, ok := face.GlyphBounds('H'); ok {
		w.height = -px(b.Min.Y)
	}
	return w, nil
}

func px(v fixed.Int26_6) float64 { return float64(v) / 64 }

func (w *writer) glyph(r rune) glyph {
	if g, ok := w.glyphs[r]; ok {
		return g
	}
	var g glyph
	box, mask, at, advance, ok := w.face.Glyph(fixed.Point26_6{}, r)
	if a, isAlpha := mask.(*image.Alpha); ok && isAlpha {
		// The face lends its mask only until the next glyph: copy it.
		g = glyph{w: box.Dx(), h: box.Dy(), dx: box.Min.X, dy: box.Min.Y, advance: px(advance)}
		g.mask = make([]uint8, 0, g.w*g.h)
		for y := range g.h {
			from := a.PixOffset(at.X, at.Y+y)
			g.mask = append(g.mask, a.Pix[from:from+g.w]...)
		}
	}
	w.glyphs[r] = g
	return g
}

// has reports whether the face can show r.
func (w *writer) has(r rune) bool {
	_, ok := w.face.GlyphAdvance(r)
	return ok
}

// width returns the length of s, px.
func (w *writer) width(s string) float64 {
	var x float64
	for _, r := range s {
		x += w.glyph(r).advance
	}
	return x
}

// put draws s with the pen starting at x on the base line y and returns where
// the pen ends.
func (w *writer) put(c *canvas, x, y float64, s string, col colour, alpha float64) float64 {
	base := int(math.Round(y))
	for _, r := range s {
		g := w.glyph(r)
		left := int(math.Round(x)) + g.dx
		for gy := range g.h {
			cy := base + g.dy + gy
			if cy < 0 || cy >= c.h {
				continue
			}
			for gx, a := range g.mask[gy*g.w : (gy+1)*g.w] {
				cx := left + gx
				if a == 0 || cx < 0 || cx >= c.w {
					continue
				}
				c.mix(3*(cy*c.w+cx), col, int32(float64(a)*alpha*256/255))
			}
		}
		x += g.advance
	}
	return x
}

// wrap breaks s at spaces into lines of at most width px; a single word that
// is longer stays whole.
func (w *writer) wrap(s string, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		longer := word
		if line != "" {
			longer = line + " " + word
		}
		if line != "" && w.width(longer) > width {
			lines = append(lines, line)
			longer = word
		}
		line = longer
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
