package ingest

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"slices"
	"testing"

	"plantframe/pipeline/swing"
)

// Whatever ffprobe prints of a file's streams and packets, the clip that comes
// of it is refused or makes sense.
func FuzzDescription(f *testing.F) {
	f.Add([]byte(`{"streams":[{"codec_type":"video","codec_name":"h264","width":1280,"height":720,"avg_frame_rate":"60/1","time_base":"1/15360","duration":"2.5","nb_frames":"150","side_data_list":[{"rotation":-90}]},{"codec_type":"audio"}]}`),
		[]byte("0.000000,K__\n0.016667,___\n0.033333,__D\n"))
	f.Add([]byte(`{"streams":[{"codec_type":"video","disposition":{"attached_pic":1}}]}`), []byte("N/A,K__\n"))
	f.Add([]byte(`{"streams":[{"codec_type":"video","codec_name":"hevc","width":99999,"height":99999,"sample_aspect_ratio":"1:0"}]}`), []byte("nan,K\n-inf,_\n1e308,K\n"))
	f.Fuzz(func(t *testing.T, streams, packets []byte) {
		var d description
		if json.Unmarshal(streams, &d) != nil {
			return
		}
		var c swing.Clip
		s, err := chooseStream(&c, d, DefaultOptions())
		if err != nil {
			if e, ok := swing.AsError(err); !ok || e.Msg == "" || e.Hint == "" {
				t.Fatalf("refused without a sentence and a hint: %v", err)
			}
			return
		}
		tt := timetable{whole: true}
		_ = tt.read(bytes.NewReader(packets))
		slices.Sort(tt.times)
		slices.Sort(tt.keys)
		setTimes(&c, s, tt)
		if c.Width <= 0 || c.Height <= 0 || tooManyPixels(c.Width, c.Height, DefaultOptions().MaxPixels) {
			t.Errorf("picture of %d x %d", c.Width, c.Height)
		}
		if c.Rotation < 0 || c.Rotation >= 360 || c.Frames < 0 || !(c.FPS >= 0) || !(c.Duration >= 0) || math.IsInf(c.FPS, 0) || math.IsInf(c.Duration, 0) {
			t.Errorf("clip %+v", c)
		}
	})
}

// Times and sound pieces of any text come to an end and stay in bounds.
func FuzzTicks(f *testing.F) {
	f.Add([]byte("frame:0    pts:0       pts_time:0\nk=1\nframe:1    pts:16667   pts_time:0.016667\nk=1\n"))
	f.Add([]byte("frame:12   pts:13824   pts_time:0.288\nlavfi.astats.Overall.Number_of_samples=1024.000000\n"))
	f.Add([]byte("frame:x pts:99999999999999999999\nNumber_of_samples=NaN\nNumber_of_samples=1e300\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		times := make(chan int64)
		go readTimes(context.Background(), bytes.NewReader(b), times)
		c := clock{path: "x"}
		c.begin(&timetable{}, 60, 0)
		last := math.Inf(-1)
		for at := range times {
			if _, s, ok := c.place(at); ok {
				if !(s > last) {
					t.Fatalf("time %g after %g", s, last)
				}
				last = s
			}
		}
		pieces := make(chan piece)
		go readPieces(context.Background(), bytes.NewReader(b), pieces)
		for p := range pieces {
			if p.n < 0 || p.n > maxPiece {
				t.Fatalf("piece %+v", p)
			}
		}
	})
}
