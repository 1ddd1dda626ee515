package pose

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"plantframe/pipeline/signal"
)

// motion tells from the coarse track whether somebody walks, moves on the spot
// or stands. The camera is taken to be still; under a pan a standing person
// reads as walking.
func (p *person) motion(torso float64) Motion {
	const (
		span  = 0.5 // s, over which the hips' way is measured
		walk  = 0.6 // torsos a second, 0.3 m/s: half of a slow stroll
		hands = 1.0 // torsos a second, 0.5 m/s
		gap   = 0.25
	)
	var walks, all int
	var busy []float64
	j := 0
	for i := range p.looks {
		a := &p.looks[i]
		for p.looks[j].time < a.time-span {
			j++
		}
		b := &p.looks[j]
		if dt := a.time - b.time; dt > span/2 {
			all++
			if a.hip.Sub(b.hip).Norm()/dt > walk*torso {
				walks++
			}
		}
		if i > 0 {
			if q := &p.looks[i-1]; a.time-q.time < gap && a.time > q.time {
				way := a.left.Sub(a.hip).Sub(q.left.Sub(q.hip)).Norm() + a.right.Sub(a.hip).Sub(q.right.Sub(q.hip)).Norm()
				busy = append(busy, way/2/(a.time-q.time)/torso)
			}
		}
	}
	switch {
	case 2*walks > all:
		return Walks
	case len(busy) > 0 && signal.Median(busy) > hands:
		return Moves
	}
	return Stands
}

// Describe says in a few words who is seen, such as "two people walking and
// one standing". It counts the most people that were in sight at once.
func (s Scan) Describe() string {
	if len(s.People) == 0 {
		return "nobody in the picture"
	}
	byTime := slices.Clone(s.People)
	slices.SortStableFunc(byTime, func(a, b Person) int { return cmp.Compare(b.To-b.From, a.To-a.From) })
	var parts []string
	shown := 0
	for _, m := range []Motion{Walks, Moves, Stands} {
		n := 0
		for _, p := range byTime[:atOnce(s.People)] {
			if p.Motion == m {
				n++
			}
		}
		if n == 0 {
			continue
		}
		noun := " "
		if shown == 0 {
			noun = " people "
			if n == 1 {
				noun = " person "
			}
		}
		parts = append(parts, numeral(n)+noun+string(m))
		shown += n
	}
	if len(parts) == 3 {
		return parts[0] + ", " + parts[1] + " and " + parts[2]
	}
	return strings.Join(parts, " and ")
}

// atOnce returns the largest number of people whose times overlap.
func atOnce(people []Person) int {
	most := 1
	for _, p := range people {
		n := 0
		for _, q := range people {
			if q.From <= p.From && p.From <= q.To {
				n++
			}
		}
		most = max(most, n)
	}
	return most
}

func numeral(n int) string {
	words := [...]string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"}
	if n < len(words) {
		return words[n]
	}
	return fmt.Sprint(n)
}
