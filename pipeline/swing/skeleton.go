package swing

// Joint numbers a body point. The first 17 are the COCO keypoints in COCO
// order, then four foot points; these NumJoints points are what leaves the
// program. Two hand points follow that only stages use.
type Joint int

// Body points; left and right are the person's own.
const (
	Nose Joint = iota
	LeftEye
	RightEye
	LeftEar
	RightEar
	LeftShoulder
	RightShoulder
	LeftElbow
	RightElbow
	LeftWrist
	RightWrist
	LeftHip
	RightHip
	LeftKnee
	RightKnee
	LeftAnkle
	RightAnkle
	LeftBigToe
	LeftHeel
	RightBigToe
	RightHeel
	// LeftHand and RightHand are the middle of the hand (wrist and finger
	// points where the network has them, else the wrist).
	LeftHand
	RightHand

	// NumJoints counts the points of the output contract.
	NumJoints = int(RightHeel) + 1
	// NumPoints counts all points a Pose carries.
	NumPoints = int(RightHand) + 1
)

// jointNames lists the names used in files, in Joint order.
var jointNames = [NumPoints]string{
	"nose", "left_eye", "right_eye", "left_ear", "right_ear",
	"left_shoulder", "right_shoulder", "left_elbow", "right_elbow",
	"left_wrist", "right_wrist", "left_hip", "right_hip",
	"left_knee", "right_knee", "left_ankle", "right_ankle",
	"left_big_toe", "left_heel", "right_big_toe", "right_heel",
	"left_hand", "right_hand",
}

// partners maps each point to the same point of the other side.
var partners = [NumPoints]Joint{
	Nose, RightEye, LeftEye, RightEar, LeftEar,
	RightShoulder, LeftShoulder, RightElbow, LeftElbow,
	RightWrist, LeftWrist, RightHip, LeftHip,
	RightKnee, LeftKnee, RightAnkle, LeftAnkle,
	RightBigToe, RightHeel, LeftBigToe, LeftHeel,
	RightHand, LeftHand,
}

// String returns the name used in files, such as "left_shoulder".
func (j Joint) String() string {
	if j < 0 || int(j) >= NumPoints {
		return "unknown"
	}
	return jointNames[j]
}

// Partner returns the same point of the other side; a middle point is its own
// partner.
func (j Joint) Partner() Joint { return partners[j] }

// KeypointNames returns the NumJoints names of the output contract in order.
func KeypointNames() []string { return append([]string(nil), jointNames[:NumJoints]...) }

// Bones returns the pairs of points that a skeleton drawing connects.
func Bones() [][2]Joint {
	return [][2]Joint{
		{LeftShoulder, RightShoulder},
		{LeftHip, RightHip},
		{LeftShoulder, LeftHip},
		{RightShoulder, RightHip},
		{LeftShoulder, LeftElbow},
		{LeftElbow, LeftWrist},
		{RightShoulder, RightElbow},
		{RightElbow, RightWrist},
		{LeftHip, LeftKnee},
		{LeftKnee, LeftAnkle},
		{RightHip, RightKnee},
		{RightKnee, RightAnkle},
		{LeftAnkle, LeftHeel},
		{LeftHeel, LeftBigToe},
		{LeftAnkle, LeftBigToe},
		{RightAnkle, RightHeel},
		{RightHeel, RightBigToe},
		{RightAnkle, RightBigToe},
	}
}
