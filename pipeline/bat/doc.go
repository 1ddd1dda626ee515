// Package bat finds the bat in the picture: in each frame by a network of our
// own on the square round the hands, confirmed by the two edges of a straight
// thing, then over time by the likeliest path, in which a bat that turns as a
// bat can turn is believed and one that jumps is not. Where the signs disagree
// the frame says unknown.
package bat
