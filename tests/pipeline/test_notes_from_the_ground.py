"""Notes as the map page saves them, taken back by a run."""

from __future__ import annotations

import json

import pytest
import shapely
from pyproj import Transformer

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
    ]
    collection = {"type": "FeatureCollection", "name": "notes", "features": features}
    (site.folder / "notes.geojson").write_text(json.dumps(collection), encoding="utf-8")
    site.inputs["notes"] = "notes.geojson"
    done = site.run("--until", "notes", "--draft")
    assert done.code == 0, done.err
    first, second = (row for _, row in site.layer("notes").iterrows())
    assert first["moved_m"] == pytest.approx(5.0, abs=0.01)  # 3, 4, 5
    assert first["flag"] == "moved-on-site"
    assert first["accuracy_m"] == 2.5
    assert (second["text"], bool(second["photo"]), second["moved_m"]) == (
        "Spring in May", True, pytest.approx(float("nan"), nan_ok=True),
    )  # fmt: skip
    assert first.geometry.distance(shapely.Point(stake.geometry.x + 3, stake.geometry.y + 4)) < 0.01
