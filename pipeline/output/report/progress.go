package report

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"plantframe/pipeline/swing"
)

// DayPicture is the plant of one day.
type DayPicture struct {
	Picture
	Day  string // YYYY-MM-DD
	View swing.View
}

// Progress is what the page of one hitter over time shows.
type Progress struct {
	Hitter                      string
	Clips, Swings, Days         int
	FirstDay, LastDay           string // YYYY-MM-DD; "" = no swing yet
	Need                        string // what to work on first, one sentence; "" = nothing
	Judged                      int    // swings of the last day that were judged
	Trends                      []swing.Trend
	ChangeSigmas                float64 // of the test
	Undated                     int     // clips whose day is that of the file
	FirstPicture, LatestPicture *DayPicture
}

type progressView struct {
	shell
	Sum           string
	First, Latest *image
	Need          string
	Short         []string
	Groups        []trendGroup
	Sigmas        string
	Doubts        []string
}

type trendGroup struct {
	Name   string
	Trends []trendView
}

// WriteProgress writes the page of one hitter over time: one file with everything
// in it. The error is a *swing.Error of KindOutput when w fails.
func WriteProgress(w io.Writer, p Progress) error {
	v := &progressView{shell: shell{Title: p.Hitter + ": progress"}, Need: p.Need, Sigmas: strings.TrimSuffix(fmt.Sprintf("%.1f", p.ChangeSigmas), ".0")}
	if p.LastDay == "" {
		v.Sum = count(p.Clips, "clip") + ", no swing in them yet"
	} else {
		v.Sum = fmt.Sprintf("%s in %s on %s, %s", count(p.Swings, "swing"), count(p.Clips, "clip"), count(p.Days, "day"), daySpan(p.FirstDay, p.LastDay))
	}
	if p.FirstPicture != nil && (p.LatestPicture == nil || p.LatestPicture.Day != p.FirstPicture.Day) {
		v.First = dayImage(p.FirstPicture, "First")
	}
	if p.LatestPicture != nil {
		v.Latest = dayImage(p.LatestPicture, "Latest")
	}
	v.Short = inShort(p)
	v.Groups = groups(p.Trends)
	if p.Undated > 0 {
		v.Doubts = append(v.Doubts, fmt.Sprintf("%s told no day of their own: the day of the file was taken, which copying may change.", capital(count(p.Undated, "clip"))))
	}
	return execute("report.WriteProgress", "", w, "progress.html", v)
}

func daySpan(a, b string) string {
	if a == b {
		return dayText(a)
	}
	return dayText(a) + " to " + dayText(b)
}

func dayImage(p *DayPicture, which string) *image {
	see := map[swing.View]string{swing.OpenSide: "seen from the open side", swing.Rear: "seen from behind"}[p.View]
	return inline(p.Picture, which+": "+dayText(p.Day), fmt.Sprintf("The hitter at plant on %s, %s, with the body's and the bat's lines drawn", dayText(p.Day), see))
}

// inShort says in words what changed.
func inShort(p Progress) []string {
	var out []string
	if p.Need == "" {
		switch {
		case p.LastDay == "":
		case p.Judged == 0:
			out = append(out, "No swing of the latest day was judged.")
		default:
			out = append(out, "Nothing stands out as first to work on.")
		}
	}
	by := map[string][]string{}
	one, same := 0, 0
	for _, t := range p.Trends {
		switch t.Verdict {
		case swing.Changed:
			name := titleOf(swing.Finding{ID: t.ID, Title: t.Title})
			if !slices.Contains(by[string(t.Heading)], name) {
				by[string(t.Heading)] = append(by[string(t.Heading)], name)
			}
		case swing.NoClearChange:
			same++
		default:
			one++
		}
	}
	for _, h := range []swing.Heading{swing.Toward, swing.Away, swing.Inside} {
		if names := by[string(h)]; len(names) > 0 {
			out = append(out, fmt.Sprintf("Changed %s: %s.", h, strings.Join(names, "; ")))
		}
	}
	switch {
	case len(by) == 0 && same == 0 && one > 0:
		out = append(out, "There is one day only: a later one will show what changed.")
	case len(by) == 0 && same > 0:
		out = append(out, fmt.Sprintf("No clear change in %s.", count(same, "checkpoint")))
	case same > 0:
		out = append(out, fmt.Sprintf("No clear change in the other %s.", count(same, "checkpoint")))
	}
	return out
}

// groups puts what compares under one heading: the view with most days first.
func groups(trends []swing.Trend) []trendGroup {
	var out []trendGroup
	weight := map[string]int{}
	for _, t := range trends {
		name := map[swing.View]string{swing.OpenSide: "From the open side", swing.Rear: "From behind"}[t.View]
		name += map[swing.Bats]string{swing.Right: ", batting right-handed", swing.Left: ", batting left-handed"}[t.Bats]
		i := slices.IndexFunc(out, func(g trendGroup) bool { return g.Name == name })
		if i < 0 {
			i = len(out)
			out = append(out, trendGroup{Name: name})
		}
		out[i].Trends = append(out[i].Trends, newTrend(t, ""))
		for _, d := range t.Days {
			weight[name] += d.Swings
		}
	}
	slices.SortStableFunc(out, func(a, b trendGroup) int { return weight[b.Name] - weight[a.Name] })
	return out
}
