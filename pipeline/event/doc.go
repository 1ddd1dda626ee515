// Package event finds the swings of a track and the instants of each: stance,
// load, lift, touch, plant, swing-start, contact and finish, every one with a sub-frame
// time, a one-sigma time uncertainty and a word for how it was found. It also
// tells from which side the hitter bats and where the camera stands.
//
// Work is done in the steady picture (the background stands still) and in
// stature lengths; times are presentation times.
//
// Definitions. plant: the front foot is down and still, its ankle within
// 0.006 stature of the lowest level between the top of the stride and contact
// and slower than 0.29 stature/s, held until contact. touch: heel or toe first
// meets the ground. Both are read from a model of the landing (an approach that
// ends in a kink, then a foot at rest) fitted to the unsmoothed track, because
// a low-pass that is narrow enough to remove the noise also smears the kink
// over 40 ms.
//
// contact: bat meets ball. Where the sound of the hit is surely heard its time
// is taken ("sound"); else it is when the bat is square to the pitch line
// ("bat", only where the bat was seen) together with what the hands alone tell
// ("hands"). swing-start: the bat's angular speed leaves the plateau of the
// loading; it is found only where the bat was seen ("bat-turns").
//
// One camera sees the ground plane in perspective. In the rear view the foot
// strides away from the camera, which shows as motion up the picture; the
// height of the foot shows along the same axis. The level is therefore always
// taken relative to the foot's own settled place in the picture, never as a
// height above a ground line.
package event
