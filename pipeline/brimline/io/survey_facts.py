"""What a survey says of itself beside its levels: when it was made, its points, its steps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable

Kind = Literal["raster", "points", "levels"]

FLOWN: Final = "time of the points"
CUT_FROM: Final = "BRIMLINE_CUT_FROM"  # tag of a raster that was cut from a larger survey
CUT_DAYS: Final = "BRIMLINE_CUT_DAYS"
WRITTEN: Final = "date in the files' headers"
# ASPRS LAS 1.4 R15, GPS time type: seconds since the GPS epoch, less a thousand million
_GPS_EPOCH: Final = datetime(1980, 1, 6, tzinfo=UTC)
_GPS_OFFSET_S: Final = 1e9
_TIFF_DATE: Final = "%Y:%m:%d"  # TIFF 6.0, tag 306 DateTime


class SurveyStep(NamedTuple):
    """How the levels of one strip of a survey lie on those of another.

    Parameters
    ----------
    between : what the strips are: flight lines, files that overlap, files that meet.
    cells : in which, or along which, the two were compared.
    step_m : median of the other less the one [m].
    scatter_m : 1.4826 times the median absolute deviation around it [m].
    left_m : the step once strips were levelled [m]; None where they were not.
    """

    between: str
    one: str
    other: str
    cells: int
    step_m: float
    scatter_m: float
    left_m: float | None = None


@dataclass(frozen=True, slots=True)
class SurveyFacts:
    """What files say of the survey that they are.

    Parameters
    ----------
    first_day, last_day : ISO 8601; empty where no file says when it was made.
    dated_by : what says so.
    points : of a cloud, in all; of these `ground_points` made the surface.
    ground_filtered : whether ground was found here, since the files do not class it.
    steps : between strips, the largest first.
    cut_from : the larger survey that this was cut from, in words; empty where it is all.
    """

    kind: Kind = "raster"
    first_day: str = ""
    last_day: str = ""
    dated_by: str = ""
    points: int = 0
    ground_points: int = 0
    ground_filtered: bool = False
    steps: tuple[SurveyStep, ...] = ()
    cut_from: str = ""


def gps_day(adjusted_s: float) -> str:
    """Return the day of an adjusted standard GPS time; empty where it cannot be one."""
    try:
        return (_GPS_EPOCH + timedelta(seconds=_GPS_OFFSET_S + adjusted_s)).date().isoformat()
    except (OverflowError, ValueError):
        return ""


def tiff_day(text: str) -> str:
    """Return the day of a TIFF's date; empty where it is none."""
    try:
        return datetime.strptime(text[:10], _TIFF_DATE).replace(tzinfo=UTC).date().isoformat()
    except ValueError:
        return ""


def first_and_last(days: Iterable[str]) -> tuple[str, str]:
    """Return the first and the last of some days, empty ones left out."""
    told = sorted(day for day in days if day)
    return (told[0], told[-1]) if told else ("", "")
