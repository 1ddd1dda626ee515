// Command testnetworks writes the tiny networks of testdata/networks and their manifests: testnetworks FOLDER.
//
// They stand in for networks of a user's own in tests of the decoders. Each recognizes a body whose points are drawn as
// discs of given colours, and says so in the form of its decoder. The answers depend on the picture alone, so a wrong
// colour order, normalisation, layout, crop or decoder gives wrong points. See testdata/networks/README.md.
package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"

	"plantframe/models/onnx"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: testnetworks FOLDER")
		os.Exit(2)
	}
	if err := write(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "testnetworks:", err)
		os.Exit(1)
	}
}

// network is one file with its manifest, in which %s stands for the checksum.
type network struct {
	name     string
	graph    *onnx.Graph
	manifest string
}

func write(folder string) error {
	for _, n := range []network{heatmap(), simcc(), blazepose(), movenet(), detector()} {
		n.graph.Prune()
		b, err := onnx.Marshal(onnx.Model(n.graph.Proto()))
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(folder, n.name+".onnx"), b, 0o644); err != nil {
			return err
		}
		sum := sha256.Sum256(b)
		text := fmt.Sprintf(n.manifest, hex.EncodeToString(sum[:]))
		if err := os.WriteFile(filepath.Join(folder, n.name+".yaml"), []byte(text), 0o644); err != nil {
			return err
		}
	}
	return nil
}
