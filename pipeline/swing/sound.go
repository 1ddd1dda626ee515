package swing

// Sound is a stretch of a clip's audio track, mixed down to one channel.
type Sound struct {
	Start   float64   // presentation time of Samples[0], s, on the clock of Frame.Time
	Rate    int       // samples per second
	Samples []float32 // -1..1 at full scale
	// Gaps are the stretches, s on the same clock, that the track does not
	// hold; their samples are zero.
	Gaps [][2]float64
}

// End returns the presentation time just after the last sample, s.
func (s *Sound) End() float64 {
	if s.Rate <= 0 {
		return s.Start
	}
	return s.Start + float64(len(s.Samples))/float64(s.Rate)
}

// Crack is a sharp sound such as that of a bat hitting a ball. What it was is
// not known; the event stage decides by the hitter's motion.
type Crack struct {
	Time  float64 `json:"time_s"`  // s, when it was made, on the clock of Frame.Time
	Sigma float64 `json:"sigma_s"` // one-sigma error of Time, s, > 0
	Level float64 `json:"level"`   // onset over the background just before it, dB
	Rate  float64 `json:"rate_hz"` // how often the clip holds a sound like it by chance, per second, > 0
	Delay float64 `json:"delay_s"` // way of the sound to the microphone that Time was corrected by, s
}
