package output

import (
	_ "embed"
	"slices"
)

//go:embed schema.json
var schema []byte

// Schema returns the JSON Schema (draft 2020-12) of analysis.json. It holds
// the definition, sign and zero of every measure.
func Schema() []byte { return slices.Clone(schema) }
