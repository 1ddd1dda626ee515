package render

// colour is blue, green, red, as the pixels are stored.
type colour [3]uint8

func rgb(hex uint32) colour {
	return colour{uint8(hex), uint8(hex >> 8), uint8(hex >> 16)}
}

// The colours are those of Okabe and Ito, "Color Universal Design: how to make
// figures and presentations that are friendly to colorblind people" (2008),
// which red-blind, green-blind and blue-blind eyes tell apart. Every line also
// differs in stroke or marker, so that none is told by its colour alone.
type palette struct {
	shoulders, lead, rear, trunk, stride colour
	bat, guide, path                     colour
	mass, bones                          colour
	text, quiet, dark, accent, ground    colour
}

func houseColours() palette {
	return palette{
		shoulders: rgb(0xF0E442), // yellow
		lead:      rgb(0x56B4E9), // sky blue
		rear:      rgb(0xE69F00), // orange
		trunk:     rgb(0xE59AC4), // reddish purple, lightened to stand on dark ground
		stride:    rgb(0x19C295), // bluish green, lightened likewise
		bat:       rgb(0xFF6A2B), // vermilion, lightened likewise
		guide:     rgb(0xFFD9C7), // the bat's own, paler: lines that measure it
		path:      rgb(0x8FB4FF), // blue, lightened likewise
		mass:      rgb(0xFFFFFF),
		bones:     rgb(0xE8EAED),
		text:      rgb(0xFFFFFF),
		quiet:     rgb(0xC9CED6),
		dark:      rgb(0x10151C),
		accent:    rgb(0xF0E442),
		ground:    rgb(0x2A323D), // of drawings that have no photograph under them
	}
}
