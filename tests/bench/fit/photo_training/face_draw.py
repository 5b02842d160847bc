"""One invented face, everything in it drawn at random: plate, tracks, pins and their damage, look, light, camera, lens.

Wide on purpose, and with far more damage than a disc has: a network learns what it sees. Lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

METALS = (
    (0.93, 0.65, 0.29),
    (0.90, 0.72, 0.38),
    (0.88, 0.78, 0.50),
    (0.78, 0.77, 0.74),
    (0.92, 0.60, 0.42),
    (0.55, 0.40, 0.22),
    (0.93, 0.92, 0.88),
    (0.60, 0.60, 0.60),
    (0.98, 0.80, 0.36),
    (0.40, 0.30, 0.20),
    (0.75, 0.52, 0.22),
)
STEELS = {
    "grey": ((0.56, 0.55, 0.53), 0.16),
    "dull": ((0.34, 0.33, 0.31), 0.36),
    "blued": ((0.055, 0.075, 0.165), 0.18),
    "bright": ((0.80, 0.79, 0.77), 0.10),
    "black": ((0.05, 0.05, 0.05), 0.25),
    "brass": ((0.88, 0.66, 0.32), 0.18),
    "rusty": ((0.30, 0.26, 0.22), 0.40),
    "brown": ((0.28, 0.18, 0.11), 0.35),
}
SOUND, BENT, STUB, MISSING = "sound", "bent", "stub", "missing"
LAMP_SEEDS = (803,)  # sets mostly under hard lamps


@dataclass
class Pin:
    """A site in the face frame. tip_off: (x, y) of the tip from the root. height of the tip over the face."""

    x: float
    y: float
    track: int
    wire: float
    height: float
    condition: str
    tip_off: tuple[float, float]
    shape: dict
    steel: str
    hole: dict


@dataclass
class Face:
    """All of one face. radius of the plate; side only names the picture."""

    number: int
    radius: float
    thick: float
    slot: tuple[float, float]
    hub: float
    bore: float
    gear: int
    cross: tuple | None
    tracks: list
    pins: list
    look: dict
    light: dict
    camera: dict
    lens: dict
    tails: tuple = ()  # ends of the other face's pins: Pin each, flush or nearly so


def log(rng, lo, hi):
    return float(np.exp(rng.uniform(np.log(lo), np.log(hi))))


def draw_face(number: int, seed: int) -> Face:
    """The face of this number; the seed tells sets apart."""
    rng = np.random.default_rng([seed, number])
    radius = rng.uniform(9.5, 19)
    slot = (rng.uniform(0.6, 1.3), rng.uniform(0.5, 1.1))
    hub = 0.0 if rng.uniform() < 0.15 else float(rng.uniform(2.4, 7.5))
    bore = rng.uniform(2.2, 4.5) if not hub else 0.0
    gear = int(radius * rng.uniform(5.0, 8.5)) if rng.uniform() < 0.4 else 0
    if gear:  # a slot is deeper than the teeth
        slot = (slot[0], slot[1] + 0.2)
    wire, tall = rng.uniform(0.15, 0.36), rng.uniform(0.25, 0.85)
    outer = min(0.94 * radius, radius - slot[1] - 0.5 * wire - 0.1) - (0.25 if gear else 0.0)
    inner = max(0.28 * radius, max(hub, bore) / 2 + 0.4)
    cross = None
    if rng.uniform() < 0.15 and 0.45 * radius - max(hub, bore) / 2 > 1.0:
        low = max(hub, bore) / 2 + rng.uniform(0.4, 0.8)
        high = min(low + rng.uniform(0.8, 4.0), 0.5 * radius)
        cross = (low, high, int(rng.integers(3, 7)), rng.uniform(0.6, 1.4), rng.uniform(0, 6.28))
        inner = max(inner, high + 0.4)
    tracks, r = [], inner + rng.uniform(0, 0.4)
    gap = rng.uniform(0.36, 0.9)
    while r < outer:
        tracks.append(float(r))
        r += gap * rng.uniform(0.85, 1.3)
    look = draw_look(rng, wire)
    pins = draw_pins(rng, tracks, wire, tall, radius, slot, look)
    tails = draw_tails(rng, pins, inner, outer) if rng.uniform() < 0.15 else ()
    return Face(
        number,
        radius,
        rng.uniform(0.6, 1.5),
        slot,
        hub,
        bore,
        gear,
        cross,
        tracks,
        pins,
        look,
        *draw_shot(rng, radius, seed in LAMP_SEEDS),
        tails,
    )


def draw_pins(rng, tracks, wire, tall, radius, slot, look) -> list[Pin]:
    damage = rng.choice([0.15, 0.35, 0.6], p=[0.25, 0.5, 0.25])
    share = rng.dirichlet([1.3, 1.1, 1.1]) * damage  # bent, stub, missing
    count = int(rng.uniform(25, 110))
    shape = draw_shape(rng)
    steels = list(rng.choice(list(STEELS), rng.integers(1, 4), p=[0.25, 0.2, 0.12, 0.13, 0.08, 0.08, 0.07, 0.07]))
    hole = draw_hole(rng, wire)
    mixed_holes = rng.uniform() < 0.5
    room = rng.uniform(1.2, 2.2) * wire + 0.05
    places, pins = np.zeros((0, 2)), []
    t = rng.uniform(0, 6.28)
    for _ in range(count * 3):
        if len(pins) >= count or not tracks:
            break
        stray = rng.uniform() < 0.03
        k = int(rng.integers(len(tracks)))
        r = tracks[k] + float(np.clip(rng.normal(0, 0.02), -0.05, 0.05))
        if stray:
            r = float(rng.uniform(tracks[0], tracks[-1]))
        t = t + (rng.uniform(1.0, 2.0) * room / r) if rng.uniform() < 0.25 else rng.uniform(0, 6.28)
        p = np.array([r * np.cos(t), r * np.sin(t)])
        if len(places) and np.min(np.hypot(*(places - p).T)) < room:
            continue
        if p[0] > 0 and abs(p[1]) < slot[0] / 2 + 0.3 and r > radius - slot[1] - 0.35:
            continue
        condition = str(rng.choice([SOUND, BENT, STUB, MISSING], p=[1 - damage, *share]))
        own = dict(shape)
        rad = wire * (1 + 0.02 * rng.normal())
        length, off = tall * (1 + 0.03 * rng.normal()), np.clip(rng.normal(0, 0.012, 2), -0.03, 0.03)
        if rng.uniform() < 0.06:
            own = draw_shape(rng)
        if rng.uniform() < 0.12 and condition == SOUND:  # filed or worn lower than its fellows, or set higher
            length *= rng.uniform(0.7, 1.15)
        if condition == BENT:
            size = min(rng.uniform(0.085, 0.5), 0.85 * length)
            way = (
                t + np.pi / 2 * rng.choice([-1, 1]) + rng.normal(0, 0.35)
                if rng.uniform() < 0.6
                else rng.uniform(0, 6.28)
            )
            off = size * np.array([np.cos(way), np.sin(way)])
            way_of_bending = rng.uniform()
            if way_of_bending < 0.3:
                own["kink"] = rng.uniform(0.1, 0.5)
            elif way_of_bending < 0.55:
                own["bow"] = rng.uniform(0.1, 0.6)
            near = np.hypot(*(places - (p + off)).T) if len(places) else np.array([9.0])
            if near.min() < 1.1 * wire:
                continue
        height = float(np.sqrt(max(length**2 - float(off @ off), (0.25 * length) ** 2)))
        if condition == STUB:
            height = 0.0 if rng.uniform() < 0.3 else float(rng.uniform(0.0, min(0.19, 0.38 * tall)))
            off = np.zeros(2)
            own = {"kind": rng.choice(["flat", "flat", "round"]), "dome": 0.3, "chamfer": rng.uniform(0.003, 0.03)}
            if rng.uniform() < 0.5:
                own["tilt"] = tuple(rng.normal(0, 0.25, 2))
            if rng.uniform() < 0.35:
                own["ragged"] = rng.normal(0, 0.12 * rad, 26)
        if condition == MISSING:
            height, off = 0.0, np.zeros(2)
        steel = str(rng.choice(steels))
        if condition == STUB and rng.uniform() < 0.5:
            steel = str(rng.choice(["dull", "brown", "black", "rusty", "grey"]))
        pins.append(
            Pin(
                *p,
                k,
                rad,
                height,
                condition,
                (float(off[0]), float(off[1])),
                own,
                steel,
                draw_hole(rng, rad) if mixed_holes else dict(hole),
            )
        )
        places = np.vstack([places, p])
    return pins


def draw_tails(rng, pins, inner: float, outer: float) -> tuple:
    """Ends of pins set from the other face: discs of their wire, filed flush or nearly so, on no track here."""
    steels = sorted({p.steel for p in pins}) or ["grey"]
    places = np.array([(p.x, p.y) for p in pins]).reshape(-1, 2)
    proud, wire = rng.uniform(0, 0.06), float(np.median([p.wire for p in pins])) if pins else 0.25
    tails = []
    for _ in range(int(rng.uniform(8, 80))):
        r, t = rng.uniform(inner, outer), rng.uniform(0, 6.28)
        at = np.array([r * np.cos(t), r * np.sin(t)])
        if len(places) and np.min(np.hypot(*(places - at).T)) < 2.2 * wire:
            continue
        tails.append(
            tail_of(rng, float(at[0]), float(at[1]), wire, float(rng.uniform(0, proud)), str(rng.choice(steels)))
        )
        places = np.vstack([places, at])
    return tuple(tails)


def tail_of(rng, x: float, y: float, wire: float, proud: float, steel: str) -> Pin:
    """The end of another face's pin at a place."""
    shape = {"kind": str(rng.choice(["flat", "round"])), "dome": 0.4, "chamfer": rng.uniform(0.003, 0.03)}
    return Pin(x, y, -1, wire * (1 + 0.02 * rng.normal()), proud, STUB, (0.0, 0.0), shape, steel, {})


def draw_shape(rng) -> dict:
    kind = str(rng.choice(["flat", "round", "taper", "point"], p=[0.42, 0.36, 0.17, 0.05]))
    shape = {"kind": kind, "dome": rng.uniform(0.2, 1.0), "chamfer": rng.uniform(0.004, 0.035)}
    if kind == "taper":
        shape.update(kind=str(rng.choice(["flat", "round"])), narrow=rng.uniform(0.45, 0.95))
    if rng.uniform() < 0.3:
        shape["tilt"] = tuple(rng.normal(0, 0.2, 2))
    return shape


def draw_hole(rng, wire) -> dict:
    """Empty hole: lip, depth, what its bottom is of; fill: dirt to near the top."""
    hole = {"lip": rng.uniform(0.004, 0.03), "sink": rng.uniform(0.5, 1.2), "depth": log(rng, 0.12, 0.7), "wide": 1.0}
    if rng.uniform() < 0.2:  # countersunk, or worn wide
        hole["lip"] = rng.uniform(0.03, 0.09)
    if rng.uniform() < 0.2:
        hole["wide"] = rng.uniform(0.9, 1.2)
    hole["bottom"] = str(rng.choice(["dark", "dirt", "metal", "open"], p=[0.58, 0.25, 0.11, 0.06]))
    if hole["bottom"] == "dirt" and rng.uniform() < 0.7:
        hole["depth"] = rng.uniform(0.01, 0.12)
    return hole


def draw_look(rng, wire) -> dict:
    metal = np.array(METALS[rng.integers(len(METALS))]) * rng.uniform(0.75, 1.08) * rng.uniform(0.95, 1.05, 3)
    brown = np.array([0.30, 0.16, 0.075]) * rng.uniform(0.4, 1.6)
    finish = rng.choice(["spun", "brushed", "both", "none"], p=[0.6, 0.15, 0.1, 0.15])
    return {
        "metal": np.clip(metal, 0.03, 0.97),
        "alpha": log(rng, 0.07, 0.45),
        "spun": log(rng, 0.008, 0.11) if finish in ("spun", "both") else 0.0,
        "brushed": log(rng, 0.01, 0.12) if finish in ("brushed", "both") else 0.0,
        "grain": log(rng, 0.004, 0.10),
        "grain_px": rng.uniform(0.8, 2.5),
        "wave": rng.uniform(0.002, 0.014),
        "tarnish": rng.choice([0.0, 0.1, 0.3, 0.6]) * rng.uniform(0.5, 1.3) + 0.01,
        "tarnish_depth": rng.uniform(0.3, 0.9),
        "tarnish_colour": brown if rng.uniform() < 0.7 else rng.uniform(0.03, 0.35, 3),
        "worn": rng.uniform(0, 0.5) * (rng.uniform() < 0.4),
        "under": (0.80, 0.70, 0.42),
        "spots": int(rng.choice([0, 10, 40, 120, 250])),
        "spots_crisp": rng.uniform(0, 1) * (rng.uniform() < 0.7),  # part of them with a sharp edge, as large as a wire
        "pits": int(rng.choice([0, 0, 15, 60, 150])),
        "punches": int(rng.choice([0, 0, 0, 4, 10])),
        "verdigris": int(rng.choice([0, 0, 0, 4, 15])),
        "stains": int(rng.choice([0, 0, 2, 6])),
        "plugs": int(rng.choice([0, 0, 4, 12])),
        "scratches": int(rng.choice([0, 20, 60, 150])),
        "dust": int(rng.choice([0, 30, 100, 300])),
        "scribed": rng.uniform() < 0.35,
        "scribe_mm": rng.uniform(0.012, 0.035),
        "scribe_depth": log(rng, 0.0015, 0.008),
        "engraved": "".join(rng.choice(list("0123456789ABGNRS"), rng.integers(1, 6))) if rng.uniform() < 0.35 else "",
        "foot": rng.uniform(0, 0.85) * (rng.uniform() < 0.8),
        "foot_wide": rng.uniform(1.3, 2.0),
        "cut_dark": rng.uniform(0, 0.8),
        "dirt": rng.choice([0.0, 0.0, 0.2, 0.5, 0.8]) * rng.uniform(0.6, 1.1),
        "film": rng.uniform(0.1, 0.8) * (rng.uniform() < 0.18),
        "lobe": str(rng.choice(["ggx", "beckmann"], p=[0.7, 0.3])),
        "plastic": rng.uniform() < 0.08,  # pins without a metal's look, as plain renderers draw them
        "dirt_colour": tuple(log(rng, 0.04, 0.5) * rng.uniform(0.75, 1.1, 3)),
        "lint": int(rng.choice([0, 0, 4, 14])),
        "lint_colour": tuple(rng.uniform(0.05, 0.7) * rng.uniform(0.7, 1.0, 3)),
        "hub_h": rng.uniform(0.1, 0.8),
        "hub_metal": METALS[rng.integers(len(METALS))],
        "hub_alpha": log(rng, 0.08, 0.4),
        "arbor": rng.uniform(0.9, 1.9),
        "arbor_h": rng.uniform(0.6, 2.2),
        "screws": int(rng.choice([0, 2, 3, 4])),
        "screw_steel": str(rng.choice(list(STEELS))),
        "stray_screws": int(rng.choice([0, 0, 0, 2])),
        "drops": int(rng.choice([0, 0, 0, 5])),
        "ground": str(rng.choice(["mat", "paper", "cloth", "wood", "board", "print", "felt"])),
        "wire": wire,
    }


def draw_shot(rng, radius: float, hard: bool = False) -> tuple[dict, dict, dict]:
    """Light, camera and lens. hard: nearly always lamps."""
    light = {
        "fill": log(rng, 0.03, 0.6),
        "wall": tuple(rng.uniform(0.75, 1.1, 3)),
        "windows": [],
        "lamps": [],
        "shade": rng.uniform(5, 70),
    }
    shares = [0.02, 0.78, 0.12, 0.04, 0.02, 0.02] if hard else [0.22, 0.40, 0.17, 0.07, 0.07, 0.07]
    kind = rng.choice(["room", "lamp", "both", "flash", "even", "ring"], p=shares)
    if kind in ("room", "both"):
        for _ in range(rng.integers(1, 4)):
            light["windows"].append(
                {
                    "azim": rng.uniform(0, 360),
                    "elev": rng.uniform(20, 75),
                    "width": rng.uniform(10, 110),
                    "height": rng.uniform(10, 60),
                    "radiance": log(rng, 0.8, 10.0),
                    "soft": rng.choice([0.06, 0.15, 0.5]),
                    "bars": rng.uniform() < 0.4,
                }
            )
    if kind == "lamp":  # hard shadows: little light from elsewhere
        light["fill"] *= log(rng, 0.2, 1.0)
    if kind in ("lamp", "both"):
        for _ in range(rng.integers(1, 3)):
            light["lamps"].append(
                {
                    "azim": rng.uniform(0, 360),
                    "elev": rng.uniform(8, 35) if rng.uniform() < 0.25 else rng.uniform(25, 80),
                    "distance": rng.uniform(120, 400),
                    "radius": log(rng, 1.0, 20.0),
                    "power": log(rng, 0.25, 4.0),
                    "tint": (1.0, rng.uniform(0.75, 1.05), rng.uniform(0.5, 1.15)),
                }
            )
    light["depth"] = int(rng.choice([2, 3, 6], p=[0.15, 0.1, 0.75]))  # plainer renderers follow light less far
    if kind == "even":
        light["fill"] = rng.uniform(0.4, 0.8)
    camera = {
        "tilt": 0.0
        if rng.uniform() < 0.12
        else float(rng.uniform(0, 32) if rng.uniform() < 0.3 else rng.uniform(0, 20)),
        "azim": rng.uniform(0, 360),
        "roll": rng.uniform(0, 360),
        "fill": rng.uniform(0.62, 0.94),
        "distance": log(rng, 38.0, 360.0),
        "offset": (0.0, 0.0),
        "flash": kind == "flash",
        "ring": kind == "ring",
    }
    for lamp in light["lamps"]:  # many where the plate mirrors them near the lens: glare, and shadows in it
        if rng.uniform() < 0.4:
            lamp["azim"] = camera["azim"] + 180 + rng.normal(0, 30)
            lamp["elev"] = float(np.clip(90 - camera["tilt"] + rng.normal(0, 12), 25, 88))
    short = int(rng.choice([1300, 1600, 2000, 2400, 2800], p=[0.1, 0.2, 0.33, 0.25, 0.12]))
    aspect = rng.choice([1.0, 4 / 3, 3 / 2, 16 / 9], p=[0.4, 0.4, 0.1, 0.1])
    long = int(short * aspect)
    camera["size"] = (short, long) if rng.uniform() < 0.4 else (long, short)
    wide = camera["size"][0] / camera["size"][1]  # the frame's width in its heights; fill is a part of the height
    camera["fill"] *= min(wide, 1.0)
    slack = 0.5 * (np.array([wide, 1.0]) - camera["fill"])
    camera["offset"] = tuple(rng.uniform(-0.6, 0.6, 2) * slack)
    px = camera["fill"] * camera["size"][1] / (2 * radius)  # about so many px a mm
    camera["aperture"] = log(rng, 0.05, 2.0) * camera["distance"] / 120
    camera["defocus"] = float(rng.normal(0, 0.2)) * camera["distance"] / 120
    lens = {
        "exposure": log(rng, 0.10, 0.6),
        "lens_px": rng.uniform(0.4, 1.1),
        "glow": rng.uniform(0, 0.07),
        "vignette": rng.uniform(0, 0.4),
        "shake_px": px / 60 * rng.uniform(0.5, 5.0) * (rng.uniform() < 0.2),
        "shake_deg": rng.uniform(0, 180),
        "noise": log(rng, 0.003, 0.035),
        "denoise": rng.uniform() < 0.35,
        "blotch": log(rng, 0.003, 0.03) * (rng.uniform() < 0.25),
        "zoom": rng.uniform(0.5, 0.9) if rng.uniform() < 0.12 else 1.0,
        "balance": tuple(rng.uniform(0.7, 1.3, 3) if rng.uniform() < 0.2 else rng.uniform(0.85, 1.15, 3)),
        "tone": str(rng.choice(["shoulder", "clip", "film"], p=[0.6, 0.25, 0.15])),
        "knee": rng.uniform(0.5, 0.92),
        "contrast": rng.uniform(-0.3, 2.0),
        "sharpen": rng.uniform(0, 1.4) * (rng.uniform() < 0.8),
        "sharpen_px": rng.uniform(0.8, 2.2),
        "jpeg": int(rng.choice([45, 60, 70, 80, 87, 92, 96])),
        "colour_full": rng.uniform() < 0.25,
        "k1": float(np.clip(rng.normal(0, 0.02), -0.05, 0.05)) * (rng.uniform() < 0.5),
        "fringe": rng.normal(0, 0.0006) * (rng.uniform() < 0.4),
        "grey": rng.uniform() < 0.04,
    }
    # Real light instead of a drawn room, where there is a folder of it (captured_light.py).
    light["captured"] = (rng.uniform(), rng.uniform(), log(rng, 0.4, 2.0)) if rng.uniform() < 0.5 else None
    return light, camera, lens
