"""One scene of face_lux.py rendered by LuxCore, alone in its process.

python lux_render.py SCENE.pickle LIGHT.npy
"""

from __future__ import annotations

import os
import pickle
import sys
import time

import numpy as np
import pyluxcore


def main() -> None:
    with open(sys.argv[1], "rb") as file:
        told = pickle.load(file)
    pyluxcore.Init()
    scene = pyluxcore.Scene()
    for name, values, channels, width, height in told["maps"]:
        scene.DefineImageMap(name, values, 1.0, channels, width, height)
    for name, points, triangles, normals, uv in told["meshes"]:
        scene.DefineMesh(name, points, triangles, normals, uv, None, None)
    scene.Parse(properties(told["scene"]))
    config = dict(told["config"])
    session = pyluxcore.RenderSession(pyluxcore.RenderConfig(properties(told["config"]), scene))
    session.Start()
    while not session.HasDone():
        time.sleep(0.2)
        session.UpdateStats()  # it is here that it looks whether it has done
    session.Stop()
    shape = config["film.height"], config["film.width"], 3
    out = np.zeros(shape[0] * shape[1] * shape[2], np.float32)
    session.GetFilm().GetOutputFloat(pyluxcore.FilmOutputType.RGB, out)
    np.save(sys.argv[2], out.reshape(shape)[::-1])  # LuxCore's rows go up
    os._exit(0)  # its log outlives Python otherwise, and falls


def properties(pairs: list[tuple]):
    out = pyluxcore.Properties()
    for key, value in pairs:
        out.Set(pyluxcore.Property(key, value))
    return out


if __name__ == "__main__":
    main()
