package compare

import (
	"fmt"

	"plantframe/pipeline/swing"
)

// Subject is a swing that is to be compared, with the clip that it is from.
type Subject struct {
	Clip  swing.Clip
	Swing *swing.Swing // only read; must stay while the comparison is used
}

// Swings compares swing a, the hitter's, with b, the reference. The picture of
// b is the one that is mirrored when they bat from different sides.
//
// The error is a *swing.Error of KindUsage for wrong options, and of KindMissing
// when a swing has no common instant with the other or too little of a body to
// be scaled.
func Swings(a, b Subject, o Options) (swing.Comparison, error) {
	const op = "compare.Swings"
	if err := o.Validate(); err != nil {
		return swing.Comparison{}, err
	}
	c := swing.Comparison{
		A:        swing.Party{Clip: a.Clip, Swing: a.Swing, Stature: stature(&a.Swing.Track)},
		B:        swing.Party{Clip: b.Clip, Swing: b.Swing, Stature: stature(&b.Swing.Track)},
		SameView: a.Swing.View == b.Swing.View,
	}
	c.B.Mirrored = a.Swing.Bats != b.Swing.Bats
	for _, p := range []swing.Party{c.A, c.B} {
		if !(p.Stature > 0) {
			return c, &swing.Error{
				Op: op, Clip: p.Clip.Path, Frame: -1, Kind: swing.KindMissing,
				Msg:  "too little of the hitter's body is seen to bring both to one size",
				Hint: "film the whole body, feet included",
			}
		}
	}
	at, ok := common(a.Swing, b.Swing, o.Align)
	if !ok {
		return c, &swing.Error{
			Op: op, Clip: a.Clip.Path, Frame: -1, Kind: swing.KindMissing,
			Msg:  fmt.Sprintf("no instant is known in both swings: %s, %s", known(a.Swing, "this one"), known(b.Swing, "the reference")),
			Hint: "choose a swing in which the plant was found",
		}
	}
	if at != o.Align {
		c.Warnings = append(c.Warnings, swing.Warning{
			Code: "aligned-elsewhere",
			Text: fmt.Sprintf("the swings are aligned at %s, because %s was not found in both", at, o.Align),
		})
	}
	c.Align = at
	c.A.Zero, c.B.Zero = a.Swing.Events[at].Time, b.Swing.Events[at].Time
	if !c.SameView {
		c.Warnings = append(c.Warnings, swing.Warning{
			Code: "views-differ",
			Text: fmt.Sprintf("one swing is seen from %s, the other from %s: only times are compared", from(a.Swing.View), from(b.Swing.View)),
		})
	}
	c.Events = events(&c, o.Sigmas)
	c.Measures = measures(&c, o.Sigmas)
	return c, nil
}

// common returns the instant to align at.
func common(a, b *swing.Swing, want swing.EventName) (swing.EventName, bool) {
	for _, e := range []swing.EventName{want, swing.Plant, swing.Touch, swing.Contact} {
		_, okA := a.Events[e]
		_, okB := b.Events[e]
		if okA && okB {
			return e, true
		}
	}
	return "", false
}

// known says which of the instants that align a swing has.
func known(s *swing.Swing, who string) string {
	list := ""
	for _, e := range []swing.EventName{swing.Touch, swing.Plant, swing.Contact} {
		if _, ok := s.Events[e]; ok {
			if list != "" {
				list += " and "
			}
			list += string(e)
		}
	}
	if list == "" {
		list = "neither touch, plant nor contact"
	}
	return who + " has " + list
}

func from(v swing.View) string {
	if v == swing.Rear {
		return "behind"
	}
	return "the open side"
}
