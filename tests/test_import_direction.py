"""Imports go down only: from a floor to a lower one, with no circle between rooms, their parts or single modules."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Mapping
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "disc"

# Bottom to top. A room may import any room of a lower floor, and none of its own floor or a higher one. "disc" is
# disc/__init__.py: it names what it offers and loads it only when asked (by import_module), so it stands at the bottom.
FLOORS: tuple[frozenset[str], ...] = tuple(
    frozenset(floor.split())
    for floor in (
        "disc errors records terminal pitch_names svg",
        "frame measures words typeset condition_marks fitted",
        "tables locale results trees",
        "stored doubts",
        "job",
        "photo object",
        "comb",
        "tune correct_plate undo",
        "turn",
        "library listen design",
        "check",
        "repin",
        "report offer collect archive",
        "demo",
        "desk api",
        "commands",
        "cli",
        "entry",
        "__main__",
    )
)

# The package offers the names of api.py; it names them to type checkers, and loads them when they are asked for.
UPWARD_ALLOWED = {("disc", "disc.api"): "under TYPE_CHECKING only; tests/test_api.py sees that nothing is loaded"}

# Within a room: one part that imports another which (also) rests on it. No two modules import each other; these parts
# would only be in order if the module named moved. A new one fails, and so does one that is no longer needed.
PARTS_ALLOWED: dict[tuple[str, str], str] = {
    ("check/photo", "check/music"): "holes asks music_places which places the music leaves free",
    ("desk/open_job", "desk/page"): "an edit answers with the page's pins",
    ("desk/work", "desk/page"): "what is marked is held against the pictures that the page shows",
    ("library/index", "library/search"): "shards searches each of its indexes",
    ("photo/image", "photo/plane"): "a photograph knows its lens; known_lens stands beside the planes",
    ("photo/plane", "photo/marks"): "networks (the model loader) and slant stand among the marks",
    ("photo/plane", "photo/plate"): "a plane is made from the plate's ellipse",
    ("repin/machine", "repin/sheets"): "gcode drills the rows of the drill table",
    ("repin/records", "repin/machine"): "the plan's record holds the dividing head's settings",
    ("repin/records", "repin/work"): "the plan's record holds the drills",
    ("tune/write", "tune/read"): "layout takes the strains that the reading found",
}


def room_of(module: str) -> str:
    """The room of a module: its second name; of the package itself "disc"."""
    names = module.split(".")
    return names[1] if len(names) > 1 else names[0]


def imports_of(source: str, known: Iterable[str]) -> list[tuple[str, int]]:
    """Every module of disc that a source imports, anywhere in it, with its line; a relative import is an error."""
    modules = set(known)
    found: list[tuple[str, int]] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [(alias.name, node.lineno) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            if node.level or node.module is None:
                raise AssertionError(f"line {node.lineno}: a relative import; write it out from disc on")
            inner = [f"{node.module}.{alias.name}" for alias in node.names]
            found += [(name if name in modules else node.module, node.lineno) for name in inner]
    return [(name, line) for name, line in found if name.split(".")[0] == "disc"]


def read_package(folder: Path) -> dict[str, list[tuple[str, int]]]:
    """By module: what it imports of the package."""
    files = {}
    for path in sorted(folder.rglob("*.py")):
        names = [folder.name, *path.relative_to(folder).with_suffix("").parts]
        files[".".join(names[:-1] if names[-1] == "__init__" else names)] = path
    found = {name: imports_of(path.read_text(encoding="utf-8"), files) for name, path in files.items()}
    return {
        name: [(target, line) for target, line in targets if (name, target) not in UPWARD_ALLOWED]
        for name, targets in found.items()
    }


def upward(imports: Mapping[str, Iterable[tuple[str, int]]]) -> list[str]:
    """Each import that does not go down, in words."""
    floor = {room: height for height, rooms in enumerate(FLOORS) for room in rooms}
    return [
        f"{module}:{line} imports {target}: {room_of(target)} is not below {room_of(module)}"
        for module, targets in imports.items()
        for target, line in targets
        if room_of(target) != room_of(module) and floor[room_of(target)] >= floor[room_of(module)]
    ]


def part_of(module: str) -> str:
    """The part of a room that a module lies in: photo/sheets of disc.photo.sheets.overlay."""
    names = module.split(".")
    return "/".join(names[1:3]) if len(names) > 3 else "/".join(names[1:]) or names[0]


def circle(edges: Iterable[tuple[str, str]]) -> list[str]:
    """One circle among the edges, as the names along it; empty if there is none."""
    graph: dict[str, set[str]] = {}
    for one, other in edges:
        if one != other:
            graph.setdefault(one, set()).add(other)
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


@pytest.fixture(scope="module")
def imports():
    return read_package(PACKAGE)


def test_every_room_has_one_floor(imports):
    rooms = [room for floor in FLOORS for room in floor]
    assert len(rooms) == len(set(rooms))
    assert set(rooms) == {room_of(module) for module in imports}


def test_no_import_goes_up(imports):
    assert upward(imports) == []


def test_no_circle_of_modules(imports):
    assert circle((module, target) for module, targets in imports.items() for target, _ in targets) == []


def test_no_circle_between_the_parts_of_a_room(imports):
    edges = {(part_of(module), part_of(target)) for module, targets in imports.items() for target, _ in targets}
    assert PARTS_ALLOWED.keys() - edges == set()  # no longer needed: take it out of the list
    kept = edges - PARTS_ALLOWED.keys()
    assert circle(kept) == []
    assert [pair for pair in PARTS_ALLOWED if circle([*kept, pair]) == []] == []  # needed only while it closes a circle


def test_an_upward_import_is_seen():
    for source in ("from disc.desk import page", "def f():\n    import disc.desk.page.state", "from disc import desk"):
        found = {"disc.photo.image": imports_of(source, ["disc", "disc.desk", "disc.desk.page"])}
        assert len(upward(found)) == 1


def test_a_circle_is_seen():
    assert circle([("a", "b"), ("b", "c"), ("c", "a")]) != []
    assert circle([("a", "b"), ("b", "c"), ("a", "c"), ("a", "a")]) == []
