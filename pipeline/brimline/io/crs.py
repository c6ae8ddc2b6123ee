"""Coordinate reference systems: how one is stated, compared, named and written as text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from pyproj import CRS
from pyproj.exceptions import CRSError

from brimline.errors import InputError, Problem, Severity
from brimline.io.lengths import LengthUnit, length_unit

if TYPE_CHECKING:
    from collections.abc import Sequence

LOCAL_WORD: Final = "local"  # what a person writes for a grid of their own
# the one text of every local grid in metres: engineering CRSs differ by name alone
LOCAL: Final = (
    'ENGCRS["Local grid",EDATUM["Origin of the site"],CS[Cartesian,2],'
    'AXIS["easting",east,ORDER[1],LENGTHUNIT["metre",1]],'
    'AXIS["northing",north,ORDER[2],LENGTHUNIT["metre",1]]]'
)
PLACED: Final = "Local grid placed by known points"
_UNSAID: Final = ("undefined", "unknown", "unnamed")  # what programs write for no CRS


def parsed(text: Any, *, source: str = "configuration") -> CRS:  # noqa: ANN401  (pyproj's own freedom)
    """Read a CRS as a person or a file states it; ``"local"`` is a grid of their own in metres.

    Raises
    ------
    InputError
        If it is not a CRS that the EPSG registry or the text itself defines.
    """
    if isinstance(text, str) and text.strip().lower() == LOCAL_WORD:
        return CRS.from_wkt(LOCAL)
    try:
        return CRS.from_user_input(text)
    except CRSError as fault:
        raise InputError.of(
            f"{text!s:.80} is not a coordinate reference system",
            mend='write it as an EPSG code, for example "EPSG:32633", as WKT, or "local" for a grid'
            " of your own in metres.",
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
        if own is None or (is_local(own) and is_own_grid(given)):
            return given, []  # which says where the file's grid lies, if anything does
        if same(own, given):
            return own, []
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
            mend='state it in the configuration, for example crs = "EPSG:32633" (the survey\'s'
            ' supplier knows it), or crs = "local" for a grid of your own.',
            source=source,
        )
    return own, []


def canonical(crs: CRS) -> str:
    """Return the one text for a CRS: its EPSG code where it is exactly that, else WKT.

    Heights are left out: elevations inside are metres, whatever they were.
    """
    flat = horizontal(crs)
    if is_local(flat):
        return LOCAL
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
    """Tell whether two CRSs give a point the same map coordinates.

    Two local grids in one unit count as the same, also where one of them was placed: nothing in
    them could tell them apart.
    """
    if is_own_grid(one) and is_own_grid(other) and (is_local(one) or is_local(other)):
        return plan_unit(one) == plan_unit(other)
    return bool(horizontal(one).equals(horizontal(other), ignore_axis_order=True))


def horizontal(crs: CRS) -> CRS:
    """Return a CRS without its heights."""
    if crs.is_bound and crs.source_crs is not None:
        return horizontal(crs.source_crs)
    if crs.is_compound:
        return horizontal(crs.sub_crs_list[0])
    return crs.to_2d() if len(crs.axis_info) > 2 else crs


def is_local(crs: CRS | str) -> bool:
    """Tell whether a CRS is a grid of its own, without a place on the Earth."""
    return horizontal(parsed(crs)).is_engineering


def is_own_grid(crs: CRS | str) -> bool:
    """Tell whether a CRS is a grid of the site's own, placed on the Earth or not."""
    return is_local(crs) or horizontal(parsed(crs)).name == PLACED


def is_usable(crs: CRS | None) -> bool:
    """Tell whether a CRS says where its map coordinates count from: on the Earth, or by name."""
    if crs is None:
        return False
    flat = horizontal(crs)
    if flat.is_engineering:
        return len(flat.axis_info) >= 2 and not flat.name.lower().startswith(_UNSAID)
    return bool(flat.is_projected or flat.is_geographic)


def refuse_mixed(own: CRS, target: CRS, *, source: str) -> None:
    """Refuse to bring a local grid to a place on the Earth, or the other way.

    Raises
    ------
    InputError
        If one of the two is local and the other is not; a placed grid is both.
    """
    if is_local(own) == is_local(target) or (is_own_grid(own) and is_own_grid(target)):
        return
    if is_local(target):
        raise InputError.of(
            f"is in {title(own)}, the run in a local grid: nothing says where that lies on the"
            " Earth",
            mend="save it in the site's own coordinates, without a reference system; or name two"
            " points whose place is known as terrain.known_points; or survey the elevation in a"
            " real one and state it as terrain.crs.",
            source=source,
        )
    raise InputError.of(
        f"is in a local grid ({horizontal(own).name}), the run in {title(target)}: nothing says"
        " where it lies on the Earth",
        mend='save it in the run\'s reference system, or set terrain.crs = "local" where the'
        " elevation is in this grid too.",
        source=source,
    )


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
