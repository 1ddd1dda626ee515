"""The network's input from an analysis.json of this program: the reference for pipeline/lift, and a means to score the network.

    python3 clips.py lift.onnx ANALYSIS... --truth DIR [--record FILE]

Prints errors at stance and plant against truth files (schema hitclip-truth/1); --record writes input and output of one clip."""
import argparse
import glob
import json
import math
import os

import numpy as np
import torch

from look import ANGLES, BEFORE, OPEN, RATE, REAR, STEPS, encode

JOINTS = ['nose', 'shoulder', 'elbow', 'wrist', 'hip', 'knee', 'ankle', 'heel', 'big_toe']
GAP = .06          # s; a point is there when a frame with it is no farther


def grid(swing, width, height, stance=None, plant=None):
    """Places and scores on the time grid, right-handed. Returns q (STEPS, 20, 2), conf, valid, sample of the stance."""
    tr, bat = swing['track'], swing.get('bat')
    names, times = tr['keypoint_names'], np.array(tr['times_s'])
    left = swing['bats'] == 'L'
    side = lambda lead, n: ('left_' if lead != left else 'right_') + n
    P = np.array([[(p if p is not None else [np.nan] * 3) for p in f] for f in tr['points']], float)
    src = []
    ears = P[:, [names.index('left_ear'), names.index('right_ear')]]
    src.append(np.where(np.isfinite(ears).all((1, 2))[:, None], ears.mean(1), np.nan))
    src.append(P[:, names.index('nose')])
    for n in ('shoulder', 'elbow', 'wrist', 'hip', 'knee', 'ankle', 'heel', 'big_toe'):
        for lead in (True, False):
            src.append(P[:, names.index(side(lead, n))])
    for end in ('knob', 'tip'):
        if bat is None or not bat.get('times_s'):
            src.append(np.full((len(times), 3), np.nan))
            continue
        b = np.array([(p + [1.] if p is not None else [np.nan] * 3) for p in bat[end]], float)
        src.append(b)
    t = np.arange(STEPS) / RATE - BEFORE + (plant if plant is not None else swing['events']['plant']['time_s'])
    q, conf = np.zeros((STEPS, 20, 2)), np.zeros((STEPS, 20))
    half = max(width, height)
    for k, s in enumerate(src):
        ok = np.isfinite(s).all(1)
        if ok.sum() < 2:
            continue
        tt = times[ok]
        near = np.abs(t[:, None] - tt[None]).min(1) <= GAP
        x, y = np.interp(t, tt, s[ok, 0]), np.interp(t, tt, s[ok, 1])
        x = width - x if left else x
        q[:, k] = np.stack([(x - width / 2) / half, (y - height / 2) / half], 1) * near[:, None]
        conf[:, k] = np.clip(np.interp(t, tt, s[ok, 2]), .05, 1) * near
    valid = ((t >= times[0]) & (t <= times[-1])).astype(float)
    conf *= valid[:, None]
    ts = stance if stance is not None else swing['events']['stance']['time_s']
    first = np.argmax(valid)
    return q, conf, valid, np.clip((ts - t[0]) * RATE, first, STEPS - 1), t


def inputs(swing, width, height, yaw=(0., 0., 0.)):
    q, conf, valid, st, t = grid(swing, width, height)
    f = lambda a: torch.tensor(np.asarray(a)[None], dtype=torch.float32)
    fps = 1 / np.median(np.diff(swing['track']['times_s']))
    view = torch.tensor([OPEN if swing['view'] == 'open-side' else REAR])
    x, _ = encode(f(q), f(conf), f(valid), f(st), view, torch.ones(1), f(min(fps, 240.)), f(list(yaw)), torch.zeros(1, 3))
    return x, st, t


def truth_of(T, t):
    """Shoulder and hip turn at times t, degrees."""
    names, tt = T['keypoint_names'], np.array([f['t'] for f in T['frame_truth']])
    K = np.array([f['kp3'] for f in T['frame_truth']])
    left = T['bats'] == 'L'
    out = []
    for j in ('shoulder', 'hip'):
        v = K[:, names.index(('right_' if left else 'left_') + j)] - K[:, names.index(('left_' if left else 'right_') + j)]
        a = np.unwrap(np.arctan2(-v[:, 1] if left else v[:, 1], v[:, 0]))
        out.append(np.degrees(np.interp(t, tt, a)))
    return out


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument('net')
    a.add_argument('analyses', nargs='+')
    a.add_argument('--truth', required=True)
    a.add_argument('--record')
    a = a.parse_args()
    import onnxruntime
    o = onnxruntime.SessionOptions()
    o.intra_op_num_threads = 1
    net = onnxruntime.InferenceSession(a.net, o, providers=['CPUExecutionProvider'])
    rows = []
    for f in sorted(sum((glob.glob(d + '/*/analysis.json') for d in a.analyses), [])):
        name = os.path.basename(os.path.dirname(f))
        A, T = json.load(open(f)), json.load(open(f'{a.truth}/{name}.truth.json'))
        if not A['swings'] or 'plant' not in A['swings'][0]['events']:
            continue
        s = A['swings'][0]
        x, st, t = inputs(s, A['clip']['width'], A['clip']['height'])
        q = net.run(None, {'track': x.numpy()})[0][0]
        sh, hip = truth_of(T, t)
        row = [name, s['view']]
        for k in (int(round(float(st))), int(BEFORE * RATE)):
            want = [sh[k], hip[k], sh[k] - hip[k], sh[k] - np.interp(float(st), np.arange(STEPS), sh), hip[k] - np.interp(float(st), np.arange(STEPS), hip)]
            for n, w in zip(('shoulder_turn', 'hip_turn', 'separation', 'shoulder_turn_since_stance', 'hip_turn_since_stance'), want):
                row.append((w, *q[k, ANGLES.index(n)]))
        rows.append(row)
        if a.record and len(rows) == 1:
            np.savez(a.record, x=x.numpy(), q=q)
    for view in ('open-side', 'rear'):
        R = [r for r in rows if r[1] == view]
        for c, n in enumerate(('stance: shoulders', 'hips', 'separation', '-', '-', 'plant: shoulders', 'hips', 'separation', 'shoulders since stance', 'hips since stance')):
            if n == '-' or not R:
                continue
            V = np.array([r[2 + c] for r in R])
            e = V[:, 3] - V[:, 0]
            i68, i90 = (V[:, 0] > V[:, 2]) & (V[:, 0] < V[:, 4]), (V[:, 0] > V[:, 1]) & (V[:, 0] < V[:, 5])
            print('%-10s%-24s n %d truth %.0f (%.0f) median %.1f rmse %.1f bias %.1f in68 %.2f in90 %.2f sigma %.1f' % (
                view, n, len(R), V[:, 0].mean(), V[:, 0].std(), np.median(abs(e)), math.sqrt((e ** 2).mean()), e.mean(), i68.mean(), i90.mean(), np.median(V[:, 4] - V[:, 2]) / 2))
    for r in rows:
        print('%-55s' % r[0], ' '.join('%.0f/%.0f' % (r[2 + c][0], r[2 + c][3]) for c in (5, 6, 7, 8)))


if __name__ == '__main__':
    main()
