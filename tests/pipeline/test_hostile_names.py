"""Names that spreadsheets, pages and consoles would act on do nothing in any file of a run."""

from __future__ import annotations

import csv
import re
import sqlite3
from contextlib import closing

import numpy as np
import pandas as pd
import pytest
import shapely

pytestmark = pytest.mark.slow
# OWASP, "CSV Injection": cells that begin so are taken for formulas
FORMULA = re.compile(r"[=+\-@\t\r]")
NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")
# C0 and C1 but for line ends and tabs, and marks that turn the direction of writing (Unicode TR9)
CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
MARKUP = re.compile(r"<(script|img|svg)[^>]*(alert\(|onerror|onload)", re.IGNORECASE)
NAMES = (
    '=HYPERLINK("http://192.0.2.1","{}")', "+1+cmd|' /C calc'!A0 {}", "-2+3+{}", "@SUM(1+{})",
    "<script>alert({})</script>", '"><img src=x onerror=alert({})>', "{}\u202egnp.exe",
    "bell\x07{}", "two\nlines {}", "</style></script><svg onload=alert({})>",
)  # fmt: skip
PLANTS = (
    "name,kind,layer,spacing_m,height_m,crown_m,mature_y,sun,water,price_each,care\n"
    "=1+1,fig,canopy,4,4,4,8,full,moist,20,prune @ 1-2 @ 20\n"
    "@bean,bean,herb,1,1,1,1,full,moist,2,\n"
)
TABLES = (
    "[storm]\ndepth_mm = 70\nduration_h = 3\n[works]\nusual_soak_mm_per_h = 30\nproved = 2\n"
    "[weather]\nnormal_rain_mm = [60,60,60,60,60,60,60,60,60,60,60,60]\nmade_up_years = 3\n"
    "normal_wet_days = [9,9,9,9,9,9,9,9,9,9,9,9]\n"
    "normal_temp_max_c = [5,6,9,13,17,20,22,22,18,13,9,6]\n"
    "normal_temp_min_c = [0,0,2,4,8,11,13,13,10,7,3,1]\n"
)


@pytest.fixture(scope="module")
def folder(site_class, tmp_path_factory):
    """A finished run folder whose every name is hostile."""
    with pytest.MonkeyPatch.context() as patch:
        site = site_class(tmp_path_factory.mktemp("hostile"), _Silent(), patch)
        site.tables, site.draft = TABLES, False
        count = iter(range(1, 1000))
        corner = np.array([site.west, site.north - site.size])

        def rows(shapes, **columns):
            return [{"name": _name(next(count)), "shape": shape, **columns} for shape in shapes]

        def spots(y, size=5.0):
            return [shapely.Point(22 + 13 * n, y).buffer(size) for n in range(len(NAMES))]

        site.write_plan(
            drawn_ponds=rows(spots(110), depth_m=1.0),
            drawn_basins=rows(spots(85), depth_m=0.4),
            drawn_tanks=rows([one.centroid for one in spots(125)], capacity_m3=5.0, height_m=2.0),
            planting_zones=rows(spots(60), planting="small vegetables"),
            drawn_plants=[
                row | {"plant": "=1+1"} for row in rows([one.centroid for one in spots(45)])
            ],
            discharge_points=rows([one.centroid for one in spots(20)]),
        )
        (site.folder / "plants.csv").write_text(PLANTS)
        site.inputs["plants"] = "plants.csv"
        for layer, y, more in (
            ("intakes", 30, {}),
            ("surfaces", 140, {"cover": "roof"}),
            ("keep_out", 35, {"kind": "well", "setback_m": 1.0}),
        ):
            made = rows(spots(y, 3.0), **more)
            shapes = [row.pop("shape") for row in made]
            if layer == "intakes":
                shapes = [shape.centroid for shape in shapes]
            moved = [shapely.transform(one, lambda xy: xy + corner)
                     for one in shapes]  # fmt: skip
            site.write_shapes(layer, moved, **pd.DataFrame(made).to_dict("list"))
        path = site.write()
        text = path.read_text().replace('name = "Tern Bank"', 'name = "=1+1<script>alert(0)"')
        path.write_text(text)
        done = site.call("run", str(path))
        assert done.code == 0
        yield site.results


class _Silent:
    out = err = ""

    def readouterr(self):
        return self


def _name(number):
    return NAMES[number % len(NAMES)].format(number)


def _files(folder, *endings):
    found = [path for path in folder.rglob("*") if path.suffix in endings]
    assert found
    return found


def test_no_cell_of_a_table_is_a_formula(folder):
    seen, quoted = 0, 0
    for path in _files(folder, ".csv"):
        with path.open(newline="", encoding="utf-8-sig") as file:
            for row in csv.reader(file):
                for cell in row:
                    seen += 1
                    quoted += cell.startswith("'")
                    assert not FORMULA.match(cell) or NUMBER.fullmatch(cell), (path.name, cell)
    assert seen > 1000
    assert quoted > 10


def test_no_text_file_holds_control_characters(folder):
    endings = (".csv", ".html", ".json", ".geojson", ".gpx", ".xml", ".dxf", ".sld", ".ics")
    for path in _files(folder, *endings):
        text = path.read_bytes().decode("utf-8")
        found = CONTROL.search(text)
        assert not found, (path.name, text[max(0, found.start() - 60) : found.end() + 20])


def test_no_page_holds_markup_out_of_a_name(folder):
    for path in _files(folder, ".html", ".svg", ".xml", ".gpx"):
        found = MARKUP.search(path.read_text(encoding="utf-8"))
        assert not found, (path.name, found)


def test_no_cell_of_the_geopackage_holds_control_characters(folder):
    names = set()
    with closing(sqlite3.connect(folder / "site.gpkg")) as file:
        tables = [row[0] for row in file.execute("SELECT table_name FROM gpkg_contents")]
        for table in tables:
            for row in file.execute(f'SELECT * FROM "{table}"'):
                texts = [cell for cell in row if isinstance(cell, str)]
                names |= set(texts)
                assert not [text for text in texts if CONTROL.search(text)], table
    assert any(name.startswith("=HYPERLINK") for name in names)  # data stay as they were named
