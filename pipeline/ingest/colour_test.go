package ingest

import (
	"path/filepath"
	"testing"
)

// Pure colours must come out pure whatever matrix, range and depth the clip
// was coded with; a wrong matrix turns red 255 into 230.
func TestColours(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	const bars = "color=red:s=64x64:r=30:d=0.4[a];color=lime:s=64x64:r=30:d=0.4[b];color=blue:s=64x64:r=30:d=0.4[c];color=gray:s=64x64:r=30:d=0.4[d];[a][b][c][d]hstack=4"
	hd := bars + ",scale=1280:720:flags=neighbor"
	for _, c := range []struct {
		name, source, format, matrix, out, tags string
		args                                    []string
	}{
		{name: "bt601", source: bars, format: "yuv420p", matrix: "bt601", tags: "smpte170m"},
		{name: "bt709", source: hd, format: "yuv420p", matrix: "bt709", tags: "bt709"},
		{name: "bt709 full range", source: bars, format: "yuv420p", matrix: "bt709", out: "full", tags: "bt709"},
		{name: "untagged small", source: bars, format: "yuv420p", matrix: "bt601"},
		{name: "untagged HD", source: hd, format: "yuv420p", matrix: "bt709"},
		{name: "HEVC 10 bit", source: bars, format: "yuv420p10le", matrix: "bt709", tags: "bt709", args: []string{"-c:v", "libx265"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			out := c.out
			if out == "" {
				out = "tv"
			}
			args := []string{
				"-f", "lavfi", "-i", c.source, "-vf",
				"scale=out_color_matrix=" + c.matrix + ":out_range=" + out + ",format=" + c.format,
				"-frames:v", "12", "-c:v", "libx264", "-preset", "ultrafast",
			}
			args = append(args, c.args...)
			if c.tags != "" {
				args = append(args, "-colorspace", c.tags, "-color_primaries", c.tags, "-color_trc", c.tags)
			}
			if c.out == "full" {
				args = append(args, "-color_range", "pc")
			}
			clip := probe(t, ffmpeg(t, filepath.Join(dir, c.name+".mov"), args...))
			frames, _ := decode(t, clip, OpenOptions{}, true)
			for i, want := range [][3]int{{0, 0, 255}, {0, 255, 0}, {255, 0, 0}, {128, 128, 128}} {
				got := frames[3].at(0.125+0.25*float64(i), 0.5)
				for k := range 3 {
					if d := got[k] - want[k]; d > 6 || d < -6 {
						t.Errorf("band %d: got %v, want %v", i, got, want)
						break
					}
				}
			}
		})
	}
}

// A clip as phones record it by default: HEVC, 10 bit, HLG, BT.2020. Its HLG
// signal is made by zimg (its exact formulas, agamma=0), an implementation of BT.2100
// independent of ours; light 1.0 is diffuse white, 203 cd/m2.
func TestHLG(t *testing.T) {
	t.Parallel()
	bands := "color=red:s=64x64:r=30:d=0.4,format=gbrp[a];color=lime:s=64x64:r=30:d=0.4,format=gbrp[b];" +
		"color=blue:s=64x64:r=30:d=0.4,format=gbrp[c];color=white:s=64x64:r=30:d=0.4,format=gbrp[d];color=0x757575:s=64x64:r=30,format=gbrp[e];" +
		"[a][b][c][d][e]hstack=5,format=gbrpf32le,setparams=colorspace=gbr:color_trc=bt709:color_primaries=bt709," +
		"zscale=t=linear:npl=203:agamma=0,zscale=p=2020:agamma=0,zscale=t=arib-std-b67:m=2020_ncl:r=tv:npl=203:agamma=0,format=yuv420p10le"
	path := ffmpeg(t, filepath.Join(t.TempDir(), "hlg.mov"), "-f", "lavfi", "-i", bands, "-frames:v", "12", "-c:v", "libx265", "-preset", "ultrafast", "-tag:v", "hvc1",
		"-colorspace", "bt2020nc", "-color_primaries", "bt2020", "-color_trc", hlg)
	clip := probe(t, path)
	if clip.Transfer != hlg || clip.PixFmt != "yuv420p10le" || clip.Codec != "hevc" {
		t.Fatalf("probed as %s %s %s", clip.Codec, clip.PixFmt, clip.Transfer)
	}
	frames, warnings := decode(t, clip, OpenOptions{}, true)
	if len(frames) != 12 || len(warnings) != 0 {
		t.Fatalf("%d frames, warnings %v", len(frames), warnings)
	}
	f := frames[3]
	for i, channel := range []int{2, 1, 0} {
		c := f.at(0.1+0.2*float64(i), 0.5)
		for k := range 3 {
			if k != channel && c[k] > 60 {
				t.Errorf("band %d is washed out: %v", i, c)
			}
		}
		if c[channel] < 180 {
			t.Errorf("band %d is dark: %v", i, c)
		}
	}
	// White: 203 cd/m2 rolls off to 162, 0.8 of the screen's light, level 232.
	// Grey 0x75 is 31 cd/m2, which is kept.
	for _, c := range []struct {
		at   float64
		want int
	}{{0.7, 232}, {0.9, 0x75}} {
		got := f.at(c.at, 0.5)
		for k := range 3 {
			if d := got[k] - c.want; d > 8 || d < -8 {
				t.Errorf("grey at %g: got %v, want %d", c.at, got, c.want)
				break
			}
		}
	}
}
