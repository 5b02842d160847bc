"""A drawn face's scene seen by LuxCore's path tracer: other samplers, another lobe of metals, another sum of lights.

What face_scene.py writes for Mitsuba is translated entry by entry; a kind of entry that is not known here is an error.
LuxCore brings an allocator of its own, beside which Mitsuba does not live: lux_render.py is a process of its own.
"""

from __future__ import annotations

import importlib.util
import os
import pickle
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from face_lens import Camera

BRIGHTEST = 60.0  # of one path: a firefly of a hundred times that light would be a white dot


def traced(scene: dict, camera: Camera, depth: int, samples: int, seed: int) -> np.ndarray:
    """The scene's linear light (height, width, 3)."""
    told = _Told()
    told.camera(camera)
    for name, entry in scene.items():
        kind = entry["type"]
        if kind == "ply":
            told.mesh(name, *_read_mesh(entry["filename"]), told.material(name, entry["bsdf"]))
        elif kind == "rectangle":
            told.rectangle(name, entry)
        elif kind == "sphere":
            told.lamp(name, entry)
        elif kind == "envmap":
            told.surroundings(np.array(entry["bitmap"]))
        else:
            raise ValueError(f"no such entry in a scene: {kind}")
    told.config(camera, depth, samples, seed)
    with tempfile.TemporaryDirectory() as folder:
        asked, answer = Path(folder) / "scene.pickle", Path(folder) / "light.npy"
        all_of_it = {"scene": told.scene, "config": told.how, "maps": told.maps, "meshes": told.meshes}
        asked.write_bytes(pickle.dumps(all_of_it))
        child = Path(__file__).with_name("lux_render.py")
        how = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": _own_allocator()}
        subprocess.run([sys.executable, str(child), str(asked), str(answer)], check=True, **how)
        return np.load(answer)


def _own_allocator() -> dict:
    """With LuxCore's allocator there from the beginning: taken in later, it frees what is not its own."""
    site = Path(importlib.util.find_spec("pyluxcore").origin).parents[1] / "pyluxcore.libs"
    return os.environ | {"LD_PRELOAD": str(next(site.glob("libtbbmalloc_proxy*"))), "LD_LIBRARY_PATH": str(site)}


class _Told:
    """Gathers what LuxCore is told of one scene: properties in order, pictures, meshes."""

    def __init__(self) -> None:
        self.scene: list[tuple] = []
        self.how: list[tuple] = []
        self.maps: list[tuple] = []
        self.meshes: list[tuple] = []
        self.count = 0

    def set(self, key: str, value) -> None:
        if isinstance(value, (list, tuple, np.ndarray)):
            value = [float(v) for v in value]
        self.scene.append((f"scene.{key}", value))

    def name(self, stem: str) -> str:
        self.count += 1
        return f"{stem}{self.count}"

    def config(self, camera: Camera, depth: int, samples: int, seed: int) -> None:
        self.how = [
            ("renderengine.type", "PATHCPU"),
            ("renderengine.seed", seed + 1),
            ("sampler.type", "SOBOL"),
            ("native.threads.count", 1),
            *((f"path.pathdepth.{way}", depth) for way in ("total", "glossy", "diffuse", "specular")),
            ("path.clamping.variance.maxvalue", BRIGHTEST),
            ("film.width", camera.width),
            ("film.height", camera.height),
            ("film.filter.type", "BLACKMANHARRIS"),
            ("film.filter.width", 1.5),
            ("film.imagepipelines.0.0.type", "NOP"),
            ("batch.haltspp", samples),
        ]

    def camera(self, camera: Camera) -> None:
        high = camera.height / camera.width
        self.set("camera.type", "perspective")
        self.set("camera.lookat.orig", camera.eye)
        self.set("camera.lookat.target", camera.eye + camera.forward)
        self.set("camera.up", camera.up)
        self.set("camera.fieldofview", camera.fov)
        self.set("camera.screenwindow", [-1, 1, -high, high])
        self.set("camera.lensradius", float(camera.aperture))
        self.set("camera.focaldistance", float(camera.focus))
        self.set("camera.cliphither", 1.0)
        self.set("camera.clipyon", 5000.0)

    def picture(self, bitmap, to_uv=None) -> str:
        """A bitmap as a texture; row 0 lies at v = 0."""
        a = np.array(bitmap, np.float32)
        a = a[..., None] if a.ndim == 2 else a
        file, texture = self.name("map"), self.name("texture")
        h, w, channels = a.shape
        self.maps.append((file, np.ascontiguousarray(a).reshape(-1), channels, w, h))
        self.set(f"textures.{texture}.type", "imagemap")
        self.set(f"textures.{texture}.file", file)
        self.set(f"textures.{texture}.gamma", 1.0)
        if to_uv is not None:
            scale, shift = to_uv
            self.set(f"textures.{texture}.mapping.type", "uvmapping2d")
            self.set(f"textures.{texture}.mapping.uvscale", [scale, scale])
            self.set(f"textures.{texture}.mapping.uvdelta", [shift, shift])
        return texture

    def value(self, v):
        """A number, a colour or a bitmap, for a material."""
        if isinstance(v, dict):
            return list(v["value"]) if v["type"] == "rgb" else self.picture(v["bitmap"], _uv_of(v))
        return float(v)

    def material(self, stem: str, bsdf: dict, bump: str | None = None) -> str:
        kind = bsdf["type"]
        if kind == "twosided":
            return self.material(stem, bsdf["bsdf"], bump)
        if kind == "normalmap":
            inner = bsdf["normalmap"]
            texture = self.name("bump")
            slopes = self.picture(inner["bitmap"], _uv_of(inner))  # what is named must be told before
            self.set(f"textures.{texture}.type", "normalmap")
            self.set(f"textures.{texture}.texture", slopes)
            return self.material(stem, bsdf["bsdf"], texture)
        name = self.name(stem)
        put = lambda key, value: self.set(f"materials.{name}.{key}", value)  # noqa: E731
        if kind == "diffuse":
            put("type", "matte")
            put("kd", self.value(bsdf["reflectance"]))
        elif kind == "roughconductor":
            fresnel = self.name("fresnel")
            colour = self.value(bsdf["specular_reflectance"])
            self.set(f"textures.{fresnel}.type", "fresnelcolor")
            self.set(f"textures.{fresnel}.kr", colour)
            rough = self.value(bsdf["alpha"])
            put("type", "metal2")
            put("fresnel", fresnel)
            put("uroughness", rough)
            put("vroughness", rough)
        elif kind == "roughplastic":
            put("type", "glossy2")
            put("kd", self.value(bsdf["diffuse_reflectance"]))
            put("ks", [0.04, 0.04, 0.04])
            put("uroughness", float(bsdf["alpha"]))
            put("vroughness", float(bsdf["alpha"]))
        elif kind == "blendbsdf":
            parts = self.material(stem, bsdf["a"], bump), self.material(stem, bsdf["b"], bump)
            share = self.value(bsdf["weight"])
            put("type", "mix")
            put("material1", parts[0])
            put("material2", parts[1])
            put("amount", share)
        else:
            raise ValueError(f"no such material: {kind}")
        if bump and kind != "blendbsdf":
            put("bumptex", bump)
        return name

    def mesh(self, name: str, v, n, uv, f, material: str) -> None:
        rows = lambda a: None if a is None else [tuple(row) for row in np.asarray(a).tolist()]  # noqa: E731
        self.meshes.append((f"mesh_{name}", rows(v), rows(f), rows(n), rows(uv)))
        self.set(f"objects.{name}.shape", f"mesh_{name}")
        self.set(f"objects.{name}.material", material)

    def rectangle(self, name: str, entry: dict) -> None:
        """Mitsuba's: -1 to 1, its uv 0 to 1."""
        m = np.array(entry["to_world"].matrix, float)
        corners = np.array([[-1, -1, 0, 1], [1, -1, 0, 1], [1, 1, 0, 1], [-1, 1, 0, 1]], float)
        uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
        up = np.tile(m[:3, 2] / np.linalg.norm(m[:3, 2]), (4, 1))
        f = np.array([[0, 1, 2], [0, 2, 3]])
        self.mesh(name, (corners @ m.T)[:, :3], up, uv, f, self.material(name, entry["bsdf"]))

    def lamp(self, name: str, entry: dict) -> None:
        material = self.name("glow")
        self.set(f"materials.{material}.type", "matte")
        self.set(f"materials.{material}.kd", [0, 0, 0])
        self.set(f"materials.{material}.emission", list(entry["emitter"]["radiance"]["value"]))
        v, f = _round_lamp(np.array(entry["center"]), entry["radius"])
        self.mesh(name, v, None, None, f, material)

    def surroundings(self, sky: np.ndarray) -> None:
        """face_scene.room's map: row = down from the zenith, column = azimuth from +y towards +x; LuxCore's from +x."""
        h, w = sky.shape[:2]
        column = np.arange(w)
        there = (w // 4 - 1 - column) % w
        sky = np.maximum(sky[:, there, :3], 0.0, dtype=np.float32)
        self.maps.append(("sky", sky.reshape(-1), 3, w, h))
        self.set("lights.sky.type", "infinite")
        self.set("lights.sky.file", "sky")
        self.set("lights.sky.gamma", 1.0)


def _uv_of(texture: dict):
    """(scale, shift) of a Mitsuba texture's to_uv, which scales about the middle; None for none."""
    if "to_uv" not in texture:
        return None
    m = np.array(texture["to_uv"].matrix, float)
    return float(m[0, 0]), float(m[0, -1] if m.shape[0] == 3 else m[0, 3])


def _round_lamp(centre: np.ndarray, radius: float, corners: int = 16) -> tuple[np.ndarray, np.ndarray]:
    """A ball as the disc sees it: flat, round, towards the arbor. A ball's many triangles are each drawn too rarely."""
    t = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    way = -centre / np.linalg.norm(centre)
    a = np.cross(way, [1.0, 0.0, 0.3])
    a = a / np.linalg.norm(a)
    v = centre + radius * (np.cos(t)[:, None] * a + np.sin(t)[:, None] * np.cross(way, a))
    return v, np.array([(0, k, k + 1) for k in range(1, corners - 1)])


def _read_mesh(path: str):
    """Vertices, normals, uv and triangles of a file that face_mesh.Mesh.scene wrote."""
    data = Path(path).read_bytes()
    end = data.index(b"end_header\n") + len(b"end_header\n")
    head = data[:end].decode().split("\n")
    count = {line.split()[1]: int(line.split()[2]) for line in head if line.startswith("element")}
    vert = np.frombuffer(data, "<f4", 8 * count["vertex"], end).reshape(-1, 8)
    face = np.frombuffer(data, [("k", "u1"), ("i", "<i4", 3)], count["face"], end + vert.nbytes)
    return vert[:, :3], vert[:, 3:6], vert[:, 6:8], face["i"]
