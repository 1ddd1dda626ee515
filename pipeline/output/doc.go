// Package output turns an analysis into files that other programs read:
// analysis.json with its JSON Schema, and measures.csv for a batch. Pictures
// and video are made by the package render below it.
//
// Input is a finished swing.Analysis; units are those of package swing.
// Numbers are rounded on the way out (px 0.01, seconds 1e-6, scores 0.001) so
// that equal analyses give equal bytes. What JSON cannot say (NaN, infinity)
// and what a reader must never get (a value without its uncertainty) is
// refused as an error: it is a bug of a stage, not of the clip.
package output

// SchemaID names the document format; it changes only when a reader of the
// old format would misread the new one.
const SchemaID = "plantframe/analysis/1"

// Cautions are the sentences that go with every result, here and in pictures.
func Cautions() []string {
	return []string{
		"This is not medical advice.",
		"Stop when something hurts.",
		"Clear the space around the swing and wear a helmet.",
		"Children swing light implements, and never without supervision.",
		"Licensed professionals decide on injuries and on the return to play.",
	}
}
