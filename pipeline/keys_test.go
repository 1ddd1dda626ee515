package pipeline

import (
	"bytes"
	"compress/gzip"
	"slices"
	"testing"

	"plantframe/pipeline/judge"
	"plantframe/pipeline/swing"
)

// emptyAnswers has an empty answer for every stage and notes what was asked.
type emptyAnswers struct{ keys []string }

func (e *emptyAnswers) Get(key string) ([]byte, bool, error) {
	e.keys = append(e.keys, key)
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write([]byte("null"))
	if cerr := w.Close(); err == nil {
		err = cerr
	}
	return b.Bytes(), true, err
}

func (*emptyAnswers) Put(string, []byte) error { return nil }

// Keys foretells what Run asks for, stage by stage.
func TestKeysAreThoseOfRun(t *testing.T) {
	judged := judge.Targets{Name: "some", Bands: []judge.Band{{}}}
	if judged.Empty() {
		t.Fatal("these targets are empty")
	}
	for name, d := range map[string]Deps{
		"plain":  {Models: []swing.ModelRef{{ID: "a", SHA256: "1"}}},
		"lifted": {LiftModel: swing.ModelRef{ID: "l", SHA256: "2"}},
		"judged": {Targets: judged},
	} {
		t.Run(name, func(t *testing.T) {
			asked := &emptyAnswers{}
			d.Artifacts = asked
			o := DefaultOptions()
			o.Track.BodyCutoff++ // another answer, so another key
			a, err := Run(t.Context(), "../testdata/clips/open-left.mp4", d, o)
			if err != nil {
				t.Fatal(err)
			}
			keys, err := Keys(a.Clip, d, o)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, k := range keys {
				got = append(got, k.Key)
			}
			if !slices.Equal(got, asked.keys) || len(got) < 6 {
				t.Errorf("foretold %d keys %v\nasked %d keys %v", len(got), got, len(asked.keys), asked.keys)
			}
			// A clip without sound leaves that stage out.
			c := a.Clip
			c.Audio = !c.Audio
			other, err := Keys(c, d, o)
			if err != nil || len(other)-len(keys) != map[bool]int{true: 1, false: -1}[c.Audio] {
				t.Errorf("%d and %d keys, %v", len(keys), len(other), err)
			}
		})
	}
}

// What changes in the middle leaves the stages before it alone.
func TestKeysChangeFromThereOn(t *testing.T) {
	c := swing.Clip{SHA256: "x", Audio: true}
	before, err := Keys(c, Deps{}, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	o := DefaultOptions()
	o.Event.Bats = swing.Left
	after, err := Keys(c, Deps{}, o)
	if err != nil {
		t.Fatal(err)
	}
	for i := range before {
		early := slices.Contains([]string{"bodies", "track", "bat", "sound"}, before[i].Stage)
		if (before[i] == after[i]) != early {
			t.Errorf("%s: %v", before[i].Stage, before[i] == after[i])
		}
	}
}
