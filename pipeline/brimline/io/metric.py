"""The CRS of a run: in metres, true to scale, on the survey's own datum."""

from __future__ import annotations

import math
import warnings
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pyproj
from pyproj import CRS
from pyproj.aoi import AreaOfInterest
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import UTMConversion
from pyproj.database import query_crs_info, query_utm_crs_info
from pyproj.enums import PJType
from pyproj.transformer import TransformerGroup

from brimline.errors import InputError, Problem, Severity
from brimline.io.crs import (
    LOCAL,
    canonical,
    east_first,
    horizontal,
    is_local,
    plan_unit,
    title,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.io.lengths import LengthUnit

SCALE_LIMIT: Final = 0.02  # a map scale further from 1 than this makes lengths and areas wrong
_SAME_PLACE_M: Final = 0.001
_NEAR_DEG: Final = 0.5
_ACCURACY_LIMIT_M: Final = 2.0  # a coarser datum shift is worth telling

Box = tuple[float, float, float, float]  # west, south, east, north


def metre_sibling(crs: CRS, box: Box) -> CRS:
    """Return the same projection with its map coordinates in metres.

    Coordinates of the sibling are the given ones times the length of the unit, so a grid in feet
    becomes a grid in metres without resampling. Where the EPSG registry holds a CRS that agrees
    to a millimetre it is taken, because every program knows its code.

    Parameters
    ----------
    box : west, south, east, north in the coordinates of `crs`.
    """
    flat = horizontal(crs)
    described = flat.to_json_dict()
    for axis in described["coordinate_system"]["axis"]:
        axis["unit"] = "metre"
    described.pop("id", None)
    described["name"] = f"{flat.name}, in metres"
    return _registered(flat, box) or CRS.from_json_dict(described)


def in_unit(crs: CRS, unit: LengthUnit) -> CRS:
    """Return the same projection with its map coordinates in another unit."""
    described = horizontal(crs).to_json_dict()
    for axis in described["coordinate_system"]["axis"]:
        axis["unit"] = {
            "type": "LinearUnit",
            "name": unit.name,
            "conversion_factor": unit.metres,
        }
    described.pop("id", None)
    described["name"] = f"{horizontal(crs).name}, in {unit.name}"
    return CRS.from_json_dict(described)


def in_area_of_use(crs: CRS, box: Box) -> bool:
    """Tell whether the middle of a box lies where a CRS is meant for; True where none is stated.

    Half a degree beyond counts as inside: surveys overlap the edges of zones.
    """
    flat = horizontal(crs)
    area = flat.area_of_use
    if area is None or is_local(flat):
        return True
    longitude, latitude = middle_lon_lat(flat, box)
    if not (math.isfinite(longitude) and math.isfinite(latitude)):
        return False
    east = area.east + (360.0 if area.east < area.west else 0.0)
    past_west = (longitude - (area.west - _NEAR_DEG)) % 360.0
    return (
        past_west <= east - area.west + 2.0 * _NEAR_DEG
        and area.south - _NEAR_DEG <= latitude <= area.north + _NEAR_DEG
    )


def off_its_area(crs: CRS, box: Box, *, source: str) -> list[Problem]:
    """Warn where data lie outside the area that their CRS is meant for."""
    if in_area_of_use(crs, box):
        return []
    longitude, latitude = middle_lon_lat(crs, box)
    area = horizontal(crs).area_of_use
    where = area.name.rstrip(".") if area is not None else ""
    return [
        Problem(
            Severity.WARNING,
            f"lies at longitude {longitude:.2f}, latitude {latitude:.2f} by its coordinates,"
            f" outside the area that {title(crs)} is meant for ({where})",
            "check its coordinate reference system and the unit of its coordinates with the"
            ' survey\'s supplier, and state crs in the configuration; "local" where they count from'
            " an origin of your own.",
            source,
        )
    ]


def _registered(crs: CRS, box: Box) -> CRS | None:
    """Find a CRS of the registry in which coordinates are those of `crs` times its unit."""
    longitude, latitude = middle_lon_lat(crs, box)
    spot = AreaOfInterest(longitude, latitude, longitude, latitude)
    factor = plan_unit(crs).metres
    x = np.array([box[0], box[2], box[2], box[0]])
    y = np.array([box[1], box[1], box[3], box[3]])
    kinds = PJType.PROJECTED_CRS
    for found in query_crs_info("EPSG", kinds, area_of_interest=spot, contains=True):
        known = CRS.from_epsg(found.code)
        if not _alike(crs, known):
            continue
        east, north = pyproj.Transformer.from_crs(crs, known, always_xy=True).transform(x, y)
        apart = np.hypot(east - x * factor, north - y * factor)
        if apart.max() < _SAME_PLACE_M:
            return known
    return None


def _alike(crs: CRS, known: CRS) -> bool:
    """Tell whether a CRS in metres has the same datum and kind of projection."""
    one, other = crs.coordinate_operation, known.coordinate_operation
    same_method = one is not None and other is not None and one.method_name == other.method_name
    base = crs.geodetic_crs
    same_datum = base is not None and base.equals(known.geodetic_crs, ignore_axis_order=True)
    return same_method and same_datum and plan_unit(known).is_metre


def fitting_utm(crs: CRS, box: Box) -> CRS:
    """Return the UTM zone for the middle of `box`, on the same datum as `crs`.

    Staying on the datum keeps a datum shift, and its error, out of the conversion.

    Parameters
    ----------
    box : west, south, east, north in the coordinates of `crs`.
    """
    flat = horizontal(crs)
    longitude, latitude = middle_lon_lat(flat, box)
    zone, half = _utm_zone(longitude, latitude), "N" if latitude >= 0 else "S"
    geodetic = flat.geodetic_crs
    if geodetic is not None:
        meridian = 6.0 * zone - 183.0
        spot = AreaOfInterest(meridian, latitude, meridian, latitude)
        found = [
            CRS.from_authority(utm.auth_name, utm.code)
            for utm in query_utm_crs_info(geodetic.name, spot)
        ]
        fits = [u for u in found if geodetic.equals(u.geodetic_crs, ignore_axis_order=True)]
        if fits:
            return east_first(fits)
    own = ProjectedCRS(
        UTMConversion(str(zone), half),
        name=f"{geodetic.name if geodetic is not None else 'WGS 84'} / UTM zone {zone}{half}",
        geodetic_crs=geodetic or "EPSG:4326",
    )
    return CRS.from_user_input(canonical(own))


def run_crs(crs: CRS, box: Box, *, source: str = "") -> tuple[CRS, float, str]:
    """Choose the CRS of a run: in metres and true to scale.

    Parameters
    ----------
    crs : of the survey.
    box : extent of the survey in the coordinates of `crs`.

    Returns
    -------
    crs
        The survey's own, its sibling in metres, or the fitting UTM zone.
    factor
        To multiply map coordinates with; 1 where they stay or must be reprojected.
    message
        What was done, for the person; empty where nothing was.

    Raises
    ------
    InputError
        If the coordinates cannot be those of the CRS.
    """
    flat = horizontal(crs)
    if is_local(flat):
        unit = plan_unit(flat)
        why = "" if unit.is_metre else f"has map coordinates in {unit.name}; they became metres"
        return CRS.from_wkt(LOCAL), unit.metres, why
    if flat.is_geographic:
        longitude, latitude = middle_lon_lat(flat, box)
        if not (abs(longitude) <= 360 and abs(latitude) <= 90):
            raise InputError.of(
                f"states coordinates in degrees ({title(flat)}), but {box[0]:.1f}, {box[1]:.1f} are"
                " not degrees",
                mend="state its real coordinate reference system.",
                source=source,
            )
        utm = fitting_utm(flat, box)
        return utm, 1.0, f"is in degrees ({title(flat)}); it was reprojected to {title(utm)}"
    off = scale_error(flat, box)
    if not off <= SCALE_LIMIT:
        utm = fitting_utm(flat, box)
        return (
            utm,
            1.0,
            (
                f"is in {title(flat)}, where map lengths are {off * 100:.0f} % off; it was"
                f" reprojected to {title(utm)}"
            ),
        )
    unit = plan_unit(flat)
    if unit.is_metre:
        return flat, 1.0, ""
    return (
        metre_sibling(flat, box),
        unit.metres,
        (
            f"has map coordinates in {unit.name} ({title(flat)}); they were converted to metres in"
            " the same projection, without resampling"
        ),
    )


def middle_lon_lat(crs: CRS, box: Box) -> tuple[float, float]:
    """Longitude and latitude [degrees] of the middle of a box in the coordinates of `crs`."""
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    flat = horizontal(crs)
    if flat.is_geographic:
        factor = math.degrees(flat.axis_info[0].unit_conversion_factor)
        return x * factor, y * factor
    base = flat.geodetic_crs
    longitude, latitude = pyproj.Transformer.from_crs(flat, base, always_xy=True).transform(x, y)
    return float(longitude), float(latitude)


def scale_error(crs: CRS, box: Box) -> float:
    """How far the map's scale in the middle of a box is from 1, in the worst direction.

    0.0004 in the middle of a UTM zone; 1.0 for web maps at 60° of latitude; 0 in a local grid.
    """
    if is_local(crs):
        return 0.0
    longitude, latitude = middle_lon_lat(crs, box)
    factors = pyproj.Proj(horizontal(crs)).get_factors(longitude, latitude)
    return max(abs(factors.tissot_semimajor - 1), abs(factors.tissot_semiminor - 1))


def transform_caution(source: CRS, target: CRS, box: Box) -> Problem | None:
    """Say how far a transformation may be off; None where it is good to 2 m.

    Parameters
    ----------
    box : extent of the data in the coordinates of `source`.
    """
    longitude, latitude = middle_lon_lat(source, box)
    spot: Any = AreaOfInterest(longitude, latitude, longitude, latitude)  # pyproj has two of it
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # a grid that is not installed: said below
        group = TransformerGroup(
            horizontal(source), horizontal(target), always_xy=True, area_of_interest=spot
        )
    best = group.transformers[0] if group.transformers else None
    if best is None or "ballpark" in best.description.lower():
        return Problem(
            Severity.WARNING,
            f"no exact way from {title(source)} to {title(target)} is installed; places may be off"
            " by metres, at worst by more than 100 m",
            f"bring it to {title(target)} with a program that has the grid for this datum shift.",
        )
    if best.accuracy > _ACCURACY_LIMIT_M:
        return Problem(
            Severity.NOTICE,
            f"the shift from {title(source)} to {title(target)} is good to about"
            f" {best.accuracy:g} m",
            "",
        )
    return None


def box_of(xs: Sequence[float], ys: Sequence[float]) -> Box:
    """Return the extent of points."""
    return min(xs), min(ys), max(xs), max(ys)


def _utm_zone(longitude: float, latitude: float) -> int:
    """UTM zone, with the exceptions for south-west Norway and Svalbard."""
    if 56 <= latitude < 64 and 3 <= longitude < 12:
        return 32
    if 72 <= latitude <= 84 and 0 <= longitude < 42:
        return int(
            [31, 33, 35, 37][int(longitude >= 9) + int(longitude >= 21) + int(longitude >= 33)]
        )
    return int((longitude + 180) // 6) % 60 + 1
