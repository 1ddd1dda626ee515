package ingest

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os/exec"
	"slices"
	"strconv"
	"strings"

	"plantframe/pipeline/swing"
)

// stream is what ffprobe says of one stream; only the fields used here.
type stream struct {
	Index       int    `json:"index"`
	Type        string `json:"codec_type"`
	Codec       string `json:"codec_name"`
	Width       int    `json:"width"`
	Height      int    `json:"height"`
	PixFmt      string `json:"pix_fmt"`
	Aspect      string `json:"sample_aspect_ratio"` // "num:den"; absent = square
	FieldOrder  string `json:"field_order"`
	Transfer    string `json:"color_transfer"`
	TimeBase    string `json:"time_base"`
	AvgRate     string `json:"avg_frame_rate"`
	Duration    string `json:"duration"`  // s
	Frames      string `json:"nb_frames"` // announced by the container
	Disposition struct {
		AttachedPic int `json:"attached_pic"`
	} `json:"disposition"`
	SideData []struct {
		Matrix   string   `json:"displaymatrix"`
		Rotation *float64 `json:"rotation"` // degrees anticlockwise
	} `json:"side_data_list"`
}

// description is what ffprobe says of a file.
type description struct {
	Streams []stream `json:"streams"`
	Format  struct {
		Name     string `json:"format_name"`
		Duration string `json:"duration"` // s
		Tags     struct {
			Made string `json:"creation_time"` // RFC 3339
		} `json:"tags"`
	} `json:"format"`
}

// entries names the fields of description.
const entries = "stream=index,codec_type,codec_name,width,height,pix_fmt,sample_aspect_ratio,field_order,color_transfer," +
	"time_base,avg_frame_rate,duration,nb_frames:stream_disposition=attached_pic:" +
	"stream_side_data=displaymatrix,rotation:format=format_name,duration:format_tags=creation_time"

// maxDescription bounds ffprobe's answer, bytes. Real answers are a few kB.
const maxDescription = 4 << 20

// errProbe is a file that ffprobe refuses; lines are its complaints.
type errProbe struct{ lines []string }

func (e *errProbe) Error() string {
	if len(e.lines) == 0 {
		return "ffprobe refuses the file without a reason"
	}
	return strings.Join(e.lines, "; ")
}

// describe asks ffprobe for the streams of a file.
func describe(ctx context.Context, path string, o Options) (description, error) {
	var d description
	args := append([]string{"-hide_banner", "-v", "error", "-show_entries", entries, "-of", "json"}, input(path)...)
	var out bytes.Buffer
	err := ask(ctx, o.FFprobe, args, func(r io.Reader) error {
		_, err := io.Copy(&out, io.LimitReader(r, maxDescription))
		return err
	})
	if err != nil {
		return d, err
	}
	if err := json.Unmarshal(out.Bytes(), &d); err != nil {
		return d, &errProbe{[]string{"ffprobe's answer is not understood: " + err.Error()}}
	}
	return d, nil
}

// ask runs ffprobe and hands its output to take. A refusal is an *errProbe.
func ask(ctx context.Context, bin string, args []string, take func(io.Reader) error) error {
	cmd := command(ctx, bin, args...)
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	stderr, err := cmd.StderrPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	var said complaints
	done := make(chan struct{})
	go func() { defer close(done); said.read(stderr) }()
	takeErr := take(stdout)
	_, _ = io.Copy(io.Discard, stdout) // what was not wanted, so that the program can end
	<-done
	err = cmd.Wait()
	var exit *exec.ExitError
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.As(err, &exit):
		_, lines := said.lines()
		return &errProbe{lines}
	case err != nil:
		return err
	}
	return takeErr
}

// timetable lists what the container says of its frames: the presentation
// times, sorted, and which of them decoding can start at.
type timetable struct {
	times []float64 // s, non-decreasing, without those the container hides
	keys  []float64 // s, increasing, key frames, hidden ones too
	// whole is false when a packet has no presentation time: the table then
	// only counts, its times are not to be trusted.
	whole bool
	// listed counts packets, hidden ones (edit lists) too.
	listed int
}

// list hands the table to later decodes of the clip.
func (tt *timetable) list() *swing.FrameList {
	return &swing.FrameList{Times: tt.times, Keys: tt.keys, Whole: tt.whole, Count: tt.listed}
}

// tableOf is the reverse of list.
func tableOf(l *swing.FrameList) timetable {
	return timetable{times: l.Times, keys: l.Keys, whole: l.Whole, listed: l.Count}
}

// maxPackets bounds the timetable: eleven hours at 240 frames a second.
const maxPackets = 10_000_000

// packets reads the timetable of a clip's video. Only the container is read,
// nothing is decoded.
func packets(ctx context.Context, path string, o Options) (timetable, error) {
	t := timetable{whole: true}
	args := append([]string{
		"-hide_banner", "-v", "error", "-select_streams", "V:0",
		"-show_entries", "packet=pts_time,flags", "-of", "csv=p=0",
	}, input(path)...)
	err := ask(ctx, o.FFprobe, args, t.read)
	slices.Sort(t.times)
	slices.Sort(t.keys)
	return t, err
}

// read takes in ffprobe's lines "time,flags".
func (tt *timetable) read(r io.Reader) error {
	sc := bufio.NewScanner(r)
	for sc.Scan() && tt.listed < maxPackets {
		pts, flags, ok := strings.Cut(sc.Text(), ",")
		if !ok {
			continue
		}
		tt.listed++
		at, err := strconv.ParseFloat(pts, 64)
		if err != nil || math.IsNaN(at) || math.IsInf(at, 0) { // "N/A"
			tt.whole = false
			continue
		}
		if strings.Contains(flags, "K") {
			tt.keys = append(tt.keys, at)
		}
		if !strings.Contains(flags, "D") {
			tt.times = append(tt.times, at)
		}
	}
	return sc.Err()
}

// index returns the number of frames before time t. A microsecond is allowed
// for, the unit in which ffmpeg tells times.
func (tt *timetable) index(t float64) int {
	n, _ := slices.BinarySearch(tt.times, t-timeUnit)
	return n
}

// timeUnit is the resolution of the times that arrive with frames, s.
const timeUnit = 1e-6

// ratio parses "60000/1001" or "64:45"; 0 when it is not a positive number.
func ratio(s string) float64 {
	a, b, ok := strings.Cut(s, "/")
	if !ok {
		if a, b, ok = strings.Cut(s, ":"); !ok {
			return 0
		}
	}
	n, err1 := strconv.ParseFloat(a, 64)
	d, err2 := strconv.ParseFloat(b, 64)
	if err1 != nil || err2 != nil || n <= 0 || d <= 0 || math.IsInf(n/d, 0) {
		return 0
	}
	return n / d
}

// seconds parses a duration; 0 when it is absent or makes no sense.
func seconds(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
		return 0
	}
	return v
}
