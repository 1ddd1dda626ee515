// Package pose turns frames into body points of the hitter, frame by frame.
// It runs networks through the Session interface and knows how to read their
// outputs; it does not know where networks come from. It neither repairs nor
// smooths: a point is what the network said in that frame.
//
// # How a clip is worked through
//
// A short clip (up to Options.ShortClip) is followed as a whole: the large
// network runs on every frame, and twice a second the person detector looks
// for others, who are then watched by the cheap network about 13 times a
// second. A long clip is scanned first with the cheap network alone, and only
// the swing windows are followed:
//
//	if clip.Duration <= o.ShortClip {
//		poses, warnings, err = est.Follow(ctx, frames, pose.Seed{}, each)
//		if s := est.Seen(); s.OtherSwings() { // somebody else is the hitter
//			poses, warnings, err = est.Follow(ctx, framesAgain, s.Seed, each)
//		}
//	} else {
//		s, err := est.Scan(ctx, frames, progress)
//		for _, w := range s.Windows {
//			poses, warnings, err = est.Follow(ctx, framesOf(w), s.Seed, each)
//		}
//	}
//
// With one person in the picture, Follow costs two detector runs a second on
// top of the large network. Scan.Warnings (of Scan, or of Seen after Follow)
// say what was seen in a clip without a swing, such as "no swing found: two
// people walking"; Scan.Describe gives the words alone.
//
// # How one frame is worked through
//
// The crop follows the body: BlazePose's two alignment points of the last
// frame give the centre, size and turn of the next square. When the network
// says that nobody is in the crop, or when the body in it cannot be the one of
// the last frame (it would have moved or grown faster than people do), the
// detector searches on the same frame, and of the people found the one nearest
// to the hitter's last place is tried. If that fails the pose of the frame has
// Found = false, and later frames try again.
//
// # Scores
//
// Keypoint.Score is visibility times presence for BlazePose, the peak of the
// map for the others; points that a network does not have score 0. Pose.Score
// is the network's belief that a person is in the crop: BlazePose's flag,
// the mean point score of the others.
package pose
