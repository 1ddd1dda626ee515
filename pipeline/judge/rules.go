package judge

// side is an edge of a band.
type side int

const (
	low side = iota - 1
	inside
	high
)

// rule says that a measure out of its band on one side explains another one's
// being out: correct the first, and the second goes as a rule.
type rule struct {
	cause       string
	causeSide   side
	symptom     string
	symptomSide side
}

// rules is the table of root causes, by measure, so that an instructor's own
// checkpoints obey it too. All of it is geometry of arms and bat, or follows
// from where the mass is; none is published: common practice, no source.
func rules() []rule {
	return []rule{
		// The barrel hangs on the hands: where they go it goes.
		{"hand_drift", high, "barrel_distance", high},
		{"hand_drift", high, "barrel_inside", low},
		{"hand_drift", high, "swing_inertia_ratio", high},
		{"hand_drift", high, "lead_arm_gap", high},
		{"hand_drift", high, "hand_path_length", high},
		// A straight arm puts the hands at its end.
		{"lead_elbow_flexion", low, "hand_drift", high},
		{"lead_elbow_flexion", low, "barrel_distance", high},
		{"lead_elbow_flexion", low, "barrel_inside", low},
		{"lead_elbow_flexion", low, "lead_elbow_drop", high},
		{"lead_arm_gap", high, "barrel_distance", high},
		{"lead_arm_gap", high, "barrel_inside", low},
		// A dropped rear elbow tips the forearm and lays the barrel down.
		{"rear_elbow_height", low, "bat_tilt", high},
		{"rear_elbow_height", low, "knob_direction", low},
		{"rear_elbow_height", low, "barrel_distance", high},
		{"rear_elbow_height", low, "barrel_inside", low},
		{"rear_elbow_height", low, "hand_drop", high},
		// A flat barrel reaches out farther than a steep one.
		{"bat_tilt", high, "barrel_distance", high},
		{"bat_tilt", high, "barrel_inside", low},
		{"bat_tilt", high, "knob_direction", low},
		{"bat_tilt", high, "bat_lean", high},
		{"bat_tilt", high, "swing_inertia_ratio", high},
		{"bat_tilt", low, "bat_lean", low},
		{"barrel_distance", high, "knob_direction", low},
		{"barrel_distance", high, "swing_inertia_ratio", high},
		// The mass that goes ahead takes the head with it and bends the front
		// knee; so does a long step.
		{"stride_length", high, "head_travel", high},
		{"stride_length", high, "weight_position", low},
		{"stride_length", high, "front_knee_flexion", low},
		{"weight_position", high, "head_travel", high},
		{"weight_position", high, "front_knee_flexion", high},
		{"weight_position", high, "trunk_lean", high},
		{"weight_position", low, "trunk_lean", low},
		// Shoulders that never turned in cannot be behind the hips.
		{"shoulder_turn", high, "separation", high},
		{"hip_turn", high, "separation", low},
	}
}
