"""What one phone and the stages before make of a motion in space: camera, errors of the track, numbers for the network.

The errors are those of this program's own track on rendered clips with exact truth (21 clips, residuals per joint: a
constant part per clip, a slow part, a part from frame to frame, both growing with the speed of the hands), made wider by a
third or more, because other people, clothes and cameras are not in those clips. Shoulders and hips have an error of another
kind: as the line turns, the network that places them turns it too little. Fitted per clip as

    error / true width = a + b (1 - c) + d s      open side; c, s: the line's share along the picture and toward the camera
    error / true width = a + b c + d (1 + s)      from behind

for the difference and for the middle of both ends, across and down; TURN holds mean and spread of a, b, d over the clips. In
these forms a is the error in the stance, and the three hardly depend on each other.

Everything is for a right-handed hitter; a left-handed one is the mirror image. torch, any device."""
import functools
import math

import torch
import torch.nn.functional as F

from swings import HZ, PLANT

STEPS, RATE, BEFORE = 100, 50., 1.5       # samples, per second, seconds before plant of the first
POINTS, CHANNELS = 20, 80
OPEN, REAR = 0, 1
PAIRS = ((2, 3), (8, 9))                 # shoulders, hips

# [view][pair][difference x, difference y, middle x, middle y] = mean a b d, spread a b d, residual before plant and after
TURN = [[[[-.061, .339, .046, .045, .121, .063, .020, .053], [.012, .045, -.089, .021, .066, .051, .013, .033],
          [.030, -.043, -.024, .015, .025, .020, .008, .015], [.008, .001, -.012, .011, .019, .020, .007, .017]],
         [[.039, .196, -.251, .126, .146, .074, .021, .056], [-.043, .028, -.163, .045, .130, .136, .030, .025],
          [.025, .014, -.211, .029, .080, .083, .012, .024], [.079, .119, -.073, .069, .080, .088, .033, .039]]],
        [[[-.039, .002, .082, .028, .129, .075, .054, .077], [.101, -.056, -.046, .057, .114, .068, .026, .026],
          [.001, .032, .019, .017, .022, .022, .023, .016], [-.017, .005, .007, .006, .020, .016, .018, .012]],
         [[.221, -.047, -.217, .054, .144, .132, .095, .058], [.060, -.010, -.073, .063, .197, .131, .030, .024],
          [.221, .110, -.185, .054, .042, .094, .025, .029], [-.025, -.075, -.030, .039, .036, .056, .023, .033]]]]
# The other points, torso lengths: constant part (mean x, y and spread) and slow part before plant.
#         head         nose          sh sh  l elbow         r elbow         l wrist        r wrist         hips  l knee        r knee         ankles heels toes bat
MEAN = [[(-.02, .01), (-.026, .01), 0, 0, (.011, -.027), (.040, -.012), (.028, -.005), (-.023, -.030), 0, 0, (.012, .027), (-.002, .028), 0, 0, 0, 0, 0, 0, 0, 0],
        [(-.02, .00), (-.023, .00), 0, 0, (-.119, -.028), (.003, -.002), (0, .021), (-.016, -.015), 0, 0, (.013, .016), (-.030, -.027), 0, 0, 0, 0, 0, 0, 0, 0]]
BIAS = [[.04, .045, .010, .010, .025, .055, .025, .055, .010, .010, .028, .028, .010, .010, .014, .012, .010, .014, .014, .014],
        [.04, .040, .010, .010, .070, .022, .040, .030, .010, .010, .022, .025, .014, .010, .024, .010, .010, .010, .014, .014]]
SLOW = [[.018, .018, .004, .004, .018, .048, .016, .042, .006, .006, .026, .018, .005, .005, .007, .006, .006, .005, .010, .012],
        [.025, .025, .004, .004, .055, .024, .032, .020, .006, .006, .022, .014, .012, .005, .020, .006, .008, .005, .010, .012]]
HIDES = [0, 0, 0, 0, 1, 1, 1, 1, 0, 0, .5, .5, .4, .4, .4, .4, .4, .4, 0, 0]       # how much being behind the body matters
BURST = [.003, .003, 0, 0, .010, .012, .010, .012, 0, 0, .002, .002, .001, .001, .001, .001, .001, .001, .003, .004]


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
def constants(dev):
    """The tables above on a device; a plain 0 in MEAN stands for (0, 0)."""
    t = lambda v: torch.tensor(v, device=dev, dtype=torch.float32)
    return dict(turn=t(TURN), mean=t([[v or (0, 0) for v in r] for r in MEAN]), bias=t(BIAS), slow=t(SLOW), hides=t(HIDES), burst=t(BURST),
                other=torch.tensor([0, 1, 3, 2, 5, 4, 7, 6, 9, 8, 11, 10, 13, 12, 14, 15, 16, 17, 18, 19], device=dev))


def corrupt(uv, z, Q, cam, view, t, contact, fps, scale):
    """uv with the track's errors, and scores (0 = missing). t (B, T): s from plant; contact (B, T): 1 after contact;
    scale (B,) multiplies all errors."""
    B, T, dev = uv.shape[0], uv.shape[1], uv.device
    tab, after = constants(dev), (t > 0).float()
    mid = lambda a: (uv[:, :, a[0]] + uv[:, :, a[1]]) / 2
    torso = (mid(PAIRS[0]) - mid(PAIRS[1])).norm(dim=-1).median(1).values.clamp(min=1e-4)[:, None, None, None]
    k = scale[:, None, None, None]
    vel = torch.zeros_like(uv)
    vel[:, 1:-1] = (uv[:, 2:] - uv[:, :-2]) * (RATE / 2)
    vel = vel / torso
    speed = vel.norm(dim=-1, keepdim=True)
    hands = (speed[:, :, 6] + speed[:, :, 7]) / 2
    act = ((1 + 1.3 * (hands / 8).clamp(0, 1)) * (1 + .5 * contact[..., None]))[:, :, None]
    behind = torch.sigmoid((z - ((z[:, :, 8] + z[:, :, 9]) / 2)[:, :, None] - .08) / .06) * tab['hides']
    bias = tab['mean'][view][:, None] * uni(.2, 1.2, B, 1, 1, 1, dev=dev) + torch.randn(B, 1, POINTS, 2, device=dev) * tab['bias'][view][:, None, :, None]
    slow = (.75 * wander(B, T, POINTS * 2, 10, dev) + .65 * wander(B, T, POINTS * 2, 4, dev)).view(B, T, POINTS, 2) * tab['slow'][view][:, None, :, None]
    e = (bias + slow * act * (1 + 1.0 * behind[..., None])) * k
    e = e + vel * torch.randn(B, 1, POINTS, 1, device=dev) * .004 * k
    # Shoulders and hips turn with the line.
    coef = tab['turn'][view]                                  # B, pair, 4, 8
    coef = torch.cat([coef[..., :3] * uni(.5, 1.2, B, 1, 1, 1, dev=dev) + torch.randn(B, 2, 4, 3, device=dev) * (1.25 * coef[..., 3:6] + .015), coef[..., 6:]], -1)
    for p, (a, b) in enumerate(PAIRS):
        v = Q[:, :, a] - Q[:, :, b]
        w = v.norm(dim=-1, keepdim=True).clamp(min=1e-3)
        c, s = v[..., :1] / w, v[..., 2:] / w
        px = w * cam['f'][:, None, None] / ((z[:, :, a] + z[:, :, b]) / 2)[..., None] / torso[:, :, 0]
        g = coef[:, None, p]                                                     # B, 1, 4, 5
        behind_ = (view == REAR).float()[:, None, None]
        r = g[..., 0] + g[..., 1] * torch.where(behind_ > 0, c, 1 - c) + g[..., 2] * (s + behind_)
        r = r + wander(B, T, 4, 8, dev) * (g[..., 3] + (g[..., 4] - g[..., 3]) * after[..., None]) * 1.3
        # From behind, the lead side is hidden by the rear one and guessed: the hip stays back from the load to contact, the
        # shoulder is ahead for a moment around plant.
        if p == 0:
            late = -(torch.randn(B, 1, device=dev) * .29).abs() * torch.exp(-((t - uni(-.02, .04, B, 1, dev=dev)) / uni(.03, .08, B, 1, dev=dev)) ** 2 / 2)
        else:
            late = (.17 + .11 * torch.randn(B, 1, device=dev)) * ((t + .5) / .25).clamp(0, 1) * ((.3 - t) / .2).clamp(.3, 1)
        r = r * px * k[:, 0]
        e[:, :, a] += r[..., 2:] + r[..., :2] / 2
        e[:, :, a, :1] += late[..., None] * behind_ * px * k[:, 0]
        e[:, :, b] += r[..., 2:] - r[..., :2] / 2
    # Now and then a point is elsewhere for a while: hidden, or drawn to the other side's.
    rate = (tab['burst'] * (1 + 2 * behind) * act[..., 0] * scale[:, None, None].clamp(max=1.5)).clamp(max=.4)
    burst = (torch.special.ndtr(wander(B, T, POINTS, 4, dev)) > 1 - rate).float()[..., None]
    pull = (torch.rand(B, 1, POINTS, 1, device=dev) * 1.2 - .5).clamp(0, .7)
    pull[:, :, [0, 1, 14, 15, 16, 17, 18, 19]] = 0
    e = e + burst * (wander(B, T, POINTS * 2, 7, dev).view(B, T, POINTS, 2) * .15 + pull * (uv[:, :, tab['other']] - uv) / torso) * k.clamp(max=1.5)
    q = uv + e * torso
    white = (.003 + .0022 * speed.clamp(max=12)) * k * torso
    if fps < 45:                                                                 # frames, and back to the grid
        n = int(T * fps / RATE)
        pos = ((torch.arange(n, device=dev) + torch.rand(1, device=dev)) * RATE / fps).clamp(0, T - 1.001)
        i, f = pos.floor().long(), (pos - pos.floor())[None, :, None, None]
        frames = q[:, i] * (1 - f) + q[:, i + 1] * f + torch.randn(B, n, POINTS, 2, device=dev) * white[:, i]
        back = ((torch.arange(T, device=dev) - pos[0]) * fps / RATE).clamp(0, n - 1.001)
        i, f = back.floor().long(), (back - back.floor())[None, :, None, None]
        q = frames[:, i] * (1 - f) + frames[:, i + 1] * f
    else:
        q = q + torch.randn_like(q) * white * (1. if fps < 90 else .7)
    told = yes(.75, B, dev)[:, None, None]                                       # scores tell hiding, or nothing
    conf = 1 - told * (.9 * torch.maximum(behind * torch.rand(B, 1, POINTS, device=dev), .7 * burst[..., 0] * torch.rand(B, 1, POINTS, device=dev)))
    conf = (conf * (1 - .25 * torch.rand(B, 1, POINTS, device=dev))).clamp(.05, 1)
    there = torch.ones(B, T, POINTS, device=dev)
    there[:, :, 0:2] *= 1 - yes(.08, B, dev)[:, None, None]
    there[:, :, 12:18] *= 1 - yes(.05, B, dev)[:, None, None]
    there[:, :, 18:] *= 1 - yes(.12, B, dev)[:, None, None]
    fast = (speed[:, :, 19:20, 0] / 14).clamp(0, 1)
    there[:, :, 18:] *= (torch.special.ndtr(wander(B, T, 1, 3, dev)) > torch.rand(B, 1, 1, device=dev) * .5 * (.1 + .9 * fast)).float()
    there *= (torch.special.ndtr(wander(B, T, POINTS, 3, dev)) > .006 * scale[:, None, None]).float()
    return q, conf * there


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


def sample(X, T, view, fps, dev, clean=False, nominal=False):
    """Windows of the motions X (B, COUNT, 20, 3) as seen. Returns input, truth, valid (B, T) and the weight of each sample."""
    B = len(X)
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
    cam = camera(W, view, nominal)
    uv, z, Q = project(W, cam)
    contact = (t > T[:, None]).float()
    if clean:
        q, conf = uv, torch.ones(uv.shape[:3], device=dev)
    else:
        scale = torch.where(torch.rand(B, device=dev) < .1, torch.full((B,), .15, device=dev), torch.exp(torch.randn(B, device=dev) * .25))
        q, conf = corrupt(uv, z, Q, cam, view, t, contact, fps, scale)
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
    x, _ = encode(q, conf, valid, stance, view, told, torch.full((B,), float(fps), device=dev), yaw, width)
    weight = valid * (1 + 2 * ((k > -.35) & (k < .15)).float() + 2 * ((k > -.06) & (k < .06)).float())
    return x, (A, bw, bc, J), valid, weight
