"""Notes from the ground, brought to the run's grid; moved stakes beside their designed place."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any, Final

from brimline.engine.stage import Stage
from brimline.errors import InternalError
from brimline.io.vectors import VectorSource, WantedColumn, read_layer
from brimline.layers.flags import joined
from brimline.stages._frames import frame_of

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from brimline.engine.stage import Given, Made, Reporter
    from brimline.io.vectors import Kind, LayerRead

_KINDS: Final[tuple[Kind, ...]] = ("point",)
_COLUMNS: Final = (
    WantedColumn("text", required=True),
    WantedColumn("about"),
    WantedColumn("moved", "bool"),
    WantedColumn("accuracy_m", "float", minimum=0),
    WantedColumn("written"),
    WantedColumn("photo"),
)
_WAYPOINT: Final = (WantedColumn("name"), WantedColumn("desc"), WantedColumn("type"))
_ABOUT: Final = frozenset({"about", "moved"})  # kinds of waypoint whose name is a stake's
_PICTURE: Final = re.compile(r"data:image/(?:jpeg|png|webp);base64,[A-Za-z0-9+/]+={0,2}")


def read_notes(source: VectorSource, crs: str) -> LayerRead:
    """Read notes that were taken on the ground."""
    return read_layer(
        source,
        kinds=_KINDS,
        crs=crs,
        columns=_WAYPOINT if _is_gpx(source) else _COLUMNS,
        default_layer="waypoints" if _is_gpx(source) else "notes",
    )


def _is_gpx(source: VectorSource) -> bool:
    return source.path.suffix.lower() == ".gpx"


def _run(given: Given, report: Reporter) -> Made:
    source = given.source("notes", VectorSource)
    if source is None:
        raise InternalError("the stage is in a run only where inputs.notes names a file")
    read = read_notes(source, given.grid.crs)
    rows = _of_waypoints(read.usable()) if _is_gpx(source) else read.usable()
    for problem in read.problems:
        report.problem(problem)
    stakes = given.frame("stakes")
    places = dict(zip(stakes["stake_id"], stakes.geometry, strict=True))
    records, photos = [], {}
    for number, row in enumerate(rows.itertuples(index=False), 1):
        about, moved = _text(row.about), row.moved is True or row.moved == 1
        place = places.get(about)
        if _PICTURE.fullmatch(_text(row.photo)):
            photos[str(number)] = _text(row.photo)
        records.append(
            {
                "note_id": number,
                "text": _text(row.text),
                "about": about or None,
                "moved": moved,
                "moved_m": row.geometry.distance(place) if moved and place is not None else None,
                "accuracy_m": None if row.accuracy_m is None or math.isnan(row.accuracy_m)
                else float(row.accuracy_m),
                "written": _text(row.written) or None,
                "photo": str(number) in photos,
                "flag": joined(["moved-on-site"] if moved else []),
            }
        )  # fmt: skip
    layer = frame_of(records, list(rows.geometry), "notes", given.grid)
    return {"notes": layer, "note_photos": photos}


def _of_waypoints(points: GeoDataFrame) -> GeoDataFrame:
    """Return waypoints as the map page or any receiver saves them, with the columns of notes."""
    names, texts, kinds = (points[one].map(_text) for one in ("name", "desc", "type"))
    return points.assign(
        text=texts.where(texts != "", names),
        about=names.where(kinds.isin(_ABOUT), ""),
        moved=kinds == "moved",
        accuracy_m=None,
        written=None,
        photo=None,
    )


def _text(value: Any) -> str:  # noqa: ANN401 - any cell
    return value.strip() if isinstance(value, str) else ""


STAGE = Stage(
    name="notes",
    version=2,
    title="notes from the ground",
    needs=("grid", "stakes"),
    makes=("notes", "note_photos"),
    run=_run,
    sources=("notes",),
)
