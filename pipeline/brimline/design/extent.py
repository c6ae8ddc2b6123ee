"""How far an element reaches over the ground: its water when full, its earth to the toe."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely

from brimline.elements import Dam, Drain, Kind, Pond, Swale
from brimline.elements.basin import Basin
from brimline.elements.building import uphill_left
from brimline.lines.sample import levels_of, rises_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from brimline.design.elements import PlacedElement
    from brimline.design.standing import StandingGround
    from brimline.elements.building import Building
    from brimline.terrain.shaping import LevelsAt

_STEP_M: Final = 1.0  # between places at which the ground is asked
_BANK_M: Final = 20.0  # over which an outer batter is followed down
_BELOW_M: Final = 10.0  # below an element, ground that its water may wet (common practice)


@dataclass(frozen=True, slots=True, eq=False)
class Extent:
    """Where an element's water and earth lie.

    Parameters
    ----------
    water : what stands under water when it is full to its sill.
    earth : all that is dug and heaped, to the toe of its bank; the water too.
    steepest_pct : of the smoothed ground under it, and within 10 m below it [%]; 0 off the
        data, and of tanks and drains, which are not to wet the ground.
    """

    water: BaseGeometry
    earth: BaseGeometry
    steepest_pct: float


def extents_of(
    placed: Iterable[PlacedElement], ground: StandingGround, how: Building
) -> dict[str, Extent]:
    """Return how far each element reaches, by name."""
    found = {}
    for one in placed:
        water, earth = _shapes(one, ground, how)
        wets = one.element.kind not in (Kind.TANK, Kind.DRAIN)
        steepest = _steepest_pct(earth, one.element.spill_level_m, ground) if wets else 0.0
        found[one.name] = Extent(water, earth, steepest)
    return found


def ground_under_bank(
    outline: shapely.Polygon, crest_m: float, flat_m: float, batter: float, ground: StandingGround
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return places that the bank round a pond covers, and the ground there.

    Parameters
    ----------
    crest_m : its settled level [m].
    flat_m : from the outline to the outer edge of the crest [m].
    batter : run over rise of its outer side; it is followed for 20 m.

    Returns
    -------
    places : float64 (places, 2) [m], about one a square metre
    levels : float64 (places,) [m]
    """
    around = outline.buffer(flat_m + _BANK_M).difference(outline)
    points = _places(around)
    levels = levels_of(ground.levels, ground.grid, *points.T)
    beyond_m = np.maximum(shapely.distance(shapely.points(points), outline) - flat_m, 0.0)
    covered = levels < crest_m - beyond_m / max(batter, 1e-6)
    return points[covered], levels[covered]


def ground_near_bank(
    line: shapely.LineString, crest_m: float, dam: Dam, reach_m: float, ground: StandingGround
) -> NDArray[np.float64]:
    """Return places that the bank of a dam covers, float64 (places, 2) [m], one a square metre.

    Parameters
    ----------
    reach_m : from the line to where no bank reaches.
    """
    points = _places(line.buffer(reach_m))
    levels = levels_of(ground.levels, ground.grid, *points.T)
    beyond_m = shapely.distance(shapely.points(points), line) - dam.top_m / 2
    batter = np.where(shapely.contains_xy(dam.outline, *points.T), dam.upstream, dam.downstream)
    covered: NDArray[np.float64] = points[
        levels < crest_m - np.maximum(beyond_m, 0.0) / np.maximum(batter, 1e-6)
    ]
    return covered


def bank_flat_m(side: float, crest_over_spill_m: float, how: Building) -> float:
    """Width from a pond's waterline to the outer edge of its crest [m]."""
    return side * crest_over_spill_m + how.top_m


def _shapes(
    one: PlacedElement, ground: StandingGround, how: Building
) -> tuple[BaseGeometry, BaseGeometry]:
    made, drawn = one.element.shape, one.shape
    over_m = one.element.crest_level_m - one.element.spill_level_m
    match made:
        case Swale():
            line = uphill_left(drawn, _levels_of(ground))
            cut = _beside(line, made.cut_width_m)
            return cut, cut.union(_beside(line, -made.mound_width_m))
        case Drain():
            half_m = made.section.top_width_m(made.depth_m) / 2
            water = drawn.buffer(half_m, cap_style="flat")
            return water, drawn.buffer(half_m + how.top_m, cap_style="flat")
        case Dam():
            high_m = one.element.embankment_height_m
            half_m = made.top_m / 2 + max(made.upstream, made.downstream) * high_m
            bank = ground_near_bank(made.bank, one.element.crest_level_m, made, half_m, ground)
            half = _STEP_M / 2
            boxes = shapely.box(*(bank - half).T, *(bank + half).T)
            return drawn, shapely.union_all([drawn, *boxes])
        case Pond() | Basin():
            if made.sunken:
                return drawn, drawn
            crest_m = one.element.crest_level_m
            flat_m = bank_flat_m(made.side, over_m, how)
            bank, _ = ground_under_bank(drawn, crest_m, flat_m, how.outer, ground)
            half = _STEP_M / 2
            boxes = shapely.box(*(bank - half).T, *(bank + half).T)
            return drawn, shapely.union_all([drawn, *boxes])
        case _:
            return drawn, drawn


def _beside(line: shapely.LineString, width_m: float) -> BaseGeometry:
    """Strip to the left of a line; to its right where the width is negative."""
    strip = line.buffer(width_m, single_sided=True, join_style="mitre")
    return shapely.make_valid(strip) if width_m else line


def _levels_of(ground: StandingGround) -> LevelsAt:
    return lambda x, y: levels_of(ground.levels, ground.grid, x, y)


def _places(area: BaseGeometry) -> NDArray[np.float64]:
    """Places in an area, a metre apart; float64 (places, 2) [m]."""
    west, south, east, north = area.bounds
    x, y = np.meshgrid(
        np.arange(west + _STEP_M / 2, east, _STEP_M), np.arange(south + _STEP_M / 2, north, _STEP_M)
    )
    shapely.prepare(area)
    within = shapely.contains_xy(area, x, y)
    return np.column_stack([x[within], y[within]])


def _steepest_pct(earth: BaseGeometry, spill_m: float, ground: StandingGround) -> float:
    x, y = _places(earth.buffer(_BELOW_M)).T
    levels = levels_of(ground.levels, ground.grid, x, y)
    slope_pct = 100 * np.hypot(*rises_of(ground.levels, ground.grid, x, y))
    mine = (levels < spill_m) | shapely.contains_xy(earth, x, y)
    return float(slope_pct[mine & np.isfinite(slope_pct)].max(initial=0.0))


def extent_in(extents: Mapping[str, Extent], one: PlacedElement) -> Extent:
    """Return how far an element reaches; what was drawn of it, where that is not known."""
    return extents.get(one.name, Extent(one.shape, one.shape, 0.0))
