"""Unsafe and safe surveys for the flags of stakes, of what was built and of notes."""

from __future__ import annotations

import tempfile
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import shapely
from of_designs import GRID, SOUTH, codes, earth_of, made, over, storm

from brimline.as_built import (
    Asked,
    DesignedWorks,
    FromSurface,
    SurveyShift,
    Tolerances,
    Trial,
    judge_works,
)
from brimline.elements.building import StakeSpacing, set_out
from brimline.io.vectors import VectorSource
from brimline.lines.staking import Instrument, Stake, judged, readings
from brimline.stages import notes


@lru_cache(maxsize=1)
def works():
    design = made(basins=(), overflows=(over("first", SOUTH),))
    site = earth_of(design)
    return site, DesignedWorks(site.ready, site.ground, design.network, refine=2)


def built(change, survey_error_m=0.003):
    """What a survey of the pond shows, which differs by `change(x, y)` from its design."""
    site, held = works()
    design = site.design
    x, y = GRID.xy(*np.indices(GRID.shape))
    asked = [
        Asked("Pond", one.stake_id, one.role, one.chainage_m, one.x, one.y, one.design_m)
        for one in set_out(site.ready, site.label_of("Pond"), site.ground, None, StakeSpacing())
    ]
    trial = Trial((design.arrivals.of(storm(60.0), 60.0),), design.limits, design.pace, {})
    found = judge_works(
        held, asked, FromSurface((change(x, y) + 0 * x).astype(np.float32), GRID),
        Tolerances(survey_error_m=survey_error_m), trial, shift=SurveyShift(),
    )  # fmt: skip
    told = {one.code: one.text for one in found.findings if one.code}
    judgement = next(one for one in found.elements if one.element_id == "Pond")
    return told | {code: told.get(code, judgement.notes) for code in judgement.flag}


def as_designed(x, y):
    return 0.0


def unseen(x, y):
    """Only ground far from the pond was surveyed."""
    return np.where(y < 10, 0.0, np.nan)


def silted(x, y):
    """0.3 m of silt on the floor, the sill and the crest as designed."""
    return np.where(np.hypot(x - 30, y - 40) < 4.5, 0.3, 0.0)


def tilted(x, y):
    """The sill, 0.5 m wide at (30, 33.5), leans to one side."""
    return np.where(np.abs(y - 33.5) < 2, 0.2 * np.clip(x - 30, -1, 1), 0.0)


def low_crest(x, y):
    """The whole rim lies low, and the floor as designed."""
    return np.where(np.hypot(x - 30, y - 40) > 3.0, -0.35, 0.0)


def staked(tolerance_m):
    stake = Stake("Pond", "Pond-S01", "sill", 0.0, 30.0, 36.0, 97.0, 96.8, 96.8, tolerance_m)
    flags = judged([stake], 0.05)[0].flags
    return codes(";".join(flags))


def rod(benchmark_m):
    stake = Stake("Pond", "Pond-S01", "sill", 0.0, 30.0, 36.0, 97.0, 96.8, 96.8)
    (reading,) = readings([stake], Instrument("nail", benchmark_m, 1.5))
    return codes(";".join(reading.flags), reading.say)


def noted(*, moved):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "notes.geojson")
        rows = {"text": ["set here"], "about": ["Pond-S01"], "moved": [moved]}
        place = [shapely.Point(351_000, 5_200_000)]
        gpd.GeoDataFrame(rows, geometry=place, crs="EPSG:32633").to_file(path)
        given = SimpleNamespace(
            grid=GRID,
            source=lambda *_: VectorSource(path),
            frame=lambda _: gpd.GeoDataFrame({"stake_id": []}, geometry=[], crs=GRID.crs),
        )
        made = notes._run(given, SimpleNamespace(tell=lambda _: None))
    return codes(made["notes"]["flag"].iloc[0])


EXAMPLES = {
    "built-off": (lambda: built(silted), lambda: built(as_designed)),
    "short-storage": (lambda: built(silted), lambda: built(as_designed)),
    "uneven-sill": (lambda: built(tilted), lambda: built(as_designed)),
    "not-decided": (lambda: built(as_designed, 0.05), lambda: built(as_designed)),
    "not-surveyed": (lambda: built(unseen), lambda: built(as_designed)),
    "no-longer-works": (lambda: built(low_crest), lambda: built(as_designed)),
    "level-on-site": (lambda: staked(0.02), lambda: staked(0.20)),
    "off-rod": (lambda: rod(110.0), lambda: rod(98.0)),
    "moved-on-site": (lambda: noted(moved=True), lambda: noted(moved=False)),
}
