// Package measure turns a swing's track, bat and events into numbers: the
// measures of one camera that need no reconstruction of the whole body in space.
// Every number carries one standard deviation, or is not given at all.
//
// # Directions and signs
//
// All work is done on a canonical hitter: the picture of a left-handed hitter
// is mirrored and its sides exchanged, so that left is the lead side for all,
// and x grows toward the pitcher (open-side view) or toward the plate (rear
// view). Results are therefore the same for a clip and its mirror image.
//
// In the formulas below X points to the pitcher, Y to the plate and Z up.
// An open-side picture shows X and Z; a rear picture shows Y and Z. A length
// along the line of sight is not seen; a measure that lives along it is not
// measurable in that view and is returned without a value.
//
// # Foreshortening
//
// A segment that leans out of the picture looks shorter and the angles at its
// ends look wrong: a right angle turned 30 degrees reads 82, and in an open-side
// clip a knee bent 40 degrees toward the camera reads 10. Flexions are therefore
// not read from the picture. A segment's true length comes from its own longest
// appearances during the swing and from body proportions; apparent over true
// length gives the lean up to its sign; and the signs are settled by what a
// hitter's body must obey: both hands hold one bat in front of the chest (a
// closed chain shoulder - elbow - hand - hand - elbow - shoulder), hips balance
// over the feet, knees bend toward the toes. What remains open widens sigma.
// arm.go and leg.go hold the details.
//
// # The bat in space
//
// One picture shows the bat's direction in it; how far it leans out of the picture
// follows from its apparent against its true length, with perspective (lens.go), up
// to two readings: barrel toward the camera or away from it. Which one holds is drawn
// from the whole swing (batsign.go). The hands' depth comes from the arms as sampled
// for the elbows and from where hitters' hands are (batdraw.go). The vertical extent is
// hardly touched by either, so a tilt is sharp in both views; a horizontal distance is
// sharp when most of it lies in the picture, which from the open side it does. Where
// both readings stay open the likelier one is given, sigma spans both, and the reason
// names the other.
//
// # Uncertainty
//
// Sigma is a Monte Carlo estimate: every draw moves the key points by the
// noise the track states (partly constant over the swing, partly slowly
// changing, larger for hidden points), moves the events by their own sigma,
// and varies what a single camera cannot know (stature in pixels, level of the
// camera, its angle to the pitch line). The draws are seeded: equal input gives
// equal output.
package measure
