package swing

// EventName names an instant of a swing.
type EventName string

// Events in time order.
const (
	Stance     EventName = "stance"      // last quiet instant before the first move
	Load       EventName = "load"        // centre of mass at its rearmost before the stride
	Lift       EventName = "lift"        // front foot leaves the ground; absent without a stride
	Touch      EventName = "touch"       // first ground contact of the front foot
	Plant      EventName = "plant"       // front foot down and still
	SwingStart EventName = "swing-start" // bat begins its forward turn
	Contact    EventName = "contact"     // bat meets ball
	Finish     EventName = "finish"      // hands stop
)

// EventNames returns all events in time order.
func EventNames() []EventName {
	return []EventName{Stance, Load, Lift, Touch, Plant, SwingStart, Contact, Finish}
}

// Event is one instant found in a swing.
type Event struct {
	Time   float64 `json:"time_s"`  // s, sub-frame
	Frame  int     `json:"frame"`   // nearest Frame.Index
	Sigma  float64 `json:"sigma_s"` // one-sigma time uncertainty, s, > 0
	Method string  `json:"method"`  // how it was found, a short fixed word such as "foot-still"
}

// Bats is the side a hitter bats from.
type Bats string

// Batting sides.
const (
	Right Bats = "R" // left side leads
	Left  Bats = "L" // right side leads
)

// View says where the camera stands.
type View string

// Views.
const (
	OpenSide View = "open-side" // the camera faces the hitter's chest
	Rear     View = "rear"      // behind the plate, looking at the pitcher
)

// Side tells which left/right joint leads for a batting side.
type Side struct {
	Shoulder, Elbow, Wrist, Hip, Knee, Ankle, BigToe, Heel, Hand Joint
}

// Lead returns the joints of the side nearer the pitcher.
func (b Bats) Lead() Side {
	if b == Left {
		return Side{RightShoulder, RightElbow, RightWrist, RightHip, RightKnee, RightAnkle, RightBigToe, RightHeel, RightHand}
	}
	return Side{LeftShoulder, LeftElbow, LeftWrist, LeftHip, LeftKnee, LeftAnkle, LeftBigToe, LeftHeel, LeftHand}
}

// Rear returns the joints of the side nearer the catcher.
func (b Bats) Rear() Side {
	if b == Left {
		return Right.Lead()
	}
	return Left.Lead()
}
