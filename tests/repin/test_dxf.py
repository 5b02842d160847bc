"""The DXF read back by ezdxf: clean, in millimetres, layers by operation, places to a millionth of a millimetre."""

from __future__ import annotations

import ezdxf
import pytest

from disc.job import open_job
from disc.records import Side
from disc.repin.records import Operation
from disc.repin.sheets.dxf import face_dxf, layer_of
from disc.repin.store import load_plan


@pytest.fixture(params=["planned_job", "designed_job"])
def job(request):
    return open_job(request.getfixturevalue(request.param))


@pytest.mark.parametrize("side, mirror", [(Side.UPPER, 1.0), (Side.LOWER, -1.0)])
def test_read_back(job, side, mirror):
    plan = load_plan(job)
    doc = ezdxf.readfile(job.out(f"drawings/{side.value}.dxf"))
    audit = doc.audit()
    assert not audit.has_errors and not audit.has_fixes
    assert doc.header["$INSUNITS"] == 4 and doc.header["$MEASUREMENT"] == 1  # DXF reference: millimetres, metric
    space = doc.modelspace()
    for operation in Operation:
        for in_doubt in (False, True):
            layer = layer_of(operation, in_doubt)
            circles = [c for c in space.query("CIRCLE") if c.dxf.layer == layer]
            stations = [s for s in plan.of(side) if operation in s.operations and s.in_doubt == in_doubt]
            drawn = sorted((c.dxf.center.x, c.dxf.center.y) for c in circles)
            wanted = sorted((s.place.x_mm, mirror * s.place.y_mm) for s in stations)
            assert len(drawn) == len(wanted)
            assert all(
                abs(a - b) <= 1e-6 for d, w in zip(drawn, wanted, strict=True) for a, b in zip(d, w, strict=True)
            )
            if operation is Operation.DRILL and stations:
                assert {c.dxf.radius for c in circles} == {s.stock.drill.diameter_mm / 2 for s in stations}


def test_outline_closes_round_rim_and_slot(planned_job):
    space = ezdxf.readfile(planned_job / "out/drawings/upper.dxf").modelspace()
    (arc,) = space.query("ARC[layer=='OUTLINE']")
    ends = {(round(p.x, 9), round(p.y, 9)) for p in (arc.start_point, arc.end_point)}
    lines = [(line.dxf.start, line.dxf.end) for line in space.query("LINE[layer=='OUTLINE']")]
    assert len(lines) == 3
    places = [(round(p.x, 9), round(p.y, 9)) for line in lines for p in line]
    assert all(places.count(place) == 1 for place in ends)  # each end of the rim meets one end of the slot
    assert arc.dxf.radius == 15.0 and min(x for x, _ in places) == pytest.approx(15.0 - 0.8)
    assert space.query("CIRCLE[layer=='BORE']")[0].dxf.radius == 1.5


def test_other_face_and_numbers(planned_job):
    plan = load_plan(open_job(planned_job))
    space = ezdxf.readfile(planned_job / "out/drawings/upper.dxf").modelspace()
    assert len(space.query("CIRCLE[layer=='OTHER_FACE']")) == len(plan.of(Side.LOWER))
    numbers = [text.dxf.text for text in space.query("TEXT[layer=='NUMBERS']")]
    assert numbers == [str(s.number) for s in plan.numbered(Side.UPPER)]


def test_same_plan_same_file(planned_job):
    plan = load_plan(open_job(planned_job))
    assert face_dxf(plan, Side.UPPER) == face_dxf(plan, Side.UPPER)
    assert face_dxf(plan, Side.UPPER) == (planned_job / "out/drawings/upper.dxf").read_text(encoding="utf-8")
