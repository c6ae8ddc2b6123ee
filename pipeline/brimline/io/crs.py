"""Coordinate reference systems: one text form, the metre CRS that a survey is brought to, units."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import pyproj
from pyproj import CRS
from pyproj.aoi import AreaOfInterest
from pyproj.crs import ProjectedCRS
from pyproj.crs.coordinate_operation import UTMConversion
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import CRSError
from pyproj.transformer import TransformerGroup

from brimline.errors import InputError, Problem, Severity
from brimline.units import FOOT_M, US_SURVEY_FOOT_M

if TYPE_CHECKING:
    from collections.abc import Sequence

SCALE_LIMIT: Final = 0.02  # a map scale further from 1 than this makes lengths and areas wrong
_ACCURACY_LIMIT_M: Final = 2.0  # a coarser datum shift is worth telling
_METRE_NAMES: Final = frozenset({"m", "metre", "meter", "metres", "meters"})
_FOOT_NAMES: Final = frozenset({"ft", "foot", "feet", "international foot", "int ft"})
_SURVEY_FOOT_NAMES: Final = frozenset(
    {"us-ft", "ftus", "usft", "us ft", "us survey foot", "us survey feet", "foot_us", "us_ft"}
)
_SMALL_UNITS_M: Final = {"dm": 0.1, "decimetre": 0.1, "cm": 0.01, "centimetre": 0.01, "mm": 0.001}

Box = tuple[float, float, float, float]  # west, south, east, north


@dataclass(frozen=True, slots=True)
class LengthUnit:
    """A unit of length: what people call it and how many metres it is."""

    name: str
    metres: float

    @property
    def is_metre(self) -> bool:
        """Whether values need no conversion."""
        return abs(self.metres - 1.0) < 1e-12


METRE: Final = LengthUnit("metres", 1.0)
FOOT: Final = LengthUnit("feet", FOOT_M)
SURVEY_FOOT: Final = LengthUnit("US survey feet", US_SURVEY_FOOT_M)


def length_unit(name: str) -> LengthUnit | None:
    """Return the unit that a file or a person calls by `name`; None where it is not known."""
    key = name.strip().lower()
    if key in _METRE_NAMES:
        return METRE
    if key in _FOOT_NAMES:
        return FOOT
    if key in _SURVEY_FOOT_NAMES:
        return SURVEY_FOOT
    if key in _SMALL_UNITS_M:
        return LengthUnit(key, _SMALL_UNITS_M[key])
    return None


def converted(unit: LengthUnit, source: str) -> Problem:
    """Say that levels were converted to metres."""
    return Problem(
        Severity.NOTICE,
        f"has levels in {unit.name}; they were converted to metres (times {unit.metres:.10g})",
        "",
        source,
    )


def parsed(text: Any, *, source: str = "") -> CRS:  # noqa: ANN401  (pyproj's own freedom)
    """Read a CRS as a person or a file states it.

    Raises
    ------
    InputError
        If it is not a CRS that the EPSG registry or the text itself defines.
    """
    try:
        return CRS.from_user_input(text)
    except CRSError as fault:
        raise InputError.of(
            f"{text!s:.80} is not a coordinate reference system",
            mend='write it as an EPSG code, for example "EPSG:32633", or as WKT.',
            source=source,
        ) from fault


def settled(own: CRS | None, stated: str | None, *, source: str) -> tuple[CRS, list[Problem]]:
    """Settle the CRS of a file: as the person states it, else as the file does.

    Returns
    -------
    crs, notices
        A warning where the two differ.

    Raises
    ------
    InputError
        If neither says it.
    """
    if not is_usable(own):
        own = None
    if stated is not None:
        given = parsed(stated, source="configuration")
        if own is None or same(own, given):
            return own or given, []
        return given, [
            Problem(
                Severity.WARNING,
                f"says that it is in {title(own)}, the configuration says {title(given)}: the"
                " configuration was followed",
                "remove crs from the configuration if the file is right.",
                source,
            )
        ]
    if own is None:
        raise InputError.of(
            "does not say its coordinate reference system",
            mend='state it in the configuration, for example crs = "EPSG:32633"; the survey\'s'
            " supplier knows it.",
            source=source,
        )
    return own, []


def canonical(crs: CRS) -> str:
    """Return the one text for a CRS: its EPSG code where it is exactly that, else WKT.

    Heights are left out: elevations inside are metres, whatever they were.
    """
    flat = horizontal(crs)
    own = flat.to_epsg(min_confidence=100)
    if own is not None:
        return f"EPSG:{own}"
    near = flat.list_authority(auth_name="EPSG", min_confidence=70)
    listed = [CRS.from_authority(found.auth_name, found.code) for found in near]
    fits = [known for known in listed if flat.equals(known, ignore_axis_order=True)]
    return f"EPSG:{_east_first(fits).to_epsg()}" if fits else flat.to_wkt()


def title(crs: CRS) -> str:
    """Return the name that people know a CRS by, with its EPSG code where it has one."""
    text = canonical(crs)
    return f"{horizontal(crs).name} ({text})" if text.startswith("EPSG:") else horizontal(crs).name


def same(one: CRS, other: CRS) -> bool:
    """Tell whether two CRSs give a point the same map coordinates."""
    return bool(horizontal(one).equals(horizontal(other), ignore_axis_order=True))


def horizontal(crs: CRS) -> CRS:
    """Return a CRS without its heights."""
    if crs.is_bound and crs.source_crs is not None:
        return horizontal(crs.source_crs)
    if crs.is_compound:
        return horizontal(crs.sub_crs_list[0])
    return crs.to_2d() if len(crs.axis_info) > 2 else crs


def is_usable(crs: CRS | None) -> bool:
    """Tell whether a CRS ties map coordinates to the Earth (a local drawing CRS does not)."""
    return crs is not None and (horizontal(crs).is_projected or horizontal(crs).is_geographic)


def plan_unit(crs: CRS) -> LengthUnit:
    """Return the unit of a projected CRS's coordinates."""
    axis = horizontal(crs).axis_info[0]
    known = length_unit(axis.unit_name)
    return known or LengthUnit(axis.unit_name, axis.unit_conversion_factor)


def height_unit(crs: CRS) -> LengthUnit | None:
    """Return the unit of a compound or 3-D CRS's heights; None where it has none."""
    for axis in crs.axis_info:
        if axis.direction.lower() in {"up", "down"}:
            return length_unit(axis.unit_name) or LengthUnit(
                axis.unit_name, axis.unit_conversion_factor
            )
    return None


def metre_sibling(crs: CRS) -> CRS:
    """Return the same projection with its map coordinates in metres.

    Coordinates of the sibling are the given ones times the length of the unit, exactly, so a
    grid in feet becomes a grid in metres without resampling.
    """
    flat = horizontal(crs)
    described = flat.to_json_dict()
    for axis in described["coordinate_system"]["axis"]:
        axis["unit"] = "metre"
    described.pop("id", None)
    described["name"] = f"{flat.name}, in metres"
    sibling = CRS.from_json_dict(described)
    return CRS.from_user_input(canonical(sibling))


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
            return _east_first(fits)
    own = ProjectedCRS(
        UTMConversion(str(zone), half),
        name=f"{geodetic.name if geodetic is not None else 'WGS 84'} / UTM zone {zone}{half}",
        geodetic_crs=geodetic or "EPSG:4326",
    )
    return CRS.from_user_input(canonical(own))


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

    0.0004 in the middle of a UTM zone; 1.0 for web maps at 60° of latitude.
    """
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


def _east_first(choices: Sequence[CRS]) -> CRS:
    """Prefer a CRS that names its eastward axis first, which programs agree on best."""
    for crs in choices:
        if crs.axis_info[0].direction.lower() == "east":
            return crs
    return choices[0]


def _utm_zone(longitude: float, latitude: float) -> int:
    """UTM zone, with the exceptions for south-west Norway and Svalbard."""
    if 56 <= latitude < 64 and 3 <= longitude < 12:
        return 32
    if 72 <= latitude <= 84 and 0 <= longitude < 42:
        return int(
            [31, 33, 35, 37][int(longitude >= 9) + int(longitude >= 21) + int(longitude >= 33)]
        )
    return int((longitude + 180) // 6) % 60 + 1
