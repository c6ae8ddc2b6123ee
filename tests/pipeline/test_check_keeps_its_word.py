"""What `check` passes runs, and what a run refuses `check` refuses in the same words."""

import numpy as np
import pytest
import shapely

SMALL = 60
PLANTS = (
    "name,kind,layer,spacing_m,height_m,crown_m,mature_y,sun,water,frost_limit_c,kc,kc_dormant,"
    "root_depth_m,price_each,size,plant_months,care\n"
    "fig,fig,canopy,4,4,4,8,full,moist,-12,0.8,0.3,1.0,20,pot,11-3,prune @ 1-2 @ 20\n"
)


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


def name_of_an_outlet_again(site):
    site.write_plan(
        drawn_ponds=[_pond("Well")],
        discharge_points=[{"name": "Well", "shape": shapely.Point(30, 4)}],
    )


def period_outside_the_table(site):
    _rain(site)
    site.tables += "[storm]\nreturn_period_y = 500\n"


def duration_outside_the_table(site):
    _rain(site)
    site.tables += "[storm]\nduration_h = 96\n"


def zone_off_the_data(site):
    _normals(site)
    site.write_plan(planting_zones=[_zone(400.0)])


def unknown_planting(site):
    _normals(site)
    site.write_plan(planting_zones=[_zone(planting="moon cheese")])


def zone_draws_on_nothing_drawn(site):
    _normals(site)
    site.write_plan(drawn_ponds=[_pond("Well")], planting_zones=[_zone(draws_on="Wall")])


def text_in_a_number_column(site):
    site.write_plan(drawn_ponds=[{**_pond("Well"), "depth_m": "deep"}])


def plants_without_a_file(site):
    site.write_plan(planting_zones=[_zone(plants="fig")])


def unknown_plant(site):
    site.write_plan(planting_zones=[_zone(plants="fgi")])
    (site.folder / "plants.csv").write_text(PLANTS)
    site.inputs["plants"] = "plants.csv"


def plants_file_gone(site):
    site.inputs["plants"] = "plants.csv"


def unknown_cover(site):
    site.write_shapes("surfaces", [site.box(20)], cover=["cheese"], name=["Yard"])


def normals_that_contradict(site):
    _normals(site)
    site.tables = site.tables.replace("[9,9,", "[0,9,")
    site.write_plan(planting_zones=[_zone()])


FAULTS = [
    names_twice, name_of_an_outlet_again, period_outside_the_table, duration_outside_the_table,
    zone_off_the_data, unknown_planting, zone_draws_on_nothing_drawn, text_in_a_number_column,
    plants_without_a_file, unknown_plant, plants_file_gone, unknown_cover, normals_that_contradict,
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
