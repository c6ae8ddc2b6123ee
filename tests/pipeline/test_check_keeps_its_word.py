"""What `check` passes runs, and what a run refuses `check` refuses in the same words.

A run makes the tests of `check` with the same functions; one fault of each kind is run to see it.
What `check` itself must say stands in the catalogue, `faults.py`.
"""

import numpy as np
import pytest
import shapely

SMALL = 60


@pytest.fixture
def small(site):
    site.size = SMALL
    row, col = np.indices((SMALL, SMALL))
    site.dem = 120 - 0.1 * row + 0.002 * (col - 30.0) ** 2 + 0.003 * np.sin(row + 3 * col)
    site.write_boundary(inset=4.0)
    return site


def _pond(name, x=30.0):
    return {"name": name, "shape": shapely.Point(x, 20).buffer(4)}


def _zone(x=30.0, **columns):
    return {
        "name": "Beds",
        "planting": "small vegetables",
        **columns,
        "shape": shapely.Point(x, 30).buffer(5),
    }


def _rain(site, text="duration_h,2,10,100\n1,20,30,45\n24,50,70,100\n"):
    (site.folder / "rain.csv").write_text(text)
    site.inputs["rainfall"] = "rain.csv"


def _normals(site):
    site.tables += (
        "[weather]\nnormal_rain_mm = [60,60,60,60,60,60,60,60,60,60,60,60]\n"
        "normal_wet_days = [9,9,9,9,9,9,9,9,9,9,9,9]\n"
        "normal_temp_max_c = [5,6,9,13,17,20,22,22,18,13,9,6]\n"
        "normal_temp_min_c = [0,0,2,4,8,11,13,13,10,7,3,1]\n"
    )


def names_twice(site):
    site.write_plan(drawn_ponds=[_pond("Well"), _pond("Well", 45.0)])


def period_outside_the_table(site):
    _rain(site)
    site.tables += "[storm]\nreturn_period_y = 500\n"


def plants_file_gone(site):
    site.inputs["plants"] = "plants.csv"


def unknown_cover(site):
    site.write_shapes("surfaces", [site.box(20)], cover=["cheese"], name=["Yard"])


def spills_to_nothing_drawn(site):
    site.write_plan(drawn_ponds=[_pond("Well") | {"spills_to": "Brook"}])


FAULTS = [
    names_twice, spills_to_nothing_drawn, period_outside_the_table, plants_file_gone, unknown_cover,
]  # fmt: skip


def _refusals(said):
    """Return what a command says before it tells what to do."""
    return {line.split(":", 1)[-1].strip() for line in said.splitlines() if "error" in line.lower()}


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.__name__)
def test_check_refuses_what_a_run_refuses_in_the_same_words(small, fault):
    fault(small)
    checked, ran = small.check(), small.run("--draft")
    assert (checked.code, ran.code) == (2, 2), (checked.err, ran.err)
    assert "Traceback" not in ran.err
    told = _refusals(ran.err)
    assert told, ran.err
    assert told <= _refusals(checked.err)
    assert not small.results.exists()


def test_what_check_passes_runs_to_the_end(small):
    _rain(small)
    _normals(small)
    small.write_plan(
        drawn_ponds=[_pond("Well")],
        planting_zones=[_zone(draws_on="Well")],
        discharge_points=[{"name": "Way out", "shape": shapely.Point(30, 4)}],
    )
    assert small.check().code == 0
    assert small.run("--draft").code == 0
