"""One point cloud file: where and in what units it is, and its points piece by piece."""

from __future__ import annotations

import struct
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import laspy
import numpy as np
from laspy.errors import LaspyException
from laspy.header import GpsTimeType
from lazrs import LazrsError  # type: ignore[import-untyped]

from brimline.errors import InputError, Problem, Severity
from brimline.io import crs as crs_of
from brimline.io import lengths, metric
from brimline.io._raster_source import assumed_feet, settle_unit, stated_unit
from brimline.io.survey_facts import gps_day

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray
    from pyproj import CRS

_PIECE: Final = 2_000_000  # points read at a time
# OGC GeoTIFF 1.1: ProjLinearUnitsGeoKey and VerticalUnitsGeoKey
_PLAN_UNIT_KEY: Final = 3076
_VERTICAL_UNIT_KEY: Final = 4099
_SAME_UNIT: Final = 1e-9  # the two feet differ by two millionths
_UNIT_CODES: Final = {9001: lengths.METRE, 9002: lengths.FOOT, 9003: lengths.SURVEY_FOOT}
FAULTS: Final = (LaspyException, LazrsError, OSError, ValueError)
# ASPRS LAS 1.4 R15, tables 3 (header), 7 (long records behind the points)
_HEADER, _LONG_RECORD = 375, 60  # bytes
_MOST_A_POINT: Final = 2000  # bytes; usual are 20 to 100
# ASPRS LAS 1.4 R15, table 17; 8 are the ground points of files thinned before LAS 1.4
GROUND: Final = (2, 8)
UNCLASSIFIED: Final = (0, 1)
_NOISE: Final = (7, 18)  # low, high


@dataclass(frozen=True, slots=True)
class Cloud:
    """What a point cloud says of itself before its points are read.

    Parameters
    ----------
    box : extent in the coordinates of `crs`.
    written : day on which the file was written, by its header; empty where that does not say.
    dates_points : whether points carry times that tell the day.
    """

    path: Path
    points: int
    box: metric.Box
    crs: CRS
    unit: lengths.LengthUnit
    notices: tuple[Problem, ...]
    written: str = ""
    dates_points: bool = False


@dataclass(frozen=True, slots=True)
class CloudPiece:
    """Some points of a cloud, in its own coordinates and units."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    z: NDArray[np.float64]
    classes: NDArray[np.uint8]
    is_last: NDArray[np.bool_]  # the last return of its pulse
    strip: NDArray[np.uint16]  # the flight line, as the file numbers it
    time_s: NDArray[np.float64] | None = None  # adjusted standard GPS time, where there is one

    def taken(self, chosen: NDArray[np.bool_]) -> CloudPiece:
        """Return the chosen points."""
        return CloudPiece(
            self.x[chosen],
            self.y[chosen],
            self.z[chosen],
            self.classes[chosen],
            self.is_last[chosen],
            self.strip[chosen],
            None if self.time_s is None else self.time_s[chosen],
        )

    @property
    def may_be_ground(self) -> NDArray[np.bool_]:
        """Which unclassified points may be: the last returns of their pulses."""
        return np.isin(self.classes, UNCLASSIFIED) & self.is_last

    @property
    def is_noise(self) -> NDArray[np.bool_]:
        """Which points are classified as stray."""
        return np.isin(self.classes, _NOISE)

    @property
    def is_ground(self) -> NDArray[np.bool_]:
        """Which points are classified as ground."""
        return np.isin(self.classes, GROUND)


def read_cloud(path: Path, *, vertical_unit: str, crs: str | None) -> Cloud:
    """Read a point cloud's header and check that it can serve as a survey.

    Parameters
    ----------
    vertical_unit : ``"auto"``, or the unit that the person states (``m``, ``ft``, ``us-ft``).
    crs : stated by the person; None takes the file's.

    Raises
    ------
    InputError
        If it cannot be read, holds no points, or does not say where it is.
    """
    try:
        if misfit := _misfit(path):
            raise LaspyException(misfit)
        with warnings.catch_warnings(), laspy.open(path) as file:
            warnings.simplefilter("ignore")  # of odd records that are not used here
            header = file.header
            own = header.parse_crs()
            tagged = _unit_tag(header, _VERTICAL_UNIT_KEY)
            plan = _unit_tag(header, _PLAN_UNIT_KEY)
            count = int(header.point_count)
            box = (*header.mins[:2].tolist(), *header.maxs[:2].tolist())
            written = header.creation_date
            dates_points = (
                "gps_time" in header.point_format.dimension_names
                and header.global_encoding.gps_time_type is GpsTimeType.STANDARD
            )
    except FAULTS as fault:
        raise _unreadable(path, fault) from fault
    if count == 0:
        raise InputError.of("holds no points", mend="name another file.", source=str(path))
    settled, notices = crs_of.settled(own, crs, source=str(path))
    if crs is None and plan is not None:
        settled, more = _in_its_unit(settled, plan, box, str(path))
        notices += more
    if vertical_unit != "auto":
        unit = stated_unit(vertical_unit)
    else:
        unit, assumed = settle_unit(settled, tagged)
        if assumed:
            notices.append(assumed_feet(unit, str(path)))
    day = "" if written is None else written.isoformat()
    horizontal = crs_of.horizontal(settled)
    return Cloud(path, count, box, horizontal, unit, tuple(notices), day, dates_points)


def pieces(cloud: Cloud) -> Iterator[CloudPiece]:
    """Read a cloud's points, withheld ones left out.

    Raises
    ------
    InputError
        If the file is damaged.
    """
    read = 0
    try:
        with laspy.open(cloud.path) as file:
            for chunk in file.chunk_iterator(_PIECE):
                read += len(chunk)
                yield _piece(chunk, timed=cloud.dates_points)
    except FAULTS as fault:
        raise _unreadable(cloud.path, fault) from fault
    if read != cloud.points:
        raise InputError.of(
            f"ends after {read} of the {cloud.points} points that its header promises",
            mend="copy or download the file again.",
            source=str(cloud.path),
        )


def _piece(chunk: Any, *, timed: bool) -> CloudPiece:  # noqa: ANN401
    classes = np.asarray(chunk.classification, dtype=np.uint8)
    piece = CloudPiece(
        np.asarray(chunk.x, dtype=np.float64),
        np.asarray(chunk.y, dtype=np.float64),
        np.asarray(chunk.z, dtype=np.float64),
        classes,
        np.asarray(chunk.return_number) >= np.asarray(chunk.number_of_returns),
        np.asarray(chunk.point_source_id, dtype=np.uint16),
        np.asarray(chunk.gps_time, dtype=np.float64) if timed else None,
    )
    return piece.taken(~np.asarray(chunk.withheld, dtype=bool))


def _misfit(path: Path) -> str:
    """Say what of a header the file cannot hold: readers allocate by it; empty where it fits."""
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(_HEADER)
        if len(head) < 227 or not head.startswith(b"LASF"):
            return ""  # told by the reader
        begin, layout, a_point = struct.unpack_from("<I4xBH", head, 96)
        count = struct.unpack_from("<I", head, 107)[0]
        records, at = 0, size
        if head[25] >= 4 and len(head) == _HEADER:
            at, records, points = struct.unpack_from("<QIQ", head, 235)
            count = count or points
        if a_point > _MOST_A_POINT:
            return f"its header says that a point takes {a_point} bytes"
        is_packed = layout & 0x80
        if begin > size or (not is_packed and begin + count * a_point > size + a_point):
            held = max(size - begin, 0) // max(a_point, 1)
            return f"ends after {held} of the {count} points that its header promises"
        for _ in range(records):
            if at + _LONG_RECORD > size:
                return "its header promises more records than it holds"
            file.seek(at + 20)
            at += _LONG_RECORD + struct.unpack("<Q", file.read(8))[0]
        return "its records are longer than it is" if records and at > size else ""


def _unreadable(path: Path, fault: Exception) -> InputError:
    return InputError.of(
        f"cannot be read as a point cloud ({str(fault).removeprefix('IoError: ')})",
        mend="check that the file is whole; LAS, LAZ and COPC are read.",
        source=str(path),
    )


def _in_its_unit(
    crs: CRS, unit: lengths.LengthUnit, box: metric.Box, source: str
) -> tuple[CRS, list[Problem]]:
    """Take the unit of a file's own key where its CRS has another one.

    Programs that convert a cloud to feet often leave the code of the CRS as it was. The key is
    followed unless the coordinates lie in the CRS's area of use by the CRS's unit alone.
    """
    if not crs_of.horizontal(crs).is_projected:
        return crs, []
    own = crs_of.plan_unit(crs)
    if abs(own.metres / unit.metres - 1.0) < _SAME_UNIT:
        return crs, []
    keyed = metric.in_unit(crs, unit)
    scaled = unit.metres / own.metres
    by_key = metric.in_area_of_use(
        crs, (box[0] * scaled, box[1] * scaled, box[2] * scaled, box[3] * scaled)
    )
    follows = by_key or not metric.in_area_of_use(crs, box)
    return (keyed if follows else crs), [
        Problem(
            Severity.WARNING,
            f"is in {crs_of.title(crs)}, whose unit is {own.name}, but its own key says that its"
            f" coordinates are in {unit.name}: "
            + (
                f"they were read as {unit.name}"
                if follows
                else f"they were read as {own.name}, since as {unit.name} they would lie outside"
                " the area that it is meant for"
            ),
            "state crs in the configuration if that is wrong.",
            source,
        )
    ]


def _unit_tag(header: Any, wanted: int) -> lengths.LengthUnit | None:  # noqa: ANN401
    for record in header.vlrs:
        for key in getattr(record, "geo_keys", ()):
            if key.id == wanted and key.tiff_tag_location == 0:
                return _UNIT_CODES.get(int(key.value_offset))
    return None


class Census(NamedTuple):
    """What all points of several clouds tell.

    Parameters
    ----------
    counts : points by class.
    first_day, last_day : of the points; empty where their times do not tell it.
    """

    counts: dict[int, int]
    first_day: str
    last_day: str


def census(clouds: tuple[Cloud, ...]) -> Census:
    """Count the points of every class in all clouds, and find the days they were measured on."""
    counts = np.zeros(256, dtype=np.int64)
    first_s, last_s = np.inf, -np.inf
    for cloud in clouds:
        for piece in pieces(cloud):
            counts += np.bincount(piece.classes, minlength=256)
            if piece.time_s is not None and (timed := piece.time_s[piece.time_s != 0]).size:
                first_s, last_s = min(first_s, timed.min()), max(last_s, timed.max())
    told = {code: int(count) for code, count in enumerate(counts) if count}
    if not last_s >= first_s:
        return Census(told, "", "")
    return Census(told, gps_day(float(first_s)), gps_day(float(last_s)))


def no_ground(source: str, counts: dict[int, int]) -> Problem:
    """Say that a cloud has no points that are or could be ground."""
    told = ", ".join(f"class {code}: {count}" for code, count in counts.items()) or "none"
    return Problem(
        Severity.ERROR,
        f"holds neither points of ground (class 2) nor points of class 0 or 1 to find it among;"
        f" its points: {told}",
        "name the cloud that holds the ground.",
        source,
    )
