"""Trains the lifting network and writes it as ONNX. See README.md one folder up.

    python3 train.py --out DIR --seconds 300 --swings 48000 --procs 15 --seed 1 [--check]

--check makes a short run of everything, export included, and stops with an error where something does not fit."""
import argparse
import copy
import json
import math
import os
import queue
import threading
import time

import numpy as np
import torch

import look
import swings
from look import ANGLES, CHANNELS, STEPS, sample
from net import QUANTILES, Lift

FPS = [25, 30, 30, 60, 60, 60, 60, 50, 120, 240]
CHUNK = 4                        # batches filmed at once, which costs little more than one


def pinball(e, q):
    return torch.maximum(q * e, (q - 1) * e)


def loss_of(out, want, w, const):
    q, bat, J = out
    A, bw, bc, J3 = want
    w = w / w.sum()
    la = (pinball(A[..., None] - q, const['q']).mean(-1) * const['w']).sum(-1) / 40
    lb = 0
    for i, b in enumerate((bw, bc)):
        d = (bat[:, :, i, :3] - b).norm(dim=-1)
        ang = 2 * torch.asin((d / 2).clamp(max=.9999)) * (180 / math.pi)
        lb = lb + .4 * d + .2 * pinball(ang.detach()[..., None] - bat[:, :, i, 3:], const['e']).mean(-1) / 40
    lj = (J - J3).abs().mean((-1, -2))
    return (w * (la + lb + 1.5 * lj)).sum(), (w * la).sum()


def report(net, X, T, dev, out, **how):
    """Errors and coverage of the angles at plant on motions kept out, by view."""
    net.eval()
    res = {}
    for view, name in ((0, 'open'), (1, 'rear')):
        E, C1, C2, S = [], [], [], []
        for i in range(0, len(X), 250):
            x = X[i:i + 250].to(dev)
            v = torch.full((len(x),), view, device=dev)
            with torch.no_grad():
                inp, (A, *_), valid, _ = sample(x, T[i:i + 250].to(dev), v, 60, dev, **how)
                q = net(inp)[0]
            k = 75                                                               # plant: 1.5 s at 50 per second
            a, p = A[:, k], q[:, k]
            E.append(a - p[..., 2])
            C1.append((a > p[..., 1]) & (a < p[..., 3]))
            C2.append((a > p[..., 0]) & (a < p[..., 4]))
            S.append((p[..., 3] - p[..., 1]) / 2)
        E, C1, C2, S = (torch.cat(z).float() for z in (E, C1, C2, S))
        for j, n in enumerate(ANGLES):
            res[f'{name} {n}'] = [round(float(z), 2) for z in (E[:, j].abs().median(), E[:, j].pow(2).mean().sqrt(), E[:, j].mean(), C1[:, j].mean(), C2[:, j].mean(), S[:, j].median())]
            print('%-5s%-28s median %.1f rmse %.1f bias %.1f in68 %.2f in90 %.2f sigma %.1f' % (name, n, *res[f'{name} {n}']), file=out, flush=True)
    return res


def export(net, x, path):
    net = net.cpu().eval()
    kw = dict(input_names=['track'], output_names=['angles', 'bat', 'joints'], opset_version=17)
    try:
        torch.onnx.export(net, (x,), path, dynamo=False, **kw)
    except TypeError:                                                            # older releases know no other way
        torch.onnx.export(net, (x,), path, **{**kw, 'opset_version': 16})
    with torch.no_grad():
        want = [o.numpy() for o in net(x)]
    try:
        import onnxruntime
    except ImportError:
        print('not compared: no onnxruntime')
        return want
    got = onnxruntime.InferenceSession(path, providers=['CPUExecutionProvider']).run(None, {'track': x.numpy()})
    print('export differs by', [float(np.abs(a - b).max()) for a, b in zip(got, want)], 'bytes', os.path.getsize(path), flush=True)
    assert np.abs(got[0] - want[0]).max() < .05
    return want


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument('--out', required=True)
    a.add_argument('--seconds', type=float, default=300)
    a.add_argument('--swings', type=int, default=48000)
    a.add_argument('--procs', type=int, default=os.cpu_count() - 1)
    a.add_argument('--seed', type=int, default=1)
    a.add_argument('--batch', type=int, default=512)
    a.add_argument('--rate', type=float, default=1.2e-3)
    a.add_argument('--start', help='weights to go on from')
    a.add_argument('--noise', help='other errors than noise.npz')
    a.add_argument('--device', default='cuda')
    a.add_argument('--compile', type=int, default=1)
    a.add_argument('--check', action='store_true')
    a = a.parse_args()
    if a.check:
        a.swings, a.seconds, a.compile = 500, 4, 0
    dev, B = a.device, a.batch
    look.NOISE = a.noise or look.NOISE
    torch.manual_seed(a.seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    os.makedirs(a.out, exist_ok=True)
    t0 = time.time()
    # Motions come in while training runs; the first ones are kept out.
    line = queue.Queue()
    held_n = min(2500, a.swings // 4)

    def feed():
        for b in swings.stream(held_n + a.swings, a.seed, a.procs):
            line.put(b)
        line.put(None)

    threading.Thread(target=feed, daemon=True).start()
    held, have = [], 0
    X = torch.empty(a.swings, swings.COUNT, len(swings.POINTS), 3, dtype=torch.float16, device=dev)
    T = torch.empty(a.swings, device=dev)

    def take(block):
        nonlocal have, open_
        b = line.get(block=block)
        if b is None:
            open_ = False
            return
        x, t = torch.from_numpy(b[0]), torch.from_numpy(b[1])
        if len(held) * len(x) < held_n:
            held.append((x, t))
            return
        n = min(len(x), a.swings - have)
        X[have:have + n], T[have:have + n] = x[:n].to(dev), t[:n].to(dev)
        have += n

    open_ = True
    while open_ and have < min(a.swings, 4000):
        take(True)
    print('%d motions after %.0f s' % (have, time.time() - t0), flush=True)
    net = Lift().to(dev)
    if a.start:
        net.load_state_dict(torch.load(a.start, map_location=dev))
    ema = copy.deepcopy(net).eval()
    print('parameters', sum(p.numel() for p in net.parameters()), flush=True)
    opt = torch.optim.AdamW(net.parameters(), a.rate, weight_decay=.02, betas=(.9, .98), fused=dev == 'cuda')
    const = dict(q=torch.tensor(QUANTILES, device=dev), e=torch.tensor([.68, .90], device=dev),
                 w=torch.tensor([1.2, 1.2, 1.2, 1.2, 1.0, 1.4, 1.2, 1., .7, .6, .6, .3, .3], device=dev))
    if a.compile:
        torch._dynamo.config.suppress_errors = True                              # slower, but never stopped
    fast, step_loss = (torch.compile(net), torch.compile(loss_of)) if a.compile else (net, loss_of)
    t0, it, total, chunk, fps = time.time(), 0, [], [], torch.tensor(FPS, device=dev, dtype=torch.float32)
    while True:
        pr = (time.time() - t0) / a.seconds
        if pr >= 1:
            break
        for g in opt.param_groups:
            g['lr'] = a.rate * min(1, (it + 1) / 400) * .5 * (1 + math.cos(math.pi * pr)) + 1e-6
        while open_ and not line.empty():
            take(False)
        if not chunk:
            with torch.no_grad():
                i = torch.randint(0, have, (B * CHUNK,), device=dev)
                view = torch.randint(0, 2, (B * CHUNK,), device=dev)
                x, want, _, w = sample(X[i], T[i], view, fps[torch.randint(0, len(FPS), (B * CHUNK,), device=dev)], dev)
                chunk = list(zip(x.split(B), zip(*(v.split(B) for v in want)), w.split(B)))
                del x, want, w
        x, want, w = chunk.pop()
        with torch.autocast('cuda' if dev == 'cuda' else 'cpu', dtype=torch.bfloat16, enabled=dev == 'cuda'):
            out = fast(x)
        l, la = step_loss(out, want, w, const)
        opt.zero_grad(set_to_none=True)
        l.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.)
        opt.step()
        with torch.no_grad():
            k = min(.9995, (it + 1) / (it + 10))
            torch._foreach_mul_(list(ema.parameters()), k)
            torch._foreach_add_(list(ema.parameters()), list(net.parameters()), alpha=1 - k)
        it += 1
        if it % 50 == 0:
            total.append(float(la.detach()))
        if it in (2, 10) or it % 1000 == 0:
            print('step %d %.0f s angles %.4f motions %d' % (it, time.time() - t0, np.mean(total[-20:]) if total else float(la), have), flush=True)
    print('steps', it, flush=True)
    assert np.isfinite(float(l))
    torch.save(ema.state_dict(), f'{a.out}/lift.pt')
    hx, ht = torch.cat([h[0] for h in held]), torch.cat([h[1] for h in held])
    x1, *_ = sample(hx[:1].to(dev), ht[:1].to(dev), torch.zeros(1, dtype=torch.long, device=dev), 60, dev)
    export(copy.deepcopy(ema), x1.float().cpu(), f'{a.out}/lift.onnx')
    np.savez_compressed(f'{a.out}/held.npz', X=hx[:400].numpy(), T=ht[:400].numpy())
    with open(f'{a.out}/report.txt', 'w') as f:
        for title, how in (('noise of the track', {}), ('camera set by eye', dict(nominal=True)), ('perfect points', dict(clean=True))):
            print(title, file=f)
            res = report(ema, hx, ht, dev, f, **how)
            print(title, {k: v for k, v in res.items() if any(s in k for s in (' shoulder_turn', ' hip_turn', ' separation')) and 'since' not in k or 'shoulder_turn_since' in k}, flush=True)


if __name__ == '__main__':
    main()
