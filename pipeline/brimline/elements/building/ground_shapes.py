"""An element as earth: what is dug and heaped up to build it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
import shapely
from shapely.ops import substring

from brimline.elements.basin import Basin
from brimline.elements.dam import SPILLWAY_FALL, Dam
from brimline.elements.drain import Drain
from brimline.elements.pond import Pond
from brimline.elements.section import Parabola, Trapezoid
from brimline.elements.swale import Swale
from brimline.terrain.shaping import Bank, Bowl, Channel, LevelAlong, notch

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.elements.element import Element
    from brimline.elements.section import Section
    from brimline.terrain.shaping import GroundShape, LevelsAt

_LEAST_MOUND_M: Final = 0.01  # lower than this is only levelled
_LOOK_M: Final = 2.0  # to each side of a line, to see which is uphill
_STEP_M: Final = 0.5  # outwards, to see where the ground is low or high enough
_OUT_M: Final = 5.0  # at least, out from a bowl, to look for ground as low as its sill
_SPARE_M: Final = 1.0  # a sill runs on past the toe of its bank
_LONGEST_OUTFALL_M: Final = 40.0  # farther on, water finds its way over the ground
_INTO_M: Final = 1.5  # an outfall runs on into what it reaches
_DIP_BATTER: Final = 12.0  # a path's dip for wheels: 1 in 12 (ADA Standards 2010, section 405.2)
_LEAST_FALL: Final = 0.005  # of an outfall; 1 in 200


@dataclass(frozen=True, slots=True)
class SillAt:
    """A level sill and where on the plan it stands."""

    level_m: float
    width_m: float
    place: shapely.Point


@dataclass(frozen=True, slots=True)
class PathDip:
    """A dip in a path, where water crosses it.

    Parameters
    ----------
    level_m : level of its floor [m].
    width_m : along the path, as wide as the sill above it [m].
    line : across the path, along the water's way.
    """

    level_m: float
    width_m: float
    line: shapely.LineString


@dataclass(frozen=True, slots=True)
class Outfall:
    """The way from the end of a drain to what it leads to.

    Parameters
    ----------
    line : drawn from the drain's end.
    level_m : spill level of what it reaches; NaN where that is not known [m].
    """

    line: shapely.LineString
    level_m: float


@dataclass(frozen=True, slots=True)
class Building:
    """How banks and sills are built.

    Parameters
    ----------
    top_m, outer : top width and outer batter of banks round ponds and beside drains [m].
    settlement : share of their height by which they are built higher.
    sill_batter : batter of the sides of sill notches.
    returns_m : greatest length of the wings that carry a swale's mound uphill round its ends, so
        that water held above the line does not leak there; 0 builds none [m].
    """

    top_m: float = 1.0
    outer: float = 2.0
    settlement: float = 0.10
    sill_batter: float = 2.0
    returns_m: float = 15.0


def filling_m(element: Element) -> float:
    """Depth of fill from the floor of a basin up to at most its spill level [m]."""
    made = element.shape
    if not isinstance(made, Basin):
        return 0.0
    depth_m = element.spill_level_m - element.floor_m
    return min(sum(layer.thickness_m for layer in made.fill), depth_m)


def shapes_of(
    element: Element,
    drawn: shapely.Geometry,
    sills: Sequence[SillAt],
    ground: LevelsAt,
    how: Building,
    *,
    outfall: Outfall | None = None,
    dips: Sequence[PathDip] = (),
) -> list[GroundShape]:
    """Work out the shapes of one element; a tank, or one that was not made from a shape, has none.

    Parameters
    ----------
    drawn : its line or outline; of a multi-part geometry the largest part.
    sills : its sills.
    ground : levels of the surface that it is built on.
    outfall : of a drain; without one its end is closed.
    dips : in paths that its ways out cross.

    Raises
    ------
    ValueError
        If the drawing is not of the kind that the element needs.
    """
    parts = shapely.get_parts(drawn)
    part = max(parts, key=lambda one: (one.area, one.length))
    crossed = [
        Channel(
            element.element_id, dip.line, LevelAlong.flat(dip.level_m), bottom_m=dip.width_m,
            left=_DIP_BATTER, right=_DIP_BATTER, through=True, in_path=True,
        )
        for dip in dips
    ]  # fmt: skip
    match element.shape:
        case Drain() as drain:
            return [*_drain(drain, part, outfall, ground, how), *crossed]
        case Swale() as swale:
            turned = uphill_left(part, ground)
            return [*_swale(element, swale, turned, sills, ground, how), *crossed]
        case Pond() as pond:
            shelf = (pond.shelf_width_m, pond.shelf_depth_m)
            bowl = _bowl(element, part, pond.dug_depth_m, pond.side, shelf, how)
            if pond.sunken:
                bowl = replace(bowl, crest_m=None)
        case Basin() as basin:
            depth_m = element.spill_level_m - element.floor_m
            bowl = _bowl(element, part, depth_m, basin.side, (0.0, 0.0), how)
            if basin.sunken:
                bowl = replace(bowl, crest_m=None)
        case Dam() as dam:
            return [*_dam(dam, sills, how), *crossed]
        case _:
            return []
    return [bowl, *_cuts(bowl, sills, ground, how), *crossed]


def uphill_left(line: shapely.LineString, ground: LevelsAt) -> shapely.LineString:
    """Turn a line so that the higher ground lies to its left."""
    middles = np.arange(0.5, max(line.length, 1.0)) / max(line.length, 1.0)
    points = shapely.get_coordinates(line.interpolate(middles, normalized=True))
    ahead = shapely.get_coordinates(
        line.interpolate(np.minimum(middles + 1e-3, 1), normalized=True)
    )
    east, north = (ahead - points).T
    size = np.maximum(np.hypot(east, north), 1e-12)
    step = _LOOK_M * np.column_stack([-north / size, east / size])
    left, right = ground(*(points + step).T), ground(*(points - step).T)
    rise = np.nanmean(left - right) if np.isfinite(left - right).any() else 0.0
    return line if rise >= 0 else line.reverse()


def _swale(
    element: Element,
    swale: Swale,
    line: shapely.LineString,
    sills: Sequence[SillAt],
    ground: LevelsAt,
    how: Building,
) -> list[GroundShape]:
    element_id, mound = element.element_id, swale.mound
    floor = LevelAlong.flat(swale.line_level_m - swale.depth_m)
    if swale.form == "parabola":
        reach_m = swale.top_m / 2
        wide_m = swale.top_m / math.sqrt(swale.depth_m)
        ditch = Channel(element_id, line, floor, reach_m, parabola_m=wide_m)
    else:
        bottom_m = swale.bottom_m if swale.form == "trapezoid" else 0.0
        reach_m = swale.side * swale.depth_m + bottom_m / 2
        ditch = Channel(element_id, line, floor, reach_m, bottom_m, swale.upper_side, swale.side)
    shapes: list[GroundShape] = [ditch]
    height_m = element.crest_level_m - swale.line_level_m
    toe_m = 0.0
    if height_m > _LEAST_MOUND_M:
        offset_m = -(mound.inner * height_m + mound.crest_width_m / 2)
        toe_m = -offset_m + mound.crest_width_m / 2 + mound.outer * height_m
        bank = Bank(
            element_id, line, LevelAlong.flat(element.crest_level_m), offset_m,
            mound.crest_width_m, mound.inner, mound.outer, swale.settlement,
        )  # fmt: skip
        shapes.append(bank)
        shapes += _wings(bank, swale.side * swale.depth_m - offset_m, ground, how)
    for sill in sills:
        clear_m = min(sill.width_m / 2 + _SPARE_M, line.length / 2)  # of the ends and their wings
        at_m = min(max(line.project(sill.place), clear_m), line.length - clear_m)
        shapes.append(
            notch(
                element_id, line, at_m, sill.level_m, sill.width_m,
                left_m=reach_m, right_m=toe_m + _SPARE_M, batter=how.sill_batter,
            )
        )  # fmt: skip
    return shapes


def _wings(mound: Bank, past_end_m: float, ground: LevelsAt, how: Building) -> list[GroundShape]:
    """Carry a mound round both ends of its ditch, uphill to where the ground is as high."""
    if not how.returns_m:
        return []
    crest_m = float(mound.crest.level_m[0])
    corners = shapely.get_coordinates(mound.line)
    batter = max(mound.left, mound.right)
    found: list[GroundShape] = []
    # the uphill side is to the left; at its start, the way out runs against the line
    for end, before, turn in ((corners[0], corners[1], -1.0), (corners[-1], corners[-2], 1.0)):
        out = (end - before) / np.hypot(*(end - before))
        uphill = turn * np.array([-out[1], out[0]])
        start = end + uphill * mound.offset_m
        foot = start + out * past_end_m
        steps = np.arange(0.0, how.returns_m + _STEP_M, _STEP_M)
        levels = ground(*(foot + steps[:, None] * uphill).T)
        high = np.flatnonzero(levels >= crest_m)
        reach_m = steps[high[0]] if high.size else how.returns_m
        wing = shapely.LineString([start, foot, foot + uphill * max(reach_m, _STEP_M)])
        found.append(
            Bank(
                mound.element_id, wing, mound.crest, 0.0, mound.top_m, batter, batter,
                mound.settlement,
            )
        )  # fmt: skip
    return found


def _drain(
    drain: Drain,
    drawn: shapely.LineString,
    outfall: Outfall | None,
    ground: LevelsAt,
    how: Building,
) -> list[GroundShape]:
    element_id = drain.element_id
    line = uphill_left(drawn, ground)
    levels = (drain.from_level_m, drain.to_level_m)
    if line.coords[0] != drawn.coords[0]:  # it was turned; it falls the other way then
        levels = levels[::-1]
    floor = LevelAlong.graded(*levels, line.length)
    depth_m = drain.depth_m
    crest = LevelAlong.graded(levels[0] + depth_m, levels[1] + depth_m, line.length)
    section = _section_of(drain.section)
    bottom_m, _, side, parabola_m = section
    half_m = bottom_m / 2 + side * depth_m
    if parabola_m:
        half_m = parabola_m * math.sqrt(depth_m) / 2
    shapes: list[GroundShape] = [
        Channel(element_id, line, floor, 0.0, *section),
        Bank(
            element_id, line, crest, -(half_m + how.top_m / 2), how.top_m, max(side, 1.0),
            how.outer, how.settlement,
        ),
    ]  # fmt: skip
    if outfall is not None and outfall.line.length > 0:
        shapes.append(_outfall(element_id, drain.to_level_m, section, drawn, outfall))
    return shapes


def _outfall(
    element_id: str,
    from_m: float,
    section: tuple[float, float, float, float],
    drawn: shapely.LineString,
    outfall: Outfall,
) -> Channel:
    """Carry a drain's section on to what it reaches, or until it comes out of the ground."""
    way = substring(outfall.line, 0, min(outfall.line.length, _LONGEST_OUTFALL_M))
    corners = [drawn.coords[-1][:2], *(place[:2] for place in way.coords)]
    line = shapely.remove_repeated_points(shapely.LineString(corners), 0.01)
    if way.length == outfall.line.length:
        line = _longer(line, _INTO_M)
    to_m = from_m - _LEAST_FALL * line.length
    if math.isfinite(outfall.level_m):
        to_m = min(to_m, outfall.level_m)
    floor = LevelAlong.graded(from_m, to_m, line.length)
    return Channel(element_id, line, floor, 0.0, *section, through=True)


def _longer(line: shapely.LineString, by_m: float) -> shapely.LineString:
    corners = shapely.get_coordinates(line)
    step = corners[-1] - corners[-2]
    return shapely.LineString([*corners, corners[-1] + by_m * step / np.hypot(*step)])


def _bowl(
    element: Element,
    outline: shapely.Polygon,
    depth_m: float,
    side: float,
    shelf: tuple[float, float],
    how: Building,
) -> Bowl:
    return Bowl(
        element.element_id, outline, element.spill_level_m, depth_m, side, *shelf,
        element.crest_level_m, how.top_m, how.outer, how.settlement,
    )  # fmt: skip


def _dam(dam: Dam, sills: Sequence[SillAt], how: Building) -> list[GroundShape]:
    """Heap a bank, and cut its spillways past its end."""
    line = dam.bank
    middle = shapely.get_coordinates(dam.outline.centroid)[0]
    corners = shapely.get_coordinates(line)
    chord, aside = corners[-1] - corners[0], middle - corners.mean(axis=0)
    left_is_wet = chord[0] * aside[1] - chord[1] * aside[0] > 0
    left, right = (dam.upstream, dam.downstream) if left_is_wet else (dam.downstream, dam.upstream)
    bank = Bank(
        dam.element_id, line, LevelAlong.flat(dam.crest_level_m), 0.0, dam.top_m, left, right,
        how.settlement,
    )  # fmt: skip
    return [bank, *(one for sill in sills for one in _spillway(dam, sill, how))]


def _spillway(dam: Dam, sill: SillAt, how: Building) -> list[GroundShape]:
    """Cut a way from the water past the bank's end, level to its sill, falling to lower ground."""
    into, place, out = shapely.get_coordinates(dam.spillway_for(sill.width_m))
    below = shapely.LineString([place, out])
    low_m = sill.level_m - SPILLWAY_FALL * below.length
    ways = (
        (shapely.LineString([into, place]), LevelAlong.flat(sill.level_m)),
        (below, LevelAlong.graded(sill.level_m, low_m, below.length)),
    )
    return [
        Channel(
            dam.element_id, line, floor, bottom_m=sill.width_m, left=how.sill_batter,
            right=how.sill_batter, through=True,
        )
        for line, floor in ways
    ]  # fmt: skip


def _cuts(
    bowl: Bowl, sills: Sequence[SillAt], ground: LevelsAt, how: Building
) -> list[GroundShape]:
    """Cut sills through the bank round a bowl."""
    return [
        Channel(
            bowl.element_id, _outwards(bowl, sill, ground, how), LevelAlong.flat(sill.level_m),
            bottom_m=sill.width_m, left=how.sill_batter, right=how.sill_batter, through=True,
        )
        for sill in sills
    ]  # fmt: skip


def _outwards(bowl: Bowl, sill: SillAt, ground: LevelsAt, how: Building) -> shapely.LineString:
    """Line of a sill, square to the outline from within it to where the ground is low enough."""
    ring = bowl.outline.exterior
    at_m = ring.project(sill.place)
    ends = [ring.interpolate((at_m + step) % ring.length) for step in (-0.5, 0.5)]
    along = np.array([ends[1].x - ends[0].x, ends[1].y - ends[0].y])
    along /= max(np.hypot(*along), 1e-12)
    out = np.array([along[1], -along[0]])
    edge = np.array(ring.interpolate(at_m).coords[0])
    if bowl.outline.contains(shapely.Point(*(edge + 0.1 * out))):
        out = -out
    far_m = bowl.core_reach_m + max(how.returns_m, _OUT_M)
    steps = np.arange(0.0, far_m + _STEP_M, _STEP_M)
    levels = ground(*(edge + steps[:, None] * out).T)
    low = np.flatnonzero((levels <= sill.level_m) & (steps >= bowl.core_reach_m))
    reach_m = steps[low[0]] if low.size else steps[-1]
    fall_m = max(sill.level_m - float(np.nanmin(levels)), 0.0) if low.size else 0.0
    end = edge + out * (reach_m + how.outer * fall_m + _SPARE_M)
    return shapely.LineString([edge - out * bowl.side * 0.2, end])


def _section_of(section: Section) -> tuple[float, float, float, float]:
    """Bottom width [m], left and right batter, and width of a parabola at a depth of 1 m [m]."""
    if isinstance(section, Trapezoid):
        side, other = section.sides
        return section.bottom_m, other, side, 0.0
    if isinstance(section, Parabola):
        return 0.0, 1.0, 1.0, section.top_width_m(1.0)
    raise ValueError(f"a drain of section {type(section).__name__} cannot be dug")
