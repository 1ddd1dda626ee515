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

// warnings groups the set into one warning per joint and stretch of frames;
// text takes the joint's name.
func (s frameSet) warnings(frames []int, code, text string) []swing.Warning {
	var out []swing.Warning
	for j := range swing.NumPoints {
		at := slices.Sorted(slices.Values(s[swing.Joint(j)]))
		for k := 0; k < len(at); {
			e := k
			for e+1 < len(at) && at[e+1]-at[e] <= joinGap {
				e++
			}
			name := strings.ReplaceAll(swing.Joint(j).String(), "_", " ")
			out = append(out, swing.Warning{
				Code: code, Text: fmt.Sprintf(text, name),
				Frames: []int{frames[at[k]], frames[at[e]]},
			})
			k = e + 1
		}
	}
	return out
}
