package targets

import (
	"slices"

	"plantframe/pipeline/judge"
	"plantframe/pipeline/swing"
)

// words are a file of texts.
type words struct {
	source
	phrases     judge.Phrases
	checkpoints map[string]judge.Texts
}

// loadTexts reads a language's file of texts.
func loadTexts(name string) (words, error) {
	src, err := open("texts", "texts", or(name, "en"))
	if err != nil {
		return words{}, err
	}
	w := words{source: src, checkpoints: map[string]judge.Texts{}}
	n, err := src.root()
	if err != nil {
		return w, err
	}
	es, err := src.entries(n, "the file", "language", "units", "phrases", "checkpoints")
	if err != nil {
		return w, err
	}
	for _, e := range es {
		switch e.key {
		case "units":
			err = w.readUnits(e)
		case "phrases":
			err = w.readPhrases(e)
		case "checkpoints":
			var all []entry
			all, err = src.entries(e.value, "checkpoints")
			for _, c := range all {
				t, err := src.texts(c)
				if err != nil {
					return w, err
				}
				w.checkpoints[c.key] = t
			}
		}
		if err != nil {
			return w, err
		}
	}
	if w.phrases.PlusMinus == "" || len(w.phrases.Units) == 0 {
		return w, src.wrong(0, "copy them from configs/texts/en.yaml", "the file lacks units or phrases")
	}
	return w, nil
}

func (w *words) readUnits(e entry) error {
	all, err := w.entries(e.value, "units")
	if err != nil {
		return err
	}
	w.phrases.Units = map[string]judge.Unit{}
	for _, u := range all {
		fs, err := w.entries(u.value, "the unit "+u.key, "scale", "decimals", "suffix", "signed")
		if err != nil {
			return err
		}
		var out judge.Unit
		for _, f := range fs {
			switch f.key {
			case "suffix":
				out.Suffix = f.value.Value // blanks count
			case "signed":
				out.Signed, err = w.flag(f)
			case "scale":
				out.Scale, err = w.number(f)
			case "decimals":
				var d float64
				if d, err = w.number(f); err == nil && (d < 0 || d > 6 || d != float64(int(d))) {
					return w.wrong(f.line, "it must be a whole number from 0 to 6", "decimals is %g", d)
				}
				out.Decimals = int(d)
			}
			if err != nil {
				return err
			}
		}
		w.phrases.Units[u.key] = out
	}
	return nil
}

func (w *words) readPhrases(e entry) error {
	p := &w.phrases
	to := map[string]*string{
		"plus_minus": &p.PlusMinus, "at_least": &p.AtLeast, "at_most": &p.AtMost, "between": &p.Between, "near": &p.Near,
		"not_judged": &p.NotJudged, "unsure": &p.Unsure, "begun": &p.Begun, "start_unknown": &p.StartUnknown,
		"explained": &p.Explained, "saving": &p.Saving,
	}
	return w.fillTexts(e, "phrases", to, true)
}

// texts reads the words of one checkpoint.
func (s source) texts(e entry) (judge.Texts, error) {
	var t judge.Texts
	err := s.fillTexts(e, "the text "+e.key, map[string]*string{
		"title": &t.Title, "low": &t.Low, "high": &t.High, "in": &t.In, "why": &t.Why, "cue_low": &t.CueLow, "cue_high": &t.CueHigh,
	}, false)
	return t, err
}

// fillTexts fills texts by key; all says that none may be left out.
func (s source) fillTexts(e entry, what string, to map[string]*string, all bool) error {
	var keys []string
	for k := range to {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	es, err := s.entries(e.value, what, keys...)
	if err != nil {
		return err
	}
	for _, f := range es {
		if *to[f.key], err = s.text(f); err != nil {
			return err
		}
	}
	for _, k := range keys {
		if all && *to[k] == "" {
			return s.wrong(e.line, "copy it from configs/texts/en.yaml", "%s lacks %q", what, k)
		}
	}
	return nil
}

// Drill is one exercise, described.
type Drill struct {
	ID, Name, How string
}

// loadDrills reads the drills by id; "" = those of the program.
func loadDrills(name string) (map[string]Drill, error) {
	src, err := drillSource(name)
	if err != nil {
		return nil, err
	}
	n, err := src.root()
	if err != nil {
		return nil, err
	}
	es, err := src.entries(n, "the file", "drills")
	if err != nil {
		return nil, err
	}
	out := map[string]Drill{}
	for _, e := range es {
		all, err := src.entries(e.value, "drills")
		if err != nil {
			return nil, err
		}
		for _, one := range all {
			d := Drill{ID: one.key}
			if err := src.fillTexts(one, "the drill "+one.key, map[string]*string{"name": &d.Name, "how": &d.How}, true); err != nil {
				return nil, err
			}
			out[d.ID] = d
		}
	}
	return out, nil
}

// targets joins bands, texts and drills. Bands without words, or with a drill that
// nobody describes, are refused.
func (f *file) targets(w words, drills map[string]Drill) (judge.Targets, error) {
	t := judge.Targets{Name: f.name, Level: f.level, Sport: f.sport, Phrase: w.phrases}
	for i := range f.bands {
		r := &f.bands[i]
		if r.off {
			continue
		}
		line := func(key string) int {
			if l := r.at[key]; l > 0 {
				return l
			}
			return r.at[""]
		}
		for key, list := range map[string]*[]string{"drills_low": &r.DrillsLow, "drills_high": &r.DrillsHigh} {
			var names []string
			for _, id := range *list {
				d, ok := drills[id]
				if !ok {
					return t, r.in.wrong(line(key), nearest(id, sortedKeys(drills)), "the band %s names the unknown drill %q", r.ID, id)
				}
				names = append(names, d.Name)
			}
			*list = names
		}
		if !r.hasText {
			r.Text = w.checkpoints[r.ID]
		}
		if miss := missing(r.Band); miss != "" {
			return t, r.in.wrong(line("text"), "add it under text: of the band, or under checkpoints: in the file of texts ("+w.name+")", "the band %s lacks the text %q", r.ID, miss)
		}
		if _, ok := w.phrases.Units[r.Unit]; !ok {
			return t, w.wrong(0, "copy it from configs/texts/en.yaml", "the file of texts does not know the unit %q", r.Unit)
		}
		t.Bands = append(t.Bands, r.Band)
	}
	if t.Empty() {
		return t, f.wrong(0, "--targets none judges nothing", "the file leaves no band")
	}
	if err := t.Validate(); err != nil {
		return t, &swing.Error{Op: "targets.Load", Clip: f.source.name, Frame: -1, Kind: swing.KindUsage, Msg: err.Error()}
	}
	return t, nil
}

// missing names the first text that a band needs and has not.
func missing(b judge.Band) string {
	switch {
	case b.Text.Title == "":
		return "title"
	case b.Text.In == "":
		return "in"
	case b.Lo != nil && b.Text.Low == "":
		return "low"
	case b.Hi != nil && b.Text.High == "":
		return "high"
	}
	return ""
}

func sortedKeys(m map[string]Drill) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
