"""Invented hitting motions in space, thousands at a time: 100 Hz, widely drawn, no captured motion.

World: x to the pitcher, z up, metres; hitters are right-handed and face -y. Time 0 is the front foot's plant. Every swing has
a body, a stance, a stride, a tempo and key values of hips, shoulders, hands and bat of its own, joined by monotone curves;
every channel then wanders by a smooth random process of its own colour, so that hips, shoulders, arms and bat are coupled only
loosely and no coordination can be learnt by heart. Arms and legs follow by two-bone inverse kinematics.

All magnitudes are the author's choices, wide on purpose; common practice, no source."""
import multiprocessing
import os

import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d

HZ, FIRST, COUNT = 100, -1.75, 265
PLANT = int(round(-FIRST * HZ))          # index of plant
TIMES = np.arange(COUNT) / HZ + FIRST
POINTS = ['head', 'nose', 'l_shoulder', 'r_shoulder', 'l_elbow', 'r_elbow', 'l_wrist', 'r_wrist', 'l_hip', 'r_hip',
          'l_knee', 'r_knee', 'l_ankle', 'r_ankle', 'l_heel', 'r_heel', 'l_toe', 'r_toe', 'knob', 'tip']
DEG = np.pi / 180
UP = np.array([0, 0, 1.])
END = .87                                # s, the last key


def unit(v):
    return v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9)


def smooth(x, s):
    return gaussian_filter1d(x, s * HZ, axis=1, mode='nearest') if s * HZ > .25 else x


def monotone(tk, vk, t):
    """Piecewise cubic through keys that rise and fall only where the keys do (Fritsch and Butland 1984). tk, vk: (B, K)."""
    h = np.diff(tk, axis=1)
    slope = np.diff(vk, axis=1) / h
    d = np.zeros_like(vk)
    w1, w2, a, b = 2 * h[:, 1:] + h[:, :-1], h[:, 1:] + 2 * h[:, :-1], slope[:, :-1], slope[:, 1:]
    same = a * b > 0
    d[:, 1:-1] = np.where(same, (w1 + w2) / np.where(same, w1 / np.where(same, a, 1) + w2 / np.where(same, b, 1), 1), 0)
    i = np.clip((t[None, :, None] >= tk[:, None, :]).sum(-1) - 1, 0, tk.shape[1] - 2)
    g = lambda A: np.take_along_axis(A, i, 1)
    n = lambda A: np.take_along_axis(A, i + 1, 1)
    hh = n(tk) - g(tk)
    s = np.clip((t - g(tk)) / hh, 0, 1)
    return (g(vk) * (1 + 2 * s) * (1 - s) ** 2 + g(d) * hh * s * (1 - s) ** 2
            + n(vk) * s * s * (3 - 2 * s) + n(d) * hh * s * s * (s - 1))


def two_bones(a, b, l1, l2, pole):
    """The joint between a and b, on the pole's side."""
    l1, l2 = l1[:, None, None], l2[:, None, None]
    v = b - a
    far = np.linalg.norm(v, axis=-1, keepdims=True)
    d = np.clip(far, np.abs(l1 - l2) * 1.02 + 1e-4, (l1 + l2) * .9985)
    u = v / np.maximum(far, 1e-6)
    x = (d ** 2 + l1 ** 2 - l2 ** 2) / (2 * d)
    return a + u * x + unit(pole - (pole * u).sum(-1, keepdims=True) * u) * np.sqrt(np.maximum(l1 ** 2 - x ** 2, 0))


def forward(a):
    """Where a hitter turned by a (rad) looks."""
    return np.stack([np.sin(a), -np.cos(a), 0 * a], -1)


def leftward(a):
    return np.stack([np.cos(a), np.sin(a), 0 * a], -1)


def tilt(left, fwd, deg):
    """left turned about fwd so that its end rises by deg."""
    u = np.cross(fwd, left)
    s = np.sign(u[..., 2:3].mean())
    a = (deg * DEG)[..., None]
    return unit(left * np.cos(a) + u * s * np.sin(a))


class Draw:
    """Random numbers for a batch of B swings."""

    def __init__(self, B, seed):
        self.B, self.R = B, np.random.RandomState(seed)
        self.wobble = np.exp(.45 * self.R.randn(B)) * np.where(self.R.rand(B) < .25, .25, 1.0)

    def uni(self, a, b):
        return self.R.uniform(a, b, self.B)

    def nor(self, m, s, n=None):
        return m + s * self.R.randn(*((self.B,) if n is None else (self.B, n)))

    def yes(self, p):
        return self.R.rand(self.B) < p

    def part(self, share, sd, H):
        return share * np.clip(self.nor(1, sd), 1 - 2.5 * sd, 1 + 2.5 * sd) * H

    def wander(self, sd, n=1):
        """Smooth random process: a mixture of three time scales of random weights. sd: number or (B,)."""
        w = self.R.randn(self.B, COUNT, n)
        k = self.R.dirichlet([.5, 1, 1], self.B)
        o = 0
        for i, q in enumerate((.05, .12, .35)):
            c = gaussian_filter1d(w, q * HZ, axis=1, mode='wrap') / np.sqrt(1 / (2 * np.sqrt(np.pi) * q * HZ))
            o = o + np.sqrt(k[:, i])[:, None, None] * c
        o = o * (np.asarray(sd) * self.wobble)[:, None, None]
        return o[..., 0] if n == 1 else o

    def keys(self, *kv, width=.012, jitter=.03):
        """Curve through (time, value) keys; times but plant and the last one are moved at random."""
        t = np.stack([np.broadcast_to(np.asarray(k, float), (self.B,))
                      + (0 if np.ndim(k) == 0 and k in (0, END) else self.R.randn(self.B) * jitter * .6) for k, _ in kv], 1)
        v = np.stack([np.broadcast_to(np.asarray(x, float), (self.B,)) for _, x in kv], 1)
        t = np.sort(t, axis=1)
        t = np.concatenate([t[:, :1] - 9, t, t[:, -1:] + 9], 1)
        for i in range(1, t.shape[1]):
            t[:, i] = np.maximum(t[:, i], t[:, i - 1] + .012)
        return smooth(monotone(t, np.concatenate([v[:, :1], v, v[:, -1:]], 1), TIMES), width)


def column(x):
    return x[:, None]


def cube(x):
    return x[:, None, None]


def generate(B, seed):
    """Returns the points (B, COUNT, 20, 3) and the time from plant to contact (B,)."""
    r = Draw(B, seed)
    U, N, P, K, W = r.uni, r.nor, r.yes, r.keys, r.wander
    H = np.where(P(.3), U(1.1, 1.5), U(1.45, 1.98))
    s = H / 1.75
    # Half widths between joint centres, and segments.
    hip_w, sh_w = U(.044, .084) * H, U(.082, .126) * H
    thigh, shank, trunk = r.part(.2535, .05, H), r.part(.2572, .05, H), r.part(.2745, .06, H)
    upper, fore, neckl = r.part(.1495, .06, H), r.part(.1545, .06, H), r.part(.0617, .15, H)
    ank_h, toe_f, heel_b = r.part(.047, .15, H), r.part(.1155, .12, H), r.part(.0263, .25, H)
    ball = toe_f * .68
    head = np.where(H < 1.5, U(1.0, 1.3), U(.9, 1.1)) * s ** .6
    # Tempo, s.
    T = np.clip(np.exp(N(np.log(.18), .30)), .085, .38)
    stride_t = np.clip(np.exp(N(np.log(.5), .35)), .18, 1.1)
    tl = -stride_t
    t0 = np.maximum(-1.7, tl - np.abs(N(.1, .25)))
    tload = tl + stride_t * U(.15, .75)
    # Feet: neither stance nor stride need lie along the pitch line.
    stance_w = U(.28, .95) * s
    open_st = np.where(P(.25), N(0, 22), N(0, 9)) * DEG
    stride = np.where(P(.2), U(-.03, .1), U(.1, .62)) * s
    stride_dir = np.where(P(.25), N(0, 18), N(0, 8)) * DEG
    style = r.R.randint(0, 4, B)         # leg kick, normal, toe tap, none or slide
    lift = np.select([style == 0, style == 1, style == 2], [U(.18, .45), U(.07, .2), U(.03, .12)], U(.005, .05)) * s
    stride = np.where(style == 3, np.minimum(stride, .15 * s), stride)
    rx, ry = -stance_w / 2 * np.cos(open_st), -stance_w / 2 * np.sin(open_st)
    fx0, fy0 = -rx, -ry
    fx1, fy1 = fx0 + stride * np.cos(stride_dir), fy0 * U(0, 1) + stride * np.sin(stride_dir)
    # Pelvis in space.
    back, sp = U(-.02, .16) * s, np.clip(stride * U(.2, .75) + N(0, .04) * s, -.05, .4 * s)
    sd, end, off = N(0, .06), None, N(0, .05) * s
    end = np.maximum(sp + U(-.02, .2) * s, .05)
    px = K((t0, off), (tload, off - back), (np.minimum(-.02, tload + .16), -back * U(.3, .9)), (sd, sp),
           (T + np.maximum(sd, 0), end), (T + .25, end + N(.02, .05)), (END, end + N(0, .06)), width=.02) + W(.010 * s)
    lm = N(.07, .05) * s
    py = K((t0, lm), (tload, lm + N(0, .03)), (0, lm + N(0, .03)), (T, lm + N(.02, .04)), (T + .3, lm + N(-.03, .05)),
           (END, lm + N(0, .06))) + W(.010 * s)
    cz = np.where(P(.15), U(.10, .22), U(.0, .12)) * s
    pz = K((t0, -cz), (tload, -cz + N(-.01, .03)), (0, -cz - U(.0, .08)), (T * .6, -cz - U(.0, .09)), (T, -cz - U(-.03, .08)),
           (T + .3, -cz + N(.02, .04)), (END, -cz + N(.02, .05)), width=.02) + W(.008 * s)
    # Turns about the vertical, degrees, + = open. Some coil far, some not at all; ends are anywhere from square to far round.
    h_st = open_st / DEG * U(0, 1) + N(-3, 8)
    h_in = h_st - np.where(P(.12), U(-5, 3), U(0, 42))
    h_pl = np.clip(N(15, 20), -40, 70)
    h_co = np.maximum(np.clip(N(78, 21), 25, 130), h_pl + 8)
    h_lag = N(0, .035)
    hips = K((t0, h_st), (tload + N(.05, .06), h_in), (-.10, h_in * .5 + .2 * h_pl + N(0, 5)), (0, h_pl),
             (T * .5 + h_lag, h_pl + U(.4, .8) * (h_co - h_pl)), (T + h_lag, h_co), (T + .12, h_co + U(-4, 26)),
             (T + .4, h_co + U(-10, 38)), (END, h_co + U(-10, 40)), width=.02) + W(4.0)
    coil = np.where(P(.25), N(2, 9), np.where(P(.25), U(0, 80), np.clip(N(28, 18), -20, 75)))
    s_st, s_pl = h_st + N(-5, 11), h_pl - coil
    s_in = np.clip(np.where(P(.12), s_pl + N(0, 6), np.minimum(s_pl - U(-6, 24), s_st + 3)), -80, 45)
    s_co = np.clip(N(74, 26) + .3 * (s_pl + 8), 10, 140)
    s_lag = N(0, .014)
    shoulders = K((t0, s_st), (tload + N(.08, .08), s_in), (-.05, .4 * s_in + .6 * s_pl + N(0, 4)), (0, s_pl),
                  (T * .45 + s_lag, s_pl + U(.18, .55) * (s_co - s_pl)), (T + s_lag, s_co), (T + .10, s_co + U(15, 60)),
                  (T + .28, s_co + U(35, 105)), (T + .5, s_co + U(35, 115)), (END, s_co + U(20, 115)),
                  width=.02, jitter=.014) + W(5.0)
    h_roll = K((t0, N(0, 3)), (tload, N(-3, 5)), (0, N(-2, 6)), (T, N(4, 6)), (END, N(3, 6))) + W(2.0)
    s_roll = K((t0, N(2, 5)), (tload, N(-3, 7)), (0, N(-6, 8)), (T * .6, N(12, 9)), (T, N(20, 10)), (T + .2, N(14, 10)),
               (END, N(5, 9))) + W(3.0)
    ln = np.clip(N(.28, .12), .02, .65)
    lx = K((t0, N(0, .06)), (tload, N(-.04, .06)), (0, N(-.06, .07)), (T * .5, N(-.11, .08)), (T, N(-.15, .09)),
           (T + .2, N(-.15, .09)), (END, N(-.07, .1))) + W(.025)
    ly = K((t0, -ln), (tload, -ln + N(0, .04)), (0, -ln + N(-.02, .06)), (T, -ln + N(-.01, .08)), (T + .25, N(-.12, .12)),
           (END, N(-.06, .12))) + W(.025)
    hy, sy = hips * DEG, shoulders * DEG
    pelvis = np.stack([px, py, column(ank_h + thigh + shank) * .995 + pz], -1)
    up = unit(np.stack([lx, ly, np.ones_like(lx)], -1))

    # Feet.
    def foot(ankle, yaw, pitch):
        f = forward(yaw)
        cp, sp_ = np.cos(pitch)[..., None], np.sin(pitch)[..., None]
        at_ball = ankle + f * cube(ball)

        def at(along, h):
            a = cube(along - ball)
            return at_ball + f * (a * cp) - UP * (a * sp_) + (UP * cp + f * sp_) * cube(h)

        toe = at_ball + f * cube(toe_f - ball) * np.cos(pitch * .45)[..., None] + UP * cube(.0149 * H)
        return at(0 * ball, ank_h), at(-heel_b, .0154 * H), toe

    rs, r0 = U(.15, 1.15), N(2, 9)
    r_pitch = K((0, 0), (T * .3, 8 * rs), (T * .7, 33 * rs), (T, 52 * rs), (T + .15, 64 * rs), (END, 60 * rs)) * DEG
    r_yaw = K((t0, r0), (0, r0 + N(2, 5)), (T * .3, r0 + 10 * rs), (T * .7, r0 + 40 * rs), (T, r0 + 60 * rs),
              (T + .15, r0 + 76 * rs), (END, r0 + 78 * rs)) * DEG
    drag = K((T * .4, 0), (T + .15, U(-.02, .12) * s), (END, U(0, .25) * s))
    f0 = forward(np.broadcast_to(column(r0 * DEG), (B, COUNT)))
    ball_r = np.stack([rx, ry, 0 * rx], -1)[:, None] + f0 * cube(ball) + drag[..., None] * np.array([1., 0, 0])
    foot_r = foot(ball_r - forward(r_yaw) * cube(ball), r_yaw, r_pitch)
    q = np.clip((TIMES[None] - column(tl)) / column(stride_t), 0, 1)
    tuck = np.where(style == 0, U(.05, .4), U(0, .18)) * s * np.where(style == 2, 0, 1)
    tap = U(.1, .35) * s * (style == 2)
    ss = 3 * q ** 2 - 2 * q ** 3
    xs = ss ** column(U(1, 2.2))
    fx = (column(fx0) + column(fx1 - fx0) * xs - column(tuck) * np.sin(np.pi * np.clip(q / .75, 0, 1)) ** 2
          - column(tap) * np.interp(q, [0, .3, .6, 1], [0, 1, 1, 0]))
    fy = column(fy0) + column(fy1 - fy0) * xs + column(U(-.08, .1) * s) * np.sin(np.pi * q) ** 2
    qz = np.clip(q / column(1 - np.clip(U(.0, .07) / stride_t, 0, .3)), 0, 1)
    rise = np.sin(np.pi * qz ** column(U(.6, 1.1)))
    fz = column(lift) * np.where(column(style == 2), np.abs(np.sin(2 * np.pi * qz)), .55 * rise ** 2 + .45 * rise)
    fz = np.where((q <= 0) | (qz >= 1), 0, fz)
    y0, y1 = N(4, 10), np.clip(N(30, 18), -10, 80)
    f_yaw = (column(y0) + column(y1 - y0) * ss) * DEG
    f_pitch = np.interp(q, [0, .12, .45, .9, 1], [0, 26, 24, 12, 0]) * DEG * column(U(.1, 1.5) * (lift > .02))
    f_yaw = f_yaw + K((T + .05, 0), (T + .30, 1), (END, 1)) * column(N(14, 14)) * DEG
    foot_l = foot(np.stack([smooth(fx, .01), fy, np.maximum(smooth(fz, .01), 0)], -1), f_yaw, smooth(f_pitch, .012))

    # Hips: no higher than the legs reach.
    hl = tilt(leftward(hy), forward(hy), h_roll)
    need = np.zeros((B, COUNT))
    for side, a in ((1, foot_l[0]), (-1, foot_r[0])):
        hp = pelvis + side * hl * cube(hip_w)
        away = np.hypot(hp[..., 0] - a[..., 0], hp[..., 1] - a[..., 1])
        top = a[..., 2] + np.sqrt(np.maximum(column(.985 * (thigh + shank)) ** 2 - away ** 2, .01))
        need = np.maximum(need, hp[..., 2] - top)
    pelvis = pelvis - smooth(maximum_filter1d(need, 13, axis=1), .03)[..., None] * UP
    hip_l, hip_r = pelvis + hl * cube(hip_w), pelvis - hl * cube(hip_w)
    knee_l = two_bones(hip_l, foot_l[0], thigh, shank, forward(f_yaw) * .9 + forward(hy) * .6 + hl * cube(N(.1, .15)) + W(.12, 3))
    knee_r = two_bones(hip_r, foot_r[0], thigh, shank,
                       forward(r_yaw) * .9 + forward(hy) * .6 + leftward(hy * 0) * cube(N(.18, .2)) + W(.12, 3))

    # Chest, hands, bat.
    chest = pelvis + up * cube(trunk)
    cl = leftward(sy)
    cl = unit(cl - (cl * up).sum(-1, keepdims=True) * up)
    cf = np.cross(up, cl)
    cf = cf * np.sign((cf * forward(sy)).sum(-1).mean())
    C = lambda v: cl * v[..., :1] + up * v[..., 1:2] + cf * v[..., 2:]
    hb = np.where(P(.2), U(.08, .25), U(-.08, .08))
    ha = np.where(P(.2), U(.04, .14), U(-.05, .05))
    hd = np.where(P(.2), U(.05, .18), U(-.04, .05))
    hu = N(0, .06)
    keys = [(t0, (-.15, -.05, .24), .06), (tload, (-.19 - hd * .5, -.045 + hu * .5, .22 + hd * .3), .06),
            (-.10, (-.235 - hb * .8 - hd, -.03 + hu, .205 + ha + .5 * hd), .035),
            (0, (-.25 - hb - hd, -.03 + hu, .20 + ha + .5 * hd), .03),
            (T * .35, (-.225 - hb * .6, -.10 + hu * .3, .215 + ha * .6), .04), (T * .6, (-.15 - hb * .2, -.20, .28), .04),
            (T * .8, (-.07, -.29, .38), .045), (T, (.03, -.345, .475), .06), (T + .05, (.14, -.33, .50), .06),
            (T + .11, (.26, -.20, .40), .07), (T + .18, (.30, -.04, .29), .08), (T + .30, (.27, .07, .17), .09),
            (T + .5, (.25, .08, .14), .10), (END, (.22, -.02, .18), .12)]
    tj = [0 if np.ndim(k[0]) == 0 and k[0] == 0 else np.broadcast_to(np.asarray(k[0], float), (B,)) + r.R.randn(B) * .012 for k in keys]
    hj, common = [N(0, k[2], 3) for k in keys], N(0, .04, 3)
    hands = np.stack([K(*[(tj[i], np.asarray(k[1][c]) + hj[i][:, c] + common[:, c] * (1 if i < 4 else .3))
                          for i, k in enumerate(keys)], jitter=0, width=.014) for c in range(3)], -1)
    hands = hands * cube(s) + W(.012, 3) * cube(s)
    waggle = column(np.abs(N(0, 1.2)) * P(.7)) * np.exp(-np.maximum(TIMES[None] - column(t0) + .1, 0) / .25) * (TIMES < 0)
    beat = column(U(.5, 2.2))
    hands = hands + (waggle * .012 * np.sin(2 * np.pi * TIMES * beat + column(U(0, 6))))[..., None] * unit(N(0, 1, 3))[:, None]
    grip = chest + C(hands)
    ap = np.where(P(.3), U(-225, -95), N(-152, 18))
    ep = np.where(P(.3), U(0, 85), np.clip(N(50, 14), 5, 85))
    sa, se = .35 * ap + .65 * N(-150, 30), .45 * ep + .55 * N(56, 18)
    ca, ce = N(0, 14), N(-22, 13)
    az = K((t0, sa), (tload, .5 * (sa + ap)), (-.08, ap), (0, ap), (T * .35, .62 * ap - 36 + N(0, 10)), (T * .60, N(-94, 14)),
           (T * .82, N(-56, 12) + .5 * ca), (T, ca), (T + .03, 50 + ca), (T + .075, 105 + ca), (T + .14, N(156, 12)),
           (T + .24, N(195, 20)), (T + .38, N(214, 30)), (T + .6, N(214, 35)), (END, N(205, 35)), width=.010) * DEG + W(4.0) * DEG
    el = K((t0, se), (tload, .5 * (se + ep)), (-.08, ep), (0, ep), (T * .35, .62 * ep + N(0, 9)), (T * .60, N(4, 12)),
           (T * .82, .6 * ce + N(-4, 9)), (T, ce), (T + .05, .5 * ce + N(0, 8)), (T + .10, N(8, 12)), (T + .2, N(26, 18)),
           (T + .38, N(-4, 25)), (T + .6, N(-18, 28)), (END, N(-22, 28)), width=.010) * DEG + W(4.0) * DEG
    el = np.clip(el, -80 * DEG, 86 * DEG) + waggle * 5 * DEG * np.sin(2 * np.pi * TIMES * beat * 1.2)
    az = az + waggle * 6 * DEG * np.sin(2 * np.pi * TIMES * beat + 1)
    bd = np.stack([np.cos(el) * np.sin(az), -np.cos(el) * np.cos(az), np.sin(el)], -1)
    gap = .088 * s
    low, high = cube(-gap / 2), cube(gap / 2)
    reach = cube((upper + fore) * .985)
    jit = lambda m, sd=.18: N(m, sd)

    def pole(*kv):
        return C(unit(np.stack([K(*[(k[0], k[1 + c]) for k in kv], width=.02) for c in range(3)], -1) + W(.15, 3)))

    rd = np.where(P(.35), U(-.6, 1.2), N(0, .2))
    pole_r = pole((t0, jit(-.75), jit(-.62), jit(-.28)), (tload, jit(-.8), jit(-.42), jit(-.35)),
                  (0, -.8 + .55 * rd + N(0, .12), -.38 - .75 * rd + N(0, .15), -.32 + .42 * rd + N(0, .15)),
                  (T * .5, jit(-.4), -1, jit(.05)), (T, jit(-.35), -1, jit(-.1)), (T + .12, jit(-.5), -.9, jit(.2)),
                  (T + .3, jit(-.6), jit(-.6), jit(.5)), (END, jit(-.5), jit(-.9), jit(.2)))
    pole_l = pole((t0, jit(.55), jit(-.85), jit(.45)), (0, jit(.35), jit(-.9), jit(.55)), (T * .5, jit(.45), -.85, jit(.4)),
                  (T, jit(.6), -.8, jit(-.1)), (T + .12, jit(.75), jit(-.5), jit(-.3)), (T + .3, jit(.9), jit(-.2), jit(.1)),
                  (END, jit(.8), jit(-.6), jit(.2)))
    ctl, shrug, hand = tilt(cl, cf, s_roll), U(.02, .09), U(.05, .10)
    own = {k: (W(.008, 3) + C(N(0, .012, 3)[:, None] * np.ones((1, COUNT, 1)))) * cube(s) for k in 'lr'}
    S, E, wrist = {}, {}, {}
    for it in range(6):
        for k, sign, o in (('l', 1, low), ('r', -1, high)):
            base = chest + ctl * cube(sign * sh_w)
            v = grip + bd * o - base
            ex = np.clip((np.linalg.norm(v, axis=-1, keepdims=True) - .72 * reach) / (.4 * reach), 0, 1) ** 1.2
            S[k] = base + unit(v - .6 * (v * up).sum(-1, keepdims=True) * up) * ex * cube(shrug * s) + up * cube(.012 * s) + own[k]
        if it == 0:
            E = {k: S[k] + (grip - S[k]) * .5 + p * .15 for k, p in (('l', pole_l), ('r', pole_r))}
        for k, o, p in (('l', low, pole_l), ('r', high, pole_r)):
            g = grip + bd * o
            v = unit(g - E[k])
            v = unit(smooth(unit(v - (v * bd).sum(-1, keepdims=True) * bd), .012))
            wrist[k] = g - v * cube(hand * s) - bd * cube(s * (.012 if k == 'l' else .004))
            d = wrist[k] - S[k]
            over = np.maximum(np.linalg.norm(d, axis=-1, keepdims=True) - reach, 0)
            if it < 5:
                grip = grip - unit(d) * smooth(over, .006) * .75
            E[k] = two_bones(S[k], wrist[k], upper, fore, p)
    # One hand may leave the grip after contact.
    gone = 1 / (1 + np.exp(-(TIMES[None] - column(T + U(.12, .35)) - .12) / .04)) * column(P(.3))
    w = wrist['r'] + gone[..., None] * C(N(0, .22, 3)[:, None] * np.ones((1, COUNT, 1))) * cube(s)
    d = w - S['r']
    wrist['r'] = S['r'] + d * np.minimum(1, reach / np.maximum(np.linalg.norm(d, axis=-1, keepdims=True), 1e-6))
    E['r'] = two_bones(S['r'], wrist['r'], upper, fore, pole_r)
    knob = grip + bd * (low - cube(.062 * s))
    tip = knob + bd * cube(np.clip(N(.48, .03), .38, .58) * H)
    # Head.
    yaw = K((t0, N(66, 12)), (0, N(60, 10)), (T * .5, N(55, 10)), (T, N(44, 12)), (T + .1, N(48, 14)), (T + .3, N(66, 18)),
            (END, N(70, 20))) * DEG + W(4.) * DEG
    nod = K((t0, N(-4, 6)), (0, N(-8, 6)), (T * .5, N(-18, 8)), (T, N(-27, 10)), (T + .12, N(-20, 12)), (T + .35, N(-4, 12)),
            (END, N(2, 12))) * DEG
    look = forward(yaw) * np.cos(nod)[..., None] + UP * np.sin(nod)[..., None]
    crown = UP + .35 * up
    crown = unit(crown - (crown * look).sum(-1, keepdims=True) * look)
    hk = cube(head * .115)
    ears = chest + up * cube(neckl) + crown * hk + look * hk * .35
    nose = ears + look * hk * .85 - crown * hk * .15
    X = np.stack([ears, nose, S['l'], S['r'], E['l'], E['r'], wrist['l'], wrist['r'], hip_l, hip_r, knee_l, knee_r,
                  foot_l[0], foot_r[0], foot_l[1], foot_r[1], foot_l[2], foot_r[2], knob, tip], 2)
    # The hitter as a whole need not stand square to the pitch line.
    a = np.where(P(.2), N(0, 14), N(0, 6)) * DEG
    c, sn = column(np.cos(a))[..., None], column(np.sin(a))[..., None]
    x, y = X[..., 0].copy(), X[..., 1].copy()
    X[..., 0], X[..., 1] = c * x - sn * y, sn * x + c * y
    return X.astype(np.float32), T.astype(np.float32)


def job(a):
    X, T = generate(*a)
    return X.astype(np.float16), T


def stream(count, seed, procs, batch=250):
    """Yields (points, times to contact) in batches, made by procs processes; fixed by seed."""
    with multiprocessing.get_context('fork').Pool(procs, os.nice, (10,)) as pool:
        yield from pool.imap(job, [(batch, seed * 100003 + i) for i in range(count // batch)])


if __name__ == '__main__':
    import time
    t = time.time()
    X, T = generate(250, 1)
    print('%.2f s, not a number: %d' % (time.time() - t, np.isnan(X).sum()))
    yaw = lambda a, b: np.unwrap(np.arctan2(*(X[:, :, a] - X[:, :, b])[..., 1::-1].transpose(2, 0, 1)), axis=1) / DEG
    sh, hip = yaw(2, 3), yaw(8, 9)
    ic = (PLANT + np.round(T * HZ)).astype(int)
    for name, k in (('start', np.full(250, 15)), ('-0.3 s', np.full(250, PLANT - 30)), ('plant', np.full(250, PLANT)), ('contact', ic)):
        i = np.arange(250)
        print(name, *('%s %.0f (%.0f)' % (n, v[i, k].mean(), v[i, k].std()) for n, v in (('shoulders', sh), ('hips', hip), ('separation', sh - hip))))
