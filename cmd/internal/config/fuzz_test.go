package config

import (
	"os"
	"path/filepath"
	"testing"

	"plantframe/pipeline/swing"
)

// A settings file is refused with a sentence and a hint, or gives settings that
// hold together.
func FuzzSettings(f *testing.F) {
	b, err := os.ReadFile("../../../configs/default.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(b)
	f.Add([]byte("# nothing\n"))
	f.Add([]byte("quality: fast\nevent: {level: .nan}\n"))
	f.Add([]byte("track:\n  ? [a, b]\n  : 1\n"))
	file := filepath.Join(f.TempDir(), "own.yaml")
	f.Fuzz(func(t *testing.T, b []byte) {
		if err := os.WriteFile(file, b, 0o600); err != nil {
			t.Fatal(err)
		}
		s := Default()
		err := Load(&s, nil, file)
		if err == nil {
			err = s.Validate()
		}
		if err == nil {
			return
		}
		if e, ok := swing.AsError(err); !ok || e.Msg == "" {
			t.Fatalf("refused without a sentence: %v", err)
		}
	})
}
