"""Errors of this program's own track, from clips with exact truth, in a form that look.py can draw from.

    python3 noise.py OUT.npz ANALYSES=TRUTHS...     folders: */analysis.json, and the truth files of the same names

Per clip: for shoulders and hips, difference and middle of both ends, across and down, the coefficients of

    error / true width = a + b (1 - c) + d s + g c'       open side; c, s: the line's share along the picture and toward
    error / true width = a + b c + d (1 + s) + g c'       from behind    the camera, c': change of c in a tenth of a second

(the network that places the points turns a line too little, and from behind guesses the hidden end late); and for all points what is
left, over time, in trunk lengths, with the scores. Fitted in common first, then per clip with a pull to the common fit, since one
clip alone does not tell the terms apart. Half precision."""
import glob
import json
import os
import sys

import numpy as np

from clips import grid
from look import PAIRS, TAU

NAMES = ['shoulder', 'elbow', 'wrist', 'hip', 'knee', 'ankle', 'heel', 'big_toe']


def clip(a, truth):
    """Errors of one clip on the curve's times: regressors and errors of the lines, errors of points, scores."""
    A, T = json.load(open(a)), json.load(open(truth))
    if not A['swings'] or 'contact_s' not in T['events']:
        return None
    s = A['swings'][0]
    w, h = A['clip']['width'], A['clip']['height']
    plant, contact = T['events']['foot_plant_10_s']['s'], T['events']['contact_s']['s']
    tn, left = T['keypoint_names'], T['bats'] == 'L'
    tt = np.array([f['t'] for f in T['frame_truth']])
    K = np.array([[p[:2] for p in f['kp']] for f in T['frame_truth']])
    K3 = np.array([f['kp3'] for f in T['frame_truth']])
    side = lambda lead, n: ('left_' if lead != left else 'right_') + n
    order = ['left_ear', 'nose'] + [side(r, n) for n in NAMES for r in (True, False)]
    uv, X = K[:, [tn.index(n) for n in order]], K3[:, [tn.index(n) for n in order]]
    uv[:, 0] = (K[:, tn.index('left_ear')] + K[:, tn.index('right_ear')]) / 2
    end = lambda f, e: f['bat_px'][e][:2] if f.get('bat_px') and f['bat_px'].get(e) else [np.nan] * 2
    bat = np.array([[end(f, 'knob'), end(f, 'tip')] for f in T['frame_truth']], float)
    uv = np.concatenate([uv, bat], 1)
    if left:
        uv[..., 0] = w - uv[..., 0]
    q, conf, valid, _, t = grid(s, w, h, plant=plant)
    at = lambda y: np.stack([np.interp(t, tt, y[:, i]) for i in range(y.shape[1])], 1)
    half = max(w, h)
    P = (at(uv.reshape(len(tt), -1)).reshape(len(t), -1, 2) - [w / 2, h / 2]) / half
    Q = at(X.reshape(len(tt), -1)).reshape(len(t), -1, 3)
    ok = (conf > 0) & (valid[:, None] > 0) & ((t >= tt[0]) & (t <= tt[-1]))[:, None] & np.isfinite(P).all(-1)
    e = np.where(ok[..., None], q - P, np.nan)
    trunk = np.median(np.linalg.norm((P[:, 2] + P[:, 3] - P[:, 8] - P[:, 9]) / 2, axis=1)[ok[:, 2]])
    R = np.array(T['camera']['world_to_cam_first'])
    lines = []
    for a_, b_ in PAIRS:
        v = Q[:, a_] - Q[:, b_]
        wd = np.linalg.norm(v, axis=1)
        vc = v @ R[:, :3].T
        c, sh = vc[:, 0] / wd * (-1 if left else 1), vc[:, 2] / wd
        depth = -(((Q[:, a_] + Q[:, b_]) / 2) @ R[:, :3].T + R[:, 3])[:, 2]
        px = wd * T['camera']['fx'] / depth / half
        rate = np.gradient(c, t) * .1
        one = np.ones_like(c)
        G = np.stack([one, 1 - c, sh, rate] if T['view'] == 'open' else [one, c, 1 + sh, rate], 1)
        D, M = e[:, a_] - e[:, b_], (e[:, a_] + e[:, b_]) / 2
        lines.append((G, np.concatenate([D, M], 1) / px[:, None], px))
    return dict(view=0 if T['view'] == 'open' else 1, t=t - plant, tempo=contact - plant, e=e / trunk, trunk=trunk, lines=lines, conf=conf, ok=ok)


def fit(G, Y, w, start, pull):
    """Least squares with weights and a pull to start: coefficients (4 outputs, 4 terms)."""
    N = (G * w[:, None]).T @ G + np.eye(4) * pull
    return np.linalg.solve(N, (G * w[:, None]).T @ Y + pull * start.T).T


def main():
    out, clips = sys.argv[1], []
    for d in sys.argv[2:]:
        a, b = d.split('=')
        for f in sorted(glob.glob(a + '/*/analysis.json')):
            c = clip(f, f'{b}/{os.path.basename(os.path.dirname(f))}.truth.json')
            if c is not None:
                clips.append(c)
    coef = np.zeros((len(clips), 2, 4, 4))
    for view in (0, 1):
        for p in (0, 1):
            mine = [i for i, c in enumerate(clips) if c['view'] == view]
            rows = []
            for i in mine:
                G, Y, px = clips[i]['lines'][p]
                k = np.isfinite(Y).all(1) & (clips[i]['t'] > -1.2) & (clips[i]['t'] < clips[i]['tempo'] + .12)
                # Around plant and in the turn there are few samples, and they matter.
                rows.append((G[k], Y[k], np.where(clips[i]['t'][k] > -.3, 2., 1.)))
            all_ = fit(*[np.concatenate(z) for z in zip(*rows)], np.zeros((4, 4)), .5)
            for i, r in zip(mine, rows):
                coef[i, p] = fit(*r, all_, 4.)
            print('view', view, 'pair', p, 'clips', len(mine), 'common fit', all_.round(2).tolist())
            print('   spread', coef[mine, p].std(0).round(2).tolist())
    curve, score = np.zeros((len(clips), len(TAU), 20, 2)), np.zeros((len(clips), len(TAU), 20))
    for i, c in enumerate(clips):
        e = c['e'].copy()
        for p, (a, b) in enumerate(PAIRS):
            G, Y, px = c['lines'][p]
            r = (Y - G @ coef[i, p].T) * px[:, None] / c['trunk']
            e[:, a], e[:, b] = r[:, 2:] + r[:, :2] / 2, r[:, 2:] - r[:, :2] / 2
        t = np.where(c['t'] < 0, c['t'], np.where(c['t'] < c['tempo'], c['t'] * .18 / c['tempo'], .18 + c['t'] - c['tempo']))
        for k in range(20):
            ok = np.isfinite(e[:, k]).all(1)
            if ok.sum() > 5:
                for x in (0, 1):
                    curve[i, :, k, x] = np.interp(TAU, t[ok], e[ok, k, x])
            has = c['ok'][:, k]
            score[i, :, k] = np.interp(TAU, t[c['ok'].any(1)], np.where(has, c['conf'][:, k], 0)[c['ok'].any(1)]) if has.any() else 0
    view = np.array([c['view'] for c in clips])
    for v in (0, 1):
        m = view == v
        print('view', v, 'mean before plant, trunks', curve[m][:, :61].mean((0, 1)).round(3).tolist())
        print('   between clips', curve[m][:, :61].mean(1).std(0).max(-1).round(3).tolist(), 'within', curve[m][:, :61].std(1).mean(0).max(-1).round(3).tolist())
    np.savez_compressed(out, view=view, coef=coef.astype(np.float16), curve=curve.clip(-1, 1).astype(np.float16), score=(score * 255).round().astype(np.uint8))


if __name__ == '__main__':
    main()
