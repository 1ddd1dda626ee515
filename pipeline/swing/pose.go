package swing

// Keypoint is one body point found in one frame.
type Keypoint struct {
	X     float64 `json:"x"`     // px
	Y     float64 `json:"y"`     // px
	Score float64 `json:"score"` // 0..1; 0 = the network does not give this point
}

// Point returns the place of k.
func (k Keypoint) Point() Point { return Point{k.X, k.Y} }

// Box is an upright rectangle in the picture, px.
type Box struct {
	X0 float64 `json:"x0"`
	Y0 float64 `json:"y0"`
	X1 float64 `json:"x1"`
	Y1 float64 `json:"y1"`
}

// Pose is what the networks say of the hitter in one frame.
type Pose struct {
	Frame  int                 `json:"frame"`  // Frame.Index
	Time   float64             `json:"time_s"` // s
	Found  bool                `json:"found"`  // false: Points are meaningless
	Score  float64             `json:"score"`  // 0..1, the network's belief that a person is in the crop
	Points [NumPoints]Keypoint `json:"points"`
}
