"""Profiles set what was left out, and nothing that was stated."""

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from brimline.config.profiles import PROFILES, profile_for, with_profile
from brimline.config.tables import Settings
from brimline.errors import ConfigError
from brimline.inputs.profile import _cell_m


def settings(**tables):
    site = {"name": "a"} | tables.pop("site", {})
    return Settings.model_validate(
        {"site": site, "inputs": {"elevation": "a.csv", "boundary": "b.gpkg"}, **tables}
    )


@pytest.mark.parametrize(
    ("area_m2", "cell_m", "said"),
    [
        (1_500, None, "garden"), (1_500, 0.25, "garden"), (1_500, 1.0, "farm"),
        (400_000, 1.0, "farm"), (400_000, None, "farm"), (9e6, 1.0, "catchment"),
        (400_000, 10.0, "catchment"),
    ],
)  # fmt: skip
def test_size_and_cell_choose(area_m2, cell_m, said):
    assert profile_for(area_m2, cell_m) == said


@pytest.mark.parametrize("name", PROFILES)
def test_every_default_is_a_key_that_is_valid(name):
    found = with_profile(settings(), name)
    for table, defaults in PROFILES[name].items():
        for key, value in defaults.items():
            assert getattr(getattr(found, table), key) == value
    assert found.site.profile == name


def test_a_farm_has_the_tables_own_defaults():
    assert with_profile(settings(), "farm").model_dump(exclude={"site"}) == settings().model_dump(
        exclude={"site"}
    )


def test_what_is_stated_stays():
    found = with_profile(settings(contours={"interval_m": 1.0}), "garden")
    assert found.contours.interval_m == 1.0
    assert found.contours.smooth_m == PROFILES["garden"]["contours"]["smooth_m"]


def test_a_stated_value_that_a_default_contradicts_is_told():
    with pytest.raises(ConfigError, match=r"profile garden: max_spacing_m"):
        with_profile(settings(swales={"min_spacing_m": 20.0}), "garden")


def test_what_is_left_out_is_raised_to_what_coarse_cells_can_tell():
    coarse = with_profile(settings(), "farm", 30.0)
    assert coarse.drainage.snap_radius_m == 60.0  # two cells
    assert coarse.drainage.path_area_m2 == 50 * 900.0
    assert coarse.drainage.snap_area_m2 == 10 * 900.0
    assert coarse.lines.path_area_m2 == 50 * 900.0
    fine = with_profile(settings(), "farm", 1.0)
    assert fine.model_dump(exclude={"site"}) == settings().model_dump(exclude={"site"})
    said = with_profile(settings(drainage={"snap_radius_m": 10.0}), "farm", 30.0)
    assert said.drainage.snap_radius_m == 10.0  # who states it means it
    assert said.drainage.snap_area_m2 == 9000.0


def test_cells_in_degrees_are_narrower_away_from_the_equator(tmp_path):
    """At 60° north a degree of longitude is half as long as one of latitude."""
    path = tmp_path / "north.tif"
    place = {"crs": "EPSG:4326", "transform": from_origin(10.0, 60.02, 0.001, 0.001)}
    with rasterio.open(
        path, "w", driver="GTiff", height=40, width=40, count=1, dtype="float32", **place
    ) as made:
        made.write(np.zeros((40, 40), dtype=np.float32), 1)
    assert _cell_m(path, None) == pytest.approx(111_320 * 0.001 * 0.5**0.5, rel=1e-3)
