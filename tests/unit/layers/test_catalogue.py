"""The catalogue holds what the contract fixes, said in full."""

import re

import pytest

from brimline.layers import CATALOGUE, FLAGS, Layer, Raster, layer, raster, table
from brimline.layers.flags import joined

# Fixed columns by layer: viewer projects and scripts rely on these names.
FIXED = {
    "boundary": "name area_m2",
    "intakes": "intake_id name snap_m area_m2 own_area_m2 downstream_id edge_limited area_low_m2"
    " area_high_m2",
    "subcatchments": "intake_id area_m2 own_area_m2 mean_slope_pct relief_m longest_path_m"
    " inside_pct edge_limited",
    "flow_paths": "path_id downstream_id order area_m2 length_m fall_pct",
    "hollows": "hollow_id area_m2 depth_m volume_m3 spill_level_m",
    "contours": "level_m index",
    "swale_lines": "swale_id level_m length_m level_error_m mean_slope_pct spacing_m catchment_m2"
    " flag",
    "drain_lines": "drain_id from_level_m to_level_m length_m fall_pct fall_error_m flag",
    "keypoints": "keypoint_id valley_id level_m slope_above_pct slope_below_pct confidence",
    "keylines": "keyline_id keypoint_id level_m length_m",
    "cultivation_lines": "line_id keyline_id side offset_m fall_to_ridge_pct",
    "elements": "element_id kind spill_level_m storage_m3 spills_to flag",
    "overflows": "from_id to_id drop_m peak_m3_s sill_width_m sill_head_m flag",
    "stakes": "element_id stake_id chainage_m ground_m design_m cut_m",
}
GEOMETRY = {
    "boundary": "MultiPolygon",
    "intakes": "Point",
    "subcatchments": "MultiPolygon",
    "flow_paths": "LineString",
    "hollows": "MultiPolygon",
    "contours": "MultiLineString",
    "swale_lines": "LineString",
    "drain_lines": "LineString",
    "keypoints": "Point",
    "keylines": "LineString",
    "cultivation_lines": "LineString",
    "elements": "Geometry",
    "overflows": "LineString",
    "stakes": "Point Z",
}
RASTERS = (
    "elevation conditioned hillshade slope_pct flow_direction contributing_area_m2 wetness"
    " subcatchment catchment_chance"
).split()
UNIT_OF_SUFFIX = {"_m": "m", "_m2": "m²", "_m3": "m³", "_pct": "%", "_mm_per_h": "mm/h"}


@pytest.mark.parametrize("name", FIXED)
def test_fixed_columns_are_declared(name):
    declared = layer(name)
    assert declared.published
    assert str(declared.geometry) == GEOMETRY[name]
    assert set(FIXED[name].split()) <= {column.name for column in declared.columns}


@pytest.mark.parametrize("name", RASTERS)
def test_fixed_rasters_are_declared(name):
    assert raster(name).published


@pytest.mark.parametrize("item", CATALOGUE.values(), ids=lambda item: item.name)
def test_every_item_says_what_it_is(item):
    assert re.fullmatch(r"[a-z][a-z0-9_]*", item.name)
    assert item.title
    assert item.meaning.endswith(".")
    columns = () if isinstance(item, Raster) else item.columns
    assert len({column.name for column in columns}) == len(columns)
    for column in columns:
        assert column.meaning.endswith("."), column.name


@pytest.mark.parametrize("item", CATALOGUE.values(), ids=lambda item: item.name)
def test_a_quantity_ends_in_its_unit(item):
    columns = () if isinstance(item, Raster) else item.columns
    for column in columns:
        suffix = re.search(r"_(mm_per_h|m|m2|m3|pct)$", column.name)
        if suffix and column.dtype == "float":
            assert column.unit == UNIT_OF_SUFFIX[suffix[0]], column.name


def test_asking_for_the_wrong_kind_says_so():
    with pytest.raises(KeyError, match="not a vector layer"):
        layer("elevation")
    with pytest.raises(KeyError, match="not a raster"):
        raster("intakes")
    with pytest.raises(KeyError, match="not a table"):
        table("intakes")
    with pytest.raises(KeyError, match="no column"):
        layer("intakes").column("nothing")
    assert isinstance(layer("intakes"), Layer)


def test_flags_join_in_catalogue_order_without_repeats():
    first, second = list(FLAGS)[:2]
    assert joined([second, first, second]) == f"{first};{second}"
    assert joined([]) == ""
    with pytest.raises(KeyError):
        joined(["no-such-flag"])
    for flag in FLAGS.values():
        assert re.fullmatch(r"[a-z]+(-[a-z]+)*", flag.code)
        assert flag.meaning
        assert flag.mend
