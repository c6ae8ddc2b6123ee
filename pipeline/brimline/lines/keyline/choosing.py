"""Which level lines to cultivate beside, so that water on what is drawn goes to the ridges.

A line at a horizontal distance d above a level line falls from valley to flank by d times the
difference of the two slopes there; below it the other way round. A keypoint promises that this is
positive on its side of the valley; it is measured here for every level line that crosses a valley,
and the lines that give most are taken.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines.keyline.cultivation import cultivation_lines
from brimline.lines.keyline.keypoints import Keypoint
from brimline.lines.limits import near_lines
from brimline.lines.sample import surface_at

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from brimline.grid import Elevation, Grid
    from brimline.lines.keyline.cultivation import CultivationLine
    from brimline.lines.keyline.keylines import Keyline
    from brimline.lines.keyline.working import Useful
    from brimline.lines.limits import Limits
    from brimline.lines.relief import ValleyLine

_CLEAR = 0.7  # widths that lines of one guide keep from those of another
_OF_KEYPOINT = (
    1.25  # what a metre beside the keyline of a keypoint counts, which can be found again
)


@dataclass(frozen=True, slots=True)
class Chosen:
    """Guides that were taken, in that order, and the lines beside them."""

    guides: tuple[Keyline, ...]
    lines: tuple[CultivationLine, ...]


def places_on_floors(
    surface: Elevation, grid: Grid, valleys: Sequence[ValleyLine], *, apart_m: float
) -> list[Keypoint]:
    """Return places along every valley floor, so far apart, for a level line to be traced through.

    They count as keypoints of number 0.
    """
    if not apart_m > 0:
        raise ValueError(f"apart_m must be above 0 m, got {apart_m}")
    found = []
    for valley in valleys:
        floor = valley.floor
        count = int((floor.to_m - floor.from_m) / apart_m)
        if count < 1:
            continue
        xy = floor.at(floor.from_m + apart_m * np.arange(1, count + 1, dtype=np.float64))
        levels = surface_at(surface, grid, *xy.T)
        found += [
            Keypoint(
                0,
                valley.valley_id,
                shapely.Point(place),
                float(level),
                np.nan,
                np.nan,
                1.0,
                "level",
            )
            for place, level in zip(xy, levels, strict=True)
            if np.isfinite(level)
        ]
    return found


def chosen_guides(
    surface: Elevation,
    grid: Grid,
    first: Sequence[Keyline],
    candidates: Sequence[Keyline],
    where: Limits,
    useful: Useful,
    *,
    width_m: float,
    reach_m: float,
    turning_radius_m: float,
    min_length_m: float,
    least_m: float,
    most: int,
) -> Chosen:
    """Take the level lines beside which most length falls from valley to ridge.

    The lines of `first` (what a person drew) are laid first, all of them, each on the ground that
    is nearest to it, however they fall. Then that candidate is
    taken whose lines add most length of use on the ground that is left, and so on, until none adds
    `least_m`.

    Parameters
    ----------
    surface, where, width_m, reach_m, turning_radius_m : as for `cultivation_lines`.
    min_length_m : shorter lines beside `first` are dropped [m].
    least_m : a guide that adds less is not taken [m].
    most : guides at most.

    Returns
    -------
    No two lines of different guides come nearer than 0.7 of the width. Guides keep their numbers,
    which must differ; lines are numbered from 1.
    """
    laid_by = partial(
        cultivation_lines,
        surface,
        grid,
        width_m=width_m,
        reach_m=reach_m,
        turning_radius_m=turning_radius_m,
    )

    def beside(guide: Keyline, ground: Limits) -> tuple[CultivationLine, ...]:
        return laid_by(guide, ground, min_length_m=useful.shortest_m, useful=useful)

    guides: list[Keyline] = []
    lines: list[CultivationLine] = []

    def take(guide: Keyline, laid: Sequence[CultivationLine], ground: Limits) -> Limits:
        guides.append(guide)
        lines.extend(laid)
        taken = np.array([line.line for line in laid], dtype=object)
        return ground.beside(near_lines(taken, grid, _CLEAR * width_m))

    free = where
    for guide in first:
        laid = laid_by(guide, free, first, min_length_m=min_length_m)
        where = take(guide, laid, where)
    _greedily(list(candidates), where, beside, take, least_m=least_m, most=most - len(guides))
    return Chosen(
        tuple(guides),
        tuple(replace(line, line_id=number) for number, line in enumerate(lines, start=1)),
    )


def _greedily(
    candidates: list[Keyline],
    where: Limits,
    beside: Callable[[Keyline, Limits], tuple[CultivationLine, ...]],
    take: Callable[[Keyline, Sequence[CultivationLine], Limits], Limits],
    *,
    least_m: float,
    most: int,
) -> None:
    """Take the best candidate again and again.

    What one adds only shrinks as ground is taken, so those that added less before need not be
    looked at again until they could be the best.
    """
    gain_m = np.full(len(candidates), np.inf)
    round_of = np.full(len(candidates), -1)
    laid: list[tuple[CultivationLine, ...]] = [()] * len(candidates)
    taken = 0
    while taken < most and len(candidates):
        best = int(gain_m.argmax())
        if not gain_m[best] >= least_m:
            return
        if round_of[best] < taken:
            laid[best] = beside(candidates[best], where)
            counts = _OF_KEYPOINT if candidates[best].keypoint_id else 1.0
            gain_m[best] = counts * sum(line.length_m for line in laid[best])
            round_of[best] = taken
            continue
        where = take(candidates[best], laid[best], where)
        gain_m[best] = -np.inf
        taken += 1
