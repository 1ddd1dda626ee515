// Package sound finds sharp sounds in a clip's audio track that can be a bat
// hitting a ball: the crack of wood, the ping of metal, the thud of a soft
// ball.
//
// Input is a swing.Sound, output a list of swing.Crack in time order: when
// each was made, with its one-sigma error, and how far it stands out. The
// stage does not say which of them is the hit, nor that there is one: a bat
// dropped on the ground cracks too. The event stage decides by the hitter's
// hands and bat, and by how many such sounds the clip holds.
//
// A crack is told from speech, wind and music by its form alone, not by a
// library of sounds: it begins within a millisecond or two, at once in most of
// the bands between 0.4 and 14 kHz, and nothing louder follows. Its time is
// that of its own edge, found by comparing what is heard with a sudden begin
// and a decay for every possible instant.
//
// Sound takes its time: 15 ms for five metres. The way from the hitter to the
// microphone is taken off; see Place.
package sound
