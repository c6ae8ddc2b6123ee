"""Volumes of an element from cross-sections of its design, beside those from cells."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import shapely

from brimline.terrain.earthwork.volumes import SectionAreas, average_end_area_m3, section_areas

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.terrain.shaping import DesignSurface, LevelsAt

_ACROSS_M: Final = 0.1  # between the points of a section
_CLOSE_M: Final = 0.5  # between sections at the ends of a line
_END_M: Final = 3.0  # of a line that its end shapes
_LOOK_M: Final = 0.05  # along the line, to see its direction


class SectionVolumes(NamedTuple):
    """Cut and fill from end areas [m³], and the number of sections."""

    cut_m3: float
    fill_m3: float
    sections: int


class EarthSection(NamedTuple):
    """A cross-section of the design.

    Parameters
    ----------
    chainage_m : of the section; negative before the line's start [m].
    x, y : of its middle [m].
    offset_m, ground_m, design_m : float64 (points,), from right to left [m].
    mine : bool (points,), where the element decides.
    """

    chainage_m: float
    x: float
    y: float
    left: tuple[float, float]
    offset_m: NDArray[np.float64]
    ground_m: NDArray[np.float64]
    design_m: NDArray[np.float64]
    mine: NDArray[np.bool_]


def sections_across(
    ready: DesignSurface, label: int, ground: LevelsAt, *, interval_m: float, built: bool = False
) -> list[EarthSection]:
    """Cut sections across an element: square to its line, or to the long axis of its outline.

    They begin and end past what it reaches, so that its ends are in them.

    Parameters
    ----------
    label : number of the element in the design.
    interval_m : distance between sections [m].

    Raises
    ------
    ValueError
        If the interval is not above 0, or nothing of the element was placed.
    """
    if not interval_m > 0:
        raise ValueError(f"interval_m must be above 0 m, got {interval_m}")
    mine = [one for one in ready.placed if one.label == label]
    if not mine:
        raise ValueError(f"the design has no element number {label}")
    reach_m = max(
        one.reach_m + shapely.hausdorff_distance(one.shape.core, mine[0].shape.core) for one in mine
    )
    across_all_m = math.hypot(*ready.grid.shape) * ready.grid.cell_m  # past it there is no ground
    reach_m = min(reach_m, 3 * max(one.reach_m for one in mine) + 30.0, across_all_m)
    core = mine[0].shape.core
    axis, half_m = _axis(core, reach_m)
    ends_m = reach_m + _END_M if core.geom_type == "LineString" else 0.0
    offsets = np.arange(-half_m, half_m + _ACROSS_M / 2, _ACROSS_M, dtype=np.float64)
    chainages = _chainages(axis.length, ends_m, interval_m)
    middle, left = np.array([_square_to(axis, at) for at in chainages]).swapaxes(0, 1)
    x, y = (middle[:, [k]] + offsets * left[:, [k]] for k in (0, 1))  # (sections, points)
    levels = ground(x.ravel(), y.ravel())
    done = ready.at(x.ravel(), y.ravel(), levels, built=built)
    decides = (done.dug_by == label) | (done.heaped_by == label)
    levels, design, decides = (array.reshape(x.shape) for array in (levels, done.level_m, decides))
    return [
        EarthSection(
            at,
            middle[k, 0],
            middle[k, 1],
            (left[k, 0], left[k, 1]),
            offsets,
            levels[k],
            design[k],
            decides[k],
        )
        for k, at in enumerate(chainages)
    ]


def _square_to(axis: shapely.LineString, at: float) -> tuple[tuple[float, float], ...]:
    """Place on a line, and the unit vector to its left there."""
    middle = axis.interpolate(at)
    behind, ahead = (axis.interpolate(at + step) for step in (-min(_LOOK_M, at), _LOOK_M))
    east, north = ahead.x - behind.x, ahead.y - behind.y
    return (middle.x, middle.y), (-north / np.hypot(east, north), east / np.hypot(east, north))


def _chainages(length_m: float, ends_m: float, interval_m: float) -> list[float]:
    """Sections at the interval, and closer at the ends of a line, where its wings turn uphill."""
    ends_m = min(ends_m, length_m / 2)
    close = max(int(np.ceil(ends_m / min(_CLOSE_M, interval_m))), 1)
    wide = max(int(np.ceil((length_m - 2 * ends_m) / interval_m)), 1)
    lead = np.linspace(0, ends_m, close + 1)
    middle = np.linspace(ends_m, length_m - ends_m, wide + 1)
    every = np.concatenate([lead, middle, length_m - lead])
    kept = np.unique(np.round(every, 6))
    return [float(at) for at in kept]


def earth_by_sections(sections: list[EarthSection]) -> SectionVolumes:
    """Volumes by end areas, lengths taken at the common centroid of neighbouring areas.

    On a bend what lies outside the line is longer than the line, and what lies inside is
    shorter; taking the line's own length would count both wrongly (Pappus).
    """
    areas = [_areas(one) for one in sections]
    cut = _volume(sections, areas, "cut")
    fill = _volume(sections, areas, "fill")
    return SectionVolumes(cut, fill, len(sections))


def _areas(one: EarthSection) -> SectionAreas:
    ground = np.where(np.isnan(one.design_m), 0.0, one.ground_m)
    design = np.where(one.mine, one.design_m, ground)
    return section_areas(one.offset_m, ground, np.where(np.isnan(design), ground, design))


def _volume(sections: list[EarthSection], areas: list[SectionAreas], which: str) -> float:
    area = np.array([getattr(one, f"{which}_m2") for one in areas])
    moment = area * np.array([getattr(one, f"{which}_offset_m") for one in areas])
    both = area[:-1] + area[1:]
    offset = (moment[:-1] + moment[1:]) / np.where(both > 0, both, 1.0)
    middle = np.array([(one.x, one.y) for one in sections])
    left = np.array([one.left for one in sections])
    step = np.diff(middle, axis=0) + offset[:, None] * np.diff(left, axis=0)
    return average_end_area_m3(np.concatenate([[0.0], np.cumsum(np.hypot(*step.T))]), area)


def _axis(core: shapely.Geometry, reach_m: float) -> tuple[shapely.LineString, float]:
    """Line that sections are square to, drawn out past the reach, and half their width."""
    if core.geom_type == "LineString":
        corners = shapely.get_coordinates(core)
        first, last = corners[0] - corners[1], corners[-1] - corners[-2]
        ends = (
            corners[0] + first / np.hypot(*first) * reach_m,
            corners[-1] + last / np.hypot(*last) * reach_m,
        )
        return shapely.LineString([ends[0], *corners, ends[1]]), reach_m
    box = shapely.get_coordinates(core.buffer(reach_m).minimum_rotated_rectangle)
    sides = np.hypot(*np.diff(box[:3], axis=0).T)
    long, wide = (0, 1) if sides[0] >= sides[1] else (1, 0)
    start = (box[long] + box[(long + 3) % 4]) / 2
    end = (box[long + 1] + box[(long + 2) % 4]) / 2
    return shapely.LineString([start, end]), float(sides[wide] / 2)
