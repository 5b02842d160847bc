"""Pin sites: where something stands, stood or is missing, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from disc.frame import FloatArray

PIN, STUB, HOLE = 0, 1, 2  # numbers of the networks' maps, and columns of a site's odds, not sizes, by definition
# Unless said otherwise: chosen by hand while looking at development photographs; not fitted.
# Two sites cannot be closer than a pin's thickness (0.15 mm is the thinnest wire).
CLOSEST_MM = 0.16


@dataclass(frozen=True, slots=True)
class Spots:
    """n sites. root, tip: (n, 2) px of the photo or view mm, as said where they are made. kind: (n, 3) probabilities.

    sigma_root, sigma_tip: (n,) per axis, in the network's own opinion. heat: (n,) 0-1. crop: (n, k) the picture about
    each tip, every row of zero mean and unit length; k is 0 where none was cut. tint: (n, 2, 2) how much bluer and
    redder its tip, and its body half-way up, are than the plate about them; light: (n,) how much brighter the
    brightest of its foot and tip is; NaN where it was not looked at.
    """

    root: FloatArray
    tip: FloatArray
    kind: FloatArray
    heat: FloatArray
    sigma_root: FloatArray
    sigma_tip: FloatArray
    coarse: FloatArray
    crop: FloatArray
    tint: FloatArray
    light: FloatArray

    def __len__(self) -> int:
        return len(self.heat)

    def pick(self, which: Any) -> Spots:
        """Some of the sites, by index or mask."""
        return Spots(*(getattr(self, name)[which] for name in self.__slots__))

    def replaced(self, which: Any, new: Spots) -> Spots:
        """The same with some sites, by index, put in the places of old ones."""
        columns = {name: getattr(self, name).copy() for name in self.__slots__}
        for name, column in columns.items():
            column[which] = getattr(new, name)
        return Spots(**columns)


def thin_out(spots: Spots) -> Spots:
    """Of two sites closer than a pin's thickness the surer (the earlier) stays."""
    near = np.hypot(*(spots.root[:, None] - spots.root[None]).transpose(2, 0, 1)) < CLOSEST_MM
    keep = np.ones(len(spots), bool)
    for k in np.nonzero(np.tril(near, -1).any(1))[0]:
        keep[k] = not (near[k, :k] & keep[:k]).any()
    return spots.pick(np.nonzero(keep)[0])
