"""What the map page carries equals what the run holds, within what it says of itself."""

from __future__ import annotations

import base64
import json
import re
import zlib
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import shapely
from pyproj import Transformer

from brimline.grid import Grid
from brimline.layers import CATALOGUE
from brimline.report import map_html, map_surface
from brimline.report.map_data import map_data
from brimline.report.map_surface import level_at, packed, quantised
from brimline.report.quantities import text, unit_for

if TYPE_CHECKING:
    from brimline.report import Results


def unpacked(told: dict[str, Any]) -> np.ndarray:
    """Read the surface as the page's script does: planes of bytes, differences along rows."""
    planes = np.frombuffer(zlib.decompress(base64.b64decode(told["data"])), np.uint8)
    low, high = planes.reshape(2, told["rows"], told["cols"]).astype(np.uint16)
    levels = np.cumsum(low + (high << 8), axis=1, dtype=np.uint16)
    return np.where(levels == told["none"], np.nan, told["low"] + told["step"] * levels)


def test_the_surface_is_kept_to_half_a_step() -> None:
    rng = np.random.default_rng(4)
    dem = (rng.normal(0, 40, (70, 90)) - 20).astype(np.float32)
    dem[10:14, 20] = np.nan
    surface = quantised(dem, Grid(70, 90, 0.5, 1000.0, 2000.0))
    back = unpacked(packed(surface, (0.0, 0.0)))
    assert (np.isnan(back) == np.isnan(dem)).all()
    assert np.nanmax(np.abs(back - dem)) <= surface.step_m / 2 + 1e-4
    assert surface.step_m == 0.01


def test_a_site_of_great_relief_takes_larger_steps() -> None:
    dem = np.array([[0.0, 3000.0], [1.0, 2.0]], np.float32)
    surface = quantised(dem, Grid(2, 2, 10.0))
    back = unpacked(packed(surface, (0.0, 0.0)))
    assert surface.step_m == pytest.approx(3000 / 65_534)
    assert np.abs(back - dem).max() <= surface.step_m / 2 + 1e-3


def test_a_large_site_is_thinned_and_says_by_how_much(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(map_surface, "MOST_CELLS", 500)
    grid = Grid(60, 80, 1.0, 100.0, 900.0)
    x, y = grid.xy(*np.mgrid[0:60, 0:80])
    dem = (5 * np.sin(x / 9) + y / 20).astype(np.float32)
    surface = quantised(dem, grid)
    assert surface.thinned == 4
    assert surface.levels.size <= 500
    kept_x, kept_y = surface.grid.xy(*np.mgrid[0 : surface.grid.rows, 0 : surface.grid.cols])
    row, col = grid.cell(kept_x, kept_y)  # kept cells are cells of the survey
    assert np.abs(level_at(surface, kept_x, kept_y) - dem[row, col]).max() <= 0.0051
    worst = np.abs(level_at(surface, x, y) - dem).max()
    assert surface.worst_m == pytest.approx(worst)
    assert worst > 0.1


def test_a_plane_is_read_exactly_between_cells() -> None:
    grid = Grid(20, 30, 2.0, 0.0, 40.0)
    x, y = grid.xy(*np.mgrid[0:20, 0:30])
    surface = quantised((0.25 * x + 0.5 * y).astype(np.float32), grid)
    rng = np.random.default_rng(1)
    px, py = rng.uniform(1, 59, 200), rng.uniform(1, 39, 200)
    assert np.abs(level_at(surface, px, py) - (0.25 * px + 0.5 * py)).max() <= 0.005 + 1e-6


def shape_of(told: list[Any], origin: tuple[float, float]) -> Any:
    kind, parts = told

    def line(flat: list[int]) -> np.ndarray:
        return np.cumsum(np.array(flat).reshape(-1, 2), axis=0) / 100 + origin

    if kind == 0:
        return shapely.Point(line(parts[0])[0])
    if kind == 1:
        return shapely.MultiLineString([line(part) for part in parts])
    return shapely.MultiPolygon([(line(r[0]), [line(h) for h in r[1:]]) for r in parts])


def test_geometry_and_figures_of_every_row_are_the_layers(made_results: Results) -> None:
    data = map_data(made_results)
    assert {layer["name"] for layer in data["layers"]} == {
        name for name, frame in made_results.frames.items() if "geometry" in frame.columns
    }
    for layer in data["layers"]:
        frame, item = made_results.frames[layer["name"]], CATALOGUE[layer["name"]]
        columns = [column for column in item.columns if column.name in frame.columns]
        units = [unit_for(column, "metric", frame[column.name]) for column in columns]
        for told, (_, row) in zip(layer["rows"], frame.iterrows(), strict=True):
            shape = shape_of(told["g"], data["origin"])
            assert shape.hausdorff_distance(row.geometry) <= 0.05 * made_results.grid.cell_m + 0.01
            assert told["v"] == [
                text(row[column.name], unit, column.dtype)
                for column, unit in zip(columns, units, strict=True)
            ]


def test_longitude_and_latitude_between_nodes(made_results: Results) -> None:
    """Bilinear between nodes, as the page does, against PROJ at many points."""
    nodes = np.array(map_data(made_results)["lonlat"])
    west, south, east, north = made_results.grid.bounds
    rng = np.random.default_rng(2)
    u, v = rng.uniform(0, 8, 100), rng.uniform(0, 8, 100)
    c, r = np.minimum(u.astype(int), 7), np.minimum(v.astype(int), 7)
    fu, fv = (u - c)[:, None], (v - r)[:, None]
    low = nodes[r, c] * (1 - fu) + nodes[r, c + 1] * fu
    high = nodes[r + 1, c] * (1 - fu) + nodes[r + 1, c + 1] * fu
    told = low * (1 - fv) + high * fv
    there = Transformer.from_crs("EPSG:32626", "EPSG:4326", always_xy=True).transform(
        west + (east - west) * u / 8, south + (north - south) * v / 8
    )
    assert np.abs(told - np.column_stack(there)).max() < 2e-9 + 1e-9  # a tenth of a millimetre


def test_lines_are_simplified_where_there_are_too_many(
    make_results: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from brimline.report import map_data as module

    results = make_results(frames={"keep_out"})
    full = len(module.map_data(results)["layers"][0]["rows"][0]["g"][1][0][0])
    monkeypatch.setattr(module, "MOST_VERTICES", 20)
    fewer = len(module.map_data(results)["layers"][0]["rows"][0]["g"][1][0][0])
    assert fewer < full


def test_storm_levels_are_the_series(made_results: Results) -> None:
    (storm,) = map_data(made_results)["storms"]
    series = made_results.frames["storm_series"]
    for part in storm["elements"]:
        own = series[series["element_id"] == part["id"]].set_index("time_h")["level_m"]
        assert part["level"] == [round(own[hour], 3) for hour in storm["time"]]
    assert storm["time"][-1] == 8.0  # flows end at 7 h, and a quarter more is shown: 8.75


def test_the_page_is_one_file_that_asks_for_nothing(made_results: Results) -> None:
    html = map_html(made_results)
    own = html[: html.index('<script type="application/json"')] + html[html.rindex("<script>") :]
    assert not re.findall(r"""(?:src|href)\s*=\s*["'](?!data:)[^"'#]""", own)
    assert "Sable &lt;Bank&gt; &amp; Sons" in html
    assert "default-src 'none'" in html
    assert "sourceMappingURL" not in html
    told = re.search(r'<script type="application/json" id="data">(.*?)</script>', html, re.DOTALL)
    assert json.loads(told[1])["site"] == "Sable <Bank> & Sons"
    assert "Redistributions of source code" in html  # the library's licence goes with it


def test_the_same_results_give_the_same_page(made_results: Results) -> None:
    assert map_html(made_results) == map_html(made_results)


def test_a_run_with_nothing_but_a_grid_has_a_page(make_results: Any) -> None:
    data = map_data(make_results(frames=set(), rasters=set()))
    assert data["layers"] == []
    assert data["surface"] is None
    assert data["storms"] == []
    assert "<!doctype html>" in map_html(make_results(frames=set(), rasters=set()))


def test_stakes_of_one_element_are_found_apart(make_results: Any) -> None:
    import geopandas as gpd

    from brimline.layers import layer

    results = make_results()
    declared = layer("stakes")
    plain = {"int": 1, "float": 1.0, "text": "", "bool": False}
    rows = [
        {c.name: next(iter(c.values), plain[c.dtype]) for c in declared.columns}
        | {"element_id": "Pond", "stake_id": stake, "flag": ""}
        for stake in ("Pond-E01", "Pond-E02")
    ]
    x, y = results.grid.xy(60, 60)
    shapes = [shapely.Point(x, y, 100.0), shapely.Point(x + 5, y, 100.0)]
    results.frames["stakes"] = gpd.GeoDataFrame(rows, geometry=shapes, crs="EPSG:32626")
    (told,) = (item for item in map_data(results)["layers"] if item["name"] == "stakes")
    assert [row["n"] for row in told["rows"]] == ["Pond-E01", "Pond-E02"]
