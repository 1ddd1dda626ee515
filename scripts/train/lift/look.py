"""What one phone and the stages before make of a motion in space: camera, errors of the track, numbers for the network.

The errors are those of this program's own track on rendered clips with exact truth: noise.npz, made by noise.py. A sample draws
from them as from one large normal distribution: the common error, times a number of its own, and a random mixture of what the clips
have different from each other, enlarged, with every error at its time around plant and contact and with its neighbours. Because
other people, clothes and cameras are not in those clips, on top come errors that they do not have: other coefficients, hips and
shoulders that another skeleton has nearer to each other or farther apart, constant and slow errors of every point alone, gaps.

Everything is for a right-handed hitter; a left-handed one is the mirror image. torch, any device."""
import functools
import math
import os

import numpy as np
import torch
import torch.nn.functional as F

from swings import HZ, PLANT

STEPS, RATE, BEFORE = 100, 50., 1.5       # samples, per second, seconds before plant of the first
POINTS, CHANNELS = 20, 80
OPEN, REAR = 0, 1
PAIRS = ((2, 3), (8, 9))                 # shoulders, hips
TAU = np.arange(83) * .02 - 1.2           # s from plant; contact at .18

NOISE = os.path.join(os.path.dirname(os.path.abspath(__file__)), 'noise.npz')

# Errors of each point alone, trunk lengths: constant and slow. About half of what the clips have, again.
#         head  nose  sh  sh   l el  r el  l wr  r wr  hips      l kn  r kn  ankles      heels      toes       bat
BIAS = [.02, .02, .006, .006, .025, .025, .018, .022, .008, .008, .014, .014, .007, .006, .009, .007, .006, .007, .007, .008]
SLOW = [.010, .010, .003, .003, .018, .018, .016, .016, .004, .004, .011, .009, .005, .003, .007, .004, .004, .004, .005, .006]
HIDES = [0, 0, 0, 0, 1, 1, 1, 1, 0, 0, .5, .5, .4, .4, .4, .4, .4, .4, 0, 0]       # how much being behind the body matters
BURST = [.003, .003, 0, 0, .008, .010, .008, .010, 0, 0, .002, .002, .001, .001, .001, .001, .001, .001, .003, .004]
APART = [.05, .12]     # other skeletons: share by which shoulders and hips lie farther apart, one sigma


def uni(a, b, *s, dev):
    return a + (b - a) * torch.rand(*s, device=dev)


def yes(p, B, dev):
    return (torch.rand(B, device=dev) < p).float()


def wander(B, T, C, step, dev):
    """Random process of unit spread: straight lines between independent knots every step samples."""
    w = torch.randn(B, T // step + 3, C, device=dev)
    pos = (torch.arange(T, device=dev) + torch.rand(1, device=dev) * step) / step
    i = pos.floor().long()
    f = (pos - i)[None, :, None]
    return (w[:, i] * (1 - f) + w[:, i + 1] * f) / torch.sqrt((1 - f) ** 2 + f ** 2)


def at(A, pos):
    """A (B, T, ...) at fractional indices pos (B, N), linearly."""
    i = pos.floor().long().clamp(0, A.shape[1] - 2)
    w = (pos - i).clamp(0, 1).view(*pos.shape, *([1] * (A.dim() - 2)))
    b = torch.arange(len(A), device=A.device)[:, None]
    return A[b, i].float() * (1 - w) + A[b, i + 1].float() * w


def camera(X, view, nominal=False):
    """A phone somewhere near its place. Half of them are set by eye square to the pitch line, half anywhere within 30 deg."""
    B, dev = len(X), X.device
    mid = X[:, STEPS // 2, 8]
    square = yes(.5, B, dev)
    off = square * torch.randn(B, device=dev) * 7 + (1 - square) * uni(-30, 30, B, dev=dev)
    if nominal:
        off = torch.randn(B, device=dev) * 7
    d, h, fov = uni(2.8, 11, B, dev=dev), uni(.6, 2.4, B, dev=dev), uni(43, 82, B, dev=dev)
    az = torch.where(view == OPEN, -90., 180.) + off
    a = az * math.pi / 180
    pos = torch.stack([mid[:, 0] + d * torch.cos(a), mid[:, 1] + d * torch.sin(a), h], 1)
    side = torch.randn(B, device=dev) * .3
    aim = torch.stack([mid[:, 0] - side * torch.sin(a), mid[:, 1] + side * torch.cos(a), mid[:, 2].clamp(min=.4) * uni(.7, 1.3, B, dev=dev)], 1)
    back = F.normalize(pos - aim, dim=1)
    up = torch.zeros_like(back)
    up[:, 2] = 1
    r = F.normalize(torch.cross(up, back, dim=1), dim=1)
    u = torch.cross(back, r, dim=1)
    roll = torch.randn(B, device=dev) * 2 * math.pi / 180
    c, s = torch.cos(roll)[:, None], torch.sin(roll)[:, None]
    return dict(pos=pos, R=torch.stack([c * r + s * u, -s * r + c * u, back], 1), f=.5 / torch.tan(fov * math.pi / 360), off=off, az=az)


def project(X, cam):
    """Places in the picture (units of its longer side, v down, 0 = middle), distances, and the points in camera axes."""
    Q = torch.einsum('bij,btpj->btpi', cam['R'], X - cam['pos'][:, None, None])
    z = (-Q[..., 2]).clamp(min=.3)
    f = cam['f'][:, None, None]
    return torch.stack([f * Q[..., 0] / z, -f * Q[..., 1] / z], -1), z, Q


@functools.lru_cache
def constants(dev, file):
    """The tables above and noise.npz on a device."""
    t = lambda v: torch.tensor(np.asarray(v), device=dev, dtype=torch.float32)
    z = np.load(file)
    view = torch.tensor(z['view'], device=dev).long()
    out = dict(bias=t(BIAS), slow=t(SLOW), hides=t(HIDES), burst=t(BURST), view=view, score=t(z['score']) / 255,
               other=torch.tensor([0, 1, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 13, 12, 14, 15, 16, 17, 18, 19], device=dev))
    for n in ('coef', 'curve'):
        v = t(z[n]).flatten(1)
        mean = torch.stack([v[view == i].mean(0) for i in (OPEN, REAR)])
        # The clips' own: one sigma of a mixture with normal weights is that of the clips.
        out[n] = mean, (v - mean[view]) / torch.stack([(view == i).sum() for i in (OPEN, REAR)]).float().sqrt()[view][:, None]
    return out


def corrupt(uv, z, Q, cam, view, t, T, fps, scale):
    """uv with the track's errors, and scores (0 = missing). t (B, steps): s from plant; T (B,): s from plant to contact;
    fps (B,); scale (B,) multiplies all errors."""
    B, S, dev = uv.shape[0], uv.shape[1], uv.device
    tab = constants(str(dev), NOISE)
    mid = lambda a: (uv[:, :, a[0]] + uv[:, :, a[1]]) / 2
    torso = (mid(PAIRS[0]) - mid(PAIRS[1])).norm(dim=-1).median(1).values.clamp(min=1e-4)[:, None, None, None]
    k = scale[:, None, None, None]
    vel = torch.zeros_like(uv)
    vel[:, 1:-1] = (uv[:, 2:] - uv[:, :-2]) * (RATE / 2)
    vel = vel / torso
    speed = vel.norm(dim=-1, keepdim=True)
    hands = (speed[:, :, 6] + speed[:, :, 7]) / 2
    act = (1 + 1.3 * (hands / 8).clamp(0, 1))[:, :, None]
    behind = torch.sigmoid((z - ((z[:, :, 8] + z[:, :, 9]) / 2)[:, :, None] - .08) / .06) * tab['hides']
    # Draw from the clips of the view.
    mine = (tab['view'][None] == view[:, None]).float()
    G = torch.randn(B, len(tab['view']), device=dev) * mine
    one = torch.multinomial(mine, 1)[:, 0]
    (mc, dc), (mk, dk) = tab['coef'], tab['curve']
    coef = mc[view].view(B, 2, 4, 4) * uni(.65, 1.35, B, 2, 1, 1, dev=dev) + torch.where(view == REAR, 2., 1.6)[:, None, None, None] * (G @ dc).view(B, 2, 4, 4) + .03 * torch.randn(B, 2, 4, 4, device=dev)
    curve = (mk[view] * uni(.6, 1.4, B, 1, dev=dev) + 1.25 * (G @ dk)).view(B, len(TAU), POINTS, 2)
    Tc = T[:, None]
    tau = torch.where(t < 0, t, torch.where(t < Tc, t * .18 / Tc, .18 + t - Tc))
    tau = tau * torch.exp(.1 * torch.randn(B, 1, device=dev)) + .02 * torch.randn(B, 1, device=dev)
    e = at(curve, pos_of(tau))
    slow = (.75 * wander(B, S, POINTS * 2, 10, dev) + .65 * wander(B, S, POINTS * 2, 4, dev)).view(B, S, POINTS, 2) * tab['slow'][:, None]
    e = e + torch.randn(B, 1, POINTS, 2, device=dev) * tab['bias'][:, None] + slow * act * (1 + behind[..., None])
    e = (e + vel * torch.randn(B, 1, POINTS, 1, device=dev) * .003) * k
    # Shoulders and hips turn with the line.
    rear = (view == REAR).float()[:, None, None]
    for p, (a, b) in enumerate(PAIRS):
        v = Q[:, :, a] - Q[:, :, b]
        w = v.norm(dim=-1, keepdim=True).clamp(min=1e-3)
        c, s = v[..., :1] / w, v[..., 2:] / w
        rate = torch.zeros_like(c)
        rate[:, 1:-1] = (c[:, 2:] - c[:, :-2]) * (RATE / 2 * .1)
        px = w * cam['f'][:, None, None] / ((z[:, :, a] + z[:, :, b]) / 2)[..., None] / torso[:, :, 0]
        g = coef[:, None, p]                                                     # B, 1, 4, 4
        r = g[..., 0] + g[..., 1] * torch.where(rear > 0, c, 1 - c) + g[..., 2] * (s + rear) + g[..., 3] * rate
        r = (r + wander(B, S, 4, 8, dev) * .012 * act[:, :, 0]) * px
        r[..., :2] += APART[p] * torch.randn(B, 1, 1, device=dev) * (uv[:, :, a] - uv[:, :, b]) / torso[:, :, 0]
        r = r * k[:, 0]
        e[:, :, a] += r[..., 2:] + r[..., :2] / 2
        e[:, :, b] += r[..., 2:] - r[..., :2] / 2
    # Now and then a point is elsewhere for a while: hidden, or drawn to the other side's.
    rate = (tab['burst'] * (1 + 2 * behind) * act[..., 0] * scale[:, None, None].clamp(max=1.5)).clamp(max=.4)
    burst = (torch.special.ndtr(wander(B, S, POINTS, 4, dev)) > 1 - rate).float()[..., None]
    pull = (torch.rand(B, 1, POINTS, 1, device=dev) * 1.2 - .5).clamp(0, .7)
    pull[:, :, [0, 1, 14, 15, 16, 17, 18, 19]] = 0
    e = e + burst * (wander(B, S, POINTS * 2, 7, dev).view(B, S, POINTS, 2) * .15 + pull * (uv[:, :, tab['other']] - uv) / torso) * k.clamp(max=1.5)
    q = uv + e * torso
    white = .5 * (.003 + .0022 * speed.clamp(max=12)) * k * torso
    few = (fps < 45).nonzero()[:, 0]
    q_ = q + torch.randn_like(q) * white
    if len(few):                                                                 # frames, and back to the grid
        step, n = (RATE / fps[few])[:, None], int(S * 45 / RATE)
        first = torch.rand(len(few), 1, device=dev)
        pos = ((torch.arange(n, device=dev)[None] + first) * step).clamp(0, S - 1.001)
        frames = at(q_[few], pos)
        back = ((torch.arange(S, device=dev)[None] / step - first)).clamp(0, n - 1.001)
        q_[few] = at(frames, back)
    q = q_
    told = yes(.75, B, dev)[:, None, None]                                       # scores tell hiding, or nothing
    score = at(tab['score'][one], pos_of(tau))
    conf = torch.where(told > 0, score, torch.ones_like(score)) * (1 - .25 * torch.rand(B, 1, POINTS, device=dev))
    conf = (conf * (1 - told * .6 * burst[..., 0] * torch.rand(B, 1, POINTS, device=dev))).clamp(.05, 1)
    conf[:, :, 18:] = 1                                                          # the bat's ends are there or not
    there = torch.ones(B, S, POINTS, device=dev)
    there[:, :, 0:2] *= 1 - yes(.08, B, dev)[:, None, None]
    there[:, :, 12:18] *= 1 - yes(.05, B, dev)[:, None, None]
    there[:, :, 18:] *= 1 - yes(.12, B, dev)[:, None, None]
    fast = (speed[:, :, 19:20, 0] / 14).clamp(0, 1)
    there[:, :, 18:] *= (torch.special.ndtr(wander(B, S, 1, 3, dev)) > torch.rand(B, 1, 1, device=dev) * .5 * (.1 + .9 * fast)).float()
    there *= (torch.special.ndtr(wander(B, S, POINTS, 3, dev)) > .006 * scale[:, None, None]).float()
    return q, conf * there


def pos_of(tau):
    return ((tau - float(TAU[0])) * 50).clamp(0, len(TAU) - 1.001)


def lower_median(x, ok):
    """Lower median over time of x (B, T) where ok; 0 where nothing is."""
    s = torch.where(ok, x, torch.full_like(x, 1e9)).sort(1).values
    n = ok.sum(1)
    m = s.gather(1, ((n - 1).clamp(min=0) // 2)[:, None])[:, 0]
    return torch.where(n > 0, m, torch.zeros_like(m))


def encode(q, conf, valid, stance, view, told_view, fps, yaw, width):
    """The network's input (B, STEPS, CHANNELS) from places q (units of the picture's longer side, from its middle, v down).

    valid (B, T) 0/1; stance (B,) sample of the stance, fractional; yaw (B, 3) and width (B, 3) as they stand in the input."""
    B, T, dev = q.shape[0], q.shape[1], q.device
    have = (conf > 0) & (valid[..., None] > 0)
    both = lambda a: have[:, :, a[0]] & have[:, :, a[1]]
    mid = lambda a: (q[:, :, a[0]] + q[:, :, a[1]]) / 2
    dist = lambda a, b: (q[:, :, a] - q[:, :, b]).norm(dim=-1)
    sh, hip = mid(PAIRS[0]), mid(PAIRS[1])
    trunk = both(PAIRS[0]) & both(PAIRS[1])
    legs = both(PAIRS[1]) & both((10, 11)) & both((12, 13))
    leg = (dist(8, 10) + dist(10, 12) + dist(9, 11) + dist(11, 13)) / 2
    root = torch.stack([lower_median(hip[..., i], both(PAIRS[1])) for i in (0, 1)], 1)
    size = (lower_median((sh - hip).norm(dim=-1), trunk) + lower_median(leg, legs)).clamp(min=1e-4)
    x = ((q - root[:, None, None]) / size[:, None, None, None]).clamp(-4, 4) * have[..., None]
    lines, widest = [], []
    for a, b in PAIRS:
        d, ok = (q[:, :, a] - q[:, :, b]), both((a, b))
        n = ok.sum(1)
        s = torch.where(ok, d.norm(dim=-1), torch.zeros_like(d[..., 0])).sort(1, descending=True).values
        w = s.gather(1, ((n.float() * .05).floor().long().clamp(max=T - 1))[:, None])[:, 0].clamp(min=1e-4)   # 95 % of them are narrower
        lines.append((d / w[:, None, None]).clamp(-2, 2) * ok[..., None])
        widest.append(w / size)
    ref = (1 - (torch.arange(T, device=dev)[None] - stance[:, None]).abs()).clamp(min=0) * valid
    glob = torch.stack([(view == OPEN).float() * told_view, (view == REAR).float() * told_view, size * 3, root[:, 0] * 2, root[:, 1] * 2,
                        fps / 100, widest[0] * 3, widest[1] * 3], 1)
    glob = torch.cat([glob, width, yaw], 1)
    pad = CHANNELS - (POINTS * 3 + 2 + 4 + glob.shape[1])
    return torch.cat([x.flatten(2), conf * have, valid[..., None], ref[..., None], *lines, glob[:, None].expand(-1, T, -1),
                      torch.zeros(B, T, pad, device=dev)], 2), size


def azimuth(v):
    """Turn of v about the vertical over time (dim 1), degrees, without jumps."""
    a = torch.atan2(v[..., 1], v[..., 0])
    d = a[:, 1:] - a[:, :-1]
    d = torch.remainder(d + math.pi, 2 * math.pi) - math.pi
    return torch.cat([a[:, :1], a[:, :1] + d.cumsum(1)], 1) * (180 / math.pi)


def flexion(X, a, b, c):
    u, v = F.normalize(X[:, :, b] - X[:, :, a], dim=-1), F.normalize(X[:, :, c] - X[:, :, b], dim=-1)
    return torch.acos((u * v).sum(-1).clamp(-.99999, .99999)) * (180 / math.pi)


ANGLES = ['shoulder_turn', 'hip_turn', 'separation', 'shoulder_turn_camera', 'hip_turn_camera', 'shoulder_turn_since_stance',
          'hip_turn_since_stance', 'separation_since_stance', 'camera_yaw', 'lead_elbow_flexion', 'rear_elbow_flexion',
          'lead_knee_flexion', 'rear_knee_flexion']


def truth(X, stance, cam):
    """X (B, T, 20, 3) -> angles (B, T, 13), the bat's direction against the pitch line and against the camera (B, T, 3), and the
    joints in axes level with the camera, in twice the trunk's length. separation = shoulders - hips, negative = coil."""
    sh, hip = azimuth(X[:, :, 2] - X[:, :, 3]), azimuth(X[:, :, 8] - X[:, :, 9])
    right = torch.remainder(cam['az'] + 90 + 180, 360)[:, None] - 180           # azimuth of the picture's right
    since = lambda a: a - at(a, stance[:, None])
    A = torch.stack([sh, hip, sh - hip, sh - right, hip - right, since(sh), since(hip), since(sh - hip), cam['off'][:, None].expand_as(sh),
                     flexion(X, 2, 4, 6), flexion(X, 3, 5, 7), flexion(X, 8, 10, 12), flexion(X, 9, 11, 13)], -1)
    bat = F.normalize(X[:, :, 19] - X[:, :, 18], dim=-1)
    a = right * math.pi / 180
    def level(v):
        sh_ = (-1,) + (1,) * (v.dim() - 2)
        c, s = torch.cos(a).view(sh_), torch.sin(a).view(sh_)
        return torch.stack([v[..., 0] * c + v[..., 1] * s, -v[..., 0] * s + v[..., 1] * c, v[..., 2]], -1)
    root = (X[:, :, 8] + X[:, :, 9])[:, :, None] / 2
    trunk = ((X[:, :, 2] + X[:, :, 3]) / 2 - root[:, :, 0]).norm(dim=-1).median(1).values
    return A, bat, level(bat), level(X - root) / (2 * trunk)[:, None, None, None]


def sample(X, T, view, fps, dev, clean=False, nominal=False, keep=None):
    """Windows of the motions X (B, COUNT, 20, 3) as seen. Returns input, truth, valid (B, T) and the weight of each sample.

    keep, a dict, gets the motions at the samples (B, T, 20, 3), and where stance and plant lie (B,), in samples."""
    B = len(X)
    fps = torch.full((B,), float(fps), device=dev) if not torch.is_tensor(fps) else fps
    rough = yes(.1, B, dev)
    late = torch.randn(B, device=dev) * .012 + rough * uni(-.12, .12, B, dev=dev)          # error of the plant time, s
    k = torch.arange(STEPS, device=dev)[None] / RATE - BEFORE
    t = k + late[:, None]
    W = at(X, (t * HZ + PLANT).clamp(0, X.shape[1] - 1.001))
    # Clips begin and end somewhere.
    begin = torch.where(torch.rand(B, device=dev) < .6, torch.full((B,), -9., device=dev), uni(-BEFORE, -.65, B, dev=dev))
    end = torch.where(torch.rand(B, device=dev) < .7, torch.full((B,), 9., device=dev), T + uni(.03, .4, B, dev=dev))
    valid = ((k >= begin[:, None]) & (k <= end[:, None])).float()
    first = ((begin + BEFORE) * RATE).clamp(min=0).ceil()
    stance = first + torch.rand(B, device=dev) * ((1.2 * RATE - first).clamp(min=0))     # up to 0.3 s before plant
    if keep is not None:
        keep.update(W=W, stance=stance, plant=(BEFORE - late) * RATE)
    cam = camera(W, view, nominal)
    uv, z, Q = project(W, cam)
    if clean:
        q, conf = uv, torch.ones(uv.shape[:3], device=dev)
    else:
        scale = torch.where(torch.rand(B, device=dev) < .1, torch.full((B,), .15, device=dev), torch.exp(torch.randn(B, device=dev) * .3))
        q, conf = corrupt(uv, z, Q, cam, view, t, T, fps, scale)
    # Known by other means, sometimes: the camera's place, the hitter's widths.
    ky, kw = yes(.3, B, dev), yes(.2, B, dev)
    sy = uni(1, 8, B, dev=dev)
    yaw = torch.stack([ky, ky * (cam['off'] + sy * torch.randn(B, device=dev)) / 30, ky * sy / 10], 1)
    A, bw, bc, J = truth(W, stance, cam)
    med = lambda v: v.norm(dim=-1).median(1).values
    leg = (med(W[:, :, 8] - W[:, :, 10]) + med(W[:, :, 10] - W[:, :, 12]) + med(W[:, :, 9] - W[:, :, 11]) + med(W[:, :, 11] - W[:, :, 13])) / 2
    body = med((W[:, :, 2] + W[:, :, 3] - W[:, :, 8] - W[:, :, 9]) / 2) + leg
    wd = lambda p: med(W[:, :, p[0]] - W[:, :, p[1]]) / body * torch.exp(.03 * torch.randn(B, device=dev)) * 3
    width = torch.stack([kw, kw * wd(PAIRS[0]), kw * wd(PAIRS[1])], 1)
    told = yes(.8, B, dev)
    x, _ = encode(q, conf, valid, stance, view, told, fps, yaw, width)
    weight = valid * (1 + 2 * ((k > -.35) & (k < .15)).float() + 2 * ((k > -.06) & (k < .06)).float())
    return x, (A, bw, bc, J), valid, weight
