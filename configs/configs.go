// Package configs holds the files that come with the program and that users may
// replace by their own: targets, texts and drills.
package configs

import "embed"

// Files are targets/*.yaml, texts/*.yaml and drills.yaml. Read only.
//
//go:embed targets/*.yaml texts/*.yaml drills.yaml
var Files embed.FS
