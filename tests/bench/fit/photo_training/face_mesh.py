"""Triangles of a pinned plate: outline with slot, teeth and crossings, bores, pins of many shapes. Lengths in mm.

The face frame: origin at the arbor's centre on the face, z towards the viewer, x through the stop slot.
"""

from __future__ import annotations

from pathlib import Path

import mapbox_earcut
import numpy as np

BEVEL = 0.03  # of the plate's edges


class Mesh:
    """Gathers triangles; every vertex carries its own normal and uv."""

    def __init__(self) -> None:
        self.v, self.n, self.uv, self.f, self.count = [], [], [], [], 0

    def add(self, v, n, f, uv=None) -> None:
        v = np.asarray(v, float)
        self.v.append(v)
        self.n.append(np.broadcast_to(np.asarray(n, float), v.shape))
        self.uv.append(v[:, :2] if uv is None else uv)
        self.f.append(np.asarray(f) + self.count)
        self.count += len(v)

    def scene(self, folder: Path, name: str, bsdf: dict) -> dict:
        """The mesh as a file and a scene entry."""
        v, n, uv = (np.concatenate(a) for a in (self.v, self.n, self.uv))
        f = np.concatenate(self.f)
        vert = np.zeros(len(v), [(k, "<f4") for k in ("x", "y", "z", "nx", "ny", "nz", "u", "v")])
        for k, col in zip(vert.dtype.names, np.concatenate([v, n, uv], 1).T, strict=True):
            vert[k] = col
        face = np.zeros(len(f), [("k", "u1"), ("i", "<i4", 3)])
        face["k"], face["i"] = 3, f
        lines = "".join(f"property float {k}\n" for k in vert.dtype.names)
        head = (
            f"ply\nformat binary_little_endian 1.0\nelement vertex {len(v)}\n{lines}"
            f"element face {len(f)}\nproperty list uchar int vertex_indices\nend_header\n"
        )
        path = Path(folder) / f"{name}.ply"
        path.write_bytes(head.encode() + vert.tobytes() + face.tobytes())
        return {"type": "ply", "filename": str(path), "bsdf": bsdf}


def lathe(mesh: Mesh, profile, origin=(0.0, 0.0, 0.0), segments: int = 24) -> None:
    """Turns the profile [(radius, height), ...] about z; each step of it is its own smooth band."""
    points = [np.array([0.0, 0.0, h]) + origin for _, h in profile]
    tube(mesh, points, [r for r, _ in profile], np.array([0.0, 0.0, 1.0]), segments)


def tube(mesh: Mesh, points, radii, up=None, segments: int = 24, tilt=(0.0, 0.0), ragged=None) -> None:
    """A round bar along points with a radius at each; the last bands close its top.

    up: the axis where two points coincide. tilt: slopes of the last rings, a filed-off top. ragged: rises (segments,)
    of the last rim, a torn top.
    """
    points, radii = np.asarray(points, float), np.asarray(radii, float)
    t = np.linspace(0, 2 * np.pi, segments + 1)
    top = points[-1]
    for k in range(len(points) - 1):
        step = points[k + 1] - points[k]
        length = float(np.linalg.norm(step))
        axis = step / length if length > 1e-9 else up
        up = axis if up is None else up
        a = np.cross(axis, [1.0, 0, 0] if abs(axis[0]) < 0.9 else [0, 1.0, 0])
        a = a / np.linalg.norm(a)
        ring = np.cos(t)[:, None] * a + np.sin(t)[:, None] * np.cross(axis, a)
        ends = []
        for p, r in ((points[k], radii[k]), (points[k + 1], radii[k + 1])):
            v = p + r * ring
            if np.linalg.norm(p - top) < 1e-6 or (np.linalg.norm(p - top) < 0.02 and r > 0):
                v = v + axis * (r * (ring @ np.array([*tilt, 0.0])))[:, None]
                if ragged is not None and r > 0:
                    v = v + axis * np.append(ragged, ragged[0])[:, None]
            ends.append(v)
        slope = np.array([length if np.dot(step, up) >= 0 else -length, radii[k] - radii[k + 1]])
        slope = slope / max(np.linalg.norm(slope), 1e-12)
        n = slope[0] * ring + slope[1] * axis
        i = np.arange(segments)
        j = i + segments + 1
        mesh.add(
            np.concatenate(ends),
            np.tile(n, (2, 1)),
            np.concatenate([np.stack([i, i + 1, j + 1], 1), np.stack([i, j + 1, j], 1)]),
        )


def inset(poly, d):
    """Moves a counter-clockwise outline inwards by d, mitred."""
    e = np.roll(poly, -1, 0) - poly
    n = np.stack([-e[:, 1], e[:, 0]], 1) / np.linalg.norm(e, axis=1, keepdims=True)
    m = np.roll(n, 1, 0)
    return poly + d * (n + m) / (1 + np.sum(n * m, 1, keepdims=True)).clip(0.4)


def walls(mesh: Mesh, lower, z0: float, upper, z1: float) -> None:
    """The band between two outlines (counter-clockwise: normals outwards)."""
    k = len(lower)
    for i in range(k):
        j = (i + 1) % k
        v = np.array([[*lower[i], z0], [*lower[j], z0], [*upper[j], z1], [*upper[i], z1]])
        n = np.cross(v[1] - v[0], v[3] - v[0])
        mesh.add(v, n / max(np.linalg.norm(n), 1e-12), [[0, 1, 2], [0, 2, 3]])


def sheet(mesh: Mesh, outline, holes, z: float, up: bool = True) -> None:
    """A flat piece with holes."""
    rings = [np.asarray(outline, float), *(np.asarray(h, float) for h in holes)]
    flat = np.concatenate(rings)
    ends = np.cumsum([len(r) for r in rings]).astype(np.uint32)
    tri = flat[mapbox_earcut.triangulate_float64(flat, ends).reshape(-1, 3)]
    a, b = tri[:, 1] - tri[:, 0], tri[:, 2] - tri[:, 0]
    back = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0] < 0
    tri[back] = tri[back][:, ::-1]
    if not up:
        tri = tri[:, ::-1]
    v = np.concatenate([tri.reshape(-1, 2), np.full((len(tri) * 3, 1), z)], 1)
    mesh.add(v, (0, 0, 1 if up else -1), np.arange(len(v)).reshape(-1, 3))


def slab(mesh: Mesh, outline, z0: float, z1: float, bevel: float = 0.0) -> None:
    top = inset(outline, bevel) if bevel else outline
    walls(mesh, outline, z0, outline, z1 - bevel)
    if bevel:
        walls(mesh, outline, z1 - bevel, top, z1)
    sheet(mesh, top, [], z1)


def circle(r: float, segments: int, centre=(0.0, 0.0), phase: float = 0.0):
    t = np.arange(segments) * 2 * np.pi / segments + phase
    return np.stack([centre[0] + r * np.cos(t), centre[1] + r * np.sin(t)], 1)


def plate_outline(radius: float, slot: tuple[float, float], gear: int, round_: float = 0.12):
    """Counter-clockwise; the stop slot (width, depth) lies on +x."""
    w, depth = slot
    bottom = radius - depth
    if gear:
        root = radius - 0.34
        parts = (
            (0.02, root),
            (0.30, root),
            (0.44, radius - 0.08),
            (0.52, radius),
            (0.80, radius),
            (0.88, radius - 0.08),
        )
        t = np.array([(k + part) * 2 * np.pi / gear for k in range(gear) for part, _ in parts])
        r = np.tile([rad for _, rad in parts], gear)
        rim = np.stack([r * np.cos(t), r * np.sin(t)], 1)
    else:
        rim = circle(radius, 720)
    rim = rim[~((np.abs(rim[:, 1]) < w / 2 + 0.03) & (rim[:, 0] > 0))]
    x = np.sqrt(radius**2 - w**2 / 4) - (0.34 if gear else 0.0)
    turn = [np.array([-np.sin(a), -np.cos(a)]) for a in np.linspace(0, np.pi / 2, 6)]
    corner = [np.array([bottom + round_, -w / 2 + round_]) + round_ * a for a in turn]
    notch = [np.array([x, -w / 2]), *corner, *[c * [1, -1] for c in corner[::-1]], np.array([x, w / 2])]
    return np.concatenate([rim, notch])


def crossings(inner: float, outer: float, count: int, arm: float, phase: float):
    """Windows between arms of a width `arm`: clockwise outlines (holes)."""
    out = []
    for k in range(count):
        a0, a1 = phase + 2 * np.pi * k / count, phase + 2 * np.pi * (k + 1) / count
        o = (a0 + 0.5 * arm / outer, a1 - 0.5 * arm / outer)
        i = (a0 + 0.5 * arm / inner, a1 - 0.5 * arm / inner)
        if i[1] - i[0] < 0.15:
            continue
        t, s = np.linspace(*o, 40), np.linspace(*i, 20)
        ring = np.concatenate([
            np.stack([outer * np.cos(t), outer * np.sin(t)], 1),
            np.stack([inner * np.cos(s), inner * np.sin(s)], 1)[::-1],
        ])  # fmt: skip
        out.append(ring[::-1])
    return out


def standing_pin(mesh: Mesh, root, tip, rad: float, shape: dict) -> None:
    """A pin from root to tip. shape: kind flat, round, taper or point; kink: part that stays upright; bow.

    tilt, ragged: of its top, as in `tube`."""
    root, tip = np.asarray(root, float), np.asarray(tip, float)
    axis = tip - root
    length = float(np.linalg.norm(axis))
    if length < 0.006:  # broken flush: a hair above the face, to be seen at all
        axis, length = np.array([0.0, 0.0, 1.0]), 0.006
        tip = root + axis * length
    u = axis / length
    kink = shape.get("kink", 0.0)
    path = [root - 0.06 * (np.array([0, 0, 1.0]) if kink else u)]
    if kink:
        path.append(root + np.array([0, 0, 1.0]) * kink * tip[2])
        u = (tip - path[-1]) / np.linalg.norm(tip - path[-1])
        length = float(np.linalg.norm(tip - path[-1]))
    if bow := shape.get("bow", 0.0):  # bent in a curve: upright at the foot
        side = np.array([*axis[:2], 0.0])
        path = [root - np.array([0, 0, 0.06])]
        path += [root + s * axis - bow * s * (1 - s) * side for s in np.linspace(0.0, 0.85, 6)]
        u = (tip - path[-1]) / np.linalg.norm(tip - path[-1])
        length = float(np.linalg.norm(tip - path[-1]))
    narrow = shape.get("narrow", 1.0)
    start = [rad] * len(path)
    kind = shape["kind"]
    if kind == "round":
        dome = min(shape.get("dome", 0.4) * rad, 0.9 * length)
        ring = [(narrow * rad * np.cos(a), -dome + dome * np.sin(a)) for a in np.linspace(0, np.pi / 2, 7)]
    elif kind == "point":
        long = min(shape.get("dome", 0.4) * 4 * rad, 0.8 * length)
        ring = [(rad, -long), (0.25 * rad, -0.1 * long), (0.0, 0.0)]
    else:
        chamfer = min(shape.get("chamfer", 0.02), 0.3 * length + 1e-3, 0.6 * rad)
        ring = [(narrow * rad, -chamfer), (narrow * rad - chamfer, 0.0), (0.0, 0.0)]
    points = path + [tip + u * h for _, h in ring]
    tube(mesh, points, start + [r for r, _ in ring], None, 26, shape.get("tilt", (0.0, 0.0)), shape.get("ragged"))
