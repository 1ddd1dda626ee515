package output

import (
	"bytes"
	"os"
	"testing"

	"plantframe/pipeline/swing"
)

// A document is refused with a sentence and a hint, or what is read of it can
// be written and read again to the same bytes.
func FuzzReadJSON(f *testing.F) {
	b, err := os.ReadFile("testdata/analysis.json")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add([]byte(`{"schema":"plantframe/analysis/1","clip":{"file":"a.mp4"},"swings":[]}`))
	f.Add([]byte(`{"schema":"plantframe/analysis/1","swings":[{"track":{"times_s":[1],"points":[]},"bat":{"knob":[null]}}]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		a, err := ReadJSON(bytes.NewReader(b))
		if err != nil {
			if e, ok := swing.AsError(err); !ok || e.Msg == "" || e.Hint == "" {
				t.Fatalf("refused without a sentence and a hint: %v", err)
			}
			return
		}
		var one, two bytes.Buffer
		if WriteJSON(&one, a) != nil {
			return // values that no analysis has
		}
		again, err := ReadJSON(bytes.NewReader(one.Bytes()))
		if err != nil {
			t.Fatalf("what was written cannot be read: %v", err)
		}
		if err := WriteJSON(&two, again); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(one.Bytes(), two.Bytes()) {
			t.Error("written, read and written again it is another document")
		}
	})
}
