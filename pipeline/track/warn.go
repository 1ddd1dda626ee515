package track

import (
	"fmt"
	"slices"
	"strings"

	"plantframe/pipeline/swing"
)

// frameSet collects repaired points as joint by frame position.
type frameSet map[swing.Joint][]int

func (s *frameSet) add(j swing.Joint, i int) {
	if *s == nil {
		*s = frameSet{}
	}
	(*s)[j] = append((*s)[j], i)
}

// without returns the set less what is in other.
func (s frameSet) without(other frameSet) frameSet {
	var out frameSet
	for j, at := range s {
		for _, i := range at {
			if !slices.Contains(other[j], i) {
				out.add(j, i)
			}
		}
	}
	return out
}

// joinGap is how many frames may lie between two repairs that one warning
// names together.
const joinGap = 3

// warnings makes one warning for each stretch of frames without longer breaks,
// over all points; text takes the names of the points.
func (s frameSet) warnings(frames []int, code, text string) []swing.Warning {
	n := len(frames)
	hit := make([]bool, n)
	for _, at := range s {
		for _, i := range at {
			hit[i] = true
		}
	}
	var out []swing.Warning
	for i := 0; i < n; i++ {
		if !hit[i] {
			continue
		}
		last := i
		for k := i; k < n && k-last <= joinGap; k++ {
			if hit[k] {
				last = k
			}
		}
		var names []string
		for j := range swing.NumPoints {
			for _, k := range s[swing.Joint(j)] {
				if k >= i && k <= last {
					names = append(names, strings.ReplaceAll(swing.Joint(j).String(), "_", " "))
					break
				}
			}
		}
		out = append(out, swing.Warning{
			Code: code, Text: fmt.Sprintf(text, strings.Join(names, ", ")),
			Frames: []int{frames[i], frames[last]},
		})
		i = last
	}
	return out
}
