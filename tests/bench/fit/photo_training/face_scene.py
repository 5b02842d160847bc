"""A drawn face as a scene of Mitsuba, and its picture. Variant cuda_ad_rgb where there is a GPU, else scalar_rgb."""

from __future__ import annotations

import tempfile

import captured_light
import cv2
import face_mesh as fm
import face_paint as fp
import mitsuba as mi
import numpy as np
from face_draw import MISSING, STEELS, Face
from face_lens import Camera, develop, squeezed

UP = np.array([0.0, 0.0, 1.0])


def texture(array, **more):
    a = np.ascontiguousarray(array, np.float16)
    return {
        "type": "bitmap",
        "bitmap": mi.Bitmap(a[..., None] if a.ndim == 2 else a),
        "raw": True,
        "format": "auto",
        **more,
    }


def rgb(value):
    return {"type": "rgb", "value": [float(v) for v in value]}


def conductor(colour, alpha: float):
    return {"type": "roughconductor", "material": "none", "alpha": float(alpha), "specular_reflectance": rgb(colour)}


def metal(colour, alpha: float):
    return {"type": "twosided", "bsdf": conductor(np.clip(colour, 0.01, 0.98), alpha)}


def matt(colour):
    return {"type": "twosided", "bsdf": {"type": "diffuse", "reflectance": rgb(np.clip(colour, 0.002, 0.95))}}


def steel(name: str, shade: float):
    colour, alpha = STEELS[name]
    part = conductor(np.clip(np.array(colour) * shade, 0.01, 0.98), alpha)
    if name in ("rusty", "brown"):
        rust = {"type": "diffuse", "reflectance": rgb(np.array([0.16, 0.07, 0.035]) * shade)}
        return {"type": "twosided", "bsdf": {"type": "blendbsdf", "weight": 0.6, "a": part, "b": rust}}
    return {"type": "twosided", "bsdf": part}


def plastic(name: str, shade: float):
    """A steel as renderers without metals show it."""
    colour, alpha = STEELS[name]
    dull = rgb(np.clip(np.array(colour) * shade, 0.01, 0.9))
    return {"type": "twosided", "bsdf": {"type": "roughplastic", "alpha": float(alpha), "diffuse_reflectance": dull}}


def plate(scene: dict, face: Face, folder, rng, size: int) -> None:
    """The pinned face, its edges, holes and windows."""
    look = face.look
    outline = fm.plate_outline(face.radius, face.slot, face.gear)
    top, edge, pits = fm.Mesh(), fm.Mesh(), {k: fm.Mesh() for k in ("dark", "dirt", "metal", "open")}
    bores = []
    for p in (*face.pins, *face.tails):
        if p.condition != MISSING:
            continue
        hole, c = p.hole, (p.x, p.y, 0.0)
        rad, lip = p.wire / 2 * hole["wide"], hole["lip"]
        low = -lip * hole["sink"]
        deep = min(low - 0.005, -hole["depth"])
        bores.append(fm.circle(rad + lip, 32, c[:2]))
        fm.lathe(edge, [(rad + lip, 0.0), (rad, low)][::-1], c, 32)
        wall = max(deep, -0.16)
        fm.lathe(edge, [(rad, wall), (rad, low)], c, 32)
        bottom = pits[hole["bottom"]]
        if wall > deep:
            fm.lathe(bottom, [(rad, deep), (rad, wall)], c, 32)
        fm.lathe(bottom, [(rad, deep), (0.0, deep)], c, 32)
    if not face.hub:
        r = face.bore / 2
        bores.append(fm.circle(r + fm.BEVEL, 180))
        fm.lathe(edge, [(r, -face.thick), (r, -fm.BEVEL), (r + fm.BEVEL, 0.0)], segments=180)
    windows = fm.crossings(*face.cross) if face.cross else []
    for w in windows:
        fm.walls(edge, w, -face.thick, w, 0.0)
    fm.sheet(top, fm.inset(outline, fm.BEVEL), [*bores, *windows], 0.0)
    fm.walls(edge, outline, -fm.BEVEL, fm.inset(outline, fm.BEVEL), 0.0)
    fm.walls(edge, outline, fm.BEVEL - face.thick, outline, -fm.BEVEL)
    sites = [(p.x, p.y, p.wire / 2) for p in (*face.pins, *face.tails)]
    paint = fp.FacePaint(look, face.radius, sites, face.tracks, rng, size)
    top.uv = [v / paint.extent + 0.5 for v in top.uv]
    bright = {
        "type": "roughconductor",
        "material": "none",
        "distribution": look["lobe"],
        "alpha": texture(np.clip(paint.alpha, 0.06, 0.7)),
        "specular_reflectance": texture(np.clip(paint.colour, 0.02, 0.97)),
    }
    dusty = {"type": "diffuse", "reflectance": rgb(look["dirt_colour"])}
    skin = {"type": "blendbsdf", "weight": texture(paint.dirt), "a": bright, "b": dusty}
    scene["face"] = top.scene(
        folder, "face", {"type": "normalmap", "normalmap": texture(paint.normals()), "bsdf": skin}
    )
    scene["edge"] = edge.scene(folder, "edge", metal(np.array(look["metal"]) * 0.9, 0.26))
    stuff = {
        "dark": matt((0.012, 0.009, 0.006)),
        "dirt": matt(np.array([0.12, 0.08, 0.05]) * rng.uniform(0.3, 2.0)),
        "metal": metal(np.array(look["metal"]) * 0.7, 0.35),
        "open": matt(np.ones(3) * rng.uniform(0.05, 0.7)),  # the ground seen through the plate
    }
    for name, mesh in pits.items():
        if mesh.count:
            scene[f"pit_{name}"] = mesh.scene(folder, f"pit_{name}", stuff[name])


def root_tip(p):
    root = np.array([p.x, p.y, 0.0])
    return root, root + np.array([*p.tip_off, p.height])


def pins(scene: dict, face: Face, folder, rng) -> None:
    bars = {k: fm.Mesh() for k in STEELS}
    for p in (*face.pins, *face.tails):
        if p.condition != MISSING:
            fm.standing_pin(bars[p.steel], *root_tip(p), p.wire / 2, p.shape)
    shade = rng.uniform(0.75, 1.15)
    for name, mesh in bars.items():
        if mesh.count:
            skin = plastic(name, shade) if face.look["plastic"] else steel(name, shade)
            scene[f"steel_{name}"] = mesh.scene(folder, f"steel_{name}", skin)


def clear_place(face: Face, rng, need: float, low: float, high: float):
    """A place on the face at least `need` from every site; None if none is found."""
    sites = np.array([(p.x, p.y) for p in (*face.pins, *face.tails)]).reshape(-1, 2)
    for _ in range(40):
        r, t = face.radius * np.sqrt(rng.uniform(low**2, high**2)), rng.uniform(0, 6.28)
        c = np.array([r * np.cos(t), r * np.sin(t), 0.0])
        if not len(sites) or np.min(np.hypot(*(sites - c[:2]).T)) > need:
            return c
    return None


def screw(heads, c, r: float, rng, tall: float = 0.2) -> None:
    """A slotted head."""
    fm.lathe(heads, [(r, 0.0), (r, 0.6 * tall), (0.0, 0.6 * tall)], c, 40)
    s, w = rng.uniform(0, np.pi), 0.22 * r
    t0 = np.arcsin(w / r)
    for half in (0, np.pi):
        t = np.linspace(t0, np.pi - t0, 18) + s + half
        fm.slab(heads, np.stack([c[0] + r * np.cos(t), c[1] + r * np.sin(t)], 1), c[2] + 0.02, c[2] + tall, 0.02)


def hub(scene: dict, face: Face, folder, rng) -> None:
    """Boss, arbor, screws and other round things that are no pins."""
    look = face.look
    heads, boss, arbor = fm.Mesh(), fm.Mesh(), fm.Mesh()
    if face.hub:
        r, h, ra = face.hub / 2, look["hub_h"], min(look["arbor"] / 2, face.hub / 2 - 0.3)
        steps = [(r, 0.0), (r, h - 0.05), (r - 0.05, h), (0.0, h)]
        if rng.uniform() < 0.4 and r > 1.6:
            steps = [(r, 0.0), (r, 0.4 * h), (0.65 * r, 0.45 * h), (0.62 * r, h), (0.0, h)]
        fm.lathe(boss, steps, segments=120)
        fm.lathe(arbor, [(ra, h), (ra, h + 0.3), (0.8 * ra, h + 0.36), (0.0, h + 0.36)], segments=60)
        if rng.uniform() < 0.5:
            fm.slab(arbor, fm.circle(0.9 * ra, 4, phase=rng.uniform(0, 1.6)), h + 0.3, h + look["arbor_h"], 0.04)
        else:
            fm.lathe(arbor, [(0.5 * ra, h), (0.35 * ra, h + look["arbor_h"]), (0.0, h + look["arbor_h"])], segments=40)
        sr = min(rng.uniform(0.3, 0.65), (r - ra) / 2 - 0.08)
        for k in range(look["screws"] if sr > 0.2 else 0):
            a = rng.uniform(0, 0.3) + 2 * np.pi * k / look["screws"]
            screw(heads, np.array([(r + ra) / 2 * np.cos(a), (r + ra) / 2 * np.sin(a), h]), sr, rng)
        scene["boss"] = boss.scene(folder, "boss", metal(look["hub_metal"], look["hub_alpha"]))
        scene["arbor"] = arbor.scene(folder, "arbor", steel("grey", 1.0))
    for _ in range(look["stray_screws"]):
        c = clear_place(face, rng, 0.9, 0.25, 0.85)
        if c is not None:
            screw(heads, c, rng.uniform(0.3, 0.6), rng)
    if heads.count:
        scene["screws"] = heads.scene(folder, "screws", steel(look["screw_steel"], 1.0))
    drops = fm.Mesh()
    for _ in range(look["drops"]):  # of old oil or lacquer
        c = clear_place(face, rng, 0.45, 0.2, 0.9)
        if c is not None:
            r, tall = rng.uniform(0.06, 0.25), rng.uniform(0.02, 0.10)
            fm.lathe(drops, [(r * np.cos(a), tall * np.sin(a)) for a in np.linspace(0, np.pi / 2, 6)], c, 24)
    if drops.count:
        scene["drops"] = drops.scene(folder, "drops", metal(rng.uniform(0.02, 0.5, 3), 0.12))
    fibres = fm.Mesh()
    for _ in range(look["lint"]):
        fibre(fibres, rng, face.radius)
    if fibres.count:
        scene["lint"] = fibres.scene(folder, "lint", matt(look["lint_colour"]))


def fibre(mesh, rng, radius: float) -> None:
    """One hair or thread of lint lying on the face."""
    t, rr = rng.uniform(0, 6.28), radius * np.sqrt(rng.uniform()) * 0.9
    p = np.array([rr * np.cos(t), rr * np.sin(t), 0.02])
    a, bend, rad = rng.uniform(0, 6.28), rng.normal(0, 0.25), rng.uniform(0.006, 0.016)
    path = [p]
    for _ in range(int(rng.integers(6, 26))):
        q = path[-1] + 0.16 * np.array([np.cos(a), np.sin(a), 0])
        q[2] = max(rad, path[-1][2] + rng.normal(0, 0.03))
        path.append(q)
        a, bend = a + bend, bend + rng.normal(0, 0.12)
    fm.tube(mesh, path, [rad] * len(path), UP, 6)


def table(scene: dict, face: Face, rng, size: int) -> None:
    extent = 6.5 * face.radius
    colour, bump, gloss = fp.ground(face.look["ground"], rng, size, extent)
    sx, sy = (np.clip(0.2 * cv2.Sobel(np.float32(bump), cv2.CV_32F, *k), -0.8, 0.8) for k in ((1, 0), (0, 1)))
    t = mi.ScalarTransform4f
    uv = t().translate([0.5, 0.5, 0]).scale(300 / extent).translate([-0.5, -0.5, 0])
    wrap = {"wrap_mode": "mirror", "to_uv": uv}
    skin = {"type": "diffuse", "reflectance": texture(np.clip(colour, 0.004, 0.95), **wrap)}
    if gloss:
        shine = conductor((0.6, 0.6, 0.6), 0.35)
        skin = {"type": "blendbsdf", "weight": float(gloss * 0.35), "a": skin, "b": shine}
    skin = {"type": "normalmap", "normalmap": texture(fp.slopes_to_normals(sx, sy), **wrap), "bsdf": skin}
    floor = -face.thick - rng.uniform(0.4, 1.4)
    place = t().translate([0, 0, floor]).rotate([0, 0, 1], float(rng.uniform(0, 360))).scale(150)
    scene["table"] = {"type": "rectangle", "to_world": place, "bsdf": skin}


def room(light: dict, camera: Camera, rng, width: int = 192):
    """The surroundings as the plate mirrors them: walls, ceiling, windows, the photographer's dark shape."""
    h = width // 2
    v, u = np.mgrid[0:h, 0:width].astype(np.float32)
    th, ph = (v + 0.5) / h * np.pi, (u + 0.5) / width * 2 * np.pi
    d = np.stack([np.sin(th) * np.sin(ph), np.sin(th) * np.cos(ph), np.cos(th)], -1)
    el = np.degrees(np.arcsin(d[..., 2].clip(-1, 1)))
    az = np.degrees(np.arctan2(d[..., 1], d[..., 0]))
    lum = light["fill"] * (0.55 + 0.45 * fp.step(el, 5, 50))
    patches = rng.standard_normal((6, 12)).astype(np.float32)
    lum = lum * (1 + 0.3 * cv2.resize(patches, (width, h), interpolation=cv2.INTER_CUBIC))
    out = np.clip(lum, 0.15 * light["fill"], None)[..., None] * np.array(light["wall"], np.float32)
    for w in light["windows"]:
        da = (az - w["azim"] + 180) % 360 - 180
        ax = np.abs(da) * np.cos(np.radians(el)) / (w["width"] / 2)
        ay = np.abs(el - w["elev"]) / (w["height"] / 2)
        m = (1 - fp.step(ax, 1 - w["soft"], 1 + w["soft"])) * (1 - fp.step(ay, 1 - w["soft"], 1 + w["soft"]))
        if w["bars"]:
            m = m * (1 - 0.85 * ((np.abs(da * np.cos(np.radians(el))) < 0.9) | (np.abs(el - w["elev"]) < 0.8)))
        out += (m * w["radiance"])[..., None] * np.array((0.95, 0.98, 1.05), np.float32)
    if light["captured"] and (real := captured_light.one_of(*light["captured"], width)) is not None:
        out = real
    away = np.degrees(np.arccos((d @ (-camera.forward).astype(np.float32)).clip(-1, 1)))
    size = np.degrees(np.arctan(light["shade"] / np.linalg.norm(camera.eye)))
    out *= (1 - 0.93 * (1 - fp.step(away, 0.75 * size, 1.35 * size)))[..., None]
    turn = mi.ScalarTransform4f().rotate([1, 0, 0], 90)
    return {"type": "envmap", "bitmap": mi.Bitmap(np.ascontiguousarray(out, np.float32)), "to_world": turn}


def lamps(scene: dict, face: Face, camera: Camera, rng) -> None:
    """Balls of light; a flash beside the lens; a ring of lights about it."""

    def ball(name, place, radius, power, tint):
        # power 1 lights the face about as a bright window does
        bright = power * 3.0 * (np.linalg.norm(place) / radius) ** 2 / np.pi
        glow = {"type": "area", "radiance": rgb(bright * np.array(tint))}
        scene[name] = {"type": "sphere", "center": [float(v) for v in place], "radius": float(radius), "emitter": glow}

    for k, lamp in enumerate(face.light["lamps"]):
        a, e = np.radians([lamp["azim"], lamp["elev"]])
        way = np.array([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)])
        ball(f"lamp{k}", way * lamp["distance"], lamp["radius"], lamp["power"], lamp["tint"])
    far = np.linalg.norm(camera.eye)
    if face.camera["flash"]:
        side = rng.choice([-1, 1]) * camera.right * rng.uniform(0.08, 0.3) + camera.up * rng.uniform(-0.2, 0.2)
        ball("flash", camera.eye + far * side, rng.uniform(1, 4), rng.uniform(0.5, 3), (1, 1, 1))
    if face.camera["ring"]:
        ring = rng.uniform(0.15, 0.4) * far
        for k, t in enumerate(np.linspace(0, 2 * np.pi, 8, endpoint=False)):
            place = camera.eye + ring * (np.cos(t) * camera.right + np.sin(t) * camera.up)
            ball(f"ring{k}", place, 3.0, rng.uniform(0.1, 0.35), (1, 1, 1))


def place_camera(face: Face) -> Camera:
    """The camera, drawn back until the rim lies in the frame."""
    shot = dict(face.camera)
    t = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    rim = np.stack([face.radius * np.cos(t), face.radius * np.sin(t), 0 * t], 1)
    for _ in range(20):
        camera = Camera(shot, 2 * face.radius, face.lens["k1"])
        px = camera.pixel(rim)
        if px.min() > 4 and (px < np.array(shot["size"]) - 5).all():
            break
        shot["fill"] *= 0.95
        shot["offset"] = tuple(0.8 * v for v in shot["offset"])
    return camera


def scene_of(face: Face, camera: Camera, folder: str, rng, map_size: int = 0) -> dict:
    """Everything that the camera sees, as entries of a Mitsuba scene; the shapes' files lie in folder.

    map_size: px of the face's paint; of one size, two photographs show one and the same surface.
    """
    px_per_mm = camera.f_px / float(np.linalg.norm(camera.eye))
    map_size = map_size or int(np.clip(1.25 * px_per_mm * 2.04 * face.radius, 1024, 2400))
    scene: dict = {}
    plate(scene, face, folder, rng, map_size)
    pins(scene, face, folder, rng)
    hub(scene, face, folder, rng)
    table(scene, face, rng, 1024)
    scene["room"] = room(face.light, camera, rng)
    lamps(scene, face, camera, rng)
    return scene


def traced(scene: dict, camera: Camera, depth: int, samples: int, seed: int) -> np.ndarray:
    """The scene's linear light (height, width, 3) as Mitsuba's path tracer sees it."""
    aim = mi.ScalarTransform4f().look_at(list(camera.eye), list(camera.eye + camera.forward), list(camera.up))
    whole = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": depth, "rr_depth": 4},
        **scene,
        "sensor": {
            "type": "thinlens",
            "fov": camera.fov,
            "fov_axis": "x",
            "aperture_radius": float(camera.aperture),
            "focus_distance": float(camera.focus),
            "near_clip": 1.0,
            "far_clip": 5000.0,
            "to_world": aim,
            "film": {
                "type": "hdrfilm",
                "width": camera.width,
                "height": camera.height,
                "pixel_format": "rgb",
                "rfilter": {"type": "gaussian"},
            },
            "sampler": {"type": "independent", "sample_count": samples},
        },
    }
    made = mi.load_dict(whole)
    # In parts on a GPU: a whole one would fill its memory.
    passes = (
        1 if mi.variant().startswith("scalar") else max(1, -(-samples * camera.width * camera.height // 16_000_000))
    )
    linear = np.zeros((camera.height, camera.width, 3), np.float32)
    for k in range(passes):
        linear += np.array(mi.render(made, seed=seed + k, spp=max(1, samples // passes))) / passes
    return linear


def photograph(face: Face, seed: int, samples: int, map_size: int = 0, trace=traced) -> tuple[bytes, Camera]:
    """-> the picture as JPEG, and the camera that took it. trace: the renderer, as `traced` is one."""
    rng = np.random.default_rng([seed, face.number, 1])
    camera = place_camera(face)
    with tempfile.TemporaryDirectory() as folder:
        scene = scene_of(face, camera, folder, rng, map_size)
        linear = trace(scene, camera, face.light["depth"], samples, face.number * 64)
    rim = np.stack([np.cos(np.linspace(0, 6.2832, 90)), np.sin(np.linspace(0, 6.2832, 90)), np.zeros(90)], 1)
    mask = np.zeros(linear.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(camera.straight(rim * face.radius)).astype(np.int32)], 255)
    return squeezed(develop(linear, face.lens, camera, rng, mask > 0), face.lens), camera
