"""What each network is asked for, as losses. Positions by a heavy-tailed likelihood with the network's own sigma."""

from __future__ import annotations

import torch
import torch.nn.functional as F


def placed(error: torch.Tensor, log_sigma: torch.Tensor) -> torch.Tensor:
    """Student's t with 4 degrees of freedom per axis, and a little plain error to start from."""
    s = log_sigma.clamp(-4, 3)[:, None]
    z = error / torch.exp(s)
    return (2.5 * torch.log1p(z**2 / 4) + s).mean() * 2 + 0.2 * error.abs().mean()


def rms(error: torch.Tensor) -> torch.Tensor:
    return error.detach().pow(2).mean().sqrt()


def distances2(at: torch.Tensor, cells: torch.Tensor) -> torch.Tensor:
    """(b, k, n, n) of points (b, k, 2) to a grid's cells."""
    return (at[..., 0, None, None] - cells[None, None, None, :]) ** 2 + (
        at[..., 1, None, None] - cells[None, None, :, None]
    ) ** 2


def sites_loss(y, root, tip, kind):
    """Heat by focal loss, kind by cross entropy, root and tip by likelihood."""
    b, _, h, w = y.shape
    heat = F.pixel_shuffle(y[:, :4], 2)
    c2 = (torch.arange(2 * h, device=y.device) + 0.5) * 2 - 0.5
    on = (kind >= 0)[..., None, None]
    d2 = torch.where(on, distances2(root, c2), 1e9).amin(1)
    g = torch.exp(-d2 / (2 * 1.9**2))
    p = torch.sigmoid(heat[:, 0].float()).clamp(1e-5, 1 - 1e-5)
    pos = d2 < 1.5**2
    count = (kind >= 0).sum().clamp_min(1)
    heat_loss = -(torch.where(pos, (1 - p) ** 2 * torch.log(p), (1 - g) ** 4 * p**2 * torch.log(1 - p))).sum() / count
    c4 = (torch.arange(h, device=y.device) + 0.5) * 4 - 0.5
    near, which = torch.where(on, distances2(root, c4), 1e9).min(1)
    use = near < 4.5**2
    pick = lambda p: p.gather(1, which.view(b, -1)[..., None].expand(-1, -1, 2)).view(b, h, w, 2)  # noqa: E731
    r, t = pick(root), pick(tip)
    k = kind.gather(1, which.view(b, -1)).view(b, h, w)[use]
    cell = torch.stack(torch.meshgrid(c4, c4, indexing="xy"), -1)[None]
    out = y.permute(0, 2, 3, 1).float()
    kind_loss = F.cross_entropy(out[..., 4:7][use], k)
    er, et = (out[..., 7:9] * 4 + cell - r)[use], (out[..., 9:11] * 8 - (t - r))[use]
    nll = placed(er, out[..., 11][use]) + placed(et, out[..., 12][use])
    return heat_loss + kind_loss + 0.5 * nll, torch.stack([heat_loss.detach(), kind_loss.detach(), rms(er), rms(et)])


def closer_loss(y, root, tip, label, weight):
    ce = F.cross_entropy(y[:, :4], label, reduction="none", label_smoothing=0.01)
    kind = (ce * weight).sum() / weight.sum().clamp_min(1)
    on = (label < 3) & (weight > 0)
    er, et = (y[:, 4:6] * 4 - root)[on], (y[:, 6:8] * 8 - (tip - root))[on]
    nll = placed(er, y[:, 8][on]) + placed(et, y[:, 9][on])
    right = ((y[:, :4].argmax(1) == label).float() * weight).sum() / weight.sum()
    return 2.0 * kind + nll, torch.stack([kind.detach(), right, rms(er), rms(et)])


def finder_loss(y, mask, centre, slot):
    n = y.shape[-1]
    c = (torch.arange(n, device=y.device) + 0.5) * 2 - 0.5
    loss = F.binary_cross_entropy_with_logits(y[:, 0], mask)
    logs = [loss.detach()]
    for i, at in ((1, centre), (2, slot)):
        d2 = (at[:, 0, None, None] - c[None, None, :]) ** 2 + (at[:, 1, None, None] - c[None, :, None]) ** 2
        g = torch.exp(-d2 / (2 * 3.0**2))
        p = torch.sigmoid(y[:, i]).clamp(1e-5, 1 - 1e-5)
        term = torch.where(d2 < 1.6**2, (1 - p) ** 2 * torch.log(p), (1 - g) ** 4 * p**2 * torch.log(1 - p))
        loss = loss - 0.05 * term.sum() / len(y)
        logs.append(-term.detach().sum() / len(y))
    return loss, torch.stack(logs)
