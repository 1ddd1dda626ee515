package models

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// own is a manifest of a user's network, as the tests write it.
const own = `id: my-net
title: mine
purpose: landmarks
licence: unknown
origin: me
source: {path: my.onnx}
convert: none
sha256: 00000000000000000000000000000000000000000000000000000000000000ff
input: {name: in, width: 2, height: 1, layout: nhwc, colour: rgb, mean: [0, 0, 0], std: [1, 1, 1]}
keypoints: coco-17
decoder: simcc
params: {split_ratio: 2}
outputs:
  - {name: x, tensor: simcc_x, shape: [1, 6]}
`

func TestEmbeddedManifests(t *testing.T) {
	all, err := Manifests()
	if err != nil {
		t.Fatal(err)
	}
	have := map[string]bool{}
	for _, m := range all {
		have[m.ID] = true
		if _, err := embedded.Open("manifest/" + m.ID + ".yaml"); err != nil {
			t.Errorf("%s: its file has another name", m.ID)
		}
		if m.Licence == "" || m.Origin == "" || m.Title == "" {
			t.Errorf("%s: licence, origin and title are wanted", m.ID)
		}
		if m.Source.Path != "" {
			t.Errorf("%s: an embedded manifest cannot name a path", m.ID)
		}
		if m.Purpose == "landmarks" && m.Keypoints == "" {
			t.Errorf("%s: keypoints is missing", m.ID)
		}
	}
	for _, id := range []string{"pose-heavy", "pose-full", "pose-detector", "pose-thunder", "object-nanodet", "bat-points", "feet-points", "lift"} {
		if !have[id] {
			t.Errorf("no manifest %s", id)
		}
	}
	_, err = Find("pose-heavyy")
	wantError(t, err, `there is no model called "pose-heavyy"`)
}

func TestReadManifest(t *testing.T) {
	write := func(t *testing.T, text string) string {
		t.Helper()
		path := filepath.Join(t.TempDir(), "my.yaml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	path := write(t, own)
	m, err := Find(path)
	if err != nil {
		t.Fatal(err)
	}
	if m.Params["split_ratio"] != 2 || m.Input.Width != 2 || m.Outputs[0].Tensor != "simcc_x" {
		t.Errorf("read %+v", m)
	}
	if got, want := NewStore("/cache").Path(m), filepath.Join(filepath.Dir(path), "my.onnx"); got != want {
		t.Errorf("the network lies at %s, want %s beside the manifest", got, want)
	}
	for name, change := range map[string][3]string{ // replace, by, what the message says
		"unknown entry":   {"licence:", "lisence:", "lisence"},
		"no yaml":         {"id: my-net", "id: [", "yaml"},
		"id":              {"my-net", "../x", "id \"../x\""},
		"purpose":         {"landmarks", "all", "purpose"},
		"convert":         {"convert: none", "convert: magic", "convert"},
		"needs an ONNX":   {"convert: none", "convert: tflite", "convert must be none"},
		"checksum":        {"00ff", "00", "sha256"},
		"no source":       {"{path: my.onnx}", "{}", "source"},
		"both sources":    {"{path: my.onnx}", "{path: my.onnx, package: p}", "exclude"},
		"input name":      {"name: in,", "name: '',", "input.name"},
		"input size":      {"width: 2", "width: 0", "0 x 1 px"},
		"layout":          {"nhwc", "hwc", "layout"},
		"colour":          {"rgb", "grey", "colour"},
		"division by 0":   {"std: [1, 1, 1]", "std: [1, 0, 1]", "std"},
		"decoder":         {"decoder: simcc", "decoder: ''", "decoder"},
		"output shape":    {"[1, 6]", "[1, -6]", "shape"},
		"output too much": {"[1, 6]", "[1, 16000000, 16000000, 16000000]", "shape"},
		"output name":     {"name: x", "name: ''", "outputs[0]"},
		"sequence":        {"height: 1,", "height: 1, steps: 3, channels: 2,", "purpose sequence"},
		"sequence size":   {"purpose: landmarks", "purpose: sequence", "purpose sequence"},
		"no outputs":      {"  - {name: x, tensor: simcc_x, shape: [1, 6]}\n", "", "outputs"},
	} {
		t.Run(name, func(t *testing.T) {
			text := strings.Replace(own, change[0], change[1], 1)
			if text == own {
				t.Fatalf("the test changes nothing: %q", change[0])
			}
			_, err := ReadManifest(write(t, text))
			wantError(t, err, change[2])
		})
	}
	_, err = ReadManifest(write(t, ""))
	wantError(t, err, "it is empty")
	_, err = ReadManifest(filepath.Join(t.TempDir(), "none.yaml"))
	wantError(t, err, "cannot read the model manifest")
}

func TestDefaultDir(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("PLANTFRAME_CACHE", dir)
	if got, err := DefaultDir(); err != nil || got != filepath.Join(dir, "models") {
		t.Errorf("got %s, %v", got, err)
	}
	t.Setenv("PLANTFRAME_CACHE", "")
	t.Setenv("XDG_CACHE_HOME", dir)
	if got, err := DefaultDir(); err != nil || got != filepath.Join(dir, "plantframe", "models") {
		t.Errorf("got %s, %v", got, err)
	}
}
