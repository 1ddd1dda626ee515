"""Records one invented swing as a track, and what clips.py makes of it, for the tests of pipeline/lift and of the network.

    python3 record.py > pipeline/lift/testdata/swing.json

30 frames per second, open side, nearly exact points, some of them missing.

    python3 record.py OUT/held.npz > models/testdata/kept-out.gz

writes windows of swings kept out of the training instead, as the network sees them, with the truth: 48 records of the view
(0 open side, 1 from behind), then shoulder turn, hip turn and separation at 0.3 s before plant and at plant, then the input
of 100 x 80, all half-precision numbers, little-endian."""
import gzip
import json
import sys

import numpy as np
import torch

import clips
import look
import swings

NAMES = ['nose', 'left_eye', 'right_eye', 'left_ear', 'right_ear', *(f'{s}_{n}' for n in ('shoulder', 'elbow', 'wrist', 'hip', 'knee', 'ankle') for s in ('left', 'right')),
         'left_big_toe', 'left_heel', 'right_big_toe', 'right_heel']
WIDTH, HEIGHT, FPS = 1280, 720, 30


def main():
    torch.manual_seed(5)
    X, T = swings.generate(40, 11)
    R = np.random.RandomState(1)
    W = torch.from_numpy(X)
    t = np.arange(int(2.3 * FPS)) / FPS - 1.62
    pos = torch.from_numpy((t * swings.HZ + swings.PLANT)[None].astype(np.float32)).expand(len(X), -1)
    P = look.at(W, pos)
    look.STEPS, steps = P.shape[1], look.STEPS
    view = torch.zeros(len(X), dtype=torch.long)
    cam = look.camera(P, view, nominal=True)
    uv, _, _ = look.project(P, cam)
    look.STEPS = steps
    sh, hip = look.azimuth(W[:, :, 2] - W[:, :, 3]), look.azimuth(W[:, :, 8] - W[:, :, 9])
    k = swings.PLANT
    sep = (sh - hip)[:, k]
    i = int(torch.argmin((sep + 30).abs() + (sh[:, k] + 15).abs() + 3 * cam['off'].abs()))         # an ordinary coil, a camera set well
    px = uv[i].numpy() * WIDTH + [WIDTH / 2, HEIGHT / 2]
    px = px + R.randn(*px.shape) * .3
    start = 10.0                                                                  # s, of the first frame in the clip
    points = []
    for f in range(len(t)):
        row = {}
        p = px[f]
        row['nose'] = p[1]
        row['left_ear'], row['right_ear'] = p[0] + [6, -1], p[0] - [6, -1]
        for n, j in (('shoulder', 2), ('elbow', 4), ('wrist', 6), ('hip', 8), ('knee', 10), ('ankle', 12), ('heel', 14), ('big_toe', 16)):
            row['left_' + n], row['right_' + n] = p[j], p[j + 1]
        out = []
        for n in NAMES:
            gone = (n == 'right_elbow' and 20 <= f < 27) or n.endswith('_eye')
            out.append(None if gone else [round(float(row[n][0]), 2), round(float(row[n][1]), 2), round(float(R.uniform(.5, 1)), 3)])
        points.append(out)
    seen = lambda f: f < 50 or f > 54
    bat = {e: [[round(float(v), 2) for v in px[f, j]] if seen(f) else None for f in range(len(t))] for e, j in (('knob', 18), ('tip', 19))}
    times = [round(start + f / FPS, 6) for f in range(len(t))]
    bat['times_s'] = times
    plant = round(start + 1.62, 6)
    stance = round(plant - .9, 6)
    swing = dict(bats='R', view='open-side', events=dict(plant=dict(time_s=plant), stance=dict(time_s=stance)),
                 track=dict(keypoint_names=NAMES, times_s=times, points=points), bat=bat)
    x, st, _ = clips.inputs(swing, WIDTH, HEIGHT)
    rows = [0, 17, 30, 52, 75, 84, 99]
    truth = {n: [round(float(v), 2) for v in (a[i, k - 90], a[i, k])] for n, a in (('shoulder_turn', sh), ('hip_turn', hip), ('separation', sh - hip))}
    json.dump(dict(width=WIDTH, height=HEIGHT, swing=swing, stance_sample=round(float(st), 4), rows=rows,
                   input=[[round(float(v), 5) for v in x[0, r]] for r in rows], truth=truth), sys.stdout, separators=(',', ':'))


def kept_out(file, n=48):
    torch.manual_seed(9)
    z = np.load(file)
    X, T = torch.from_numpy(z['X'][:n]), torch.from_numpy(z['T'][:n])
    view = torch.arange(n) % 2
    x, (A, *_), _, _ = look.sample(X, T, view, 60, 'cpu')
    rows = torch.cat([view[:, None].float(), A[:, 60, :3], A[:, 75, :3], x.flatten(1)], 1)
    sys.stdout.buffer.write(gzip.compress(rows.numpy().astype('<f2').tobytes(), 9, mtime=0))


if __name__ == '__main__':
    main() if len(sys.argv) < 2 else kept_out(sys.argv[1])
