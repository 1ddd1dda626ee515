package swing

// Segment is one part of the body between two points.
type Segment struct {
	Mass   float64 // share of the body's mass
	Centre float64 // distance of its centre of mass from the proximal end / length
	// Gyration is the radius of gyration about an axis through that centre at
	// right angles to the segment / length (the mean of the sagittal and the
	// transverse one).
	Gyration float64
}

// BodyTable holds the parts of a body. Trunk runs from mid-shoulder to
// mid-hip, shank to the ankle's joint centre, foot from heel to toe tip. Of head
// and hand only the mass is given: their ends in the source (vertex, mid-gonion,
// knuckles) are no body points of this vocabulary.
type BodyTable struct {
	Head, Trunk, UpperArm, Forearm, Hand, Thigh, Shank, Foot Segment
}

// DeLevaMale returns the segments of men of de Leva (1996), J. Biomech.
// 29:1223-1230; the trunk is his "Trunk 3". A test compares it with the copy in
// testdata/reference.
func DeLevaMale() BodyTable {
	return BodyTable{
		Head: Segment{Mass: 0.0694}, Trunk: Segment{0.4346, 0.4310, (0.384 + 0.358) / 2},
		UpperArm: Segment{0.0271, 0.5772, (0.285 + 0.269) / 2}, Forearm: Segment{0.0162, 0.4574, (0.276 + 0.265) / 2}, Hand: Segment{Mass: 0.0061},
		Thigh: Segment{0.1416, 0.4095, (0.329 + 0.329) / 2}, Shank: Segment{0.0433, 0.4395, (0.251 + 0.246) / 2}, Foot: Segment{0.0137, 0.4415, (0.257 + 0.245) / 2},
	}
}

// DeLevaFemale returns the segments of women of the same source.
func DeLevaFemale() BodyTable {
	return BodyTable{
		Head: Segment{Mass: 0.0668}, Trunk: Segment{0.4257, 0.3782, (0.379 + 0.361) / 2},
		UpperArm: Segment{0.0255, 0.5754, (0.278 + 0.260) / 2}, Forearm: Segment{0.0138, 0.4559, (0.261 + 0.257) / 2}, Hand: Segment{Mass: 0.0056},
		Thigh: Segment{0.1478, 0.3612, (0.369 + 0.364) / 2}, Shank: Segment{0.0481, 0.4352, (0.267 + 0.263) / 2}, Foot: Segment{0.0129, 0.4014, (0.299 + 0.279) / 2},
	}
}

// Lengths between joint centres as fractions of stature after Drillis and
// Contini (1966) as reproduced in Winter (2009), figure 4.1 (values from
// memory): heights of ankle .039, knee .285, hip .530 and shoulder .818 of
// stature. Between adults and between children over about eight years the sum
// ankle to shoulder varies by about 2 % of stature (one sigma, common practice,
// no source).
const (
	ShankShare = 0.285 - 0.039 // ankle to knee
	ThighShare = 0.530 - 0.285 // knee to hip
	TrunkShare = 0.818 - 0.530 // hip to shoulder
)
