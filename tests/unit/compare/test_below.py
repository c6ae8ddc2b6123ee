"""What lies below lost ground is named; what lies beside it, and digging for works, is not."""

import sys
from pathlib import Path

import numpy as np
import pytest
import shapely

from brimline.compare import RunElement, RunIntake, SiteRun, compare_runs
from brimline.grid import Grid

GRID = Grid(100, 100, 1.0, 0.0, 100.0, "EPSG:32626")
SOUTH = np.full(GRID.shape, 6, dtype=np.uint8)  # all water runs south


def element(name, x, y):
    shape = shapely.Point(x, y).buffer(4)
    return RunElement(name, "pond", 10.0, 5.0, "", (), shape.area, shape)


def lost(*elements, buildings=(), where=(slice(10, 20), slice(40, 60))):
    dem = np.random.default_rng(1).normal(0, 0.005, GRID.shape).astype(np.float32)
    dem += (10 + 0.1 * np.arange(100)[::-1, np.newaxis]).astype(np.float32)
    gone = dem.copy()
    gone[where] -= 1.0
    intakes = (RunIntake(1, "Ford", 900.0, None, None, shapely.Point(50, 5)),)
    then = SiteRun(dem, 0.02, 0.0, intakes, elements=elements, flow_direction=SOUTH,
                   buildings=buildings)  # fmt: skip
    now = SiteRun(gone, 0.02, 0.0, intakes, elements=elements, flow_direction=SOUTH)
    found = compare_runs(then, now, GRID).findings
    return [one for one in found if one.layer == "change_areas"]


def test_elements_intakes_and_buildings_below_a_slump_are_named_and_those_beside_it_are_not():
    barn = ("Barn", shapely.box(45, 20, 52, 26))
    (only,) = lost(element("Below", 50, 50), element("Beside", 90, 50), buildings=[barn])
    assert only.effect == "worse"
    for name in ("the pond Below", "the intake Ford", "the building Barn"):
        assert name in only.text
    assert "Beside" not in only.text
    assert "200 m³" in only.text


@pytest.mark.parametrize("where", [(slice(46, 55), slice(46, 55))])
def test_ground_dug_for_an_element_is_no_slump(where):
    assert lost(element("Dug", 50, 50), where=where) == []


@pytest.mark.skipif(sys.platform != "linux", reason="reads what the process holds from /proc")
def test_a_slump_of_half_the_site_takes_little_memory():
    import resource  # Unix alone has it

    limits = resource.getrlimit(resource.RLIMIT_AS)
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    now = pages * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (now + 400_000_000, limits[1]))
    try:
        (only,) = lost(element("Below", 50, 30), where=(slice(5, 55), slice(5, 95)))
    finally:
        resource.setrlimit(resource.RLIMIT_AS, limits)
    assert "the pond Below" in only.text
