"""The same ground on cells of 0.5, 1 and 2 m: figures are of metres, so they hardly change."""

import numpy as np
import pytest
import shapely
from rasterio.transform import from_origin

SIZE_M = 160.0
PLAN = {
    "drawn_ponds": [{"name": "Pond", "depth_m": 1.2, "shape": shapely.Point(80, 100).buffer(11)}],
    "drawn_swales": [
        {"name": "Swale", "shape": shapely.LineString([(100, 60), (110, 64), (124, 71)])}
    ],
    "drawn_drains": [
        {"name": "Drain", "shape": shapely.LineString([(120, 50), (100, 40), (84, 32)])}
    ],
    "discharge_points": [{"name": "Brook", "shape": shapely.Point(80, 18)}],
}


def valley(cell_m):
    """A valley that falls southwards, its floor turning from steep to gentle halfway down."""
    count = round(SIZE_M / cell_m)
    down, east = (np.indices((count, count)) + 0.5) * cell_m
    fall = np.where(down < 80, 0.16 * down, 0.16 * 80 + 0.05 * (down - 80))
    return (140 - fall + 0.0025 * (east - 80) ** 2).astype(np.float32)


def figures(site, cell_m):
    """What people are told, from a run on cells of a size."""
    site.dem = valley(cell_m)
    site.write_terrain(transform=from_origin(site.west, site.north, cell_m, cell_m))
    site.write_plan(**PLAN)
    site.write_intakes(((80, 30),), ["low"])
    site.tables = (
        "[storm]\ndepth_mm = 70\nduration_h = 3\n"
        "[survey]\nrmse_m = 0.1\nrealisations = 0\n[lines]\nlevel_tolerance_m = 5\n"
    )
    done = site.run("--until", "hazards")
    assert done.code == 0, done.err
    elements = site.layer("elements").set_index("element_id")
    storms = site.table("storm_results").set_index(["storm", "element_id"]).loc["stated rain"]
    drains = site.table("drain_results").set_index(["storm", "element_id"]).loc["stated rain"]
    earth = site.table("earth_volumes").set_index("element_id")
    banks = site.layer("bank_hazards").set_index("element_id")
    told = {}
    for name in ("Pond", "Swale"):
        told |= {
            f"{name} storage_m3": elements.loc[name, "storage_m3"],
            f"{name} bank_m": elements.loc[name, "embankment_height_m"],
            f"{name} arrives_m3": storms.loc[name, "outside_m3"],
            f"{name} inflow_m3_s": storms.loc[name, "inflow_peak_m3_s"],
            f"{name} cut_m3": earth.loc[name, "cut_m3"],
            f"{name} fill_m3": earth.loc[name, "fill_m3"],
        }
    told["Pond leaves_m"] = banks.loc["Pond", "leaves_m"]
    told["Drain fall_pct"] = drains.loc["Drain", "fall_pct"]
    told["Drain cut_m3"] = earth.loc["Drain", "cut_m3"]
    return told


@pytest.mark.slow
@pytest.mark.parametrize("cell_m", [0.5, 2.0])
def test_figures_hardly_depend_on_the_cells(site, cell_m):
    usual = figures(site, 1.0)
    other = figures(site, cell_m)
    # the catchment of a pond is known to a cell around it; banks to the fall over a cell
    for name, value in usual.items():
        assert value > 0, name
        assert other[name] == pytest.approx(value, rel=0.12), name
