"""The lifting network: from the track of one view over a swing to turns in space, each with quantiles.

Self-attention over time (Vaswani et al. 2017) with a dilated convolution in every block for what happens between neighbours."""
import math

import torch
import torch.nn as nn
import torch.nn.functional as F

from look import ANGLES, CHANNELS, POINTS, STEPS

QUANTILES = [.05, .16, .5, .84, .95]
N = len(ANGLES)


def over_time(conv, x, training):
    """The convolution of x (B, T, d) over time; in training as one product of matrices, which is faster there."""
    if not training:
        return conv(x.transpose(1, 2)).transpose(1, 2)
    n, by, T = conv.kernel_size[0], conv.dilation[0], x.shape[1]
    p = F.pad(x, (0, 0, conv.padding[0], conv.padding[0]))
    p = torch.cat([p[:, i * by:i * by + T] for i in range(n)], -1)
    return F.linear(p, conv.weight.permute(0, 2, 1).reshape(conv.out_channels, -1), conv.bias)


class Block(nn.Module):
    def __init__(self, d, heads, wide, drop, dilation):
        super().__init__()
        self.h = heads
        self.n1, self.n2, self.n3 = nn.LayerNorm(d), nn.LayerNorm(d), nn.LayerNorm(d)
        self.qkv, self.out = nn.Linear(d, 3 * d), nn.Linear(d, d)
        self.conv = nn.Conv1d(d, d, 3, padding=dilation, dilation=dilation)
        self.f1, self.f2 = nn.Linear(d, wide), nn.Linear(wide, d)
        self.drop = nn.Dropout(drop)

    def forward(self, x, mask):
        T, d, h = x.shape[1], x.shape[2], self.h
        q, k, v = self.qkv(self.n1(x)).reshape(-1, T, 3, h, d // h).permute(2, 0, 3, 1, 4).unbind(0)
        if self.training:
            a = F.scaled_dot_product_attention(q, k, v, mask.to(q.dtype).expand(-1, -1, T, -1))
        else:
            a = torch.matmul(torch.softmax(torch.matmul(q, k.transpose(-1, -2)) * (1 / math.sqrt(d // h)) + mask, -1), v)
        x = x + self.drop(self.out(a.transpose(1, 2).reshape(-1, T, d)))
        x = x + self.drop(F.silu(over_time(self.conv, self.n2(x), self.training)))
        return x + self.drop(self.f2(F.gelu(self.f1(self.n3(x)))))


class Lift(nn.Module):
    """track (B, STEPS, CHANNELS) -> angles (B, STEPS, 13, 5) quantiles in degrees, rising; bat (B, STEPS, 2, 5): unit vector, then
    the 68 and 90 % quantile of its angular error in degrees, against the pitch line and against the camera; joints (B, STEPS, 20, 3)."""

    def __init__(self, d=160, blocks=6, heads=5, wide=448, drop=.04):
        super().__init__()
        self.inp = nn.Conv1d(CHANNELS, d, 5, padding=2)
        self.place = nn.Parameter(torch.randn(1, STEPS, d) * .02)
        self.blocks = nn.ModuleList([Block(d, heads, wide, drop, (1, 2, 4)[i % 3]) for i in range(blocks)])
        self.norm, self.head = nn.LayerNorm(d), nn.Linear(d, N * 5 + 10 + POINTS * 3)

    def forward(self, track):
        mask = ((track[:, :, 60] - 1) * 1e4)[:, None, None, :]
        x = over_time(self.inp, track, self.training) + self.place
        for b in self.blocks:
            x = b(x, mask)
        return self.outputs(x)

    def outputs(self, x):
        o = self.head(self.norm(x)).float()
        a = o[..., :N * 5].reshape(-1, STEPS, N, 5)
        m, s = a[..., 2:3], F.softplus(a)
        q = torch.cat([m - s[..., 1:2] - s[..., 0:1], m - s[..., 1:2], m, m + s[..., 3:4], m + s[..., 3:4] + s[..., 4:5]], -1) * 40.
        b = o[..., N * 5:N * 5 + 10].reshape(-1, STEPS, 2, 5)
        v = b[..., :3] / (b[..., :3].pow(2).sum(-1, keepdim=True) + 1e-6).sqrt()
        e = F.softplus(b[..., 3:5]) * 20.
        return q, torch.cat([v, e[..., :1], e[..., :1] + e[..., 1:]], -1), o[..., N * 5 + 10:].reshape(-1, STEPS, POINTS, 3)
