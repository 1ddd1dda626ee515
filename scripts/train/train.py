"""Trains the bat network or the feet network on the crops of crops.py and writes it as ONNX. See README.md here.

    python3 train.py --data DIR --what bat|feet --out DIR --minutes 7 --seed 1
"""
import argparse, glob, json, math, os, time
import numpy as np
import torch
import torch.nn.functional as F
from net import PointNet

WHAT = {'bat': dict(points=3, keep=.80, swap=None), 'feet': dict(points=6, keep=.79, swap=[3, 4, 5, 0, 1, 2])}
NAMES = {'bat': ['knob', 'grip', 'tip'], 'feet': ['left_ankle', 'left_heel', 'left_big_toe', 'right_ankle', 'right_heel', 'right_big_toe']}


def load(d, what):
    fs = sorted(glob.glob(f'{d}/*.npz'), key=lambda f: int(os.path.basename(f).split('.')[0])); fs = [f for f in fs if 'tmp' not in f]
    X, Y, I, J = [], [], [], []
    for k, f in enumerate(fs):
        z = np.load(f); X.append(z[what]); Y.append(z[what + '_y']); I.append(z['info']); J.append(np.full(len(z['info']), k))
    X = torch.from_numpy(np.concatenate(X)).permute(0, 3, 1, 2); return X, torch.from_numpy(np.concatenate(Y)), np.concatenate(I), np.concatenate(J), len(fs)


def dct(dev):
    k = torch.arange(8, device=dev).float(); D = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * .5; D[0] /= math.sqrt(2); return D


def augment(x, y, cfg, D, hard=True):
    """x (n,3,320,320) uint8, y (n,P,3) px of that. Returns (n,3,256,256) 0..1 and y in px of it."""
    n, dev = len(x), x.device; x = x.float() / 255; rnd = lambda *s: torch.rand(*s, device=dev); nrm = lambda *s: torch.randn(*s, device=dev)
    ang = nrm(n) * (.2 if hard else 0); sc = cfg['keep'] * torch.exp(nrm(n) * (.1 if hard else 0)); fl = torch.where(rnd(n) < .5, -1., 1.) if hard else torch.ones(n, device=dev)
    tx, ty = (nrm(n) * .05, nrm(n) * .05) if hard else (torch.zeros(n, device=dev),) * 2
    c, s = torch.cos(ang), torch.sin(ang)
    A = torch.stack([torch.stack([sc * c * fl, -sc * s], 1), torch.stack([sc * s * fl, sc * c], 1)], 1)         # output -1..1 to input -1..1
    th = torch.cat([A, torch.stack([tx, ty], 1)[:, :, None]], 2)
    img = F.grid_sample(x, F.affine_grid(th, (n, 3, 256, 256), align_corners=False), mode='bilinear', padding_mode='zeros', align_corners=False)
    q = y[:, :, :2] / 160 - 1; q = torch.linalg.solve(A, (q - th[:, None, :, 2]).transpose(1, 2)).transpose(1, 2); p = torch.cat([(q + 1) * 128, y[:, :, 2:]], 2)
    if cfg['swap']: p = torch.where((fl < 0)[:, None, None], p[:, cfg['swap']], p)
    if not hard: return img, p
    # blur by size, then light and colour, noise, blocks of lossy coding, covered pieces
    for f in (2, 3):
        m = rnd(n) < .12
        if m.any(): img[m] = F.interpolate(F.interpolate(img[m], size=256 // f, mode='area'), size=256, mode='bilinear', align_corners=False)
    m = rnd(n) < .25
    if m.any():
        b = F.avg_pool2d(F.pad(img[m], (1, 1, 1, 1), mode='replicate'), 3, 1); img[m] = img[m] + (img[m] - b) * (rnd(int(m.sum()), 1, 1, 1) * 3 - .5)
    M = torch.eye(3, device=dev)[None] + nrm(n, 3, 3) * .08 * (rnd(n, 1, 1) < .7); img = torch.einsum('nij,njhw->nihw', M, img)
    img = img.clamp(0, 1) ** torch.exp(nrm(n, 1, 1, 1) * .25); mean = img.mean((2, 3), keepdim=True)
    img = (img - mean) * torch.exp(nrm(n, 1, 1, 1) * .2) + mean + nrm(n, 1, 1, 1) * .06
    g = rnd(n) < .06; img[g] = img[g].mean(1, keepdim=True).expand(-1, 3, -1, -1)
    img = img + nrm(*img.shape) * (rnd(n, 1, 1, 1) ** 2 * .06)
    m = rnd(n) < .5
    if m.any():
        t = img[m]; k = len(t); b = t.reshape(k, 3, 32, 8, 32, 8).permute(0, 1, 2, 4, 3, 5); C = D @ b @ D.T
        u = torch.arange(8, device=dev).float(); st = (.01 + .012 * (u[:, None] + u[None])) * (torch.exp(rnd(k, 1, 1, 1, 1, 1) * 2.2 - .9)); C = torch.round(C / st) * st
        img[m] = (D.T @ C @ D).permute(0, 1, 2, 4, 3, 5).reshape(k, 3, 256, 256)
    yy = torch.arange(256, device=dev).float()
    for _ in range(2):
        on = (rnd(n) < .25).float(); cx, cy, w, h = rnd(n) * 256, rnd(n) * 256, torch.exp(rnd(n) * 2.3 + 1.2), torch.exp(rnd(n) * 2.3 + 1.2)
        k = ((yy[None] - cx[:, None]).abs() < w[:, None])[:, None, None, :] & ((yy[None] - cy[:, None]).abs() < h[:, None])[:, None, :, None]
        img = torch.where(k & (on > 0)[:, None, None, None], rnd(n, 3, 1, 1).expand_as(img), img)
    return img.clamp(0, 1), p


def losses(net, img, p):
    h, pl, z = net.logits(img); h, pl, z = h.float(), pl.float(), z.float(); n, P = h.shape[:2]; dev = h.device
    c = p[:, :, :2] / 4 - .5; inside = (c[..., 0] > -.5) & (c[..., 0] < 63.5) & (c[..., 1] > -.5) & (c[..., 1] < 63.5); there = inside & (p[..., 2] > 0)
    g = torch.arange(64, device=dev).float()
    ex = torch.exp(-.5 * ((g - c[..., :1]) / .8) ** 2); ey = torch.exp(-.5 * ((g - c[..., 1:2]) / .8) ** 2)
    T = ey[..., :, None] * ex[..., None, :]; T = T / T.sum((2, 3), keepdim=True).clamp_min(1e-9) * there[..., None, None]
    t = torch.cat([T.reshape(n, P, -1), (~there).float()[..., None]], 2)
    lp = F.log_softmax(torch.cat([h.reshape(n, P, -1), z[..., None]], 2), 2); ce = -(t * lp).sum(2)
    d = pl.reshape(n, P, 3, 64, 64)
    dx = (c[..., 0, None, None] - g[None, None, None, :]) - d[:, :, 0]; dy = (c[..., 1, None, None] - g[None, None, :, None]) - d[:, :, 1]; lb = d[:, :, 2].clamp(-5, 3)
    r = torch.sqrt(dx ** 2 + dy ** 2 + 1e-6); nll = (T * (r * torch.exp(-lb) + 2 * lb)).sum((2, 3))   # two-dimensional Laplace: density ~ exp(-r/b) / b^2
    return ce.mean(), nll.sum() / there.sum().clamp_min(1)


def decode(q, pl, z):
    """Peak cell, mean of cell + place over its 5 x 5 neighbourhood, Laplace scale there; px of the crop."""
    n, P = q.shape[:2]; dev = q.device; k = q.reshape(n, P, -1).argmax(2); y, x = k // 64, k % 64; d = pl.float().reshape(n, P, 3, 64, 64); qs = q
    acc = torch.zeros(n, P, 3, device=dev); w = torch.zeros(n, P, 1, device=dev); ni, pi = torch.arange(n, device=dev)[:, None], torch.arange(P, device=dev)[None]
    for j in range(-2, 3):
        for i in range(-2, 3):
            yy, xx = (y + j), (x + i); ok = (yy >= 0) & (yy < 64) & (xx >= 0) & (xx < 64); yy, xx = yy.clamp(0, 63), xx.clamp(0, 63); v = qs[ni, pi, yy, xx] * ok; e = d[ni, pi, :, yy, xx]
            acc += v[..., None] * torch.stack([xx + e[..., 0], yy + e[..., 1], e[..., 2]], 2); w += v[..., None]
    m = acc / w.clamp_min(1e-9); return torch.stack([(m[..., 0] + .5) * 4, (m[..., 1] + .5) * 4, torch.exp(m[..., 2].clamp(-5, 3)) * 4, w[..., 0], z], 2)


def report(net, X, Y, I, cfg, what, D):
    net.eval(); o, t = [], []
    with torch.no_grad():
        for i in range(0, len(X), 256):
            img, p = augment(X[i:i + 256], Y[i:i + 256], cfg, D, False); q, pl, z = net(img); o.append(decode(q.float(), pl, z.float())); t.append(p)
    o, t = torch.cat(o).cpu().numpy(), torch.cat(t).cpu().numpy(); e = np.hypot(o[..., 0] - t[..., 0], o[..., 1] - t[..., 1]); px = 256 / (2 * (2.2 if what == 'bat' else 1.5)); out = {}
    ins = (t[..., 2] > 0) & (t[..., :2] > 0).all(2) & (t[..., :2] < 256).all(2)
    for k, nm in enumerate(NAMES[what]):
        for st, lab in ((2, 'seen'), (1, 'hidden')):
            m = ins[:, k] & (t[:, k, 2] == st)
            if m.sum() > 5: out[f'{nm} {lab}'] = [int(m.sum())] + [round(float(np.percentile(e[m, k] / px, q)), 4) for q in (50, 90, 97)] + [round(float((e[m, k] < o[m, k, 2] * 2.15).mean()), 3)]
    if what == 'bat':
        dr = lambda a: np.degrees(np.arctan2(a[:, 2, 1] - a[:, 0, 1], a[:, 2, 0] - a[:, 0, 0])); da = np.abs((dr(o) - dr(t) + 180) % 360 - 180); both = ins[:, 0] & ins[:, 2]
        L = np.hypot(*(t[:, 2, :2] - t[:, 0, :2]).T) / px
        for lab, m in (('before plant', I[:, 2] < 0), ('plant..contact', (I[:, 2] >= 0) & (I[:, 3] <= 0)), ('after', I[:, 3] > 0), ('short', L < .7)):
            m = m & both
            if m.sum() > 5: out['direction ' + lab] = [int(m.sum())] + [round(float(np.percentile(da[m], q)), 2) for q in (50, 75, 90, 97)]
        if (t[:, 2, 2] == 0).any() and both.any(): out['absent: none / some'] = [round(float(v), 3) for v in (np.median(o[t[:, 2, 2] == 0, 2, 4]), np.percentile(o[t[:, 2, 2] == 0, 2, 4], 10), np.median(o[both, 2, 4]), np.percentile(o[both, 2, 4], 95))]
    return out


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument('--data', required=True); a.add_argument('--what', required=True, choices=list(WHAT)); a.add_argument('--out', required=True); a.add_argument('--minutes', type=float, default=7); a.add_argument('--seed', type=int, default=1); a.add_argument('--batch', type=int, default=256); a.add_argument('--device', default='cuda')
    a = a.parse_args(); torch.manual_seed(a.seed); np.random.seed(a.seed); dev = a.device; cfg = WHAT[a.what]; torch.backends.cudnn.benchmark = True; os.makedirs(a.out, exist_ok=True)
    X, Y, I, J, jobs = load(a.data, a.what); held = J % 20 == 0; tr = torch.from_numpy(np.where(~held)[0]).to(dev); X, Y = X.to(dev), Y.to(dev).float(); vi = torch.from_numpy(np.where(held)[0]).to(dev)
    print(a.what, len(X), 'crops of', jobs, 'hitters,', len(tr), 'for training', flush=True); D = dct(dev)
    net = PointNet(cfg['points']).to(dev).to(memory_format=torch.channels_last); ema = PointNet(cfg['points']).to(dev); ema.load_state_dict(net.state_dict())
    print('parameters', sum(p.numel() for p in net.parameters())); opt = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=.02)
    t0 = time.time(); T = a.minutes * 60; step = 0; last = 0
    while (el := time.time() - t0) < T:
        net.train(); u = el / T; lr = 2.5e-3 * min(1, step / 500 + .02) * (.5 + .5 * math.cos(math.pi * u)) + 1e-6
        for gq in opt.param_groups: gq['lr'] = lr
        i = tr[torch.randint(len(tr), (a.batch,), device=dev)]
        with torch.no_grad(): img, p = augment(X[i], Y[i], cfg, D)
        with torch.autocast('cuda', torch.bfloat16, enabled=dev == 'cuda'): ce, nl = losses(net, img.contiguous(memory_format=torch.channels_last), p)
        loss = ce + .3 * nl; opt.zero_grad(set_to_none=True); loss.backward(); torch.nn.utils.clip_grad_norm_(net.parameters(), 2.); opt.step(); step += 1
        with torch.no_grad():
            w = min(.9995, (1 + step) / (10 + step))
            for e, s in zip(ema.state_dict().values(), net.state_dict().values()):
                if e.dtype.is_floating_point: e.lerp_(s, 1 - w)
                else: e.copy_(s)
        if step in (1, 2, 3, 10, 50) or el - last > 20: last = el; print(f'{el:.0f} s step {step} ce {ce.item():.3f} nll {nl.item():.3f}', flush=True)
    print('steps', step, 'crops a second', round(step * a.batch / T)); rep = report(ema, X[vi], Y[vi], I[held], cfg, a.what, D)
    for k, v in rep.items(): print(k, v)
    json.dump(rep, open(f'{a.out}/{a.what}.json', 'w'), indent=1); torch.save(ema.state_dict(), f'{a.out}/{a.what}.pt')
    cpu = PointNet(cfg['points']); cpu.load_state_dict(ema.state_dict()); cpu.eval()
    torch.onnx.export(cpu, (torch.rand(1, 3, 256, 256),), f'{a.out}/{a.what}.onnx', input_names=['image'], output_names=['heat', 'place', 'absent'], opset_version=17, dynamo=False)
    import onnxruntime as ort
    s = ort.InferenceSession(f'{a.out}/{a.what}.onnx'); img, _ = augment(X[vi[:1]], Y[vi[:1]], cfg, D, False); q = s.run(None, {'image': img.cpu().numpy()})[0]
    with torch.no_grad(): print('export differs by', float(np.abs(q - cpu(img.cpu())[0].numpy()).max()))
    if a.what == 'bat' or True: np.savez(f'{a.out}/{a.what}_sample.npz', image=img.cpu().numpy(), heat=q)


if __name__ == '__main__': main()
