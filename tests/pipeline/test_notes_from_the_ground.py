"""Notes as the map page saves them, taken back by a run."""

from __future__ import annotations

import json

import geopandas as gpd
import gpxpy.gpx
import pytest
import shapely
from pyproj import Transformer

from brimline.inputs.notes import notes_of, read_notes
from brimline.io.crs import LOCAL
from brimline.io.vectors import VectorSource

POND = shapely.Polygon([(60, 40), (84, 42), (82, 58), (62, 56)])
STORM = "[storm]\nduration_h = 1.0\ndepth_mm = 30.0\n"


def note(longitude: float, latitude: float, **told: object) -> dict[str, object]:
    usual = {"about": "", "moved": False, "accuracy_m": None, "written": "2031-05-04T06:07:08Z",
             "photo": ""}  # fmt: skip
    return {
        "type": "Feature",
        "properties": usual | told,
        "geometry": {"type": "Point", "coordinates": [longitude, latitude]},
    }


def test_a_moved_stake_is_told_with_its_distance(site):
    site.tables = STORM
    site.write_plan(
        drawn_ponds=[{"name": "Pond", "depth_m": 1.2, "shape": POND}],
        discharge_points=[{"name": "Brook", "shape": shapely.Point(80, 14)}],
    )
    done = site.run("--until", "stakes", "--draft")
    assert done.code == 0, done.err
    stake = site.layer("stakes").iloc[0]
    degrees = Transformer.from_crs(site.crs, 4326, always_xy=True)
    moved = degrees.transform(stake.geometry.x + 3.0, stake.geometry.y + 4.0)
    features = [
        note(*moved, text="Rock", about=stake.stake_id, moved=True, accuracy_m=2.5),
        note(*moved, text="Spring in May", photo="data:image/jpeg;base64,AAAA"),
        note(*moved, text="Script", photo="javascript:alert(1)"),
    ]
    collection = {"type": "FeatureCollection", "name": "notes", "features": features}
    (site.folder / "notes.geojson").write_text(json.dumps(collection), encoding="utf-8")
    site.inputs["notes"] = "notes.geojson"
    done = site.run("--until", "notes", "--draft")
    assert done.code == 0, done.err
    first, second, third = (row for _, row in site.layer("notes").iterrows())
    assert not third["photo"]  # only pictures are taken
    assert first["moved_m"] == pytest.approx(5.0, abs=0.01)  # 3, 4, 5
    assert first["flag"] == "moved-on-site"
    assert first["accuracy_m"] == 2.5
    assert (second["text"], bool(second["photo"]), second["moved_m"]) == (
        "Spring in May", True, pytest.approx(float("nan"), nan_ok=True),
    )  # fmt: skip
    assert first.geometry.distance(shapely.Point(stake.geometry.x + 3, stake.geometry.y + 4)) < 0.01

    gpx = gpxpy.gpx.GPX()  # the same as waypoints, and one of a receiver that knows no kinds
    for name, text, kind in ((stake.stake_id, "Rock", "moved"), ("Spring", None, None)):
        gpx.waypoints.append(gpxpy.gpx.GPXWaypoint(moved[1], moved[0], name=name, description=text))
        gpx.waypoints[-1].type = kind
    (site.folder / "notes.gpx").write_text(gpx.to_xml(), encoding="utf-8")
    site.inputs["notes"] = "notes.gpx"
    done = site.run("--until", "notes", "--draft")
    assert done.code == 0, done.err
    first, second = (row for _, row in site.layer("notes").iterrows())
    assert (first["about"], first["text"]) == (stake.stake_id, "Rock")
    assert first["moved_m"] == pytest.approx(5.0, abs=0.01)
    assert (second["about"], second["text"], bool(second["moved"])) == (None, "Spring", False)


def test_notes_on_a_grid_of_ones_own_are_in_its_metres(site):
    site.tables = STORM + '[terrain]\ncrs = "local"\n'
    site.crs = LOCAL
    site.write_terrain(crs=None)
    site.write_boundary(crs=LOCAL)
    site.write_plan(
        drawn_ponds=[{"name": "Pond", "depth_m": 1.2, "shape": POND}],
        discharge_points=[{"name": "Brook", "shape": shapely.Point(80, 14)}],
    )
    at = (site.west + 70.0, site.north - site.size + 50.0)
    collection = {"type": "FeatureCollection", "features": [note(*at, text="Rock")]}
    (site.folder / "notes.geojson").write_text(json.dumps(collection), encoding="utf-8")
    site.inputs["notes"] = "notes.geojson"
    done = site.run("--until", "notes", "--draft")
    assert done.code == 0, done.err
    (row,) = (row for _, row in site.layer("notes").iterrows())
    assert (row.geometry.x, row.geometry.y) == pytest.approx(at)


def test_notes_of_one_column_are_notes(tmp_path):
    path = tmp_path / "notes.gpkg"
    gpd.GeoDataFrame({"text": ["here"]}, geometry=[shapely.Point(5, 5)], crs=32626).to_file(path)
    (told,) = notes_of(read_notes(VectorSource(path), "EPSG:32626"), {})
    assert (told.text, told.moved, told.about) == ("here", False, "")
