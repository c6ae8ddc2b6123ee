"""Mends of a whole pond or basin, where no sill or link does: no bank, another place, less."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from brimline.design.plan_changes import LAYER_OF, PlanChange, mend_row
from brimline.elements import Kind

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from brimline.design.advising import Mark
    from brimline.design.elements import PlacedElement
    from brimline.design.making import Design
    from brimline.design.places import KeptClear
    from brimline.design.standing import StandingGround

_MENDED: Final = frozenset(
    {"leaks", "sill-shut", "reaches-other", "over-boundary", "uphill", "no-safe-outlet",
     "overtopped", "small-outlet", "shape-limit"}
)  # fmt: skip
_SUNKEN_SILL_M: Final = 0.03  # below the lowest place of a rim (common practice, no source)
_WAYS: Final = 12  # directions in which to look for another place
_FAR: Final = (0.5, 1.0, 1.75)  # how far, in lengths of the outline
_PLACES: Final = 2  # that are offered
_APART_M: Final = 3.0  # between what is dug
_UNDERCUT_M: Final = 10.0  # above a pond, that its slopes may reach on steep ground
_SMALLER: Final = 0.75  # of its width


def mends_of_place(
    design: Design,
    marks: Iterable[Mark],
    standing: StandingGround,
    kept_clear: Sequence[KeptClear],
    site: BaseGeometry,
) -> list[dict[str, Any]]:
    """Guess what ponds and basins would hold with no bank, on more level ground, or smaller.

    Parameters
    ----------
    marks : element and flag of what to mend.
    kept_clear, site : where nothing may be moved to.

    Returns
    -------
    rows of the table of mends, the least change first for each finding.
    """
    flags: dict[str, set[str]] = {}
    for name, flag in marks:
        flags.setdefault(name, set()).add(flag)
    rows: list[dict[str, Any]] = []
    for one in design.placed:
        if one.element.kind not in (Kind.POND, Kind.BASIN):
            continue
        mine = [(one.name, flag) for flag in sorted(flags.get(one.name, set()) & _MENDED)]
        mine += [(name, "leaks") for name in _undercut(one, design, flags)]
        if not mine:
            continue
        made = [
            *_no_bank(one, standing),
            *_elsewhere(one, design, standing, kept_clear, site),
            *_smaller(one, standing),
        ]
        for name, flag in mine:
            for dimension, text, change in made:
                if name != one.name:
                    text = f"{text}; {name} stands where it is dug into the slope"
                rows.append(mend_row(name, flag, one.name, dimension, "", 0.0, 1.0, text, [change]))
    return rows


def _undercut(
    one: PlacedElement, design: Design, flags: Mapping[str, Collection[str]]
) -> list[str]:
    """Return leaking elements so near above a pond that its slope may cut into them."""
    return [
        other.name
        for other in design.placed
        if other is not one
        and "leaks" in flags.get(other.name, ())
        and other.element.spill_level_m > one.element.spill_level_m
        and other.shape.distance(one.shape) < _UNDERCUT_M
    ]


_Made = tuple[str, str, PlanChange]


def _no_bank(one: PlacedElement, standing: StandingGround) -> Iterator[_Made]:
    if _sunken(one):
        return
    change = _redrawn(one, one.shape, standing, sunken=True)
    level = change.values["spill_level_m"]
    text = f"sink {one.name} into the ground, with no bank: its water stands at {level:.2f} m"
    yield "no bank", text, change


def _elsewhere(
    one: PlacedElement,
    design: Design,
    standing: StandingGround,
    kept_clear: Sequence[KeptClear],
    site: BaseGeometry,
) -> Iterator[_Made]:
    """Move the outline to where the ground under its rim falls least."""
    shape, sunken = one.shape, _sunken(one)
    west, south, east, north = shape.bounds
    size_m = max(east - west, north - south)
    others = [other.shape.buffer(_APART_M) for other in design.placed if other is not one]
    taken = shapely.union_all([*others, *(other.area for other in kept_clear)])
    found: list[tuple[float, float, float]] = []
    for far in _FAR:
        for turn in np.linspace(0, 2 * math.pi, _WAYS, endpoint=False):
            east_m, north_m = far * size_m * math.cos(turn), far * size_m * math.sin(turn)
            moved = shapely.affinity.translate(shape, east_m, north_m)
            if site.contains(moved) and not moved.intersects(taken):
                found.append((_fall_m(moved, standing), east_m, north_m))
    now_m = _fall_m(shape, standing)
    for number, (fall_m, east_m, north_m) in enumerate(sorted(found)[:_PLACES], start=1):
        if not fall_m < now_m:
            return
        change = _redrawn(
            one, shapely.affinity.translate(shape, east_m, north_m), standing, sunken=sunken
        )
        text = (
            f"move {one.name} by {math.hypot(east_m, north_m):.0f} m, {abs(east_m):.0f} m"
            f" {'east' if east_m > 0 else 'west'} and {abs(north_m):.0f} m"
            f" {'north' if north_m > 0 else 'south'}, where the ground under its rim falls by"
            f" {fall_m:.2f} m, not {now_m:.2f} m"
        )
        yield ("place" if number == 1 else f"place {number}"), text, change


def _smaller(one: PlacedElement, standing: StandingGround) -> Iterator[_Made]:
    less = shapely.affinity.scale(one.shape, _SMALLER, _SMALLER, origin="centroid")
    change = _redrawn(one, less, standing, sunken=_sunken(one))
    text = f"draw {one.name} smaller, {less.area:.0f} m², not {one.shape.area:.0f} m²"
    yield "outline", text, change


def _redrawn(
    one: PlacedElement, shape: BaseGeometry, standing: StandingGround, *, sunken: bool
) -> PlanChange:
    """Return another outline, with the level that its own ground gives it."""
    values: dict[str, float | str] = {}
    levels = standing.level_along(shape.exterior)
    lowest_m = float(np.nanmin(levels))
    if sunken:
        values["spill_level_m"] = round(lowest_m - _SUNKEN_SILL_M, 3)
        if not _sunken(one):
            values["edge"] = "sunken"
    elif "spill_level_m" not in one.empty:
        middle_m = float(np.nanmedian(levels))
        level_m = middle_m if one.element.kind is Kind.POND else lowest_m
        values["spill_level_m"] = round(level_m, 3)
    wkt = "" if shape is one.shape else shape.wkt
    return PlanChange(LAYER_OF[one.element.kind], one.name, values, wkt)


def _sunken(one: PlacedElement) -> bool:
    return bool(getattr(one.element.shape, "sunken", False))


def _fall_m(shape: BaseGeometry, standing: StandingGround) -> float:
    levels = standing.level_along(shape.exterior)
    return float(np.ptp(levels)) if np.isfinite(levels).all() else math.inf
