package render

import (
	"fmt"
	"image"
	"slices"

	"plantframe/pipeline/swing"
)

// gridGap stands between the cells of a grid, px.
const gridGap = 4

// GridCell returns where the still of an event stands on the sheet that DrawPair
// wrote as PairFiles.Grid, for whoever shows one instant of both beside each other.
// size is that of the sheet, rows how many swings it shows; row 0 is the hitter's,
// 1 the first reference's. All cells of a sheet are equally large, and the bodies
// in them are drawn to the same height and toward the same side. The error is a
// *swing.Error of KindUsage when there is no such cell.
func GridCell(size image.Point, rows, row int, ev swing.EventName) (image.Rectangle, error) {
	k := slices.Index(stillEvents(), ev)
	st, err := gridStyle()
	if err != nil {
		return image.Rectangle{}, failure("render.GridCell", "", err)
	}
	head, band := gridBands(st)
	tall := 0
	if rows > 0 {
		tall = (size.Y-head)/rows - band - gridGap
	}
	if k < 0 || row < 0 || row >= rows || tall < gridCell/4 || size.X != gridWidth() || head+rows*(band+tall+gridGap) != size.Y {
		return image.Rectangle{}, &swing.Error{
			Op: "render.GridCell", Frame: -1, Kind: swing.KindUsage,
			Msg: fmt.Sprintf("a sheet of %d × %d px with %d swings has no still of %s in row %d", size.X, size.Y, rows, ev, row),
		}
	}
	x, y := k*(gridCell+gridGap), head+row*(band+tall+gridGap)+band
	return image.Rect(x, y, x+gridCell, y+tall), nil
}

// gridWidth is the width of a sheet, px.
func gridWidth() int { return len(stillEvents())*(gridCell+gridGap) - gridGap }

// gridStyle is the style of a sheet, the same for all sizes.
func gridStyle() (*style, error) {
	st, err := newStyle(2*gridCell, 2*gridCell)
	if err != nil {
		return nil, err
	}
	st.unit = 1.1 // strokes fit the body, which is small
	return st, nil
}

// gridBands are the heights of the strip with the names of the events, and of that
// over each row, px.
func gridBands(st *style) (head, band int) {
	return int(1.6 * st.title.size), int(1.7 * st.name.size)
}
