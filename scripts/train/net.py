"""The point finder: a small fully convolutional network that places P points in a 256 x 256 crop.

Inverted residuals (Sandler et al. 2018, MobileNetV2) with squeeze-and-excitation (Hu et al. 2018), a top-down pyramid
(Lin et al. 2017) back to stride 4, and two heads: where (one softmax over 64 x 64 cells and "not there" per point) and,
per cell, the place inside the cell with the scale of a Laplace error (Kendall and Gal 2017)."""
import torch
import torch.nn as nn
import torch.nn.functional as F


class ConvBN(nn.Sequential):
    def __init__(self, i, o, k=3, s=1, g=1, act=True):
        super().__init__(nn.Conv2d(i, o, k, s, k // 2, groups=g, bias=False), nn.BatchNorm2d(o), *([nn.ReLU(inplace=True)] if act else []))


class SE(nn.Module):
    def __init__(self, c):
        super().__init__(); self.a = nn.Conv2d(c, max(8, c // 8), 1); self.b = nn.Conv2d(max(8, c // 8), c, 1)

    def forward(self, x):
        w = x.mean((2, 3), keepdim=True); return x * torch.sigmoid(self.b(F.relu(self.a(w))))


class IR(nn.Module):
    def __init__(self, i, o, e, s=1, k=3, se=False):
        super().__init__(); m = i * e
        self.f = nn.Sequential(ConvBN(i, m, 1), ConvBN(m, m, k, s, m), *([SE(m)] if se else []), ConvBN(m, o, 1, act=False)); self.skip = s == 1 and i == o

    def forward(self, x): return x + self.f(x) if self.skip else self.f(x)


class PointNet(nn.Module):
    def __init__(self, points):
        super().__init__(); self.P = points
        self.s2 = ConvBN(3, 16, 3, 2)
        self.s4 = nn.Sequential(IR(16, 24, 3, 2), IR(24, 24, 3))
        self.s8 = nn.Sequential(IR(24, 48, 3, 2, 5), IR(48, 48, 3, 1, 5, True), IR(48, 48, 3, 1, 5, True))
        self.s16 = nn.Sequential(IR(48, 96, 4, 2), *[IR(96, 96, 4, 1, 5, True) for _ in range(4)])
        self.s32 = nn.Sequential(IR(96, 160, 4, 2, 5), *[IR(160, 160, 4, 1, 5, True) for _ in range(3)])
        c = 64
        self.l32, self.l16, self.l8, self.l4 = (nn.Conv2d(i, c, 1) for i in (160, 96, 48, 24))
        sep = lambda: nn.Sequential(ConvBN(c, c, 5, 1, c), ConvBN(c, c, 1))
        self.p16, self.p8 = sep(), sep(); self.p4 = nn.Sequential(sep(), sep())
        self.heat = nn.Conv2d(c, points, 1); self.place = nn.Conv2d(c, 3 * points, 1)
        self.none = nn.Linear(160, points)

    def logits(self, x):
        x = (x - .45) / .25
        a = self.s4(self.s2(x)); b = self.s8(a); c = self.s16(b); d = self.s32(c)
        up = lambda t: F.interpolate(t, scale_factor=2, mode='nearest')
        t = self.p16(up(self.l32(d)) + self.l16(c)); t = self.p8(up(t) + self.l8(b)); t = self.p4(up(t) + self.l4(a))
        return self.heat(t), self.place(t), self.none(d.mean((2, 3)))

    def forward(self, image):
        """image: (n, 3, 256, 256) RGB 0..1. Returns heat (n, P, 64, 64), probabilities that sum with absent (n, P) to 1, and place
        (n, 3 P, 64, 64): for each point dx, dy from the cell's centre in cells, and the logarithm of the Laplace scale in cells."""
        h, p, z = self.logits(image); n = h.shape[0]
        q = torch.softmax(torch.cat([h.reshape(n, self.P, -1), z[:, :, None]], 2), 2)
        return q[:, :, :-1].reshape(n, self.P, 64, 64), p, q[:, :, -1]
