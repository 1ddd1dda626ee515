"""How often the truth lies within the stated 68 and 90 % intervals: by event, measure, view, and kind of swing.

    python3 calibrate.py lift.onnx --kept-out OUT/held.npz --captured MOTION.json... --clips ANALYSES=TRUTHS... [--record FILE]

kept out    invented swings that the training did not have, under random cameras, with the errors of the training
captured    motions of a capture database, none in the training, with bodies of other proportions (x 0.85, 1, 1.15 across), the same
            cameras and errors
clips       analysis.json of rendered clips with their truth files: this program's own pose stage and events

Every set comes twice: the bare intervals, and widened as pipeline/lift/widen.go has it (WIDEN below, kept equal by hand).
--record writes the clips' tracks with the truth at the events, gzipped JSON, for the test of the stated intervals in models."""
import argparse
import glob
import gzip
import json
import os

import numpy as np
import onnxruntime
import torch

import clips
import look
import swings
from look import ANGLES, BEFORE, OPEN, RATE, REAR, sample

EVENTS = ['stance', 'load', 'touch', 'plant']
TURNS = ['shoulder_turn', 'hip_turn', 'separation', 'shoulder_turn_since_stance']
# widen.go: at stance, load, touch and plant.
WIDEN = {}
for _v, _t, _f in (('both', 'separation', (1.5, 1.5, 1.5)), (OPEN, 'hip_turn', (1.5, 1.25, 1)), (REAR, 'hip_turn', (1, 1.5, 1.5)),
                   (OPEN, 'shoulder_turn_since_stance', (1, 1.5, 1.5)), (REAR, 'shoulder_turn_since_stance', (1, 2, 2))):
    for _e in range(4):
        for _w in (OPEN, REAR) if _v == 'both' else (_v,):
            WIDEN[_w, _e, TURNS.index(_t)] = _f[min(_e, 2)]


def events(W, stance, plant):
    """Samples of the four events (B, 4): load = the middle of the hips farthest back between stance and plant; touch = toe or heel of
    the front foot down to within 1 cm of where it is at plant, from there on."""
    B, S = W.shape[:2]
    i = np.arange(S)[None]
    x = (W[:, :, 8, 0] + W[:, :, 9, 0]) / 2
    load = np.where((i >= stance[:, None]) & (i <= plant[:, None]), x, 1e9).argmin(1)
    low = np.minimum(W[:, :, 14, 2], W[:, :, 16, 2])
    at = low[np.arange(B), np.clip(np.round(plant).astype(int), 0, S - 1)][:, None]
    up = (low > at + .01) & (i < plant[:, None])
    touch = np.where(up.any(1), S - np.argmax(up[:, ::-1], 1), plant)
    return np.clip(np.stack([np.round(stance), load, np.minimum(touch, plant), np.full(B, BEFORE * RATE)], 1), 0, S - 1).astype(int)


def motion(f, across):
    """A capture file as swings.py has them; across stretches it sideways about the middle of the body."""
    names = ['head', 'nose', *(f'{s}_{n}' for n in ('shoulder', 'elbow', 'wrist', 'hip', 'knee', 'ankle', 'heel', 'toe') for s in 'lr'), 'knob', 'tip']
    d = json.load(open(f))
    J = {k: np.array(v) for k, v in d['joints'].items()}
    J.update(head=J['head_top'], nose=J['head_front'], knob=np.array(d['bat']['knob']), tip=np.array(d['bat']['tip']))
    plant, contact = d['events']['estimated']['lead_foot_still_s'], d['events']['estimated']['contact_s']
    t = np.arange(len(J['knob'])) / d['fps']
    tt = np.clip(plant + swings.TIMES, 0, t[-1])
    X = np.stack([np.stack([np.interp(tt, t, J[k][:, c]) for c in range(3)], -1) for k in names], 1)
    for a, b in look.PAIRS:                                # shoulders and hips; what hangs on them follows
        d_ = (X[:, a] - X[:, b]) * (across - 1) / 2
        for k, s in ((a, 1), (b, -1)):
            X[:, k] += s * d_
            if a == 2:
                X[:, k + 2] += s * d_ * .5
    return X.astype(np.float32), contact - plant


def invented(net, X, T, views, rounds):
    """Rows (view, event, turn, truth, five quantiles) of motions under random cameras."""
    out = []
    for _ in range(rounds):
        for i in range(0, len(X), 100):
            x_, t_ = torch.from_numpy(X[i:i + 100]), torch.from_numpy(T[i:i + 100])
            for view in views:
                keep = {}
                fps = torch.tensor([30., 60., 60., 120.])[torch.randint(0, 4, (len(x_),))]
                x, (A, *_), valid, _ = sample(x_.float(), t_.float(), torch.full((len(x_),), view), fps, 'cpu', keep=keep)
                ev = events(keep['W'].numpy(), keep['stance'].numpy(), keep['plant'].numpy())
                for b in range(len(x_)):
                    q = net.run(['angles'], {'track': x[b:b + 1].numpy()})[0][0]
                    for e, k in enumerate(ev[b]):
                        if valid[b, k] > 0:
                            out += [(view, e, a, float(A[b, k, ANGLES.index(n)]), *q[k, ANGLES.index(n)]) for a, n in enumerate(TURNS) if e or a < 3]
    return np.array(out)


def rendered(net, pairs, stated=False):
    out = []
    for p in pairs:
        d, td = p.split('=')
        for f in sorted(glob.glob(d + '/*/analysis.json')):
            A, T = json.load(open(f)), json.load(open(f'{td}/{os.path.basename(os.path.dirname(f))}.truth.json'))
            if not A['swings'] or 'plant' not in A['swings'][0]['events']:
                continue
            s = A['swings'][0]
            if stated:                                     # what the program wrote, camera's movement and widening in it
                t = np.array(s['turns']['times_s'])
                q = np.stack([np.array(s['turns'][n], float) for n in TURNS], 1)
                st = (s['events']['stance']['time_s'] - t[0]) * RATE
            else:
                x, st, t = clips.inputs(s, A['clip']['width'], A['clip']['height'])
                q = net.run(['angles'], {'track': x.numpy()})[0][0][:, [ANGLES.index(n) for n in TURNS]]
            st = min(max(st, 0), len(t) - 1)
            sh, hip = clips.truth_of(T, t)
            k0 = int(round(float(st)))
            for e, n in enumerate(EVENTS):
                if n not in s['events']:
                    continue
                k = int(round((s['events'][n]['time_s'] - t[0]) * RATE))
                if 0 <= k < len(t):
                    want = [sh[k], hip[k], sh[k] - hip[k], sh[k] - sh[k0]]
                    out += [(OPEN if s['view'] == 'open-side' else REAR, e, a, want[a], *q[k, a]) for a, m in enumerate(TURNS) if e or a < 3]
    return np.array(out)


def record(pairs):
    out = []
    for p in pairs:
        d, td = p.split('=')
        for f in sorted(glob.glob(d + '/*/analysis.json')):
            A, T = json.load(open(f)), json.load(open(f'{td}/{os.path.basename(os.path.dirname(f))}.truth.json'))
            if T['camera']['moving']:                      # the track alone does not tell the camera's movement
                continue
            s = A['swings'][0]
            ev = {n: s['events'][n]['time_s'] for n in EVENTS if n in s['events']}
            sh, hip = clips.truth_of(T, np.array(list(ev.values())))
            cut = lambda p, k: None if p is None else [round(v, 1 if i < 2 else 2) for i, v in enumerate(p[:k])]
            out.append(dict(width=A['clip']['width'], height=A['clip']['height'], bats=s['bats'], view=s['view'], events=ev,
                            names=s['track']['keypoint_names'], times=s['track']['times_s'], points=[[cut(p, 3) for p in r] for r in s['track']['points']],
                            knob=[cut(p, 2) for p in s['bat']['knob']], tip=[cut(p, 2) for p in s['bat']['tip']],
                            shoulders=[round(float(v), 1) for v in sh], hips=[round(float(v), 1) for v in hip]))
    return out


def table(name, R, widen):
    print(f'\n{name}: 68 / 90 % (median |error|, n), {"widened" if widen else "bare"}')
    for view, vn in ((OPEN, 'open-side'), (REAR, 'rear')):
        for a, m in enumerate(TURNS):
            cells = []
            for e in range(4):
                r = R[(R[:, 0] == view) & (R[:, 1] == e) & (R[:, 2] == a)]
                if not len(r):
                    cells.append('-')
                    continue
                f = WIDEN.get((view, e, a), 1.) if widen else 1.
                q, d = r[:, 4:], r[:, 3] - r[:, 6]
                inside = lambda lo, hi: ((d > f * (q[:, lo] - q[:, 2])) & (d < f * (q[:, hi] - q[:, 2]))).mean()
                cells.append('%2.0f / %2.0f (%.1f, %d)' % (100 * inside(1, 3), 100 * inside(0, 4), np.median(abs(d)), len(d)))
            print('| %s | %s | %s |' % (vn, m, ' | '.join(cells)))


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument('net')
    a.add_argument('--kept-out')
    a.add_argument('--captured', nargs='*', default=[])
    a.add_argument('--clips', nargs='*', default=[])
    a.add_argument('--rounds', type=int, default=1)
    a.add_argument('--stated', action='store_true', help='clips: the intervals of the analyses, not those of the network')
    a.add_argument('--record')
    a = a.parse_args()
    torch.manual_seed(4)
    o = onnxruntime.SessionOptions()
    o.intra_op_num_threads = 1
    net = onnxruntime.InferenceSession(a.net, o, providers=['CPUExecutionProvider'])
    sets = []
    if a.kept_out:
        z = np.load(a.kept_out)
        sets.append(('kept out', invented(net, z['X'], z['T'], (OPEN, REAR), a.rounds)))
    if a.captured:
        m = [motion(f, s) for f in a.captured for s in (.85, 1., 1.15)]
        X, T = np.stack([x for x, _ in m]), np.array([t for _, t in m])
        n = 20
        sets.append(('captured', invented(net, np.repeat(X, n, 0), np.repeat(T, n), (OPEN, REAR), a.rounds)))
    for c in a.clips:
        sets.append(('clips ' + os.path.basename(c.split('=')[0]), rendered(net, [c], a.stated)))
    if len(a.clips) > 1:
        sets.append(('all clips', np.concatenate([r for n, r in sets if n.startswith('clips')])))
    for name, R in sets:
        table(name, R, False)
        if WIDEN:
            table(name, R, True)
    if a.record:
        with open(a.record, 'wb') as f:
            f.write(gzip.compress(json.dumps(record(a.clips), separators=(',', ':')).encode(), 9, mtime=0))


if __name__ == '__main__':
    main()
