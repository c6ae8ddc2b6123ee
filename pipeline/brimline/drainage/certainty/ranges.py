"""The ranges of all catchments of a site, each on no more ground and no finer than it needs."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage

from brimline.drainage.catchments import subcatchments
from brimline.drainage.catchments.subcatchments import downstream_order
from brimline.drainage.certainty.chance import (
    SELDOM,
    Draining,
    catchment_chance,
    followed_areas_m2,
)
from brimline.drainage.certainty.patches import Patch

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import ArrayLike, NDArray

    from brimline.drainage.catchments import Subcatchments
    from brimline.drainage.certainty.chance import Sides
    from brimline.grid import BoolGrid, Directions, Elevation

    Conditioning = Callable[[Elevation], Elevation]

_ROOM_CELLS: Final = 30  # beyond a catchment as surveyed
_ROOM_SHARE: Final = 0.25  # of its height and width
_FINE_ENOUGH: Final = 5000  # squares of a catchment
_OF_CORRELATION: Final = 0.5  # a square's side, of the shortest correlation length
_ALIKE: Final = 2.0  # ratio by which coarser cells may change a surveyed area
_SAME: Final = 1.25  # ratio up to which that is the cells' doing, not the method's
_TOGETHER: Final = 1.2  # of its parts, that a patch of several catchments may hold


@dataclass(frozen=True, slots=True)
class CatchmentRanges:
    """What the survey's error leaves of all catchments of a site.

    Parameters
    ----------
    chance : float32 (rows, cols)
        Share of the surfaces on which a cell drains to any intake; NaN at nodata.
    area_low_m2, area_high_m2 : float64 (intakes,) [m²]
        5th and 95th percentile of all that drains to each intake.
    settled : bool (intakes,)
        True where the percentiles stood still before the realisations ran out.
    realisations : int64 (intakes,)
        How many surfaces were drawn.
    cell_m : float64 (intakes,) [m]
        Side of the cells that they were drawn on.
    """

    chance: NDArray[np.float32]
    area_low_m2: NDArray[np.float64]
    area_high_m2: NDArray[np.float64]
    settled: NDArray[np.bool_]
    realisations: NDArray[np.int64]
    cell_m: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Task:
    """Intakes whose ground is drawn together, counted from 0."""

    intakes: NDArray[np.int64]
    patch: Patch


def catchment_ranges(
    dem: Elevation,
    directions: Directions,
    intakes: ArrayLike,
    *,
    cell_m: float,
    rmse_m: float,
    correlations_m: Sequence[float],
    realisations: int,
    seed: int,
    snap_radius_m: float,
    conditioning: Callable[[Patch, BoolGrid | None], Conditioning],
    movable: ArrayLike = True,
    sinks: BoolGrid | None = None,
    other_sinks: BoolGrid | None = None,
    progress: Callable[[float], None] | None = None,
) -> CatchmentRanges:
    """Find the range of each catchment by `catchment_chance`, on the ground around it.

    Intakes whose grounds overlap are drawn together. A catchment of very many cells is drawn on
    coarser ones, each the mean of a square, where all of this holds: at least 5000 of them lie in
    it, their side is at most half the shortest correlation length, and on the survey itself they
    give its area within a factor of two. Up to a ratio of 1.25 the areas drawn are scaled by it.
    Where more than 2 % of the surfaces let water in over a side of a patch that is not the
    ground's own, the patch grows there.

    The chance is told of catchments that lie in no other, and of those within them that were
    drawn together with them.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; the surface as surveyed, NaN is nodata. Not modified.
    directions : uint8 (rows, cols); flow on the surface as conditioned.
    intakes : int (intakes, 2); row and column.
    cell_m : side of a cell [m].
    conditioning : gives for a patch and its kept sinks what makes water leave a surface of it.
    sinks, other_sinks : bool (rows, cols), optional; kept sinks, and those to keep instead on
        some of the surfaces.
    rmse_m, correlations_m, realisations, seed, snap_radius_m, movable : as in `catchment_chance`.
    progress : called with the share that is done, from the calling thread.
    """
    places = np.asarray(intakes, dtype=np.int64).reshape(-1, 2)
    moving = np.broadcast_to(np.asarray(movable, dtype=np.bool_), places.shape[:1])
    found = subcatchments(directions, places)
    area_m2 = found.cells * np.float64(cell_m) ** 2
    outermost = _outermost(found.downstream_ids)
    boxes = _boxes(found, dem.shape)
    low_m2, high_m2, cells_m = (np.full(len(places), np.nan) for _ in range(3))
    settled, drawn = np.zeros(len(places), dtype=np.bool_), np.zeros(len(places), dtype=np.int64)
    chance = np.where(np.isnan(dem), np.float32(np.nan), np.float32(0.0))

    def ways(patch: Patch, kept: BoolGrid | None) -> Draining:
        marked = None if kept is None else patch.any(kept)
        return Draining(conditioning(patch, marked), marked)

    def surveyed_m2(task: _Task) -> NDArray[np.float64]:
        patch = task.patch
        leads = ways(patch, sinks)
        return followed_areas_m2(
            leads.condition(patch.level(dem)),
            patch.places(places[task.intakes]),
            area_m2[task.intakes],
            radii_m=np.where(moving[task.intakes], snap_radius_m, 0.0),
            cell_m=patch.cell_m,
            sinks=leads.sinks,
        )

    coarser = _coarser(found.cells, cell_m, correlations_m)
    tasks, scale = _tasks(boxes, coarser, cell_m, area_m2, surveyed_m2)
    whole, past = sum(task.patch.cells for task in tasks), 0
    while tasks:
        task = tasks.pop()
        patch, chosen = task.patch, task.intakes

        one = catchment_chance(
            patch.level(dem),
            patch.places(places[chosen]),
            area_m2[chosen] / scale[chosen],
            cell_m=patch.cell_m,
            movable=moving[chosen],
            ways=ways(patch, sinks),
            other=_other(ways, patch, sinks, other_sinks),
            wider=ways(patch.wider(), sinks),
            counted=np.isin(outermost[chosen], chosen),
            inner_sides=_inner_sides(patch, dem.shape),
            progress=_part(progress, past / whole, patch.cells / whole),
            rmse_m=rmse_m,
            correlations_m=correlations_m,
            realisations=realisations,
            seed=seed,
            snap_radius_m=snap_radius_m,
        )
        if one.crossed.max() > SELDOM:
            tasks.append(_Task(chosen, _grown(patch, one.crossed > 0, dem.shape)))
            whole += tasks[-1].patch.cells - patch.cells
            continue
        past += patch.cells
        low_m2[chosen] = one.area_low_m2 * scale[chosen]
        high_m2[chosen] = one.area_high_m2 * scale[chosen]
        settled[chosen], drawn[chosen], cells_m[chosen] = (
            one.settled,
            len(one.areas_m2),
            patch.cell_m,
        )
        part = chance[patch.rows, patch.cols]
        part += np.nan_to_num(patch.spread(one.chance))
    return CatchmentRanges(np.minimum(chance, 1.0), low_m2, high_m2, settled, drawn, cells_m)


def _other(
    ways: Callable[[Patch, BoolGrid | None], Draining],
    patch: Patch,
    sinks: BoolGrid | None,
    other_sinks: BoolGrid | None,
) -> Draining | None:
    """Return the ways out with other sinks kept; None where they are the same in the patch."""
    if other_sinks is None:
        return None
    marked = patch.any(other_sinks)
    usual = np.zeros_like(marked) if sinks is None else patch.any(sinks)
    return None if np.array_equal(usual, marked) else ways(patch, other_sinks)


def _boxes(found: Subcatchments, shape: tuple[int, ...]) -> NDArray[np.int64]:
    """First and last row, first and last column + 1 of each catchment, with room to grow."""
    count = len(found.cells)
    first = np.full((2, count), max(shape), dtype=np.int64)
    last = np.zeros((2, count), dtype=np.int64)
    for number, sides in enumerate(ndimage.find_objects(found.labels, max_label=count)):
        if sides is not None:
            first[:, number] = [side.start for side in sides]
            last[:, number] = [side.stop for side in sides]
    for axis, size in enumerate(shape):
        start = found.gathered(first[axis], np.minimum)
        stop = found.gathered(last[axis], np.maximum)
        room = np.maximum(_ROOM_CELLS, np.round(_ROOM_SHARE * (stop - start)).astype(np.int64))
        first[axis], last[axis] = np.maximum(start - room, 0), np.minimum(stop + room, size)
    return np.stack((first[0], last[0], first[1], last[1]), axis=1)


def _coarser(
    cells: NDArray[np.int64], cell_m: float, correlations_m: Sequence[float]
) -> NDArray[np.int64]:
    """How many cells may go into the side of a square, for each catchment."""
    most = int(_OF_CORRELATION * min(correlations_m) / cell_m)
    by_size = np.sqrt(cells / _FINE_ENOUGH).astype(np.int64)
    return np.clip(by_size, 1, max(most, 1))


def _tasks(
    boxes: NDArray[np.int64],
    coarser: NDArray[np.int64],
    cell_m: float,
    area_m2: NDArray[np.float64],
    surveyed_m2: Callable[[_Task], NDArray[np.float64]],
) -> tuple[list[_Task], NDArray[np.float64]]:
    """Group the intakes, on cells that give their surveyed areas; also area to that on them."""
    tasks: list[_Task] = []
    scale = np.ones(len(boxes))
    coarser = coarser.copy()
    waiting = np.ones(len(boxes), dtype=np.bool_)
    while waiting.any():
        side = int(coarser[waiting].max())
        chosen = np.flatnonzero(waiting & (coarser == side))
        for task in _together(boxes, chosen, side, cell_m):
            if side == 1:
                tasks.append(task)
                waiting[task.intakes] = False
                continue
            ratio = area_m2[task.intakes] / surveyed_m2(task)
            alike = np.maximum(ratio, 1.0 / ratio) <= _ALIKE
            same = np.maximum(ratio, 1.0 / ratio) <= _SAME
            scale[task.intakes[same]] = ratio[same]
            waiting[task.intakes[alike]] = False
            coarser[task.intakes[~alike]] = side // 2
            if alike.any():
                tasks.append(_Task(task.intakes[alike], task.patch))
    return tasks, scale


def _together(
    boxes: NDArray[np.int64], chosen: NDArray[np.int64], coarser: int, cell_m: float
) -> list[_Task]:
    """Join catchments whose common box holds hardly more than theirs."""
    groups = [([number], boxes[number]) for number in chosen.tolist()]
    joined = True
    while joined:
        joined = False
        for one, other in itertools.combinations(range(len(groups)), 2):
            both = _around(groups[one][1], groups[other][1])
            if _held(both) <= _TOGETHER * (_held(groups[one][1]) + _held(groups[other][1])):
                groups[one] = (groups[one][0] + groups[other][0], both)
                del groups[other]
                joined = True
                break
    return [
        _Task(
            np.array(sorted(members), dtype=np.int64),
            Patch(
                slice(int(box[0]), int(box[1])),
                slice(int(box[2]), int(box[3])),
                coarser,
                cell_m * coarser,
            ),
        )
        for members, box in groups
    ]


def _around(one: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.int64]:
    low, high = np.minimum(one, other), np.maximum(one, other)
    return np.array([low[0], high[1], low[2], high[3]])


def _held(box: NDArray[np.int64]) -> int:
    return int((box[1] - box[0]) * (box[3] - box[2]))


def _part(
    progress: Callable[[float], None] | None, before: float, share: float
) -> Callable[[int, int], None]:
    def told(done: int, most: int) -> None:
        if progress is not None:
            progress(before + share * done / most)

    return told


def _outermost(downstream_ids: NDArray[np.int32]) -> NDArray[np.int64]:
    """Return the last intake on the way down from each, from 0."""
    last = np.arange(len(downstream_ids))
    for place in downstream_order(downstream_ids)[::-1]:
        if downstream_ids[place]:
            last[place] = last[downstream_ids[place] - 1]
    return last


def _inner_sides(patch: Patch, shape: tuple[int, ...]) -> Sides:
    return (
        patch.rows.start > 0,
        patch.rows.stop < shape[0],
        patch.cols.start > 0,
        patch.cols.stop < shape[1],
    )


def _grown(patch: Patch, crossed: NDArray[np.bool_], shape: tuple[int, ...]) -> Patch:
    """Half as high or wide again over each side that was crossed, as far as there is ground."""
    grown = []
    for side, size, over in zip(
        (patch.rows, patch.cols), shape, crossed.reshape(2, 2).tolist(), strict=True
    ):
        room = (side.stop - side.start + 1) // 2
        grown.append(
            slice(
                max(0, side.start - room) if over[0] else side.start,
                min(size, side.stop + room) if over[1] else side.stop,
            )
        )
    return Patch(grown[0], grown[1], patch.coarser, patch.cell_m)
