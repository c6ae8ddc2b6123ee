"""Where elements stand: near buildings, in setbacks, beyond the boundary."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.cascade import Finding
from brimline.elements import Kind

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from geopandas import GeoDataFrame
    from shapely.geometry.base import BaseGeometry

    from brimline.config import Works
    from brimline.stages._works_shapes import Drawn

_OVER_M: Final = 0.5  # a line drawn along the boundary may stray over it by this much


def misplaced(
    drawn: Sequence[Drawn], keep_out: GeoDataFrame, boundary: GeoDataFrame, works: Works
) -> list[Finding]:
    """Flag elements by where they were drawn.

    Parameters
    ----------
    keep_out : areas that hold their setback already; columns kind, setback_m and name.
    """
    inside = boundary.geometry.union_all().buffer(_OVER_M)
    found: list[Finding] = []
    for one in drawn:
        found += _near_buildings(one, keep_out, works)
        found += _in_setbacks(one, keep_out)
        if not inside.covers(one.shape):
            text = f"reaches {_beyond(one.shape, inside)} beyond the boundary"
            found.append(Finding("outside-boundary", one.element.element_id, text))
    return found


def _near_buildings(one: Drawn, keep_out: GeoDataFrame, works: Works) -> Iterator[Finding]:
    if one.element.kind is Kind.TANK:
        return
    for row in keep_out[keep_out["kind"] == "building"].itertuples(index=False):
        distance = one.shape.distance(row.geometry.buffer(-row.setback_m))
        if distance < works.near_building_m:
            asked = f"{works.near_building_m:g} m"
            text = f"holds water {distance:.1f} m from {_named(row)}, where {asked} is asked"
            yield Finding("near-building", one.element.element_id, text)


def _in_setbacks(one: Drawn, keep_out: GeoDataFrame) -> Iterator[Finding]:
    for row in keep_out.itertuples(index=False):
        if one.element.kind is Kind.TANK and row.kind == "building":
            continue  # a tank stands by the roof that fills it
        if one.shape.intersects(row.geometry):
            text = f"lies within {row.setback_m:g} m of {_named(row)}"
            yield Finding("in-setback", one.element.element_id, text)


def _named(row: object) -> str:
    name, kind = getattr(row, "name", None), getattr(row, "kind", "")
    return name if isinstance(name, str) and name else f"a {kind} to keep clear of"


def _beyond(shape: BaseGeometry, inside: BaseGeometry) -> str:
    over = shape.difference(inside)
    return f"{over.area:.0f} m²" if over.area > 0 else f"{max(over.length, _OVER_M):.0f} m"
