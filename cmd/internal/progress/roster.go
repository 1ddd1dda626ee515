package progress

import (
	"cmp"
	"slices"

	"plantframe/cmd/internal/store"
	"plantframe/pipeline/swing"
)

// Need is what to work on first.
type Need struct {
	Finding swing.Finding // of the latest swing that has it
	Swings  int           // of the day that have it as their first priority
	Of      int           // judged swings of that day
}

// Row is one hitter of the roster.
type Row struct {
	Hitter   store.Hitter
	Bats     []swing.Bats // sides seen in the swings, R before L
	Days     int          // with a swing
	FirstDay string       // YYYY-MM-DD; "" without a swing
	LastDay  string
	Judged   int   // swings of the last day that were judged
	Need     *Need // nil = nothing stands out, or nothing was judged
	Trends   []swing.Trend
	// Better and Worse are the surest changes toward the band and away from it;
	// nil = none.
	Better, Worse *swing.Trend
}

// NewRow sums up a history.
func NewRow(h store.Hitter, clips []store.ClipRecord, o Options) Row {
	r := Row{Hitter: h, Trends: Trends(clips, o)}
	var last []store.ClipRecord
	for _, c := range clips {
		if len(c.Swings) == 0 {
			continue
		}
		if r.LastDay != c.Shot {
			r.Days++
			last = nil
		}
		if r.FirstDay == "" {
			r.FirstDay = c.Shot
		}
		r.LastDay = c.Shot
		last = append(last, c)
		for _, s := range c.Swings {
			if !slices.Contains(r.Bats, s.Bats) {
				r.Bats = append(r.Bats, s.Bats)
			}
		}
	}
	slices.SortFunc(r.Bats, func(a, b swing.Bats) int { return -cmp.Compare(a, b) })
	r.Need, r.Judged = need(last)
	for i := range r.Trends { // surest first
		t := &r.Trends[i]
		switch {
		case t.Heading == swing.Toward && r.Better == nil:
			r.Better = t
		case t.Heading == swing.Away && r.Worse == nil:
			r.Worse = t
		}
	}
	return r
}

// need finds the first priority of most swings; of equal ones the more severe.
func need(clips []store.ClipRecord) (*Need, int) {
	type tally struct {
		Need
		severity float64
	}
	by := map[string]*tally{}
	judged := 0
	for _, c := range clips {
		for _, s := range c.Swings {
			if slices.ContainsFunc(s.Findings, func(f swing.Finding) bool { return f.Status != swing.NotJudgeable }) {
				judged++
			}
			for _, f := range s.Findings {
				if f.Priority != 1 {
					continue
				}
				if by[f.ID] == nil {
					by[f.ID] = &tally{}
				}
				by[f.ID].Finding = f
				by[f.ID].Swings++
				by[f.ID].severity += f.Severity
			}
		}
	}
	var best *tally
	for _, t := range by {
		if best == nil || cmp.Or(cmp.Compare(t.Swings, best.Swings), cmp.Compare(t.severity, best.severity), -cmp.Compare(t.Finding.ID, best.Finding.ID)) > 0 {
			best = t
		}
	}
	if best == nil {
		return nil, judged
	}
	best.Of = judged
	return &best.Need, judged
}

// Mover is one hitter's surest change.
type Mover struct {
	Hitter store.Hitter
	Trend  swing.Trend
}

// Movers lists the surest changes toward or away from a band over the roster, at
// most n, one per hitter and heading.
func Movers(rows []Row, n int) []Mover {
	var out []Mover
	for _, r := range rows {
		for _, t := range []*swing.Trend{r.Better, r.Worse} {
			if t != nil {
				out = append(out, Mover{r.Hitter, *t})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Mover) int { return -cmp.Compare(sureness(a.Trend), sureness(b.Trend)) })
	return out[:min(len(out), n)]
}
