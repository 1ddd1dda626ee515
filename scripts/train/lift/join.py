"""Joins trained networks into one file that gives the mean of their answers, weights in half precision.

    python3 join.py OUT/lift.onnx SEED1/lift.pt SEED2/lift.pt

The mean over seeds errs less than any of them, because part of a network's error is chance of its training. Quantiles are averaged
one by one. The runtime widens the weights once, when it loads the file."""
import os
import sys

import numpy as np
import onnx
import torch
import torch.nn as nn

from look import CHANNELS, STEPS
from net import Lift
from train import export


class Mean(nn.Module):
    def __init__(self, nets):
        super().__init__()
        self.nets = nn.ModuleList(nets)

    def forward(self, track):
        outs = [n(track) for n in self.nets]
        q, bat, joints = (sum(o[i] for o in outs) / len(outs) for i in range(3))
        v = bat[..., :3] / (bat[..., :3].pow(2).sum(-1, keepdim=True) + 1e-6).sqrt()
        return q, torch.cat([v, bat[..., 3:]], -1), joints


def halve(path):
    m = onnx.load(path)
    casts = []
    for w in m.graph.initializer:
        if w.data_type != onnx.TensorProto.FLOAT or np.prod(w.dims) < 256:
            continue
        name, a = w.name, onnx.numpy_helper.to_array(w)
        w.CopyFrom(onnx.numpy_helper.from_array(a.astype(np.float16), name + '_half'))
        casts.append(onnx.helper.make_node('Cast', [name + '_half'], [name], to=onnx.TensorProto.FLOAT))
    nodes = casts + list(m.graph.node)
    del m.graph.node[:]
    m.graph.node.extend(nodes)
    onnx.checker.check_model(m)
    onnx.save(m, path)


def main():
    nets = []
    for f in sys.argv[2:]:
        n = Lift()
        n.load_state_dict(torch.load(f, map_location='cpu'))
        # What will be stored is what is compared.
        n.load_state_dict({k: v.half().float() if v.numel() >= 256 else v for k, v in n.state_dict().items()})
        nets.append(n)
    torch.manual_seed(1)
    x = torch.rand(1, STEPS, CHANNELS)
    x[:, :, 60] = 1
    want = export(Mean(nets), x, sys.argv[1])
    halve(sys.argv[1])
    import onnxruntime
    got = onnxruntime.InferenceSession(sys.argv[1], providers=['CPUExecutionProvider']).run(None, {'track': x.numpy()})
    worst = float(np.abs(got[0] - want[0]).max())
    print('in half precision: differs by %.4f degrees, %d bytes' % (worst, os.path.getsize(sys.argv[1])))
    assert worst < .1


if __name__ == '__main__':
    main()
