"""Notes from the ground: of the map page, or waypoints of any receiver."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from brimline.inputs.rows import number_of, stripped, text_of
from brimline.io.vectors import WantedColumn, read_layer

if TYPE_CHECKING:
    from collections.abc import Mapping

    import shapely
    from geopandas import GeoDataFrame

    from brimline.io.vectors import Kind, LayerRead, VectorSource


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


@dataclass(frozen=True, slots=True)
class SiteNote:
    """One note, or one stake moved.

    Parameters
    ----------
    about : id of a stake; empty where it is about none.
    moved_m : from the stake's designed place [m]; NaN where it was not moved.
    accuracy_m : of the position [m]; NaN where nothing says it.
    picture : as a data URL, empty without one.
    """

    note_id: int
    text: str
    about: str
    moved: bool
    moved_m: float
    accuracy_m: float
    written: str
    picture: str
    shape: shapely.Point

    @property
    def photo(self) -> bool:
        """Whether there is a picture."""
        return bool(self.picture)

    @property
    def flags(self) -> tuple[str, ...]:
        """Why a person must look."""
        return ("moved-on-site",) if self.moved else ()


def notes_of(read: LayerRead, stakes: Mapping[str, shapely.Point]) -> list[SiteNote]:
    """Return what was noted, moved stakes beside their designed places.

    Parameters
    ----------
    stakes : designed places, by id.

    Raises
    ------
    InputError
        With everything that is wrong with the notes.
    """
    rows, found = read.usable(), []
    if "type" in rows:
        rows = _of_waypoints(rows)
    for number, row in enumerate(rows.itertuples(index=False), 1):
        about, moved = text_of(row, "about"), number_of(row, "moved", 0.0) == 1
        place, photo = stakes.get(about), text_of(row, "photo")
        found.append(
            SiteNote(
                number, text_of(row, "text"), about, moved,
                row.geometry.distance(place) if moved and place is not None else math.nan,
                number_of(row, "accuracy_m"), text_of(row, "written"),
                photo if _PICTURE.fullmatch(photo) else "", row.geometry,
            )
        )  # fmt: skip
    return found


def _of_waypoints(points: GeoDataFrame) -> GeoDataFrame:
    """Return waypoints as the map page or any receiver saves them, with the columns of notes."""
    names, texts, kinds = (points[one].map(stripped) for one in ("name", "desc", "type"))
    return points.assign(
        text=texts.where(texts != "", names),
        about=names.where(kinds.isin(_ABOUT), ""),
        moved=kinds == "moved",
        accuracy_m=None,
        written=None,
        photo=None,
    )
