"""The design storm run over the designed surface as shallow water, beside the cascade's answer.

Rain falls as what runs off the ground that drains to each element, and
whole on the elements themselves, where it soaks in at their rate. Only ground that drains to an
element, and the ways of the overflows, is run; water that leaves it runs away at normal flow.
Pipes out of elements are not run: what they carry stays there. Pipes under tracks are slots.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from brimline.drainage.flood import FloodGround, Rain, flood
from brimline.drainage.flow import flow_directions
from brimline.drainage.receiving import received, way_down
from brimline.grid import checked_same_shape
from brimline.terrain.conditioning import burn, fill

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from numpy.typing import ArrayLike, NDArray

    from brimline.drainage.flood import Flood
    from brimline.grid import BoolGrid, Elevation, Labels

_BESIDE_M: Final = 12.0  # of an overflow's way, where its water may spread
_DIMPLE_M: Final = 0.10  # hollows as shallow as this hold nothing more
_POOL_M: Final = 3.0  # beside an element its water may stand on untouched ground
_RIM_CELLS: Final = 2  # around the ground that drains to elements
_STILL_M: Final = 0.3  # of standing water is run; below it lies ground, which allows longer steps
_LEAST_SLOPE: Final = 0.001  # of ground at the edge of the data, over which water leaves


@dataclass(frozen=True, slots=True, eq=False)
class OverlandElement:
    """What the run must know of an element.

    Parameters
    ----------
    excess_mm : float64 (steps,), what runs off the ground that drains to it; None where none does.
    soak_mm_per_h : design rate of its floor.
    start_level_m : water level before the storm; None where it is dry [m].
    """

    excess_mm: NDArray[np.float64] | None
    soak_mm_per_h: float
    start_level_m: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Overland:
    """What the storm did.

    Parameters
    ----------
    depth_m, speed_m_s : float32 (rows, cols), greatest depth and speed; NaN where it was not run.
    peak_level_m, speeds_m_s : highest level, and greatest speed on it, of each element by number.
    """

    depth_m: NDArray[np.float32]
    speed_m_s: NDArray[np.float32]
    peak_level_m: dict[int, float]
    speeds_m_s: dict[int, float]
    flood: Flood


def run_over(
    design_m: Elevation,
    labels: Labels,
    basins: Mapping[int, OverlandElement],
    *,
    cell_m: float,
    roughness: float,
    step_s: float,
    rain_mm: NDArray[np.float64],
    after_s: float,
    burns: Iterable[ArrayLike] = (),
    progress: Callable[[float], None] = lambda _: None,
) -> Overland:
    """Run a storm over a designed surface.

    Parameters
    ----------
    design_m : float32 (rows, cols) [m]; NaN is nodata.
    labels : int32 (rows, cols); number of the element dug in each cell, 0 elsewhere.
    basins : by number; elements that are left out are ground.
    roughness : Manning's n of the ground.
    step_s, rain_mm : the storm, float64 (steps,).
    after_s : how long to go on after it [s].
    burns : pipes under tracks, opened as `brimline.terrain.conditioning.burn` does.

    Raises
    ------
    GridError
        If shapes differ, or a number is out of range.
    """
    checked_same_shape(design_m=design_m, labels=labels)
    opened = burn(design_m, burns, cell_m=cell_m).surface
    filled = fill(opened)
    directions = flow_directions(filled)
    seeds: Labels = np.where(np.isin(labels, list(basins)), labels, 0).astype(np.int32)
    surface = _without_dimples(opened, filled, seeds, cell_m)
    upstream = received(directions, seeds, cell_m=cell_m).labels
    deepest = {
        number: np.unravel_index(
            int(np.argmin(np.where(seeds == number, surface, np.inf))), surface.shape
        )
        for number in basins
        if (seeds == number).any()
    }
    ways = np.zeros(surface.shape, dtype=np.bool_)
    for row, col in deepest.values():
        ways[way_down(directions, int(row), int(col), np.zeros_like(seeds))] = True
    near = ndimage.distance_transform_edt(~((upstream > 0) | (seeds > 0))) <= _RIM_CELLS
    near |= ndimage.distance_transform_edt(~ways) * cell_m <= _BESIDE_M
    domain: BoolGrid = near & np.isfinite(surface)
    window = _window(domain)
    start = _standing(surface, seeds, basins)
    bed = np.where(start > _STILL_M, surface + start - _STILL_M, surface)
    start = np.minimum(start, _STILL_M)
    kinds, rain = _rain(upstream, seeds, basins, rain_mm)
    full = np.ones(surface.shape)
    ground = FloodGround(
        np.where(domain, bed, np.nan)[window],
        cell_m,
        (roughness * full)[window],
        _soak(seeds, basins)[window],
        (np.inf * full)[window],
        _open_slope(surface, domain, cell_m)[window],
        kinds[window],
    )
    done = flood(
        ground, Rain(step_s, rain), duration_s=step_s * rain_mm.size + after_s,
        start_depth_m=start[window], progress=progress,
    )  # fmt: skip
    depth, speed = (np.full(surface.shape, np.nan, dtype=np.float32) for _ in range(2))
    depth[window], speed[window] = done.most_m, done.speed_m_s
    depth += (bed - surface).astype(np.float32)
    return Overland(
        depth,
        speed,
        {number: float(surface[at] + depth[at]) for number, at in deepest.items()},
        {number: float(np.nanmax(speed[seeds == number])) for number in deepest},
        done,
    )


def _without_dimples(
    opened: Elevation, filled: Elevation, seeds: Labels, cell_m: float
) -> NDArray[np.float64]:
    """Raise shallow hollows to their brim, but for those of elements.

    What stands in them is part of the initial abstraction, which the curve number has taken off
    the rain already; and many are the survey's noise.
    """
    level = opened.astype(np.float64)
    away = ndimage.distance_transform_edt(seeds == 0) * cell_m > _POOL_M
    return np.where(away, np.minimum(filled, level + _DIMPLE_M), level)


def _window(domain: BoolGrid) -> tuple[slice, slice]:
    rows, cols = np.flatnonzero(domain.any(axis=1)), np.flatnonzero(domain.any(axis=0))
    return slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1)


def _standing(
    surface: NDArray[np.float64], seeds: Labels, basins: Mapping[int, OverlandElement]
) -> NDArray[np.float64]:
    """Depth of water that stands before the storm [m]."""
    depth = np.zeros(surface.shape)
    for number, basin in basins.items():
        if basin.start_level_m is not None:
            mine = seeds == number
            depth[mine] = np.maximum(basin.start_level_m - surface[mine], 0.0)
    return depth


def _soak(seeds: Labels, basins: Mapping[int, OverlandElement]) -> NDArray[np.float64]:
    rate = np.zeros(seeds.shape)
    for number, basin in basins.items():
        rate[seeds == number] = basin.soak_mm_per_h
    return rate


def _rain(
    upstream: Labels,
    seeds: Labels,
    basins: Mapping[int, OverlandElement],
    rain_mm: NDArray[np.float64],
) -> tuple[NDArray[np.uint16], NDArray[np.float64]]:
    """Kinds of ground by what runs off, and that of each; the first is all the rain.

    Ground that drains to no element sheds as the mean of what does.
    """
    shed = {number: one.excess_mm for number, one in basins.items() if one.excess_mm is not None}
    usual = np.mean(list(shed.values()), axis=0) if shed else rain_mm
    kinds = np.full(seeds.shape, 2, dtype=np.uint16)
    for place, number in enumerate(shed, start=3):
        kinds[upstream == number] = place
    kinds[seeds > 0] = 1
    return kinds, np.vstack([rain_mm, usual, *shed.values()])


def _open_slope(
    surface: NDArray[np.float64], domain: BoolGrid, cell_m: float
) -> NDArray[np.float64]:
    """Slope at which water leaves the domain: that of the ground beyond, where it falls."""
    beyond = np.pad(np.where(np.isfinite(surface), surface, np.nan), 1, constant_values=np.nan)
    inside = np.pad(domain, 1)
    slope = np.zeros(surface.shape)
    edge_of_data = np.zeros(surface.shape, dtype=np.bool_)
    for down, right in ((0, 1), (1, 0), (0, -1), (-1, 0)):
        here = (slice(1 + down, beyond.shape[0] - 1 + down),
                slice(1 + right, beyond.shape[1] - 1 + right))  # fmt: skip
        leaves = domain & ~inside[here]
        fall = (surface - beyond[here]) / cell_m
        slope = np.where(leaves & (fall > slope), fall, slope)
        edge_of_data |= leaves & np.isnan(beyond[here])
    return np.where(edge_of_data, np.maximum(slope, _LEAST_SLOPE), slope)
