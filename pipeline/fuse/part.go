package fuse

// Lengths that do not change during a swing.
const (
	shoulderLine = iota
	hipLine
	upperArm
	forearm
	thigh
	shank
	trunk
	heelPart // ankle to heel
	sole     // heel to big toe
	numParts
)

// length is a mean and its one-sigma spread, statures.
type length struct{ mean, sigma float64 }

// partTable are lengths between points as networks place them, as fractions of
// stature: as in package measure; hips and feet after the hip width and foot length of
// Drillis and Contini (1966) as reproduced in Winter (2009) (.191 outside, .152), less
// flesh and shoe. Values from memory, hence the wide spread.
var partTable = [numParts]length{
	shoulderLine: {0.210, 0.020},
	hipLine:      {0.110, 0.020},
	upperArm:     {0.163, 0.013},
	forearm:      {0.152, 0.010},
	thigh:        {0.246, 0.014},
	shank:        {0.247, 0.015},
	trunk:        {0.291, 0.016},
	heelPart:     {0.050, 0.015},
	sole:         {0.135, 0.020},
}

// rod is a part between two ends; an end is the middle of two points, which may be the
// same. give is how far its length gives way, statures, one sigma: joints are not
// hinges, and networks place them by the skin.
type rod struct {
	a, b [2]int
	part int
	give float64
}

var rods = []rod{
	{[2]int{0, 0}, [2]int{1, 1}, shoulderLine, 0.015}, // shoulders roll forward and up
	{[2]int{6, 6}, [2]int{7, 7}, hipLine, 0.010},
	{[2]int{0, 0}, [2]int{2, 2}, upperArm, 0.010},
	{[2]int{1, 1}, [2]int{3, 3}, upperArm, 0.010},
	{[2]int{2, 2}, [2]int{4, 4}, forearm, 0.010},
	{[2]int{3, 3}, [2]int{5, 5}, forearm, 0.010},
	{[2]int{6, 6}, [2]int{8, 8}, thigh, 0.010},
	{[2]int{7, 7}, [2]int{9, 9}, thigh, 0.010},
	{[2]int{8, 8}, [2]int{10, 10}, shank, 0.010},
	{[2]int{9, 9}, [2]int{11, 11}, shank, 0.010},
	{[2]int{0, 1}, [2]int{6, 7}, trunk, 0.015}, // the back bends
	{[2]int{10, 10}, [2]int{12, 12}, heelPart, 0.010},
	{[2]int{11, 11}, [2]int{13, 13}, heelPart, 0.010},
	{[2]int{12, 12}, [2]int{14, 14}, sole, 0.010},
	{[2]int{13, 13}, [2]int{15, 15}, sole, 0.010},
}

// Until contact both hands hold one bat, a hand's width apart; the wrists are about
// as far. Afterwards one may let go.
var grip = length{0.060, 0.025}

// neck places the ears over the middle of the shoulders, for when a view shows one of
// both alone.
var neck = length{0.115, 0.05}
