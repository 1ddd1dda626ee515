"""Renders training crops of hitters: the bat (crop round the hands) and the feet (crop round the shins), with exact labels.

    python3 crops.py --renderer DIR --out DIR --seed 1 --seconds 540 --procs 16

DIR of --renderer is the clip renderer (render.py, gen_motion.py, ... ; see README.md here). Every job draws its own
body, clothes, bat, motion, scene, light and clutter from its seed, renders a few cameras and instants, and writes
OUT/<seed>.npz:

    bat   (n, 320, 320, 3) uint8   RGB, the square of half side 2.75 torso round the hands (moved at random)
    bat_y (n, 3, 3)  float32       knob, grip, tip: x, y in px of the crop, state (2 visible, 1 hidden, 0 no bat)
    feet  (n, 320, 320, 3) uint8   RGB, the square of half side 1.9 torso round the shins
    feet_y (n, 6, 3) float32       left ankle, heel, big toe, right ankle, heel, big toe: x, y, state
"""
import argparse, multiprocessing as mp, os, sys, time, types
import numpy as np

SIDE, BAT_HALF, FEET_HALF = 320, 2.75, 1.9


def shim_cv2():
    """The renderer's scenery needs one function of OpenCV; machines for training may lack it."""
    try:
        import cv2  # noqa: F401
        return
    except ImportError:
        pass
    import torch
    import torch.nn.functional as F
    m = types.ModuleType('cv2')
    m.INTER_CUBIC, m.CV_8U = 2, 0

    def resize(a, size, interpolation=1):
        t = torch.from_numpy(np.ascontiguousarray(a))[None, None]
        mode = 'bicubic' if interpolation == 2 else 'bilinear'
        return F.interpolate(t, (size[1], size[0]), mode=mode, align_corners=False)[0, 0].numpy()
    m.resize = resize
    sys.modules['cv2'] = m


def motion_of(r, gen):
    """An invented swing far beyond the usual ones, with the bat turned away from its usual place."""
    u = r.uniform
    kw = dict(bats=r.choice(['R', 'L']), height_m=u(1.25, 1.95), fps=240, seed=int(r.integers(1 << 30)), pre_s=1.7, post_s=.75,
              tempo_s=u(.14, .26), stride_m=u(.02, .6), stance_w=u(.38, .75), lift_m=u(.02, .34), lift_dur_s=u(.3, .7), toe_first_s=u(.0, .07), front_open_deg=u(0, 55),
              load_back_m=u(.02, .16), shift_plant_m=u(.05, .3), shift_delay_s=u(-.08, .12), hip_in_deg=u(-25, 0), hip_plant_deg=u(0, 35), hip_contact_deg=u(60, 90),
              sh_in_deg=u(-40, 0), sh_plant_deg=u(-35, 24), sh_contact_deg=u(40, 75), barrel_el_plant_deg=u(-5, 88), barrel_az_plant_deg=u(-230, -90),
              rear_elbow_drop=u(0, 1), hands_back=u(-.03, .2), hands_away=u(-.03, .13), hands_drift=u(0, .12), hands_up=u(-.12, .12), lean=u(.15, .45), tilt_contact=u(-.25, -.05),
              crouch_m=u(.02, .14), waggle=u(0, 3), bat_len=u(.66, .88))
    m = gen.generate(**kw)
    # turn the bat about the middle of the hands by one random small rotation
    kn, tp = np.asarray(m['bat']['knob']), np.asarray(m['bat']['tip'])
    grip = .5 * (np.asarray(m['joints']['l_hand']) + np.asarray(m['joints']['r_hand']))
    w = r.normal(0, np.radians(9), 3); a = np.linalg.norm(w) + 1e-9; K = np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]]) / a
    R = np.eye(3) + np.sin(a) * K + (1 - np.cos(a)) * K @ K
    m['bat']['knob'] = (kn - grip) @ R.T + grip; m['bat']['tip'] = (tp - grip) @ R.T + grip
    return m


def look_of(r, rd, seed):
    a = rd.appearance(seed)
    col = lambda: tuple(r.uniform(.03, .95, 3))
    if r.random() < .6: a['jersey'], a['jersey2'], a['pants'] = col(), col(), col()
    if r.random() < .5: a['sock'], a['shoe'] = col(), col()
    if r.random() < .5: a['glove'] = col()
    a['bat'] = [(.12, .12, .14), (.75, .58, .36), (.6, .42, .24), (.85, .74, .55), (.75, .75, .78), (.92, .92, .92), (.05, .05, .05), col(), col(), col()][r.integers(10)]
    if r.random() < .3: a['skin'] = rd.SKINS[r.integers(5)]
    return a


def bat_mesh(gl, G, r, col, L):
    """A bat of length L, m, with random thickness, tape, bands and gloss."""
    k, t, b = L, r.uniform(.75, 1.3), r.uniform(.8, 1.2)
    prof = [(0, .001), (0, .024 * b), (.008, .0255 * b), (.016, .024 * b), (.022, .0135 * t), (.05 * k / .84, .0122 * t), (.30 * k, .0130 * t), (.42 * k, .0165 * t), (.52 * k, .0225 * t),
            (.62 * k, .0285 * t), (.72 * k, .0325 * t), (.80 * k, .0333 * t), (.95 * k, .0333 * t), (.975 * k, .0315 * t), (.993 * k, .024 * t), (k, .001)]
    P, N, F = G.surf_rev(prof, 20); c = np.tile(col, (len(P), 1)).astype(float); z = P[:, 2]
    tape = tuple(r.uniform(.02, .95, 3)) if r.random() < .5 else ((.1, .1, .11) if sum(col) > .6 else (.55, .55, .56))
    if r.random() < .85: c[(z > .03) & (z < r.uniform(.2, .4) * k)] = tape
    if r.random() < .6: c[z < .021] = r.uniform(0, 1, 3)
    for _ in range(r.integers(0, 3)):
        a = r.uniform(.4, .9) * k; c[(z > a) & (z < a + r.uniform(.03, .25) * k)] = r.uniform(0, 1, 3)
    if r.random() < .2: c[z > .97 * k] = r.uniform(0, 1, 3)
    return gl.mesh(P, N, np.zeros((len(P), 2)), c, F, None, 0, float(r.choice([.02, .1, .35, .8])), shadow=True)


def clutter(gl, G, r, base, tgt):
    """Straight things behind the hitter: posts, rails, leaning sticks that look like bats."""
    prof = [(0, 1.), (1, 1.)]; cp, cn, cf = G.surf_rev(prof, 10)
    f = (tgt - base) / np.linalg.norm(tgt - base); s = np.cross(f, [0, 0, 1.]); s /= np.linalg.norm(s)
    for _ in range(r.integers(0, 9)):
        depth = r.uniform(.9, 6); p = tgt + f * depth + s * r.uniform(-2.2, 2.2) + np.array([0, 0, r.uniform(-1.0, 1.4)])
        kind = r.random(); d = np.array([0, 0, 1.]) if kind < .3 else (s if kind < .5 else r.normal(0, 1, 3)); d = d / np.linalg.norm(d)
        L = r.uniform(3, 8) if kind < .5 else r.uniform(.3, 1.6); rad = r.uniform(.01, .05)
        z = d; x = np.cross(z, [.31, .2, .93]); x /= np.linalg.norm(x); M = np.stack([x, np.cross(z, x), z], 1)
        gl.mesh((cp * [rad, rad, L]) @ M.T + p - d * L * r.uniform(.2, .8), cn @ M.T, np.zeros((len(cp), 2)), np.tile(r.uniform(.03, .95, 3), (len(cp), 1)), cf, None, 0, float(r.uniform(0, .5)))


def patch_backdrop(S, r):
    """Half of the backdrops become collages of rectangles, stripes and gradients at many scales."""
    plain = S.backdrop

    def backdrop(kind, rng, w=2048, h=512):
        img = plain(kind, rng, w, h)
        if r.random() < .5: return img
        yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
        for _ in range(r.integers(3, 60)):
            x0, y0, ww, hh = r.integers(0, w), r.integers(0, h), int(np.exp(r.uniform(2, 6.5))), int(np.exp(r.uniform(1, 6)))
            sl = (slice(y0, y0 + hh), slice(x0, x0 + ww)); c = r.uniform(.02, .98, 3)
            if r.random() < .4:
                per, ang = np.exp(r.uniform(1.2, 4)), r.uniform(0, np.pi); wv = (np.sin(2 * np.pi * (xx[sl] * np.cos(ang) + yy[sl] * np.sin(ang)) / per) > r.uniform(-.8, .8))[..., None]
                img[sl] = np.where(wv, c, img[sl])
            else: img[sl] = img[sl] * r.uniform(0, .6) + c * (1 - r.uniform(0, .6))
        return np.clip(img + r.normal(0, .03, img.shape), 0, 1).astype(np.float32)
    return plain, backdrop


def cut(img, c, half):
    """The square of half side half px round c, as SIDE x SIDE by area averaging; outside the picture is black. Returns crop and px of the crop per px."""
    import torch
    import torch.nn.functional as F
    H, W = img.shape[:2]; s = int(np.ceil(half)); x0, y0 = int(np.floor(c[0] - half)), int(np.floor(c[1] - half)); n = 2 * s
    out = np.zeros((n, n, 3), np.uint8); xa, ya, xb, yb = max(x0, 0), max(y0, 0), min(x0 + n, W), min(y0 + n, H)
    if xb > xa and yb > ya: out[ya - y0:yb - y0, xa - x0:xb - x0] = img[ya:yb, xa:xb]
    t = torch.from_numpy(out).permute(2, 0, 1)[None].float()
    t = F.interpolate(t, (SIDE, SIDE), mode='bilinear', antialias=True, align_corners=False)
    return t[0].round().clamp(0, 255).byte().permute(1, 2, 0).numpy(), SIDE / n, (x0, y0)


def job(seed, cams=6, shots=9, quick=False):
    import gen_motion as gen, render as rd, gl as G, scene as S
    from char import Character, BONES
    from rig import Rig, nz
    r = np.random.default_rng(seed); rng = np.random.RandomState(seed)
    m = motion_of(r, gen); m['events'] = rd.flat_events(m['events']); rd.recentre(m)
    a = look_of(r, rd, seed)
    ch = Character(a['sex'], a['race'], a['age'], a['muscle'], a['weight'], m['height_m'], a); rig = Rig(ch, m)
    lo = []
    for i in range(0, rig.n, max(1, rig.n // 15)):
        M = rig.pose_frame(i)
        lo.append(min(min((M[BONES.index('foot' + s), :, :3] @ np.array([p[0], ch.sole_y, p[2]]) + M[BONES.index('foot' + s), :, 3])[2] for p in (ch.kp[q + '_heel'][0], ch.kp[q + '_big_toe'][0] - [0, 0, .03])) for s, q in (('.L', 'l'), ('.R', 'r'))))
    rig.zoff = -float(np.percentile(lo, 50)); rig._pc = {}
    sg = 1 if m['bats'] == 'R' else -1
    W, H = [(1280, 720), (720, 1280), (960, 540), (1600, 900)][r.choice(4, p=[.45, .2, .2, .15])]
    view = 'rear' if r.random() < .5 else 'open'
    scene = list(rd.SCENES)[r.integers(len(rd.SCENES))]
    gl = G.GL(W, H, smap=1024)
    plain, mine = patch_backdrop(S, r); S.backdrop = mine
    try: sc = rd.build_scene(gl, scene, rng, m['bats'], view, -sg * .98)
    finally: S.backdrop = plain
    me = gl.person(ch); bl = float(np.median(np.linalg.norm(rig.tip - rig.knob, axis=1))); bat = bat_mesh(gl, G, r, a['bat'], bl)
    two = bat2 = None
    if r.random() < .3:
        a2 = look_of(r, rd, seed + 77); a2.update(headgear='cap', age=1.0, sex='male', ponytail=False, weight=.6)
        ch2 = Character(a2['sex'], a2['race'], 1.0, .5, .6, 1.80, a2); two = gl.person(ch2)
        if r.random() < .6: bat2 = bat_mesh(gl, G, r, a2['bat'], .84)
    t_c = m['events']['contact_s']; t_p = m['events']['foot_plant_full_s']; dur = (rig.n - 1) / rig.fps
    out = dict(bat=[], bat_y=[], feet=[], feet_y=[], info=[])
    K = 4 if not quick else 2
    first_clutter = len(gl.scen)
    for ci in range(cams):
        # ---- camera
        asp = W / H; fov = r.uniform(45, 75); f = (max(W, H) / 2) / np.tan(np.radians(fov) / 2)
        d = r.uniform(.75, 1.5) * m['height_m'] * f / (.62 * min(H, W * 1.2)) ; d = float(np.clip(d, 2.2, 12))
        az = r.normal(0, 14) if r.random() < .8 else r.uniform(-45, 45); hgt = r.uniform(.5, 2.0)
        back = np.array([.12, -sg, 0]) if view == 'open' else np.array([-1., -sg * r.uniform(-.05, .25), 0])
        c_, s_ = np.cos(np.radians(az)), np.sin(np.radians(az)); v = back / np.linalg.norm(back); v = np.array([c_ * v[0] - s_ * v[1], s_ * v[0] + c_ * v[1], 0])
        tgt = np.array([.1 * (view == 'open'), 0, m['height_m'] * .55]) + r.normal(0, .15, 3); base = np.array([tgt[0], tgt[1], hgt]) + v * d
        V = G.look(base, tgt); ro = np.radians(r.normal(0, 2.5)); Rz = np.eye(4); Rz[:2, :2] = [[np.cos(ro), -np.sin(ro)], [np.sin(ro), np.cos(ro)]]; V = Rz @ V
        proj = lambda X: (lambda c: np.stack([f * c[:, 0] / -c[:, 2] + W / 2, -f * c[:, 1] / -c[:, 2] + H / 2, -c[:, 2]], 1))((V[:3, :3] @ np.atleast_2d(X).T + V[:3, 3:]).T)
        gl.scen = gl.scen[:first_clutter]; clutter(gl, G, r, base, tgt)
        # ---- light
        lk = sc['light']; cd = nz(base - tgt); el = np.radians(r.uniform(25, 75)); az_l = np.arctan2(cd[1], cd[0]) + r.uniform(-1.6, 1.6)
        warm = 1 + r.normal(0, .12, 3); g1, g2 = r.uniform(.4, 2.4), r.uniform(.9, 2.6)
        L = dict(suncol=np.array([1, .95, .88]) * g1 * warm, skycol=np.array([.95, 1, 1.05]) * g2 * warm, amb=np.array([.24, .25, .26]), gnd=np.array([.2, .18, .14]), soft=r.choice([.02, .15, .3]), clear=(.5, .6, .7))
        sd = np.array([np.cos(el) * np.cos(az_l), np.cos(el) * np.sin(az_l), np.sin(el)])
        expo = r.uniform(.35, .95) * 2.9 / (g1 + g2 * .6 + .3); wb = 1 + r.uniform(-.08, .08, 3); centre = np.array([0, 0, .9]); lights = []
        for k in range(K):
            th = 2 * np.pi * rd.halton(k + 1, 2); rr = L['soft'] * np.sqrt(rd.halton(k + 1, 3)); ux = nz(np.cross(sd, [0, 0, 1.])); uy = np.cross(ux, sd); sdir = nz(sd + rr * (np.cos(th) * ux + np.sin(th) * uy))
            ph = 2 * np.pi * ((k + .5) / K * 2.618 % 1); ce = .32 + .64 * (k + .5) / K; se = np.sqrt(1 - ce * ce); kd = np.array([se * np.cos(ph), se * np.sin(ph), ce])
            SUN = G.ortho(2.1, .1, 20.) @ G.look(centre + sdir * 10, centre); SKY = G.ortho(2.0, .1, 20.) @ G.look(centre + kd * 10, centre, (0, 1, 0.01))
            lights.append((sdir, kd, SUN, SKY, dict(L, sundir=sdir, skydir=kd, skycol=L['skycol'] * 1.25)))
        kavg = float(np.mean([l[1][2] for l in lights]))
        gl.bake_bg(W, H, [(G.persp(f, f, W / 2 + rd.halton(q + 1, 2) - .5, H / 2 + rd.halton(q + 1, 3) - .5, W, H) @ V, base, lights[q % K][4], lights[q % K][2], lights[q % K][3]) for q in range(4)])
        if two is not None:
            side = np.cross(v, [0, 0, 1.]); pos2 = -v * r.uniform(-.5, 4) + side * r.choice([-1, 1]) * r.uniform(.9, 2.2); pos2[2] = 0; yw = r.uniform(0, 6.28)
            M2 = np.zeros((len(BONES), 3, 4)); cc, ss = np.cos(yw), np.sin(yw); B = np.array([[cc, 0, ss], [ss, 0, -cc], [0, 1, 0]]); M2[:, :, :3] = B; M2[:, :, 3] = pos2 + [0, 0, -ch2.sole_y]
            for sd_, sgx in (('.L', 1), ('.R', -1)):
                x = ch2.J['upperarm01' + sd_ + '____head']; an = -sgx * np.radians(r.uniform(5, 40)); Ra = np.array([[np.cos(an), -np.sin(an), 0], [np.sin(an), np.cos(an), 0], [0, 0, 1]])
                for bi, b in enumerate(BONES):
                    if b.endswith(sd_) and b.startswith(('upperarm', 'lowerarm', 'wrist', 'finger')): M2[bi, :, :3] = B @ Ra; M2[bi, :, 3] = B @ (x - Ra @ x) + M2[0, :, 3]
            gl.setpose(two, M2)
            if bat2 is not None:
                hand = M2[BONES.index('wrist.R'), :, :3] @ ch2.J['wrist.R____head'] + M2[BONES.index('wrist.R'), :, 3]; dd = nz(r.normal(0, 1, 3)); bat2['M'] = rd.rigid(hand - dd * .1, hand + dd * .74)
        gone = r.random() < .12; bat['on'] = not gone
        for _ in range(shots):
            q = r.random(); t = r.uniform(.3, t_p) if q < .45 else (r.uniform(t_p - .06, t_p + .06) if q < .6 else (r.uniform(t_p, t_c + .03) if q < .88 else r.uniform(t_c, min(t_c + .45, dur - .02))))
            shutter = float(np.exp(r.uniform(np.log(1 / 2500), np.log(1 / 70))))

            def put(ts):
                M, kn, tp = rig.pose(ts); gl.setpose(me, M); bat['M'] = rd.rigid(kn, tp); return M, kn, tp
            M, kn, tp = put(t); kp = rig.keypoints(M); uv = proj(kp); KP = rig.KP; ix = KP.index
            torso = np.linalg.norm(uv[[ix('left_shoulder'), ix('right_shoulder')], :2].mean(0) - uv[[ix('left_hip'), ix('right_hip')], :2].mean(0))
            if torso < 40: continue
            Z = gl.depth(G.persp(f, f, W / 2, H / 2, W, H) @ V)

            def state(p, tol):
                x, y, z = p
                if not (0 <= x < W and 0 <= y < H): return 1.
                zz = 2 * 150. * .3 / (150. + .3 - (Z[int(y), int(x)] * 2 - 1) * (150. - .3)); return 2. if z - zz < tol else 1.
            gl.begin(np.eye(3), (0, 0, W, H)); ctr = (float(kp[11:13, 0].mean()), float(kp[11:13, 1].mean()))
            for k in range(K):
                put(t + ((k + .5) / K - .5) * shutter); sdir, kd, SUN, SKY, Lk = lights[k]
                gl.shadow(gl.sunf, SUN); gl.shadow(gl.skyf, SKY)
                gl.fast(G.persp(f, f, W / 2 + rd.halton(k + 1, 2) - .5, H / 2 + rd.halton(k + 1, 3) - .5, W, H) @ V, base, Lk, SUN, SKY, np.eye(3), kavg, ctr); gl.accumulate(1.0 / K, k == 0)
            gl.afbo.scissor = None; img = np.ascontiguousarray(gl.resolve(expo, wb))
            # ---- crops
            wr = kp[[ix('left_wrist'), ix('right_wrist')]].mean(0); bd = nz(tp - kn); grip = kn + bd * np.clip((wr - kn) @ bd, .02, .25)
            hands = uv[[ix('left_wrist'), ix('right_wrist')], :2].mean(0)
            c = hands + r.normal(0, .18, 2) * torso; half = BAT_HALF * torso * np.exp(r.normal(0, .12))
            im, s, o = cut(img, c, half); y = [[(p[0] - o[0]) * s, (p[1] - o[1]) * s, 0. if gone else state(p, .06)] for p in proj(np.array([kn, grip, tp]))]
            out['bat'].append(im); out['bat_y'].append(y)
            legs = uv[[ix(n) for n in ('left_knee', 'right_knee', 'left_ankle', 'right_ankle')], :2].mean(0); c = legs + r.normal(0, .12, 2) * torso; half = FEET_HALF * torso * np.exp(r.normal(0, .1))
            im, s, o = cut(img, c, half); y = [[(p[0] - o[0]) * s, (p[1] - o[1]) * s, state(p, .1 if 'ankle' in n else .05)] for n in ('left_ankle', 'left_heel', 'left_big_toe', 'right_ankle', 'right_heel', 'right_big_toe') for p in [uv[ix(n)]]]
            out['feet'].append(im); out['feet_y'].append(y); out['info'].append([view == 'rear', sg, t - t_p, t - t_c, shutter, torso])
    gl.ctx.release()
    return {k: np.array(v, np.uint8 if k in ('bat', 'feet') else np.float32) for k, v in out.items()}


def worker(k, a, counter, stop):
    os.environ.update(OMP_NUM_THREADS='1', OPENBLAS_NUM_THREADS='1')
    shim_cv2(); sys.path.insert(0, a.renderer)
    import torch
    torch.set_num_threads(1)
    import moderngl
    if a.devices > 1:
        plain = moderngl.create_standalone_context
        moderngl.create_standalone_context = lambda **kw: plain(device_index=k % a.devices, **kw)
    while time.time() < stop:
        with counter.get_lock(): seed = counter.value; counter.value += 1
        t = time.time()
        try:
            d = job(seed)
            if len(d['bat']): np.savez(os.path.join(a.out, f'{seed}.tmp.npz'), **d); os.rename(os.path.join(a.out, f'{seed}.tmp.npz'), os.path.join(a.out, f'{seed}.npz'))
            if k == 0: print(f'job {seed}: {len(d["bat"])} crops in {time.time() - t:.1f} s', flush=True)
        except Exception as e:  # one bad draw loses one job
            print('job', seed, 'failed:', repr(e), flush=True)


if __name__ == '__main__':
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument('--renderer', required=True); p.add_argument('--out', required=True); p.add_argument('--seed', type=int, default=1); p.add_argument('--seconds', type=float, default=540); p.add_argument('--procs', type=int, default=os.cpu_count()); p.add_argument('--devices', type=int, default=1)
    a = p.parse_args(); os.makedirs(a.out, exist_ok=True); mp.set_start_method('spawn')
    counter = mp.Value('q', a.seed); stop = time.time() + a.seconds
    ps = [mp.Process(target=worker, args=(k, a, counter, stop)) for k in range(a.procs)]
    [q.start() for q in ps]; [q.join() for q in ps]
    print('jobs', counter.value - a.seed)
