"""Coordinate reference systems: how one is stated, compared, named and written as text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pyproj import CRS
from pyproj.exceptions import CRSError

from brimline.errors import InputError, Problem, Severity
from brimline.io.lengths import LengthUnit, length_unit

if TYPE_CHECKING:
    from collections.abc import Sequence


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
    return f"EPSG:{east_first(fits).to_epsg()}" if fits else flat.to_wkt()


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


def east_first(choices: Sequence[CRS]) -> CRS:
    """Prefer a CRS that names its eastward axis first, which programs agree on best."""
    for crs in choices:
        if crs.axis_info[0].direction.lower() == "east":
            return crs
    return choices[0]
