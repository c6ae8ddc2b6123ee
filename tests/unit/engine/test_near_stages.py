"""What is made near the site is used there alone, and no water leads out of it."""

from importlib import import_module
from pathlib import Path

import brimline.stages
from brimline.layers import CATALOGUE, Raster

MODULES = [path.stem for path in sorted(Path(brimline.stages.__path__[0]).glob("[a-z]*.py"))]
STAGES = [
    stage
    for module in (import_module(f"brimline.stages.{name}") for name in MODULES)
    for stage in vars(module).values()
    if type(stage).__name__ == "Stage"
]
NEAR = {name for name, item in CATALOGUE.items() if isinstance(item, Raster) and item.near}


def test_rasters_of_the_site_are_needed_and_made_by_stages_of_the_site():
    assert NEAR >= {"sun_h", "cold_air", "near_direction"}
    for stage in STAGES:
        used = NEAR & {*stage.needs, *stage.optional_needs}
        assert stage.near or not used, (stage.name, used)
        rasters = {name for name in stage.makes if isinstance(CATALOGUE.get(name), Raster)}
        assert stage.name == "near" or (rasters <= NEAR if stage.near else not rasters & NEAR)


def test_stages_of_the_site_follow_water_within_it():
    for stage in STAGES:
        if stage.near:
            assert {"grid", "near"} <= {*stage.needs}, stage.name
            assert "flow_direction" not in stage.needs, stage.name
