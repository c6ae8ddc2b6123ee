"""Cultivation lines: parallels to a keyline, and whether water on them goes to the ridges."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import shapely
from shapely import ops

from brimline.lines.keyline.drift import drift, marks_of
from brimline.lines.keyline.parallels import family
from brimline.lines.keyline.shares import share_of
from brimline.lines.keyline.working import useful_stretches
from brimline.lines.limits import Cut, Stop, cut

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid
    from brimline.lines.keyline.drift import Half
    from brimline.lines.keyline.keylines import Keyline
    from brimline.lines.keyline.working import Useful
    from brimline.lines.limits import Limits

_MIN_SHARE_PCT = 80.0
_SAME_END_M = 2.0  # a stretch that ends so near the end of its piece ends for the same reason

Side = Literal["above", "below"]


@dataclass(frozen=True, slots=True)
class CultivationLine:
    """One pass of the implement.

    Parameters
    ----------
    line_id : number, from 1.
    keyline_id : the keyline that it is parallel to.
    side : of the keyline, upslope or downslope.
    offset_m : distance from the keyline [m].
    line : directed as the keyline, higher ground on its right.
    length_m : along the ground plan [m].
    fall_to_ridge_pct : mean fall from the valley towards the ridges; positive spreads water [%].
    share_right_pct : share of the length that falls from the valley towards a ridge [%].
    flags : codes of the flag catalogue.
    """

    line_id: int
    keyline_id: int
    side: Side
    offset_m: float
    line: shapely.LineString
    length_m: float
    fall_to_ridge_pct: float
    share_right_pct: float
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Family:
    """All lines on one side of a keyline, taken together."""

    keyline_id: int
    side: Side
    lines: int
    length_m: float
    fall_to_ridge_pct: float
    share_right_pct: float
    flags: tuple[str, ...]


def cultivation_lines(
    surface: Elevation,
    grid: Grid,
    keyline: Keyline,
    where: Limits,
    others: Sequence[Keyline] = (),
    *,
    width_m: float,
    reach_m: float,
    turning_radius_m: float,
    min_length_m: float = 20.0,
    over_m: float = 10.0,
    min_share_pct: float = _MIN_SHARE_PCT,
    first_id: int = 1,
    useful: Useful | None = None,
) -> tuple[CultivationLine, ...]:
    """Lay lines beside a keyline at the implement's width and measure how they fall.

    Lines above follow the keyline upslope, lines below downslope. At a distance d the ground stands
    higher than the keyline by about d times the steepness there; so lines above fall from the
    valley to the ridges where the valley is steeper than the ridges, and lines below where it is
    gentler. That is what a keypoint promises and what is measured here, whatever the ground is.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]
        The survey, smoothed as stated.
    grid : where the cells are.
    where : ground where no line may run; lines end there and say why.
    others : all keylines; ground nearer to another one belongs to that (`shares`).
    width_m : working width of the implement: distance from line to line [m].
    reach_m : distance from the keyline to which lines are laid [m].
    turning_radius_m : tightest turn of the tractor [m].
    min_length_m : shorter pieces are dropped [m].
    over_m : distance over which the ground's fall along a line is taken [m].
    min_share_pct : lines of which a smaller share falls the right way are flagged [%].
    first_id : number of the first line.
    useful : keep only stretches on which water goes to the ridges; left out, all lines are kept.

    Returns
    -------
    Above from the keyline outwards, then below.

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    if not width_m > 0 or not over_m > 0 or min(reach_m, turning_radius_m, min_length_m) < 0:
        raise ValueError(
            f"width_m and over_m must be above 0 m, reach_m, turning_radius_m and min_length_m not "
            f"negative: {width_m}, {over_m}, {reach_m}, {turning_radius_m}, {min_length_m}"
        )
    courses = list(_courses(keyline, width_m, reach_m, turning_radius_m))
    lines = np.empty(len(courses), dtype=object)
    lines[:] = [course for *_, course in courses]
    share = share_of(keyline, others, reach_m=reach_m, apart_m=0.5 * width_m)
    pieces = cut(lines, where, grid, beyond=share.beyond)
    length_m = shapely.length(pieces.lines)
    kept = length_m >= max(min_length_m, grid.cell_m)
    pieces, length_m = pieces.chosen(kept), length_m[kept]
    marks = marks_of(keyline.floors, keyline.ridges)
    parts = {source: marks.halves(lines[source]) for source in set(pieces.source.tolist())}
    if useful is not None:
        pieces = _useful(pieces, lines, parts, surface, grid, useful, over_m)
        length_m = shapely.length(pieces.lines)
    found: list[CultivationLine] = []
    for piece, source, start, end, piece_m, (from_m, to_m) in zip(
        pieces.lines,
        pieces.source,
        pieces.start,
        pieces.end,
        length_m,
        _reaches(pieces, lines),
        strict=True,
    ):
        side, offset_m, course = courses[source]
        measured = drift(surface, grid, course, parts[source], from_m, to_m, over_m=over_m)
        flags = {Stop(int(start)).flag, Stop(int(end)).flag} - {""}
        if measured.share_right_pct < min_share_pct:
            flags.add("falls-to-valley")
        found.append(
            CultivationLine(
                line_id=first_id + len(found),
                keyline_id=keyline.keyline_id,
                side=side,
                offset_m=offset_m,
                line=piece,
                length_m=float(piece_m),
                fall_to_ridge_pct=measured.fall_pct,
                # sums of lengths may round above the whole
                share_right_pct=min(measured.share_right_pct, 100.0),
                flags=tuple(sorted(flags)),
            )
        )
    return tuple(found)


def cultivation_of_all(
    surface: Elevation,
    grid: Grid,
    keylines: Sequence[Keyline],
    where: Limits,
    *,
    width_m: float,
    reach_m: float,
    turning_radius_m: float,
    min_length_m: float = 20.0,
) -> list[CultivationLine]:
    """Lay the lines of every keyline, each on the ground that is nearest to it.

    No two lines cross, of whichever keylines. Parameters and errors are those of
    `cultivation_lines`; lines are numbered through.
    """
    # one after the other: shapes that two threads prepare or ask at once bring the process down
    found = [
        cultivation_lines(
            surface, grid, one, where, keylines,
            width_m=width_m, reach_m=reach_m, turning_radius_m=turning_radius_m,
            min_length_m=min_length_m,
        )
        for one in keylines
    ]  # fmt: skip
    every = [line for lines in found for line in lines]
    return [replace(line, line_id=number) for number, line in enumerate(every, start=1)]


def families(
    lines: Iterable[CultivationLine], *, min_share_pct: float = _MIN_SHARE_PCT
) -> tuple[Family, ...]:
    """Sum lines up by keyline and side, weighted by length.

    Lines of which it is not known where valley and ridge lie do not count.

    Parameters
    ----------
    min_share_pct : families of which a smaller share falls the right way are flagged [%].
    """
    groups: dict[tuple[int, Side], list[CultivationLine]] = {}
    for line in lines:
        if np.isfinite(line.share_right_pct):
            groups.setdefault((line.keyline_id, line.side), []).append(line)
    found = []
    for (keyline_id, side), members in groups.items():
        share_pct = _mean([line.share_right_pct for line in members], members)
        found.append(
            Family(
                keyline_id=keyline_id,
                side=side,
                lines=len(members),
                length_m=sum(line.length_m for line in members),
                fall_to_ridge_pct=_mean([line.fall_to_ridge_pct for line in members], members),
                share_right_pct=min(share_pct, 100.0),
                flags=("family-falls-to-valley",) if share_pct < min_share_pct else (),
            )
        )
    return tuple(found)


def _mean(values: list[float], lines: list[CultivationLine]) -> float:
    return float(np.average(values, weights=[line.length_m for line in lines]))


def _reaches(pieces: Cut, courses: NDArray[Any]) -> NDArray[np.float64]:
    """Chainages (pieces, 2) of the ends of each piece on the course it was cut from, rising [m]."""
    ends = [shapely.get_point(pieces.lines, which) for which in (0, -1)]
    places = [shapely.line_locate_point(courses[pieces.source], end) for end in ends]
    return np.sort(np.column_stack(places), axis=1)


def _useful(
    pieces: Cut,
    courses: NDArray[Any],
    parts: dict[int, list[Half]],
    surface: Elevation,
    grid: Grid,
    useful: Useful,
    over_m: float,
) -> Cut:
    """Keep of each piece the stretches that are of use, and name the ends that this makes."""
    kept: list[shapely.LineString] = []
    rows: list[tuple[int, int, int]] = []
    for source, start, end, (from_m, to_m) in zip(
        pieces.source.tolist(), pieces.start, pieces.end, _reaches(pieces, courses), strict=True
    ):
        course = courses[source]
        for low, high in useful_stretches(
            surface, grid, course, parts[source], from_m, to_m, useful, over_m=over_m
        ):
            kept.append(ops.substring(course, low, high))
            rows.append(
                (
                    source,
                    int(start) if low - from_m < _SAME_END_M else Stop.WRONG_FALL,
                    int(end) if to_m - high < _SAME_END_M else Stop.WRONG_FALL,
                )
            )
    lines = np.empty(len(kept), dtype=object)
    lines[:] = kept
    source, first, last = np.array(rows, dtype=np.int64).reshape(-1, 3).T
    return Cut(lines, source, first.astype(np.uint8), last.astype(np.uint8))


def _courses(
    keyline: Keyline, width_m: float, reach_m: float, turning_radius_m: float
) -> Iterator[tuple[Side, float, shapely.LineString]]:
    """Side, distance and course of each parallel; the higher ground is on a keyline's right."""
    offsets_m = width_m * np.arange(1, int(reach_m / width_m + 1e-9) + 1)
    pairs = family(keyline.line, offsets_m.tolist(), turning_radius_m=turning_radius_m)
    sides: tuple[tuple[Side, int], ...] = (("above", 1), ("below", 0))  # the right is higher
    for side, which in sides:
        for offset_m, pair in zip(offsets_m, pairs, strict=True):
            for course in pair[which]:
                yield side, float(offset_m), course
