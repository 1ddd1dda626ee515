package targets

import (
	"os"
	"path/filepath"
	"testing"

	"plantframe/pipeline/judge"
	"plantframe/pipeline/swing"
)

// A file of bands is refused with a sentence that names the file, or its bands
// can be judged by.
func FuzzBands(f *testing.F) {
	for _, name := range Names() {
		s, err := open("targets", "targets", name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(s.data)
	}
	f.Add([]byte("# nothing\n"))
	f.Add([]byte("bands: &a\n  - *a\n"))
	f.Add([]byte("name: x\nlevel: adult\nbands:\n  - {measure: bat_tilt, event: plant, lo: .nan, hi: 1e400, unit: deg}\n"))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, b []byte) {
		path := filepath.Join(dir, "own.yaml")
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := Load(Want{Targets: path, Level: "adult", Sport: "baseball", Texts: "en"})
		if err != nil {
			if e, ok := swing.AsError(err); !ok || e.Msg == "" || e.Hint == "" {
				t.Fatalf("refused without a sentence and a hint: %v", err)
			}
			return
		}
		if _, err := judge.Judge(swing.Swing{Bats: swing.Right, View: swing.OpenSide}, got, judge.DefaultOptions()); err != nil {
			t.Errorf("judging by it: %v", err)
		}
	})
}
