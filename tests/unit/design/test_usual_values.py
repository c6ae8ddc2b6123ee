"""Every usual value of what is drawn stands once, in the catalogue, where all else reads it."""

import ast
import inspect
import io
import math
from contextlib import redirect_stdout
from dataclasses import fields, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from brimline import design
from brimline.cli import layers as layers_command
from brimline.config import SwaleRows, Works
from brimline.config.template import template, toml_value
from brimline.config.works import COLUMNS
from brimline.design import KINDS, DrawnPad
from brimline.inputs import planting
from brimline.inputs.rows import plan_of, rows_of
from brimline.inputs.rules import usual_water
from brimline.inputs.swales import duty_of
from brimline.layers import layer
from brimline.layers.drawn import ITEMS, usual_of
from brimline.rainfall import Storm, runoff_depth_mm

ROWS = {kind.LAYER: kind for kind in (*KINDS.values(), DrawnPad)}
DECLARED = [
    (item.name, column) for item in ITEMS for column in item.columns if column.usual is not None
]
STORM = Storm("10-year", 3600.0, np.full(6, 10.0))
SHAPES = {
    "Point": shapely.Point(1, 1),
    "LineString": shapely.LineString([(0, 0), (9, 0)]),
    "Polygon": shapely.box(0, 0, 9, 9),
}


def row_left_empty(name, usual):
    item = layer(name)
    columns = {column.name: [None] for column in item.columns}
    frame = gpd.GeoDataFrame(columns, geometry=[SHAPES[str(item.geometry)]], crs="EPSG:32633")
    return rows_of(frame, ROWS[name], usual)[0]


def ids(pair):
    return f"{pair[0]}.{pair[1].name}"


@pytest.mark.parametrize("declared", [one for one in DECLARED if one[0] in ROWS], ids=ids)
def test_an_empty_column_takes_the_value_that_is_declared(declared):
    name, column = declared
    row = row_left_empty(name, usual_of(layer(name)))
    assert getattr(row, column.name) == column.usual
    other = 7.25 if isinstance(column.usual, float) else "other"
    changed = replace(layer(name), columns=(replace(column, usual=other),))
    assert getattr(row_left_empty(name, usual_of(changed)), column.name) == other


@pytest.mark.parametrize("column", ["offset_m", "edge_m", "fill"])
def test_planting_left_empty_takes_the_value_that_is_declared(column, monkeypatch):
    item = layer("planting_zones")
    other = "square" if column == "fill" else 7.25
    columns = tuple(
        replace(one, usual=other) if one.name == column else one for one in item.columns
    )
    monkeypatch.setattr(planting, "layer", lambda _: replace(item, columns=columns))
    frame = gpd.GeoDataFrame(
        {"name": ["Beds"], "plants": ["fig"]}, geometry=[SHAPES["Polygon"]], crs="EPSG:32633"
    )
    [wanted] = planting._of_layer("planting_zones", lambda _: frame)
    assert getattr(wanted, "pattern" if column == "fill" else column) == other


@pytest.mark.parametrize("declared", DECLARED, ids=ids)
def test_a_declared_value_lies_in_its_column_s_own_range(declared):
    _, column = declared
    if isinstance(column.usual, str):
        assert not column.values or column.usual in column.values
    else:
        assert column.minimum is None or column.usual >= column.minimum
        assert column.maximum is None or column.usual <= column.maximum


@pytest.mark.parametrize("name", ROWS)
def test_what_has_no_usual_value_is_open(name):
    row = row_left_empty(name, usual_of(layer(name)))
    usual = usual_of(layer(name))
    for field in fields(row):
        if field.name in usual or field.name in ("shape", "name", "empty"):
            continue
        value = getattr(row, field.name)
        assert value == "" or math.isnan(value)


@pytest.mark.parametrize("key", COLUMNS)
def test_the_configuration_reads_its_default_from_the_catalogue(key):
    name, column = COLUMNS[key]
    assert getattr(Works(), key) == usual_of(layer(name))[column]
    assert f"{key} = {toml_value(getattr(Works(), key))}" in template({})
    other = "sunken" if key.endswith("edge") else 0.75
    assert Works(**{key: other}).usual_of(name)[column] == other


def test_the_command_tells_every_usual_value():
    told = io.StringIO()
    with redirect_stdout(told):
        layers_command.run(as_json=False)
    text = " ".join(told.getvalue().split())
    for name, column in DECLARED:
        value = column.usual if isinstance(column.usual, str) else f"{column.usual:g}"
        assert f"Empty: {value}" in text, (name, column.name)


def test_neither_the_rows_nor_the_designer_have_values_of_their_own():
    """A default of a dimension would be a keyword with a number, or a field with one."""
    for kind in ROWS.values():
        usual = usual_of(layer(kind.LAYER))
        for field in fields(kind):
            if field.name in usual:
                assert field.default is field.default_factory, (kind.__name__, field.name)
    names = {column.name for _, column in DECLARED}
    for module in ("elements", "ways", "arrivals"):
        source = Path(inspect.getfile(design)).parent / f"{module}.py"
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
            if isinstance(node, ast.keyword) and node.arg in names:
                assert not isinstance(node.value, ast.Constant), (module, node.arg)


def test_ground_of_which_nothing_is_known_has_the_published_curve_number():
    # pasture in fair condition on group C: 79 (USDA, TR-55, 1986, table 2-2c)
    assert usual_water(Works()).ground.curve_number == 79


def test_proposed_and_drawn_swales_share_section_ground_and_soakage():
    works = Works(swale_depth_m=0.5, swale_side=1.5, usual_soak_mm_per_h=8.0)
    duty = duty_of(SwaleRows(), works, STORM)
    assert duty.runoff_mm == pytest.approx(float(runoff_depth_mm(60.0, 79)))
    assert duty.runoff_mm == pytest.approx(19.0, abs=0.05)
    assert duty.storage_m2 == pytest.approx((0.6 + 1.5 * 0.5) * 0.5)
    assert duty.soak_mm == pytest.approx(4.0 * 6.0)  # 8 mm/h tested, safety factor 2
    frames = {
        name: gpd.GeoDataFrame({c.name: [] for c in layer(name).columns}, geometry=[], crs=32633)
        for name in (kind.LAYER for kind in KINDS.values())
    }
    columns = {column.name: [None] for column in layer("drawn_swales").columns}
    frames["drawn_swales"] = gpd.GeoDataFrame(columns, geometry=[SHAPES["LineString"]], crs=32633)
    drawn = plan_of(frames, works).swales[0]
    assert (drawn.bottom_m + drawn.side * drawn.depth_m) * drawn.depth_m == duty.storage_m2


def test_words_of_an_earlier_release_still_count_for_proposed_rows():
    older = SwaleRows(runoff_curve_number=74, soak_mm_per_h=5.0, depth_m=0.3)
    duty = duty_of(older, Works(), STORM)
    assert duty.runoff_mm == pytest.approx(13.5, abs=0.05)
    assert duty.soak_mm == 30.0
