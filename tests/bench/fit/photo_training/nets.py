"""The three networks, small enough for a processor.

Sites: the flattened face at 21 px/mm, fully convolutional, one answer for each 4 x 4 px: is a site's root here (four
sub-cells), what is it, where exactly is root and tip, how sure. Closer: a 48 px crop at 42 px/mm about one likely site:
pin, stub, hole or nothing, root and tip exactly. Finder: the whole photo at 256 px, one answer for each
2 x 2 px: face or not, and heat at the arbor's centre and in the stop slot.
"""

from __future__ import annotations

import torch
import torch.nn as nn

STRIDE = 4
# Channels of the sites net's answer: 4 heat, 3 kind, 2 root, 2 tip (from the root), 2 log sigma (root, tip).
SITES_OUT = 13


def block(i: int, o: int, stride: int = 1, dilation: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(i, o, 3, stride, dilation, dilation, bias=False), nn.BatchNorm2d(o), nn.ReLU(inplace=True)
    )


class Residual(nn.Module):
    def __init__(self, c: int, dilation: int) -> None:
        super().__init__()
        self.a = block(c, c, 1, dilation)
        self.b = nn.Sequential(nn.Conv2d(c, c, 3, 1, 1, bias=False), nn.BatchNorm2d(c))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return torch.relu(x + self.b(self.a(x)))


class Sites(nn.Module):
    """Most of the work at an eighth of the picture's scale, the answer at a quarter."""

    def __init__(self, half: int = 16, c4: int = 32, c8: int = 48, deep: int = 3) -> None:
        super().__init__()
        self.first = nn.Sequential(nn.Conv2d(3, half, 4, 2, 1, bias=False), nn.BatchNorm2d(half), nn.ReLU(inplace=True))
        self.down4, self.down8 = block(half, c4, 2), block(c4, c8, 2)
        self.body = nn.Sequential(*[Residual(c8, (1, 2, 1)[i % 3]) for i in range(deep)])
        self.widen, self.up = nn.Conv2d(c8, c4, 1), nn.Upsample(scale_factor=2, mode="nearest")
        self.mix, self.head = block(c4, c4), nn.Conv2d(c4, SITES_OUT, 1)
        nn.init.constant_(self.head.bias[:4], -4.6)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        fine = self.down4(self.first(x))
        deep = self.body(self.down8(fine))
        return self.head(self.mix(fine + self.up(self.widen(deep))))


class Closer(nn.Module):
    """Ten numbers of a crop: 4 kinds (pin, stub, hole, nothing), root from the middle, tip from the root, 2 log sigma."""  # noqa: E501

    def __init__(self, c: tuple[int, int, int, int] = (16, 32, 64, 96), blocks: tuple[int, int] = (2, 4)) -> None:
        super().__init__()
        self.body = nn.Sequential(
            nn.Conv2d(4, c[0], 4, 2, 1, bias=False), nn.BatchNorm2d(c[0]), nn.ReLU(inplace=True),
            block(c[0], c[1], 2), *[Residual(c[1], 1) for _ in range(blocks[0])],
            block(c[1], c[2], 2), *[Residual(c[2], 1) for _ in range(blocks[1])],
            block(c[2], c[3], 2),
            nn.Conv2d(c[3], 160, 3), nn.ReLU(inplace=True), nn.Conv2d(160, 10, 1),
        )  # fmt: skip

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.body(x).flatten(1)


class Finder(nn.Module):
    def __init__(self) -> None:
        super().__init__()
        self.e1 = nn.Sequential(
            nn.Conv2d(3, 16, 4, 2, 1, bias=False), nn.BatchNorm2d(16), nn.ReLU(inplace=True), block(16, 16)
        )
        self.e2 = nn.Sequential(block(16, 32, 2), block(32, 32))
        self.e3 = nn.Sequential(block(32, 64, 2), block(64, 64))
        self.e4 = nn.Sequential(block(64, 96, 2), block(96, 96), block(96, 96, 1, 2), block(96, 96, 1, 4))
        self.u3, self.d3 = nn.Conv2d(96, 64, 1), block(64, 64)
        self.u2, self.d2 = nn.Conv2d(64, 32, 1), block(32, 32)
        self.u1, self.d1 = nn.Conv2d(32, 16, 1), block(16, 24)
        self.head = nn.Conv2d(24, 3, 1)
        nn.init.constant_(self.head.bias, -3.0)
        self.up = nn.Upsample(scale_factor=2, mode="nearest")

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        a = self.e1(x)
        b = self.e2(a)
        c = self.e3(b)
        e = self.e4(c)
        c = self.d3(c + self.up(self.u3(e)))
        b = self.d2(b + self.up(self.u2(c)))
        a = self.d1(a + self.up(self.u1(b)))
        return self.head(a)
