"""Trains the last block and the head of a trained network again, on a CPU: for another model of the track's errors.

    python3 adapt.py --start lift.pt --out DIR --windows 6000 --seconds 600 --seed 3

What the blocks before make of the windows is computed once, so a step costs little."""
import argparse
import copy
import math
import os
import time

import numpy as np
import torch

import swings
from look import REAR, sample
from net import QUANTILES, Lift
from train import FPS, export, loss_of


def body(net, x):
    mask = ((x[:, :, 60] - 1) * 1e4)[:, None, None, :]
    h = net.inp(x.transpose(1, 2)).transpose(1, 2) + net.place
    for b in net.blocks[:-1]:
        h = b(h, mask)
    return h


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument('--start', required=True)
    a.add_argument('--out', required=True)
    a.add_argument('--windows', type=int, default=6000)
    a.add_argument('--rear', type=float, default=.6, help='share of windows from behind')
    a.add_argument('--seconds', type=float, default=600)
    a.add_argument('--batch', type=int, default=96)
    a.add_argument('--rate', type=float, default=5e-4)
    a.add_argument('--seed', type=int, default=3)
    a = a.parse_args()
    torch.manual_seed(a.seed)
    os.makedirs(a.out, exist_ok=True)
    net = Lift()
    net.load_state_dict(torch.load(a.start, map_location='cpu'))
    net.eval()
    t0, keep = time.time(), []
    motions = None
    for i in range(0, a.windows, 250):
        if i % 500 == 0:                                   # each motion is seen twice
            X, T = swings.generate(250, a.seed * 7919 + i)
            motions = torch.from_numpy(X), torch.from_numpy(T)
        view = (torch.rand(250) < a.rear).long() * REAR
        with torch.no_grad():
            x, want, valid, w = sample(*motions, view, FPS[int(torch.randint(0, len(FPS), (1,)))], 'cpu')
            keep.append((body(net, x).half(), x[:, :, 60].half(), [v.half() for v in want[:3]], want[3].half(), w.half()))
        print('windows %d %.0f s' % (i + 250, time.time() - t0), flush=True)
    cat = lambda f: torch.cat([f(k) for k in keep])
    F_, V, W, J = cat(lambda k: k[0]), cat(lambda k: k[1]), cat(lambda k: k[4]), cat(lambda k: k[3])
    A = [cat(lambda k, i=i: k[2][i]) for i in range(3)]
    del keep
    const = dict(q=torch.tensor(QUANTILES), e=torch.tensor([.68, .90]),
                 w=torch.tensor([1.2, 1.2, 1.2, 1.2, 1.0, 1.4, 1.2, 1., .7, .6, .6, .3, .3]))
    tail = [*net.blocks[-1].parameters(), *net.norm.parameters(), *net.head.parameters()]
    opt = torch.optim.AdamW(tail, a.rate, weight_decay=.02, betas=(.9, .98))
    mean = [p.detach().clone() for p in tail]
    held = torch.arange(len(F_) - 500, len(F_))

    def forward(i):
        h = net.blocks[-1](F_[i].float(), ((V[i].float() - 1) * 1e4)[:, None, None, :])
        return net.outputs(h)

    def check():
        with torch.no_grad():
            return float(loss_of(forward(held), [v[held].float() for v in A] + [J[held].float()], W[held].float(), const)[1])

    print('before %.4f' % check(), flush=True)
    t0, it = time.time(), 0
    while (pr := (time.time() - t0) / a.seconds) < 1:
        for g in opt.param_groups:
            g['lr'] = a.rate * min(1, (it + 1) / 30) * .5 * (1 + math.cos(math.pi * pr)) + 1e-6
        i = torch.randint(0, len(F_) - 500, (a.batch,))
        l, la = loss_of(forward(i), [v[i].float() for v in A] + [J[i].float()], W[i].float(), const)
        opt.zero_grad(set_to_none=True)
        l.backward()
        torch.nn.utils.clip_grad_norm_(tail, 1.)
        opt.step()
        it += 1
        with torch.no_grad():
            k = min(.97, (it + 1) / (it + 5))
            for m, p in zip(mean, tail):
                m.lerp_(p, 1 - k)
        if it % 50 == 0:
            print('step %d %.0f s angles %.4f held %.4f' % (it, time.time() - t0, float(la), check()), flush=True)
            export_now(net, tail, mean, a.out, x)
    export_now(net, tail, mean, a.out, x)
    print('steps', it, 'held %.4f' % check())


def export_now(net, tail, mean, out, x):
    now = [p.detach().clone() for p in tail]
    with torch.no_grad():
        for p, m in zip(tail, mean):
            p.copy_(m)
    torch.save(net.state_dict(), f'{out}/lift.pt')
    export(copy.deepcopy(net), x[:1].float(), f'{out}/lift.onnx')
    with torch.no_grad():
        for p, m in zip(tail, now):
            p.copy_(m)


if __name__ == '__main__':
    main()
