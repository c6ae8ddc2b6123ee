"""Every entry of the catalogue of faults is told as it must be: what, where, how to mend it."""

from __future__ import annotations

import importlib.util
import os
import re
from itertools import zip_longest
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from rasterio.transform import Affine, from_origin

from brimline.cli.check import examined
from brimline.cli.main import _of_the_machine
from brimline.cli.run import RunOptions, run_site
from brimline.config import load
from brimline.config.tables import Settings
from brimline.errors import InputError, Problem, Severity
from brimline.layers.drawn import ITEMS
from brimline.layers.usual import USUAL_RANGES

_spec = importlib.util.spec_from_file_location("faults", Path(__file__).with_name("faults.py"))
assert _spec is not None
faults = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(faults)

pytestmark = [  # of writing what is broken
    pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning"),
    pytest.mark.filterwarnings("ignore:'crs' was not provided"),
    # of pyproj, where a layer of one point is brought to another CRS
    pytest.mark.filterwarnings("ignore:Conversion of an array with ndim:DeprecationWarning"),
]
CRS = "EPSG:32626"
WEST, NORTH, SIZE = 350_000.0, 5_210_000.0, 40
CORNER = np.array([WEST, NORTH - SIZE])
# words of libraries, and of things that only programmers know
FOREIGN = re.compile(
    r"Traceback|pandas|numpy|rasterio|GDAL|OGR|pydantic|shapely|pyogrio|[A-Z]\w+(Error|Exception)\b"
    r"|\bNone\b|NoneType|dtype|codec|tokeniz|object at 0x|could not convert|invalid literal"
    r"|Input should|\bstr\b|\bint\b|\bfloat\b|\bbool\b|C error|validator"
)
ORDER = {"fine": 0, "notice": 1, "warning": 2, "error": 3}
VECTORS = {
    "boundary": faults.BOUNDARY, "intakes": faults.INTAKES, "surfaces": faults.SURFACES,
    "soils": faults.SOILS, "keep_out": faults.KEEP_OUT, "culverts": faults.CULVERTS,
    "walls": faults.WALLS, "notes": faults.NOTES, "tile_index": faults.TILE_INDEX,
}  # fmt: skip
TABLES = {
    "rainfall": faults.RAINFALL, "weather": faults.WEATHER, "plants": faults.PLANTS_FILE,
    "guilds": faults.GUILDS_FILE, "inflows": faults.INFLOWS_FILE, "as_built": faults.AS_BUILT,
}  # fmt: skip
NORMALS = (
    "[weather]\nnormal_rain_mm = [60,60,60,60,60,60,60,60,60,60,60,60]\n"
    "normal_wet_days = [9,9,9,9,9,9,9,9,9,9,9,9]\n"
    "normal_temp_max_c = [5,6,9,13,17,20,22,22,18,13,9,6]\n"
    "normal_temp_min_c = [0,0,2,4,8,11,13,13,10,7,3,1]\n"
)
DITCH = {"name": "Ditch", "into": "Well", "shape": shapely.Point(20, 30)}


class Folder:
    """A tiny site; what is not broken is as it should be."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.inputs = {"elevation": "terrain.tif", "boundary": "boundary.gpkg"}
        self.tables = ""
        self.text("rainfall", faults.RAIN)
        self.elevation({"dem": faults.ground()})
        self.layer("boundary", [{"name": "Site", "shape": faults.SITE}])

    def layer(self, name: str, rows: list[dict[str, Any]], file: str = "") -> None:
        target = self.path / (file or f"{name}.gpkg")
        if not file:
            target.unlink(missing_ok=True)
            self.inputs[name] = target.name
        shapes = [row["shape"] for row in rows]
        columns = [
            {"id": at} | {k: v for k, v in row.items() if k != "shape"}
            for at, row in enumerate(rows)
        ]
        moved = [
            shape if shape is None or abs(shape.bounds[0]) < 100 > shape.bounds[1] > 41
            else shapely.transform(shape, lambda xy: xy + CORNER)
            for shape in shapes
        ]  # fmt: skip
        frame = gpd.GeoDataFrame(columns, geometry=moved, crs=CRS)
        kind = {} if rows else {"geometry_type": "Polygon"}
        frame.to_file(target, layer=name, driver="GPKG", **kind)

    def plan(self, layers: dict[str, list[dict[str, Any]]]) -> None:
        (self.path / "plan.gpkg").unlink(missing_ok=True)
        for name, rows in layers.items():
            self.layer(name, rows, "plan.gpkg")
        self.inputs["plan"] = "plan.gpkg"

    def text(self, name: str, given: str | bytes) -> None:
        raw = given if isinstance(given, bytes) else given.encode()
        (self.path / f"{name}.csv").write_bytes(raw)
        self.inputs[name] = f"{name}.csv"

    def elevation(self, given: dict[str, Any]) -> None:
        path = self.path / "terrain.tif"
        if not {"gone", "folder", "fifo"}.isdisjoint(given):
            path.unlink()
            if "folder" in given:
                path.mkdir()
            elif "fifo" in given:
                os.mkfifo(path)
            return
        if "text" in given:
            path.write_bytes(given["text"])
            return
        dem = given.get("dem", faults.ground())
        size, west, north = given.get("transform", (1.0, WEST, NORTH)) or (1.0, 0.0, 0.0)
        at = from_origin(west, north, size, size)
        rows, cols = (10**6, 10**6) if "giant" in given else dem.shape
        dtype, count = given.get("dtype", "float32"), given.get("count", 1)
        options = {"sparse_ok": True, "tiled": True, "BIGTIFF": "YES"} if "giant" in given else {}
        with rasterio.open(
            path, "w", driver="GTiff", height=rows, width=cols, count=count, dtype=dtype,
            crs=given.get("crs", CRS), transform=Affine.identity() if size is None
            or given.get("transform", 1) is None else at, **options,
        ) as target:  # fmt: skip
            if "giant" not in given:
                for band in range(count):
                    target.write(dem.astype(dtype), band + 1)
            if "units" in given:
                target.units = given["units"]
        if "cut" in given:
            raw = path.read_bytes()
            path.write_bytes(raw[: int(len(raw) * given["cut"])])

    def write(self, more: str = "") -> Path:
        tables = {"site": ['name = "Tern Bank"'], "inputs": []}
        tables["inputs"] += [f'{name} = "{file}"' for name, file in self.inputs.items()]
        for table in ("site", "inputs"):  # keys that are said again take the place of the usual
            if more.startswith(f"[{table}]\n"):
                key = more.splitlines()[1]
                word = key.split(" =")[0]
                tables[table] = [one for one in tables[table] if not one.startswith(f"{word} =")]
                tables[table].append(key)
                more = ""
        if more.startswith("[weather]"):
            self.tables = ""
        head = "\n".join(f"[{name}]\n" + "\n".join(rows) for name, rows in tables.items())
        site = self.path / "site.toml"
        site.write_text(f"{head}\n{self.tables}{more}\n", encoding="utf-8")
        return site

    def told(self, more: str = "") -> list[Problem]:
        """Return what `check` says; nothing may be written."""
        site = self.write(more)
        before = sorted(self.path.rglob("*"))
        try:
            found = list(examined(site).problems)
        except (InputError, OSError) as error:
            told = error if isinstance(error, InputError) else _of_the_machine(error)
            if told is None:
                raise
            found = list(told.problems)
        assert sorted(self.path.rglob("*")) == before
        for problem in found:
            _is_for_people(problem)
        return found


def _is_for_people(problem: Problem) -> None:
    text = str(problem)
    assert problem.source, text
    assert problem.message, text
    if problem.severity is not Severity.NOTICE:
        assert problem.mend, f"no mend: {text}"
    assert not FOREIGN.search(f"{problem.message} {problem.mend}"), text
    assert f"{problem.message}{problem.mend}".isprintable(), text
    assert len(problem.message) < 600, text[:900]


@pytest.fixture
def missed(record_property):
    """Say how a fault was not told as it must be, and count what came of it for the summary."""

    def said(fault: Any, told: list[Problem]) -> str:
        worst = max((ORDER[str(one.severity)] for one in told), default=0)
        record_property("fault", ("accepted", "accepted", "warned", "refused")[worst])
        return _missed(fault, told)

    return said


def _missed(fault: Any, told: list[Problem]) -> str:
    """Say how a fault was not told as it must be; empty where it was."""
    heard = "; ".join(f"{one.severity} {one.place}: {one.message}" for one in told) or "nothing"
    if fault.level == "fine":
        bad = [one for one in told if one.severity in (Severity.ERROR, Severity.WARNING)]
        return f"{fault.what}: taken rightly, but told {heard}" if bad else ""
    least = min(ORDER[level] for level in fault.level.split("|"))
    for one in told:
        where = f"{one.source.rsplit('/', 1)[-1]}: {one.place}, {one.message}; {one.mend}"
        if ORDER[str(one.severity)] >= least and re.search(fault.says, where, re.DOTALL):
            return ""
    return f"{fault.what}: wanted {fault.level} {fault.says!r}, heard {heard}"


def _of(told: list[Problem], name: str) -> list[Problem]:
    return [one for one in told if one.source.rsplit("/", 1)[-1].startswith(name)]


def _beside(groups: dict[str, tuple[Any, ...]]) -> list[dict[str, Any]]:
    """Take the first fault of each input together, then the second of each, and so on."""
    rows: Any = zip_longest(*groups.values())
    return [{name: fault for name, fault in zip(groups, row, strict=True) if fault} for row in rows]


LAYERS_AND_TABLES = _beside(
    {name: entries for name, entries in (VECTORS | TABLES).items()
     if name not in ("boundary", "guilds")}
)  # fmt: skip


@pytest.mark.parametrize("row", range(len(LAYERS_AND_TABLES)))
def test_faults_of_layers_and_tables_are_told_side_by_side(tmp_path, missed, row):
    broken, site = LAYERS_AND_TABLES[row], Folder(tmp_path)
    site.plan({"drawn_ponds": [faults.POND], "inflow_points": [DITCH]})
    for name, fault in broken.items():
        site.layer(name, fault.given) if name in VECTORS else site.text(name, fault.given)
    told = site.told()
    misses = [missed(fault, _of(told, name)) for name, fault in broken.items()]
    assert not any(misses), "\n".join(filter(None, misses))


PLANS = _beside({"plan": faults.PLAN, "guilds": faults.GUILDS_FILE})


@pytest.mark.parametrize("row", range(len(PLANS)))
def test_faults_of_the_plan_are_told(tmp_path, missed, row):
    broken, site = PLANS[row], Folder(tmp_path)
    site.text("plants", faults.PLANTS)
    site.tables = NORMALS
    site.plan(broken["plan"].given)
    if "guilds" in broken:
        site.text("guilds", broken["guilds"].given)
    told = site.told()
    misses = [missed(fault, _of(told, name)) for name, fault in broken.items()]
    assert not any(misses), "\n".join(filter(None, misses))


@pytest.mark.parametrize("fault", faults.BOUNDARY, ids=lambda fault: fault.what)
def test_faults_of_the_boundary_are_told(tmp_path, missed, fault):
    site = Folder(tmp_path)
    site.layer("boundary", fault.given)
    assert not (miss := missed(fault, _of(site.told(), "boundary"))), miss


@pytest.mark.parametrize("fault", faults.FILES, ids=lambda fault: fault.what)
def test_faults_of_vector_files_are_told(tmp_path, missed, fault):
    site = Folder(tmp_path)
    ending, content = fault.given
    site.inputs["boundary"] = f"boundary.{ending}"
    (tmp_path / f"boundary.{ending}").write_bytes(content)
    assert not (miss := missed(fault, _of(site.told(), "boundary"))), miss


@pytest.mark.parametrize("fault", faults.ELEVATION, ids=lambda fault: fault.what)
def test_faults_of_the_elevation_are_told(tmp_path, missed, fault):
    site = Folder(tmp_path)
    site.elevation(fault.given)
    assert not (miss := missed(fault, site.told())), miss


@pytest.mark.parametrize("fault", faults.CLOUDS, ids=lambda fault: fault.what)
def test_faults_of_point_clouds_are_told(tmp_path, missed, fault):
    site = Folder(tmp_path)
    ending, content = fault.given
    site.inputs["elevation"] = f"points.{ending}"
    (tmp_path / site.inputs["elevation"]).write_bytes(content)
    assert not (miss := missed(fault, site.told())), miss


@pytest.mark.parametrize("fault", faults.LEVELS, ids=lambda fault: fault.what)
def test_faults_of_single_levels_are_told(tmp_path, missed, fault):
    site = Folder(tmp_path)
    (tmp_path / "levels.csv").write_bytes(
        fault.given if isinstance(fault.given, bytes) else fault.given.encode()
    )
    site.inputs["elevation"] = "levels.csv"
    square = shapely.box(6, 6, 54, 54)
    gpd.GeoDataFrame({"name": ["Yard"]}, geometry=[square]).to_file(tmp_path / "boundary.gpkg")
    assert not (miss := missed(fault, site.told('[terrain]\ncrs = "local"'))), miss


@pytest.mark.parametrize("fault", faults.KEYS, ids=lambda fault: fault.what)
def test_faults_of_the_sites_file_are_told(tmp_path, missed, fault):
    site = Folder(tmp_path)
    site.tables = NORMALS
    site.plan(
        {"drawn_ponds": [faults.POND],
         "planting_zones": [{"name": "Z", "shape": faults.box(9, 9), "draws_on": "Well"}]}
    )  # fmt: skip
    assert not (miss := missed(fault, site.told(fault.given))), miss


MILD = _beside(
    {
        name: tuple(one for one in entries if one.level != "error")
        for name, entries in (VECTORS | TABLES | {"elevation": faults.ELEVATION,
                                                  "plan": faults.PLAN, "keys": faults.KEYS}).items()
    }
)  # fmt: skip


def _put(site, name, fault):
    """Break one input of a site, and return what the site's file says beyond the usual."""
    if name == "keys":
        return fault.given
    if name == "elevation":
        site.elevation(fault.given)
    elif name == "plan":
        site.plan(fault.given)
    else:
        site.layer(name, fault.given) if name in VECTORS else site.text(name, fault.given)
    return ""


@pytest.mark.slow
@pytest.mark.parametrize("row", range(len(MILD)))
def test_what_check_passes_runs_to_the_end(tmp_path, tmp_path_factory, row):
    store = tmp_path_factory.getbasetemp() / "stages"
    broken = dict(MILD[row])
    while True:
        folder = tmp_path / "-".join(map(str, [len(broken), *map(len, broken)]))
        folder.mkdir()
        site = Folder(folder)
        site.tables = f'{NORMALS}[keep]\nstore = "{store}"\n[works]\nproved = 1\n'
        site.text("plants", faults.PLANTS)
        site.plan({"drawn_ponds": [faults.POND], "inflow_points": [DITCH]})
        more = "".join(_put(site, name, fault) for name, fault in broken.items())
        wrong = [one for one in site.told(more) if one.severity is Severity.ERROR]
        if not wrong:
            break
        # what is told of one input may hang on another that is broken beside it
        files = {one.source.rsplit("/", 1)[-1].partition(".")[0] for one in wrong}
        named = files & broken.keys()
        for name in named or [next(n for n in ("keys", "elevation", "plan") if n in broken)]:
            del broken[name]
    if not broken:
        pytest.skip("check refuses it")
    done = run_site(folder / "site.toml", RunOptions(draft=True))
    assert done.published.written


def _plan_of_every_column(value):
    """One row in each layer of the plan, whose columns `value` gives; None leaves one empty."""
    layers = {}
    for item in ITEMS:
        shape = {"Point": faults.SPOT, "LineString": faults.LINE}.get(
            str(item.geometry), faults.box(12, 12)
        )
        row = {one.name: found for one in item.columns if (found := value(one)) is not None}
        if row:
            layers[item.name] = [{**row, "shape": shape}]
    return layers


def _too_low(column):
    return None if column.minimum is None else column.minimum - 1


def _too_high(column):
    return None if column.maximum is None else column.maximum + 1


def _unusual(column):
    high = USUAL_RANGES.get(column.name, (0, None))[1] if column.dtype == "float" else None
    return high and (high * 1.5 if column.maximum is None else None)


SWEEPS = [
    ("text", lambda one: "much" if one.dtype == "float" else None, "not a number"),
    ("too low", _too_low, "least allowed"),
    ("too high", _too_high, "most allowed"),
    ("unknown word", lambda one: "cheese" if one.values else None, "allowed are"),
    ("unusual", _unusual, "usual are"),
]


@pytest.mark.parametrize(("what", "value", "says"), SWEEPS, ids=[row[0] for row in SWEEPS])
def test_every_column_of_the_plan_is_held_against_what_it_may_be(tmp_path, what, value, says):
    site, layers = Folder(tmp_path), _plan_of_every_column(value)
    site.plan(layers)
    told = {(one.source.split("(")[-1].rstrip(")"), one.message.split(" ")[0])
            for one in site.told() if says in one.message}  # fmt: skip
    broken = {(name, column) for name, (row,) in layers.items() for column in row} - {
        (name, "shape") for name in layers
    }
    assert len(broken) >= 10
    assert told == broken


def _numbers_of_settings():
    """Every key of the site's file that holds a single number, with its table."""
    return [
        (table, key)
        for table, part in Settings.model_fields.items()
        if table != "inputs"
        for key, one in part.annotation.model_fields.items()
        if "tuple" not in str(one.annotation)
        and {float, int} & {one.annotation, *getattr(one.annotation, "__args__", ())}
    ]


@pytest.mark.parametrize("value", ['"much"', "true", "nan", "1e300", "[1.0]"])
def test_every_number_of_the_sites_file_is_held_against_what_it_may_be(tmp_path, value):
    numbers = _numbers_of_settings()
    tables: dict[str, list[str]] = {"site": ['name = "a"']}
    for table, key in numbers:
        tables.setdefault(table, []).append(f"{key} = {value}")
    tables["inputs"] = ['elevation = "a.tif"', 'boundary = "b.gpkg"']
    text = "\n".join(f"[{name}]\n" + "\n".join(rows) for name, rows in tables.items())
    (tmp_path / "site.toml").write_text(text)
    with pytest.raises(InputError) as caught:
        load(tmp_path / "site.toml")
    for problem in caught.value.problems:
        _is_for_people(problem)
    told = {problem.place.split(" ")[0] for problem in caught.value.problems}
    free = {f"{table}.{key}" for table, key in numbers} - told
    assert len(numbers) > 150
    # what has no bound in kind: prices, seeds, counts; a table is not told of twice
    assert not free if value != "1e300" else len(free) < len(numbers) / 2, sorted(free)


def test_the_catalogue_holds_four_hundred_faults():
    every = [*VECTORS.values(), *TABLES.values(), faults.PLAN, faults.LEVELS, faults.ELEVATION,
             faults.CLOUDS, faults.KEYS, faults.FILES]  # fmt: skip
    columns = [_plan_of_every_column(value) for _, value, _ in SWEEPS]
    swept = sum(len(row) - 1 for plan in columns for (row,) in plan.values())
    assert sum(len(entries) for entries in every) >= 400
    assert swept >= 200
    assert all(len({fault.what for fault in entries}) == len(entries) for entries in every)
    assert np.isfinite(faults.ground()).all()
