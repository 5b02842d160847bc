"""The photographs of a disc solved together, face by face; and whether what was borrowed of a lens holds.

Files do not always say which camera took them, and two cameras draw pictures of one size: then what another photo's
sheet told is of another lens. A photo alone hardly denies it, as distortion moves the pins of a track all alike; two of
a face do: with a wrong lens their pins do not come to lie on one another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from disc.photo.plane.joint import hearing
from disc.photo.plane.shared_lens import Shared, of_others
from disc.photo.read_face import PhotoLook, by_own_lens
from disc.photo.several.bundle import Bundled, SharedPins, bundle, lie_together
from disc.records import Side

# Squared sigmas by which a face's photographs must agree better without a borrowed lens, or it is kept; chosen by hand
# while looking at development photographs, not fitted.
DENIED_BY = 15.0


def solved_together(looks: Sequence[PhotoLook]) -> tuple[list[PhotoLook], list[SharedPins | None]]:
    """Photographs of one face as all of them tell it, and its pins; a lone one, or one that lies on none, as it is."""
    looks = lenses_that_hold(looks)
    out = list(looks)
    shared: list[SharedPins | None] = [None] * len(looks)
    for side in Side:
        members, together = _solved(looks, side)
        if together is None:
            continue
        for k, joint, pins in zip(members, together.joints, together.pins, strict=True):
            out[k], shared[k] = replace(looks[k], joint=joint), pins
    return out, shared


def lenses_that_hold(looks: Sequence[PhotoLook]) -> list[PhotoLook]:
    """The photos, without borrowed lenses that their faces' other photographs deny; a photo that no other shows the
    face of does without as well, where all that could be tried were denied."""
    out, held, denied, untried = list(looks), 0, 0, []
    for k, look in enumerate(looks):
        alone = by_own_lens(look)
        if alone is None:
            continue
        without = [*out[:k], alone, *out[k + 1 :]]
        (members, borrowed), (more, own) = (_solved(some, look.side) for some in (out, without))
        if own is None or len(more) < len(members):
            untried += [(k, alone)] if borrowed is None else []
            held += borrowed is not None
        elif borrowed is None or len(more) > len(members) or borrowed.cost > own.cost + DENIED_BY:
            out, denied = without, denied + 1
        else:
            held += 1
    if denied and not held:
        for k, alone in untried:
            out[k] = alone
    return out


def told_by_others(look: PhotoLook, looks: Sequence[PhotoLook]) -> Shared | None:
    """Photos of one size are taken to be the same camera's; one whose own lens is known needs no one else."""
    if look.joint.shared is None or look.seen.photo.focal_px:
        return None
    size = look.seen.first.size
    alike = [other for other in looks if other is not look and set(other.seen.first.size) == set(size)]
    return of_others(look.joint.shared, [other.joint.shared for other in alike if other.joint.shared is not None])


def _solved(looks: Sequence[PhotoLook], side: Side) -> tuple[list[int], Bundled | None]:
    """Which photographs of a face lie on one another, and what these together tell, if two do."""
    mine = [k for k, look in enumerate(looks) if look.side is side]
    other = [look for look in looks if look.side is not side]
    heard = [hearing(looks[k].joint, told_by_others(looks[k], other)) for k in mine]
    members = lie_together(heard)
    return [mine[m] for m in members], bundle([heard[m] for m in members])
