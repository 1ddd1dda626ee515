package targets

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"plantframe/pipeline/judge"
	"plantframe/pipeline/swing"
)

// Good is one of the swings that bands are learned from.
type Good struct {
	Name  string // for people, such as the clip's file
	Swing swing.Swing
}

// LeastSwings is how many good swings learning wants, in all and for each band:
// with fewer the spread of the spread itself is half as large as it is.
const LeastSwings = 5

const (
	// normalMAD turns a median absolute deviation into a standard deviation of a
	// normal distribution: 1 / quantile(0.75).
	normalMAD = 1.4826
	// bandSpreads is how many spreads the band reaches from the median: 95 % of
	// swings like these lie in it.
	bandSpreads = 2
	// outlierSpreads is the distance from which a swing is shown as an outlier
	// (Iglewicz and Hoaglin 1993, modified z-score, from memory).
	outlierSpreads = 3.5
)

// Learned is what Learn found.
type Learned struct {
	YAML     []byte // the targets file
	Bands    []LearnedBand
	Kept     []string // checkpoints left as they were, with the reason
	Outliers []string // swings far off in a measure, for people
}

// LearnedBand is one band before and after.
type LearnedBand struct {
	ID, Measure, Unit string
	Event             swing.EventName
	N                 int // swings it rests on
	Median, Spread    float64
	Lo, Hi            *float64
}

// Learn makes bands from good swings: median and robust spread of each measure, on
// the checkpoints of base, a name or a file. base's open sides stay open, and bands
// with fewer than LeastSwings values stay as they are. name and base go into the
// file. Errors are *swing.Error of KindUsage.
func Learn(swings []Good, base, name string, o judge.Options) (Learned, error) {
	var out Learned
	if len(swings) < LeastSwings {
		return out, &swing.Error{
			Op: "targets.Learn", Frame: -1, Kind: swing.KindUsage,
			Msg:  fmt.Sprintf("%d good swings are too few to learn from", len(swings)),
			Hint: fmt.Sprintf("give at least %d, filmed from the same view", LeastSwings),
		}
	}
	f, err := loadBands(base, nil)
	if err != nil {
		return out, err
	}
	for i := range f.bands {
		r := &f.bands[i]
		if r.off {
			continue
		}
		values, sigmas, names := collect(swings, r, o)
		if len(values) < LeastSwings {
			out.Kept = append(out.Kept, fmt.Sprintf("%s: %d of %d swings have it", r.ID, len(values), len(swings)))
			continue
		}
		b := LearnedBand{ID: r.ID, Measure: r.Measure, Unit: r.Unit, Event: r.Event, N: len(values), Median: median(values)}
		away := make([]float64, len(values))
		for k, v := range values {
			away[k] = math.Abs(v - b.Median)
		}
		// Narrower than what the measurement can tell would judge its noise.
		b.Spread = max(normalMAD*median(away), median(sigmas))
		for k, v := range values {
			if away[k] > outlierSpreads*b.Spread {
				out.Outliers = append(out.Outliers, fmt.Sprintf("%s: %s is %.4g, the others are at %.4g ± %.2g %s", names[k], r.ID, v, b.Median, b.Spread, r.Unit))
			}
		}
		edge := func(v float64) *float64 { v = rounded(v, r.Unit); return &v }
		if r.Lo != nil {
			b.Lo = edge(b.Median - bandSpreads*b.Spread)
		}
		if r.Hi != nil {
			b.Hi = edge(b.Median + bandSpreads*b.Spread)
		}
		out.Bands = append(out.Bands, b)
	}
	if len(out.Bands) == 0 {
		return out, &swing.Error{
			Op: "targets.Learn", Frame: -1, Kind: swing.KindUsage,
			Msg:  fmt.Sprintf("no measure could be read in %d of the swings", LeastSwings),
			Hint: "film the good swings from one view, the whole body in the picture",
		}
	}
	slices.Sort(out.Outliers)
	out.YAML = out.file(f, base, name, len(swings))
	return out, nil
}

// collect gathers the values of a band's measure, their sigmas and the swings'
// names. Of the launch position only what is one counts.
func collect(swings []Good, r *raw, o judge.Options) (values, sigmas []float64, names []string) {
	for _, g := range swings {
		if !slices.Contains(r.Views, g.Swing.View) || (r.Launch && judge.LaunchOver(g.Swing, r.Event, o)) {
			continue
		}
		for _, m := range g.Swing.Measures {
			if m.ID == r.Measure && m.Event == r.Event && m.Unit == r.Unit && m.Status != swing.NotMeasurable && m.Value != nil && m.Sigma != nil {
				values, sigmas, names = append(values, *m.Value), append(sigmas, *m.Sigma), append(names, g.Name)
				break
			}
		}
	}
	return values, sigmas, names
}

// median of a list that is not empty; the list stays as it is.
func median(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}

// rounded keeps whole degrees and milliseconds, and thousandths of lengths.
func rounded(v float64, unit string) float64 {
	k := 1000.0
	if unit == "deg" || unit == "ms" {
		k = 1
	}
	return math.Round(v*k)/k + 0
}

// file writes the targets.
func (l Learned) file(base file, baseName, name string, n int) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "# Target bands learned from %d good swings: median ± %d robust standard deviations\n", n, bandSpreads)
	b.WriteString("# of each measure. Change what you like; configs/targets/adult-baseball.yaml explains\n# the keys.\n")
	for _, o := range l.Outliers {
		b.WriteString("# outlier: " + oneLine(o) + "\n")
	}
	for _, k := range l.Kept {
		b.WriteString("# not learned: " + oneLine(k) + "\n")
	}
	fmt.Fprintf(&b, "name: %s\n", strconv.Quote(name))
	if base.level != "" {
		fmt.Fprintf(&b, "level: %s\n", strconv.Quote(base.level))
	}
	if base.sport != "" {
		fmt.Fprintf(&b, "sport: %s\n", strconv.Quote(base.sport))
	}
	fmt.Fprintf(&b, "based_on: %s\norigin: learned\nbands:\n", strconv.Quote(baseName))
	for _, band := range l.Bands {
		fmt.Fprintf(&b, "  - {id: %s", strconv.Quote(band.ID))
		if band.Lo != nil {
			fmt.Fprintf(&b, ", lo: %g", *band.Lo)
		}
		if band.Hi != nil {
			fmt.Fprintf(&b, ", hi: %g", *band.Hi)
		}
		half := bandSpreads * band.Spread
		fmt.Fprintf(&b, ", half_width: %g} # %d swings: %.4g ± %.2g %s\n", max(rounded(half, band.Unit), 0.001), band.N, band.Median, band.Spread, band.Unit)
	}
	return []byte(b.String())
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
