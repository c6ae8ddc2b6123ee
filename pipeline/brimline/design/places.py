"""What is wrong with where elements were drawn: near buildings, in setbacks, off level, outside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from brimline.cascade import Finding
from brimline.design.extent import extent_in
from brimline.design.level_mends import level_departure_m
from brimline.elements import Kind

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from brimline.design.elements import PlacedElement
    from brimline.design.extent import Extent
    from brimline.grid import Elevation, Grid

_OVER_M: Final = 0.5  # a line drawn along the boundary may stray over it by this much
BUILDING: Final = "building"  # kind of what is kept clear of


@dataclass(frozen=True, slots=True)
class KeptClear:
    """What is to be kept clear of.

    Parameters
    ----------
    shape : as drawn: a point, a line or an area.
    area : the ground to keep clear: the shape and the setback around it.
    kind : such as "building" or "well".
    """

    shape: BaseGeometry
    area: BaseGeometry
    kind: str
    setback_m: float
    name: str = ""

    @property
    def called(self) -> str:
        """Its name, or words for it."""
        return self.name or f"a {self.kind} to keep clear of"


def misplaced(
    placed: Sequence[PlacedElement],
    kept_clear: Sequence[KeptClear],
    site: BaseGeometry,
    near_building_m: float,
    extents: Mapping[str, Extent] | None = None,
) -> list[Finding]:
    """Flag elements by where they lie: their water's edge and the toe of their banks.

    Parameters
    ----------
    site : ground inside the boundary.
    near_building_m : distance to a building within which held water is flagged [m].
    extents : by name; of what is left out, what was drawn.
    """
    inside = site.buffer(_OVER_M)
    found: list[Finding] = []
    for one in placed:
        reach = extent_in(extents or {}, one)
        found += _near_buildings(one, reach.water, kept_clear, near_building_m)
        found += _in_setbacks(one, reach.earth, kept_clear)
        if not inside.covers(reach.earth):
            text = f"reaches {_beyond(reach.earth, inside)} beyond the boundary"
            found.append(Finding("outside-boundary", one.name, text))
    return found


def too_steep(extents: Mapping[str, Extent], limit_pct: float) -> Iterator[Finding]:
    """Flag elements by the steepest ground under them and within 10 m below, not the mean.

    Wetted ground slips where it is steepest.
    """
    for name, reach in extents.items():
        if reach.steepest_pct > limit_pct:
            text = (
                f"the ground under it or within 10 m below it is as steep as"
                f" {reach.steepest_pct:.0f} %, where {limit_pct:.0f} % is the limit"
            )
            yield Finding("steep-ground", name, text)


def off_level(
    placed: Sequence[PlacedElement],
    surface: Elevation,
    grid: Grid,
    tolerance_m: float,
    why: str = "",
) -> Iterator[Finding]:
    """Flag swales whose drawn line departs from level, and say which line is level.

    A swale is designed on the line as it was drawn, because nobody but the person who drew it
    knows what it has to keep clear of. Where that line rises and falls, water stands at its low end
    and leaves there, and the storage is less than is told.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; the one that lines are traced on.
    tolerance_m : departure of the surface from the line's own middle level [m].
    why : where the tolerance comes from, in words.
    """
    for one in placed:
        if one.element.kind is not Kind.SWALE:
            continue
        off_m = level_departure_m(one.shape, surface, grid)
        if off_m > tolerance_m:
            yield Finding(
                "off-level",
                one.name,
                f"the ground along the line as drawn departs from level by {off_m:.2f} m, where "
                f"{tolerance_m:g} m is asked{why}",
            )


def _near_buildings(
    one: PlacedElement,
    water: BaseGeometry,
    kept_clear: Sequence[KeptClear],
    near_building_m: float,
) -> Iterator[Finding]:
    if one.element.kind is Kind.TANK:
        return
    for other in kept_clear:
        distance = water.distance(other.shape)
        if other.kind == BUILDING and distance < near_building_m:
            asked = f"{near_building_m:g} m"
            text = f"holds water {distance:.1f} m from {other.called}, where {asked} is asked"
            yield Finding("near-building", one.name, text)


def _in_setbacks(
    one: PlacedElement, earth: BaseGeometry, kept_clear: Sequence[KeptClear]
) -> Iterator[Finding]:
    for other in kept_clear:
        if one.element.kind is Kind.TANK and other.kind == BUILDING:
            continue  # a tank stands by the roof that fills it
        if earth.intersects(other.area):
            drawn = one.shape.intersects(other.area)
            what = "lies" if drawn else "with the toe of its bank or the edge of its dig lies"
            text = f"{what} within {other.setback_m:g} m of {other.called}"
            yield Finding("in-setback", one.name, text)


def _beyond(shape: BaseGeometry, inside: BaseGeometry) -> str:
    over = shape.difference(inside)
    return f"{over.area:.0f} m²" if over.area > 0 else f"{max(over.length, _OVER_M):.0f} m"
