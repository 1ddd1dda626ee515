package main

import (
	"bytes"
	"errors"
	"image"
	"image/draw"
	"image/jpeg"
	"image/png"
	"io/fs"
	"math"
	"os"

	xdraw "golang.org/x/image/draw"

	"plantframe/pipeline/swing"
)

// Sizes of pictures, px of the longer side.
const (
	closeSide = 1100 // on a report
	stillSide = 900  // in the store: fills a phone; a season of a team stays below a gigabyte
	thumbSide = 320  // in a list
)

// cutMargin is the room around the hitter in a picture cut out of a still, as a share
// of the larger side of what is to be seen.
const cutMargin = 0.07

// readPNG returns a picture; nil when there is no such file.
func readPNG(path string) (image.Image, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, writing(path, err)
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		return nil, writing(path, err)
	}
	return m, nil
}

// asJPEG makes a JPEG picture of at most side px: a fifth of the size of PNG.
func asJPEG(m image.Image, side int) ([]byte, error) {
	var b bytes.Buffer
	err := jpeg.Encode(&b, shrink(m, side), &jpeg.Options{Quality: 86})
	return b.Bytes(), err
}

// hitterAt is the part of a still that the hitter and the bat take at an event, with
// some room around them; the whole still when nothing is known of them. wide is the
// width of the clip's picture, px, in which the points are given.
func hitterAt(still image.Rectangle, s *swing.Swing, e swing.EventName, wide int) image.Rectangle {
	at, ok := s.Events[e]
	if !ok || s.Track.Len() == 0 || wide <= 0 {
		return still
	}
	row := 0
	for i, t := range s.Track.Times {
		if math.Abs(t-at.Time) < math.Abs(s.Track.Times[row]-at.Time) {
			row = i
		}
	}
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	put := func(p swing.Point) {
		x0, x1, y0, y1 = min(x0, p.X), max(x1, p.X), min(y0, p.Y), max(y1, p.Y)
	}
	for _, p := range s.Track.Points[row] {
		if p.State != swing.Missing {
			put(p.Point())
		}
	}
	if row < len(s.Bat.Sights) && s.Bat.Sights[row].Seen {
		put(s.Bat.Sights[row].Knob)
		put(s.Bat.Sights[row].Tip)
	}
	if !(x1 > x0 && y1 > y0) {
		return still
	}
	room := cutMargin * max(x1-x0, y1-y0)
	k := float64(still.Dx()) / float64(wide)
	px := func(v float64) int { return int(math.Round(k * v)) }
	r := image.Rect(px(x0-room), px(y0-1.3*room), px(x1+room), px(y1+room)).Add(still.Min).Intersect(still)
	if r.Dx() < 16 || r.Dy() < 16 {
		return still
	}
	return r
}

// cut returns a part of a picture.
func cut(m image.Image, r image.Rectangle) image.Image {
	out := image.NewRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
	draw.Draw(out, out.Bounds(), m, r.Min, draw.Src)
	return out
}

// shrink returns a picture whose longer side is at most side px.
func shrink(m image.Image, side int) image.Image {
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	long := max(w, h)
	if long <= side {
		return m
	}
	out := image.NewRGBA(image.Rect(0, 0, max(1, w*side/long), max(1, h*side/long)))
	xdraw.ApproxBiLinear.Scale(out, out.Bounds(), m, m.Bounds(), xdraw.Src, nil)
	return out
}
