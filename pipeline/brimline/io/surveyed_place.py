"""Why surveyed points lie off the site, or their levels off its ground: the likely cause."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pyproj

from brimline.errors import Problem, Severity
from brimline.io import crs as crs_of
from brimline.units import FOOT_M, US_SURVEY_FOOT_M

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

Box = tuple[float, float, float, float]  # west, south, east, north

_LEAST_SHARE: Final = 0.5  # of the points that must lie on the site
_EXPLAINED: Final = 0.8  # share that a cause must bring there to be named
_CLOSER: Final = 0.05  # a unit that leaves less than this of the difference is the right one
_LEAST_OFF_M: Final = 0.5  # smaller differences of level are no matter of units


def misplaced(
    x: NDArray[np.float64], y: NDArray[np.float64], box: Box, crs: str, source: str
) -> Problem | None:
    """Say why most points lie off the site; None where they do not.

    Parameters
    ----------
    x, y : float64 (n,), in the run's CRS [m].
    box : where points are expected [m].
    crs : of the run.
    """
    if not x.size or _share_inside(x, y, box) >= _LEAST_SHARE:
        return None
    off = x.size - round(_share_inside(x, y, box) * x.size)
    found = (
        f"{off} of {x.size} points lie off the site: they lie at {np.median(x):.1f} E, "
        f"{np.median(y):.1f} N, the works within {box[0]:.0f} to {box[2]:.0f} E, {box[1]:.0f} to "
        f"{box[3]:.0f} N"
    )
    for cause, mend, moved_x, moved_y in _causes(x, y, crs):
        if _share_inside(moved_x, moved_y, box) >= _EXPLAINED:
            return Problem(Severity.ERROR, f"{found}; {cause}", mend, source)
    return Problem(
        Severity.ERROR,
        f"{found}; no usual cause explains it",
        "state their coordinate reference system: crs under [as_built], or in the file.",
        source,
    )


def wrong_unit(level_m: NDArray[np.float64], expected_m: NDArray[np.float64]) -> str:
    """Name the unit that levels seem to be in where it is not metres; empty where it is.

    Levels in another unit come to lie near what is expected once they are converted; a shift of
    the survey does not.

    Parameters
    ----------
    level_m, expected_m : float64 (n,), taken as metres; NaN pairs are passed over.
    """
    known = np.isfinite(level_m) & np.isfinite(expected_m)
    if not known.any():
        return ""
    level, expected = level_m[known], expected_m[known]
    off = float(np.median(np.abs(level - expected)))
    if off < _LEAST_OFF_M:
        return ""
    units = {"feet": FOOT_M, "millimetres": 0.001, "centimetres": 0.01}
    names = [*units.items(), ("metres that were taken for feet", 1 / FOOT_M)]
    left = [float(np.median(np.abs(level * factor - expected))) for _, factor in names]
    best = int(np.argmin(left))
    apart = level - expected
    spread = float(np.median(np.abs(apart - np.median(apart))))  # what a mere shift would leave
    explained = left[best] < _CLOSER * off and left[best] <= max(spread, _LEAST_OFF_M / 2)
    return names[best][0] if explained else ""


def unit_problem(unit: str, source: str, told: str = "") -> Problem:
    """Say that levels are in another unit than metres.

    Parameters
    ----------
    told : the numbers behind it.
    """
    mend = "give levels in metres, or set vertical_unit under [as_built]"
    if unit == "feet":
        mend = 'set vertical_unit = "ft" under [as_built]'
    return Problem(Severity.ERROR, f"has levels in {unit}{told}", mend, source)


def _share_inside(x: NDArray[np.float64], y: NDArray[np.float64], box: Box) -> float:
    west, south, east, north = box
    with np.errstate(invalid="ignore"):
        inside = (x >= west) & (x <= east) & (y >= south) & (y <= north)
    return float(inside.mean())


def _causes(
    x: NDArray[np.float64], y: NDArray[np.float64], crs: str
) -> Iterator[tuple[str, str, NDArray[np.float64], NDArray[np.float64]]]:
    """Yield usual mistakes, and where the points would lie without each."""
    yield (
        "easting and northing have changed places",
        "swap the two columns.", y, x,
    )  # fmt: skip
    for name, factor in (("feet", FOOT_M), ("US survey feet", US_SURVEY_FOOT_M)):
        yield (
            f"their coordinates are in {name}",
            "state the CRS in feet that they are in: crs under [as_built].", x * factor, y * factor,
        )  # fmt: skip
    target = crs_of.horizontal(crs_of.parsed(crs))
    if crs_of.is_local(target):
        return
    if float(np.abs(x).max()) <= 180 and float(np.abs(y).max()) <= 180:
        for words, lon, lat in (("longitude and latitude", x, y), ("latitude and longitude", y, x)):
            to = pyproj.Transformer.from_crs("EPSG:4326", target, always_xy=True)
            yield (
                f"they are {words} in degrees",
                'call the columns lon and lat, or set crs = "EPSG:4326" under [as_built].',
                *_moved(to, lon, lat),
            )
        return
    zone = target.utm_zone
    if zone is None:
        return
    number, half = int(zone[:-1]), zone[-1]
    for other in (number - 1, number + 1):
        if not 1 <= other <= 60:
            continue
        own = pyproj.CRS.from_epsg((32600 if half == "N" else 32700) + other)
        to = pyproj.Transformer.from_crs(own, target, always_xy=True)
        yield (
            f"they are in the neighbouring zone, {own.name}",
            f'set crs = "EPSG:{own.to_epsg()}" under [as_built].',
            *_moved(to, x, y),
        )


def _moved(
    to: pyproj.Transformer, x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    east, north = to.transform(x.tolist(), y.tolist())
    return np.asarray(east), np.asarray(north)
