package render

import (
	"context"
	"iter"

	"plantframe/pipeline/swing"
)

// Footage is a clip being decoded: the frames asked for, in time order, Scale as
// in Options, and Close, which ends the decoder and must be called once.
type Footage struct {
	Frames iter.Seq2[swing.Frame, error]
	Scale  float64
	Close  func() error
}

// FrameRequest says which frames of a clip are wanted: From <= time < To in s, of
// these the ones that Want names by their index (others may come too), no larger
// than MaxSide px on the long side; 0 = as large as they are.
type FrameRequest struct {
	From, To float64
	Want     func(index int) bool
	MaxSide  int
}

// OpenFrames begins to decode a clip. It is called several times: a video that
// shows a swing twice reads it twice, which keeps the memory flat.
type OpenFrames func(ctx context.Context, r FrameRequest) (Footage, error)

// Shown is one swing of a comparison with where its pictures come from.
type Shown struct {
	Label string // what the swing is called in the picture, such as "hitter"
	Name  string // name of the clip, shown small beside it
	Open  OpenFrames
}

// Reference is a swing that the hitter's is compared with.
type Reference struct {
	Comparison swing.Comparison // A is the hitter, the same in all references
	Shown
}

// PairFiles are the names of what DrawPair writes, below the folder.
type PairFiles struct {
	Video string // such as "side-by-side.mp4"; in the folder itself
	Grid  string // such as "compare.png"; in stills
}

// DrawPair writes a video of the hitter's swing beside the first reference, at
// equal body size, once at true speed and once slowed with a hold at load, plant
// and contact, and a grid of stills of the hitter and all references. Both
// swings run on the comparison's clock, so that the instant at which they are
// aligned comes at the same frame of the video for both. Sound is left out: two
// clips have two.
//
// The error is a *swing.Error as for Draw. The folder is then as it was. Nothing
// is written without a reference.
func DrawPair(ctx context.Context, hitter Shown, refs []Reference, dir string, files PairFiles, o Options, p swing.Progress) error {
	const op = "render.DrawPair"
	if err := o.Validate(); err != nil {
		return err
	}
	if len(refs) == 0 {
		return nil
	}
	if p == nil {
		p = swing.NoProgress{}
	}
	clip := refs[0].Comparison.A.Clip.Path
	out, err := openFolder(dir)
	if err != nil {
		return failure(op, clip, err)
	}
	out.add = true
	film := newPairFilm(hitter, &refs[0], o)
	sheet := newGrid(hitter, refs)
	p.Stage("compare", film.pictures()+sheet.cells())
	err = film.run(ctx, out, files.Video, p)
	if err == nil {
		err = sheet.run(ctx, out, files.Grid, p)
	}
	if err == nil {
		err = out.commit()
	}
	if err != nil {
		out.discard()
		return failure(op, clip, err)
	}
	return nil
}
