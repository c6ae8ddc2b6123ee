"""How examples are drawn, what tests need of the machine, and a small invented site."""

from __future__ import annotations

import http.server
import multiprocessing
import shutil
import subprocess
from collections import Counter
from ctypes.util import find_library
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

from brimline import _jit
from brimline.rainfall import RunStorms, Storm

if TYPE_CHECKING:
    from brimline.report import Results

# `make test` draws the same examples every time, so that a change is judged by what it changes;
# `make test-all` looks further
settings.register_profile("repeatable", derandomize=True)
settings.register_profile("exploring")
settings.load_profile("repeatable")

# by mark: what is looked for, and what is said where `tests/setup_machine.sh` could not install it
TOOLS = {
    "renderer": (
        lambda: (
            not subprocess.run(
                ["/usr/bin/python3", "-c", "import mapscript"], capture_output=True, check=False
            ).returncode
        ),
        "MapServer's bindings are not installed; on Debian: apt-get install python3-mapscript",
    ),
    "browser": (
        lambda: shutil.which("chromium") or shutil.which("chromium-browser"),
        "Chromium is not installed; on Debian: apt-get install chromium",
    ),
    "printing": (
        lambda: find_library("pango-1.0") and find_library("pangoft2-1.0"),
        "Pango is not installed; on Debian: apt-get install libpango-1.0-0 libpangoft2-1.0-0",
    ),
}

ORIGIN = (352_000.0, 5_211_000.0)  # open ocean, as the demo
ROWS, COLS, CELL_M = 120, 160, 2.0
DEPTHS_MM = [1.0, 4.0, 9.0, 3.0, 1.0, 0.0]


class _Counting(http.server.BaseHTTPRequestHandler):
    asked = None

    def do_GET(self):
        self.asked.append(self.path)
        self.send_response(404)
        self.end_headers()

    do_HEAD = do_GET  # noqa: N815

    def log_message(self, *_):
        pass


def _serve(server, asked):
    _Counting.asked = asked
    server.serve_forever()


@pytest.fixture
def web():
    """Return the address of a server on this machine, and the list of what was asked of it.

    In a process of its own: GDAL keeps the interpreter's lock while it waits for an answer.
    """
    with multiprocessing.Manager() as manager:
        asked = manager.list()
        server = http.server.HTTPServer(("127.0.0.1", 0), _Counting)
        process = multiprocessing.Process(target=_serve, args=(server, asked), daemon=True)
        process.start()
        yield f"http://127.0.0.1:{server.server_port}", asked
        process.terminate()
        process.join()
        server.server_close()


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Say how many faulty inputs were tried, and what came of them."""
    came_of = Counter(
        value
        for reports in terminalreporter.stats.values()
        for report in reports
        if getattr(report, "when", "") == "call"
        for name, value in report.user_properties
        if name == "fault"
    )
    if came_of:
        told = ", ".join(f"{came_of[word]} {word}" for word in ("refused", "warned", "accepted"))
        terminalreporter.write_line(f"faulty inputs: {came_of.total()} tried, {told}")


def pytest_configure(config: pytest.Config) -> None:
    if hasattr(config, "workerinput"):  # one of as many processes as there are cores
        _jit.use_threads(max(1, _jit.thread_count() // config.workerinput["workercount"]))


def pytest_runtest_setup(item: pytest.Item) -> None:
    for mark, (found, reason) in TOOLS.items():
        if item.get_closest_marker(mark) and not found():
            pytest.skip(reason)


@pytest.fixture(scope="session")
def made_results() -> Results:
    """Return a site of 320 m by 240 m that slopes to the south, with a valley and a cascade."""
    return build_results()


@pytest.fixture(scope="session")
def make_results() -> Any:
    """Return the function that builds the site, for other units or without some layers."""
    return build_results


def build_results(
    units: str = "metric", *, frames: set[str] | None = None, rasters: set[str] | None = None
) -> Results:
    import numpy as np

    from brimline.grid import Grid
    from brimline.report import Results
    from brimline.terrain.slope import hillshade, slope_pct

    grid = Grid(ROWS, COLS, CELL_M, ORIGIN[0], ORIGIN[1] + ROWS * CELL_M, "EPSG:32626")
    x, y = grid.xy(*np.mgrid[0:ROWS, 0:COLS])
    dx, dy = x - ORIGIN[0], y - ORIGIN[1]
    dem = (100 + 0.08 * dy + 3 * np.cos(dx / 60) + 0.002 * (dx - 160)).astype(np.float32)
    dem[:3, :4] = np.nan
    chance = np.clip((dx / 320).astype(np.float32), 0, 1)
    held = {
        "elevation": dem,
        "hillshade": hillshade(dem, cell_m=CELL_M),
        "slope_pct": slope_pct(dem, cell_m=CELL_M),
        "catchment_chance": chance,
        "wetness": (4 + 6 * chance).astype(np.float32),
        "flow_direction": np.full(dem.shape, 6, np.uint8),
    }
    made = {name: frame for name, frame in layers().items() if frames is None or name in frames}
    return Results(
        site_name="Sable <Bank> & Sons",  # must be escaped everywhere
        units=units,
        grid=grid,
        frames=made,
        rasters={k: v for k, v in held.items() if rasters is None or k in rasters},
        manifest=manifest(units),
        facts={
            "storms": RunStorms(Storm("10-year", 3600.0, np.array(DEPTHS_MM), 10.0)),
            "survey": {
                "area_m2": 76_752.0,
                "spanned_m2": 12.0,
                "left_void_m2": 48.0,
                "holes": 1,
                "hole_m2": 60.0,
                "files": 1,
                "kind": "raster",
                "first_day": "2030-11-02",
                "last_day": "2030-11-02",
                "dated_by": "date in the files' headers",
                "points": 0,
                "ground_points": 0,
                "ground_filtered": False,
                "steps": [],
                "cut_from": "",
            },
            "support": {
                "error_m": 0.1,
                "spacing_m": 2.0,
                "step_m": 0.0,
                "because": "class QL1",
                "lacks": "",
            },
        },
        cautions=("Call the utility-locating service before digging.", "Ponds drown."),
    )


def manifest(units: str) -> dict[str, Any]:
    return {
        "brimline": "0.1.0",
        "finished": "2031-05-04T06:07:08.000+00:00",
        "inputs": {
            "elevation": {
                "said": ["terrain.tif"],
                "files": [{"path": "terrain.tif", "bytes": 1_228_675, "sha256": "ab" * 32}],
            }
        },
        "parameters": {
            "site": {"name": "Sable", "units": units},
            "survey": {"accuracy_class": "QL1", "rmse_m": None, "realisations": 50},
            "contours": {"interval_m": 2.0, "index_every": 5},
            "drainage": {"path_area_m2": 2000.0},
        },
        "versions": {"numpy": "2.3.5"},
        "problems": [
            {
                "stage": "survey",
                "severity": "warning",
                "message": "a <thing> was found",
                "mend": "look at it",
                "source": "terrain.tif",
                "place": "",
            }
        ],
        "warnings": 1,
        "headline": {},
    }


def layers() -> dict[str, Any]:
    import geopandas as gpd
    import pandas as pd
    from shapely.affinity import translate
    from shapely.geometry import LineString, MultiLineString, MultiPolygon, Point, Polygon, box

    from brimline.io.frames import conformed
    from brimline.layers import layer, table

    def put(name: str, rows: list[dict[str, Any]], shapes: list[Any]) -> Any:
        declared = layer(name)
        rows = [_filled(declared.columns) | row for row in rows]
        moved = [translate(shape, *ORIGIN) for shape in shapes]
        frame = gpd.GeoDataFrame(rows, geometry=moved, crs="EPSG:32626")
        return conformed(frame, declared, "EPSG:32626")

    def rows_of(name: str, rows: list[dict[str, Any]]) -> Any:
        declared = table(name)
        return conformed(pd.DataFrame([_filled(declared.columns) | r for r in rows]), declared)

    outline = MultiPolygon([Polygon([(20, 20), (300, 15), (290, 225), (25, 220)])])
    west, east = MultiPolygon([box(30, 60, 150, 220)]), MultiPolygon([box(150, 60, 285, 215)])
    found = {
        "boundary": put("boundary", [{"name": "Sable", "area_m2": outline.area}], [outline]),
        "surfaces": put(
            "surfaces",
            [{"cover": "roof", "name": "Barn"}, {"cover": "woods", "name": "Copse"}],
            [MultiPolygon([box(200, 150, 215, 160)]), MultiPolygon([box(40, 180, 90, 215)])],
        ),
        "keep_out": put(
            "keep_out",
            [{"kind": "well", "setback_m": 10.0, "name": "Well"}],
            [MultiPolygon([Point(240, 180).buffer(10)])],
        ),
        "contours": put(
            "contours",
            [{"level_m": 100.0 + 2 * n, "index": n % 5 == 0} for n in range(10)],
            [MultiLineString([[(5, 8 + 22 * n), (315, 10 + 22 * n)]]) for n in range(10)],
        ),
        "intakes": put(
            "intakes",
            [
                _intake(1, "Ford", 19_200.0, 2, low_m2=18_000.0, high_m2=20_500.0, flag=""),
                _intake(
                    2,
                    "Old gate",
                    40_000.0,
                    0,
                    low_m2=38_000.0,
                    high_m2=44_000.0,
                    flag="edge-limited;snap-ambiguous",
                ),
            ],
            [Point(95, 62), Point(190, 61)],
        ),
        "subcatchments": put(
            "subcatchments",
            [_subcatchment(1, 19_200.0, 19_200.0), _subcatchment(2, 40_000.0, 20_800.0)],
            [west, east],
        ),
        "flow_paths": put(
            "flow_paths",
            [
                {
                    "path_id": 1,
                    "downstream_id": 2,
                    "order": 1,
                    "area_m2": 5000.0,
                    "length_m": 120.0,
                    "fall_pct": 8.1,
                },
                {
                    "path_id": 2,
                    "downstream_id": 0,
                    "order": 2,
                    "area_m2": 19_000.0,
                    "length_m": 60.0,
                    "fall_pct": 6.0,
                },
            ],
            [LineString([(95, 200), (96, 80)]), LineString([(96, 80), (190, 61)])],
        ),
        "swale_lines": put(
            "swale_lines",
            [
                {
                    "swale_id": n,
                    "level_m": 116.0 - n,
                    "length_m": 180.0 + n,
                    "flag": flag,
                    "level_error_m": 0.021 * n,
                    "mean_slope_pct": 8.0,
                    "spacing_m": 14.0,
                    "catchment_m2": 2500.0,
                }
                for n, flag in ((1, ""), (2, "at-flow-path"), (3, "undersized"))
            ],
            [
                LineString([(60, 170 - 25 * n), (160, 172 - 25 * n), (240, 168 - 25 * n)])
                for n in (1, 2, 3)
            ],
        ),
    }
    found |= _works(put, rows_of) | _year(rows_of)
    return found


def _filled(columns: Any) -> dict[str, Any]:
    """Return a value for every column that must have one and that no test looks at."""
    plain = {"int": 1, "float": 1.0, "text": "", "bool": False}
    return {
        column.name: next(iter(column.values), plain[column.dtype])
        for column in columns
        if column.required
    }


def _intake(
    number: int, name: str, area_m2: float, down: int, *, low_m2: float, high_m2: float, flag: str
) -> dict[str, Any]:
    return {
        "intake_id": number,
        "name": name,
        "snap_m": 1.5,
        "area_m2": area_m2,
        "own_area_m2": area_m2 / 2,
        "downstream_id": down,
        "edge_limited": "edge" in flag,
        "area_low_m2": low_m2,
        "area_high_m2": high_m2,
        "level_m": 104.25,
        "flag": flag,
    }


def _subcatchment(number: int, area_m2: float, own_m2: float) -> dict[str, Any]:
    return {
        "intake_id": number,
        "area_m2": area_m2,
        "own_area_m2": own_m2,
        "mean_slope_pct": 8.3,
        "relief_m": 14.0,
        "longest_path_m": 210.0,
        "inside_pct": 96.0,
        "edge_limited": number == 2,
    }


def _works(put: Any, rows_of: Any) -> dict[str, Any]:
    from shapely.geometry import LineString, Point, Polygon

    plain = {
        "drawn": True,
        "footprint_m2": 200.0,
        "freeboard_m": 0.15,
        "embankment_height_m": 0.5,
        "soak_mm_per_h": 5.0,
    }
    elements = [
        ("Tank", "tank", 118.0, 116.0, 20.0, "Pond", ""),
        ("Pond", "pond", 110.0, 108.5, 531.0, "Swale", ""),
        ("Swale", "swale", 106.0, 105.6, 40.0, "Brook", "freeboard"),
    ]
    rows = [
        plain
        | {
            "element_id": name,
            "kind": kind,
            "spill_level_m": spill,
            "floor_level_m": floor,
            "crest_level_m": spill + 0.4,
            "storage_m3": held,
            "spills_to": to,
            "flag": flag,
            "depth_m": spill - floor,
            "peak_level_m": spill + 0.12,
            "drawdown_h": 20.0,
        }
        for name, kind, spill, floor, held, to, flag in elements
    ]
    shapes = [
        Point(205, 148),
        Polygon([(150, 104), (175, 102), (178, 112), (152, 114)]),
        LineString([(90, 78), (140, 79), (200, 77)]),
    ]
    ways = [
        {
            "from_id": a,
            "to_id": b,
            "outlet": "sill",
            "crest_level_m": crest,
            "drop_m": 4.0,
            "peak_m3_s": peak,
            "sill_width_m": 2.0,
            "sill_head_m": 0.12,
            "preference": 1,
            "flag": "",
        }
        for a, b, crest, peak in (
            ("Tank", "Pond", 118.0, 0.012),
            ("Pond", "Swale", 110.0, 0.171),
            ("Swale", "Brook", 106.0, 0.19),
        )
    ]
    lines = [
        LineString([(205, 148), (170, 113)]),
        LineString([(160, 103), (150, 79)]),
        LineString([(195, 77), (198, 30)]),
    ]
    series = [
        {
            "storm": "10-year",
            "element_id": row["element_id"],
            "time_h": hour,
            "level_m": row["floor_level_m"]
            + (row["spill_level_m"] - row["floor_level_m"]) * min(1.1, 0.3 * hour),
            "storage_m3": 5.0 * hour,
            "inflow_m3_s": 0.1 if 1 <= hour <= 5 else 0.0,
            "outflow_m3_s": 0.05 if 3 <= hour <= 7 else 0.0,
            "soaked_m3": 0.2 * hour,
        }
        for row in rows
        for hour in range(1, 25)
    ]
    return {
        "elements": put("elements", rows, shapes),
        "overflows": put("overflows", ways, lines),
        "storm_series": rows_of("storm_series", series),
        "building_steps": rows_of(
            "building_steps",
            [
                {"step": step, "action": action, "element_id": name, "to_id": to, "flag": ""}
                for step, (action, name, to) in enumerate(
                    [
                        ("make safe", "Brook", ""),
                        ("dig", "Tank", ""),
                        ("dig", "Pond", ""),
                        ("open overflow", "Tank", "Pond"),
                        ("dig", "Swale", ""),
                        ("open overflow", "Pond", "Swale"),
                        ("open overflow", "Swale", "Brook"),
                    ],
                    start=1,
                )
            ],
        ),
    }


def _year(rows_of: Any) -> dict[str, Any]:
    def met(rain: float, harvested: float, mains: float, deficit: float) -> dict[str, float]:
        return {
            "demand_m3": rain + harvested + mains + deficit,
            "rain_m3": rain,
            "harvested_m3": harvested,
            "mains_m3": mains,
            "deficit_m3": deficit,
        }

    months = [
        {"year": year, "month": month} | met(10.0 * month, 5.0, 3.0, 1.0 if year else 0.0)
        for year in (None, 2003)
        for month in range(1, 13)
    ]
    years = [
        {"year": year, "whole": True, "driest": year == 2004, "worst": year == 2003,
         "share_without_mains": share, "mains_avoided_m3": 120.5, "watered_demand_m3": 100.0,
         "watered_rain_m3": 60.0, "share_harvested_of_need": share / 2,
         "share_rain_fed_met": 0.9, "caught_m3": 300.0, "passed_on_m3": 200.0}
        for year, share in ((None, 0.71), (2002, 0.8), (2003, 0.58), (2004, 0.75))
    ]  # fmt: skip
    curve = [
        {"element_id": "Tank", "capacity_m3": size, "share_without_mains": min(1, size / 40)}
        for size in (0.0, 10.0, 20.0, 40.0, 60.0)
    ]
    answer = {
        "element_id": "Tank", "kind": "tank", "capacity_m3": 20.0, "share_without_mains": 0.5,
        "goal_share": 0.9, "smallest_m3": 36.0, "pays_until_m3": 40.0, "text": "36 m³ is enough.",
    }  # fmt: skip
    return {
        "site_months": rows_of("site_months", months),
        "site_years": rows_of("site_years", years),
        "size_curves": rows_of("size_curves", curve),
        "size_answers": rows_of("size_answers", [answer]),
    }
