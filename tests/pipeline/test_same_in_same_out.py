"""The same site gives the same bytes wherever, whenever and with however many hands it is run.

What may differ is the clock alone: moments and how long things took, in `run.json`, and what a page
or table says of the day. Ground that is lifted, mirrored or turned holds the same water.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from datetime import datetime

import numpy as np
import pytest
import shapely

pytestmark = pytest.mark.slow

TABLES = "[storm]\ndepth_mm = 70\nduration_h = 3\n[works]\nusual_soak_mm_per_h = 30\n"
PLAN = {
    "drawn_ponds": [
        {"name": "Upper pond", "depth_m": 1.2, "shape": shapely.Point(80, 70).buffer(11)}
    ],
    "drawn_basins": [
        {"name": "Lower basin", "depth_m": 0.4, "shape": shapely.Point(80, 38).buffer(8)}
    ],
    "discharge_points": [{"name": "Brook", "shape": shapely.Point(80, 18)}],
}
CLOCK = {"started", "finished", "seconds", "made_seconds", "id"}  # keys of run.json, at any depth

SURROUNDINGS = {
    "a folder of spaces and letters": {"folder": "Höhe 3 / über".replace("/", "-")},
    "another zone of time": {"TZ": "Pacific/Chatham"},
    "another language": {"LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8"},
    "another seed of hashes": {"PYTHONHASHSEED": "4711"},
    "many hands": {"NUMBA_NUM_THREADS": "2", "OMP_NUM_THREADS": "3", "jobs": "3"},
}


def _run(folder, env, jobs, until):
    done = subprocess.run(
        [sys.executable, "-m", "brimline", "run", "site.toml", "--out", "out", "--rebuild",
         *until, "--jobs", jobs],
        cwd=folder, env=os.environ | env, capture_output=True, text=True, check=False, timeout=900,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return {
        path.relative_to(folder / "out").as_posix(): path.read_bytes()
        for path in sorted((folder / "out").rglob("*"))
        if path.is_file()
    }


def _without_clock(name, content):
    """Leave the clock out of what a run wrote."""
    if name.endswith("run.json"):
        return json.dumps(_unclocked(json.loads(content)), sort_keys=True)
    if name.endswith((".html", ".svg", ".md", ".ics", ".gpx", ".xml", ".dxf", ".csv", ".json")):
        text = content.decode("utf-8", "replace")
        return re.sub(r"20\d\d-\d\d-\d\d(T[\d:.+Z]+)?|\d\d:\d\d(:\d\d)?( UTC)?", "", text)
    return content


def _unclocked(value):
    if isinstance(value, dict):
        return {k: _unclocked(v) for k, v in value.items() if k not in CLOCK}
    return [_unclocked(one) for one in value] if isinstance(value, list) else value


@pytest.mark.parametrize("until", ["catchments", ""])
def test_surroundings_change_nothing_but_the_clock(site, tmp_path, until):
    site.tables, site.draft = TABLES, False
    if until:
        site.dem, site.size = site.dem[:60, 50:110], 60
        at = shapely.Point(site.west + 30, site.north - 50)
    else:
        site.write_plan(**PLAN)
        at = shapely.Point(site.west + 80, site.north - 130)
    site.write_shapes("intakes", [at], name=["Ford"])
    site.write()
    asked = ["--until", until] if until else []
    base = {"TZ": "UTC", "LC_ALL": "C.UTF-8", "PYTHONHASHSEED": "0", "NUMBA_NUM_THREADS": "1"}
    first = _run(site.folder, base, "1", asked)
    assert {"site.gpkg", "report.html", "rasters/elevation.tif"} <= set(first)
    everything = {key: v for one in SURROUNDINGS.values() for key, v in one.items()}
    folder = tmp_path / everything.pop("folder")
    shutil.copytree(site.folder, folder, ignore=lambda *_: {"out", ".brimline", folder.name})
    jobs = everything.pop("jobs")
    other = _run(folder, base | everything, jobs, asked)
    assert set(first) == set(other)
    apart = [
        name
        for name in first
        if _without_clock(name, first[name]) != _without_clock(name, other[name])
    ]
    assert apart == []
    assert datetime.fromisoformat(json.loads(first["run.json"])["finished"]).tzinfo is not None


def _turned(dem):
    return np.ascontiguousarray(np.rot90(dem))


GROUNDS = {
    "lifted by 4000 m": (lambda dem: dem + 4000.0, lambda xy, _: xy),
    "mirrored": (lambda dem: dem[:, ::-1], lambda xy, s: np.column_stack([s - xy[:, 0], xy[:, 1]])),
    "turned": (_turned, lambda xy, s: np.column_stack([s - xy[:, 1], xy[:, 0]])),
}
# relative; ties between equal neighbours, and pixels of outlines, fall otherwise on turned ground
TOLERANCE = 0.001  # measured: 0.00013


def _figures(site):
    elements = site.table("elements").set_index("element_id")
    earth = site.table("earth_volumes").set_index("element_id")
    figures = {("storage_m3", name): elements.loc[name, "storage_m3"] for name in elements.index}
    figures |= {
        (column, name): earth.loc[name, column]
        for column in ("cut_m3", "fill_m3")
        for name in earth.index
    }
    arrives = site.table("storm_results").set_index("element_id")["outside_m3"]
    figures |= {
        ("footprint_m2", name): elements.loc[name, "footprint_m2"] for name in arrives.index
    }
    return figures | {("arrives_m3", name): arrives[name] for name in arrives.index}


def _done(site, dem, placed):
    size = site.size
    moved = {
        layer: [row | {"shape": shapely.transform(row["shape"], lambda xy: placed(xy, size))}
                for row in rows]
        for layer, rows in PLAN.items()
    }  # fmt: skip
    site.tables = TABLES + "[earthworks]\nrefine = 2\n"
    site.dem = dem
    site.write_terrain()
    site.write_plan(**moved)
    told = site.run("--draft", "--until", "earthworks")
    assert told.code == 0, told.err
    return _figures(site)


@pytest.mark.parametrize("ground", GROUNDS)
def test_ground_that_is_lifted_mirrored_or_turned_holds_the_same(site, stages_kept, ground):
    change, placed = GROUNDS[ground]
    dem = np.round(site.dem * 1024) / 1024  # whole steps, which float32 holds at any height
    before = _done(site, dem, lambda xy, _: xy)
    after = _done(site, change(dem).astype(np.float32), placed)
    assert set(before) == set(after)
    for key, value in before.items():
        assert after[key] == pytest.approx(value, rel=TOLERANCE, abs=0.05), key
