package models

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"plantframe/models/onnx"
)

// installed returns the store that scripts/test fills before the tests run.
func installed(t testing.TB) Store {
	t.Helper()
	dir, err := DefaultDir()
	if err != nil {
		t.Fatal(err)
	}
	s := NewStore(dir)
	if _, err := os.Stat(s.LibraryPath()); err != nil {
		t.Fatalf("%v\nthis test needs the installed networks: run scripts/test, or plantframe models install once", err)
	}
	return s
}

// open opens an installed network and fails with a hint when it is not there.
func open(t testing.TB, id string, threads int) *Session {
	t.Helper()
	m, err := Lookup(id)
	if err != nil {
		t.Fatal(err)
	}
	s, err := installed(t).Open(m, SessionOptions{Threads: threads})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// pattern fills the input with bytes of a fixed picture, normalized as the manifest says.
func pattern(m Manifest, in []float32) {
	b := noise(len(in), 7)
	for i := range in {
		if m.Purpose == "sequence" {
			in[i] = float32(b[i]) / 255
			continue
		}
		c := i % 3
		if m.Input.Layout == "nchw" {
			c = i / (m.Input.Width * m.Input.Height)
		}
		in[i] = (float32(b[i]) - m.Input.Mean[c]) / m.Input.Std[c]
	}
}

// TestInstalledNetworksRun: every network runs, gives finite numbers, the same ones with one and with two threads, and
// takes no memory per run.
func TestInstalledNetworksRun(t *testing.T) {
	all, err := Manifests()
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range all {
		t.Run(m.ID, func(t *testing.T) {
			one, two := open(t, m.ID, 1), open(t, m.ID, 2)
			pattern(m, one.Input())
			copy(two.Input(), one.Input())
			if err := errors.Join(one.Run(), two.Run()); err != nil {
				t.Fatal(err)
			}
			for _, o := range m.Outputs {
				a, b := one.Output(o.Name), two.Output(o.Name)
				if len(a) == 0 || len(a) != len(b) {
					t.Fatalf("%s has %d and %d numbers", o.Name, len(a), len(b))
				}
				for i := range a {
					if math.IsNaN(float64(a[i])) || math.IsInf(float64(a[i]), 0) {
						t.Fatalf("%s[%d] is %v", o.Name, i, a[i])
					}
					if a[i] != b[i] {
						t.Fatalf("%s[%d] is %v with one thread, %v with two", o.Name, i, a[i], b[i])
					}
				}
			}
			if n := testing.AllocsPerRun(2, func() { err = one.Run() }); n != 0 || err != nil {
				t.Errorf("a run allocates %v times, error %v; want none", n, err)
			}
		})
	}
}

// TestInstalledNetworksAreRight compares the checksums of everything that is installed.
func TestInstalledNetworksAreRight(t *testing.T) {
	all, err := Manifests()
	if err != nil {
		t.Fatal(err)
	}
	states, err := installed(t).Verify(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	if len(states) != len(all)+1 {
		t.Fatalf("%d states for %d networks and the library", len(states), len(all))
	}
	for _, st := range states {
		if st.Problem != "" || st.Bytes == 0 {
			t.Errorf("%s: %s (%s), %d bytes", st.ID, st.Problem, st.Hint, st.Bytes)
		}
	}
}

// ownNet writes the network out = in + 1 on 2 x 1 pixels and its manifest, and returns the manifest's path.
func ownNet(t *testing.T, change func(file []byte, manifest string) ([]byte, string)) string {
	t.Helper()
	g := onnx.NewGraph("own")
	in := g.Input("in", 1, 1, 2, 3)
	flat := g.Add("Reshape", "flat", []string{in, g.Int64s("shape", 1, 6)})
	g.Add("Add", "simcc_x", []string{flat, g.Float32("one", 1)})
	g.Output("simcc_x", 1, 6)
	file, err := onnx.Marshal(onnx.Model(g.Proto()))
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(own, "00000000000000000000000000000000000000000000000000000000000000ff", sum(file), 1)
	if change != nil {
		file, text = change(file, text)
	}
	dir := t.TempDir()
	err = errors.Join(os.WriteFile(filepath.Join(dir, "my.onnx"), file, 0o600), os.WriteFile(filepath.Join(dir, "my.yaml"), []byte(text), 0o600))
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "my.yaml")
}

func TestOwnNetwork(t *testing.T) {
	m, err := Find(ownNet(t, nil))
	if err != nil {
		t.Fatal(err)
	}
	store := installed(t)
	s, err := store.Open(m, DefaultSessionOptions())
	if err != nil {
		t.Fatal(err)
	}
	copy(s.Input(), []float32{1, 2, 3, 4, 5, 6})
	if err := s.Run(); err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprint(s.Output("x")); got != "[2 3 4 5 6 7]" {
		t.Errorf("got %s", got)
	}
	if s.Output("y") != nil {
		t.Error("an output that the manifest does not name must be nil")
	}
	if err := errors.Join(s.Close(), s.Close()); err != nil {
		t.Error(err)
	}
	states, err := store.Verify(t.Context(), []Manifest{m})
	if err != nil || states[1].Problem != "" {
		t.Errorf("state %+v, error %v", states[1], err)
	}
}

func TestOwnNetworkRefused(t *testing.T) {
	replace := func(old, by string) func([]byte, string) ([]byte, string) {
		return func(f []byte, text string) ([]byte, string) { return f, strings.Replace(text, old, by, 1) }
	}
	recheck := func(f []byte, text string) ([]byte, string) { // a manifest whose checksum is that of the bytes
		i := strings.Index(text, "sha256: ") + len("sha256: ")
		return f, text[:i] + sum(f) + text[i+64:]
	}
	for name, test := range map[string]struct {
		change func([]byte, string) ([]byte, string)
		text   string
	}{
		"another file":    {func(f []byte, text string) ([]byte, string) { return append(f, 0), text }, "not the one that the manifest describes"},
		"cut file":        {func(f []byte, text string) ([]byte, string) { return recheck(f[:len(f)-20], text) }, "does not fit its manifest"},
		"no network":      {func(_ []byte, text string) ([]byte, string) { return recheck([]byte("hello"), text) }, "does not fit its manifest"},
		"no file":         {replace("my.onnx", "other.onnx"), "the file is not there"},
		"a folder":        {replace("my.onnx", "."), "not a file"},
		"input name":      {replace("name: in,", "name: picture,"), `no input is called "picture" (there are ["in"])`},
		"input shape":     {replace("width: 2", "width: 3"), "has shape [1 1 2 3], the manifest says [1 1 3 3]"},
		"output name":     {replace("simcc_x", "simcc_y"), `no output is called "simcc_y"`},
		"output shape":    {replace("[1, 6]", "[1, 7]"), "the manifest says [1 7]"},
		"output elements": {replace("[1, 6]", "[6]"), "the manifest says [6]"},
	} {
		t.Run(name, func(t *testing.T) {
			m, err := Find(ownNet(t, test.change))
			if err != nil {
				t.Fatal(err)
			}
			s, err := installed(t).Open(m, DefaultSessionOptions())
			if err == nil {
				_ = s.Close()
			}
			wantError(t, err, test.text)
		})
	}
	t.Run("threads", func(t *testing.T) {
		m, err := Find(ownNet(t, nil))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := installed(t).Open(m, SessionOptions{}); err == nil || !strings.Contains(err.Error(), "0 threads") {
			t.Errorf("error %v, want one about 0 threads", err)
		}
	})
}

func TestNothingInstalled(t *testing.T) {
	m, err := Lookup("pose-heavy")
	if err != nil {
		t.Fatal(err)
	}
	empty := NewStore(filepath.Join(t.TempDir(), "none"))
	_, err = empty.Open(m, DefaultSessionOptions())
	wantError(t, err, "not installed")
	states, err := empty.Verify(t.Context(), []Manifest{m})
	if err != nil || len(states) != 2 || states[0].Problem != "not installed" || states[1].Problem != "not installed" {
		t.Errorf("states %+v, error %v", states, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := empty.Verify(ctx, []Manifest{m}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v after cancelling", err)
	}
}

func TestVerifyFindsDamage(t *testing.T) {
	m, err := Lookup("pose-heavy")
	if err != nil {
		t.Fatal(err)
	}
	s := NewStore(t.TempDir())
	if err := writeFile(s.Path(m), bytes.NewReader(noise(100, 1))); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(s.LibraryPath(), 0o700); err != nil {
		t.Fatal(err)
	}
	states, err := s.Verify(t.Context(), []Manifest{m})
	if err != nil {
		t.Fatal(err)
	}
	if states[0].Problem != "it is not a file" || !strings.Contains(states[1].Problem, "damaged") || states[1].Hint == "" {
		t.Errorf("states %+v", states)
	}
}
