// Package spot places a few points in a square part of a picture with a small
// network: the ends of a bat in the hands, the parts of both feet. It is a tool
// that stages share, no stage.
//
// The network gives, for every point, a probability for each cell of a grid and
// for "not in the picture", and for each cell the place inside it with the
// scale of its error. So a point comes with an honest uncertainty, with other
// places it could have, and with the chance that it is not there.
package spot
