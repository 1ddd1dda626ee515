package render

import "math"

// style is everything that depends on the size of the picture alone.
type style struct {
	w, h   float64
	side   float64 // short side, px
	unit   float64 // width of a thin line, px
	margin float64
	colour palette
	// name is for words, value for numbers, title for the event.
	name, value, title *writer
	// small is the style of a list that would not fit beside the hitter.
	small *style
}

// Text sizes as shares of the short side, px per em. Letters with a tail are
// 0.93 em high in the Go fonts, so the smallest text is 3.6 % of the short
// side high: 2.3 mm on a phone held upright that shows a portrait clip (65 mm
// wide), and 1.3 mm where a landscape clip is squeezed to that width.
const (
	smallText = 0.039
	titleText = 0.058
	// listText is the size of a long list against smallText: 3 % of the short
	// side high, the least that is read without leaning over the phone.
	listText = 0.84
)

func newStyle(w, h int) (*style, error) {
	fonts, err := loadTypefaces()
	if err != nil {
		return nil, err
	}
	s := &style{w: float64(w), h: float64(h), side: float64(min(w, h)), colour: houseColours()}
	s.unit = math.Max(1, s.side/480)
	s.margin = math.Round(0.02 * s.side)
	if s.name, err = newWriter(fonts.medium, smallText*s.side); err != nil {
		return nil, err
	}
	if s.value, err = newWriter(fonts.bold, smallText*s.side); err != nil {
		return nil, err
	}
	if s.title, err = newWriter(fonts.bold, titleText*s.side); err != nil {
		return nil, err
	}
	small := *s
	if small.name, err = newWriter(fonts.medium, listText*smallText*s.side); err != nil {
		return nil, err
	}
	if small.value, err = newWriter(fonts.bold, listText*smallText*s.side); err != nil {
		return nil, err
	}
	s.small = &small
	return s, nil
}

// rowHeight is the distance of two lines of small text, px.
func (s *style) rowHeight() float64 { return math.Round(1.32 * s.name.size) }
