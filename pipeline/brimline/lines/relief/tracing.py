"""Tracing the valleys of a surface; ridges are those of the surface turned upside down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines.relief.chains import Chains
from brimline.lines.relief.courses import on_the_floor
from brimline.lines.relief.extent import Shows, extents
from brimline.lines.relief.network import StemNetwork, find_network, strahler_orders
from brimline.lines.relief.parted import Drawn

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.lines.relief.ground import ReliefGround

_PRIMARY_ORDER = 2  # a valley that small side valleys join is still one that runs from the ridge
_FEWEST_FLANK_CELLS = 3.0
_DRAWN = 0.01  # largest departure of a drawn line from its course, in wide cells


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The floor of a valley, or the crest of a ridge.

    Parameters
    ----------
    xy : float64 (n, 2); map coordinates, downstream from the divide; for a ridge upwards [m].
    chainage_m : float64 (n,); length from the first point [m].
    gathered_m2 : float64 (n,); ground that gathers down to each point [m²].
    from_m, to_m : chainages between which the course is drawn as a line [m].
    """

    xy: NDArray[np.float64]
    chainage_m: NDArray[np.float64]
    gathered_m2: NDArray[np.float64]
    from_m: float
    to_m: float

    @property
    def area_m2(self) -> float:
        """Ground that gathers at the lower end of what is drawn [m²]."""
        return float(np.interp(self.to_m, self.chainage_m, self.gathered_m2))

    def at(self, chainage_m: NDArray[np.float64] | float) -> NDArray[np.float64]:
        """Return the coordinates at chainages; float64 (n, 2)."""
        s = np.atleast_1d(chainage_m)
        return np.column_stack([np.interp(s, self.chainage_m, self.xy[:, k]) for k in (0, 1)])

    def nearest_m(self, xy: tuple[float, float] | NDArray[np.float64]) -> float:
        """Return the chainage of the point of the course that is nearest to another [m]."""
        return float(self.chainage_m[int(np.hypot(*(self.xy - xy).T).argmin())])


@dataclass(frozen=True, slots=True, eq=False)
class Traced:
    """One line of a traced system.

    Parameters
    ----------
    into : place of the line that it joins in the list of all; -1 for none.
    order : Strahler order at its lower end.
    primary_to_m : chainage down to which its order is that of a primary valley [m].
    """

    course: Course
    line: shapely.LineString
    into: int
    order: int
    primary_to_m: float


def trace(
    ground: ReliefGround, shows: Shows, *, min_area_m2: float, min_length_m: float
) -> list[Traced]:
    """Find the valleys of a surface, clean and in order, most ground first.

    Parameters
    ----------
    ground : where they are sought; turned upside down for ridges.
    shows : by what a valley shows.
    min_area_m2 : ground that must gather in one [m²].
    min_length_m : what stands for less of its own is dropped [m].

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    grid = ground.grid
    if not shows.flank_m > 0 or min(min_length_m, shows.least_m, shows.edge_m) < 0:
        raise ValueError(
            f"flank_m must be above 0 m, and lengths and heights not negative: flank_m "
            f"{shows.flank_m}, min_length_m {min_length_m}, depth or height {shows.least_m}, "
            f"edge_m {shows.edge_m}"
        )
    shows = replace(shows, flank_m=max(shows.flank_m, _FEWEST_FLANK_CELLS * grid.cell_m))
    network = find_network(
        ground.surface,
        grid,
        flank_m=shows.flank_m,
        min_area_m2=min_area_m2,
        upside_down=ground.upside_down,
    )
    candidates = _laid(ground, network, shows)
    if candidates is None:
        return []
    kept = _own(candidates, ground, shows, max(min_length_m, grid.cell_m))
    kept.sort(key=lambda one: (-one.course.area_m2, one.stem))
    return _ordered(kept, network)


@dataclass(frozen=True, slots=True, eq=False)
class _Candidates:
    """Stems laid on the floor, what a stem joins before it.

    Parameters
    ----------
    stem : int64 (candidates,); the stem of each.
    courses, xy : the points (points, 2) of each course, from the divide [m].
    along_m, floor_m, gathered_m2 : float64 (points,); chainages, levels, and the ground that
        gathers [m, m, m²].
    begin, end : int64 (candidates,); first point that is drawn, and the one after the last.
    drawn_m : greatest distance between a line and its drawing [m].
    """

    stem: NDArray[np.int64]
    courses: Chains
    xy: NDArray[np.float64]
    along_m: NDArray[np.float64]
    floor_m: NDArray[np.float64]
    gathered_m2: NDArray[np.float64]
    begin: NDArray[np.int64]
    end: NDArray[np.int64]
    drawn_m: float

    def drawn(self, place: int, end: int) -> shapely.LineString | None:
        """Draw a course to a point with no more points than its bends need; None if it crosses."""
        whole = shapely.LineString(self.xy[self.begin[place] : end])
        # to keep the drawing from crossing itself costs ten times as much
        careful = not whole.is_simple
        line: shapely.LineString = shapely.simplify(whole, self.drawn_m, preserve_topology=careful)
        return line if line.is_simple else None

    def course(self, place: int, end: int) -> Course:
        """Return a course that is drawn to a point."""
        whole = slice(*self.courses.start[place : place + 2])
        return Course(
            self.xy[whole].copy(),
            self.along_m[whole].copy(),
            self.gathered_m2[whole].copy(),
            float(self.along_m[self.begin[place]]),
            float(self.along_m[end - 1]),
        )


def _laid(ground: ReliefGround, network: StemNetwork, shows: Shows) -> _Candidates | None:
    """Lay the stems on the floor and find what of them is drawn; None where there are none."""
    area_m2 = network.area_m2.ravel()
    size = np.array([len(cells) for cells in network.cells], dtype=np.int64)
    stem = np.flatnonzero(size - network.head >= 2)
    if not stem.size:
        return None
    # what a stem joins comes before it: more ground passes its mouth
    mouth = [network.cells[one][-1] for one in stem]
    stem = stem[np.argsort(-area_m2[mouth], kind="stable")]
    cells = np.concatenate([network.cells[one] for one in stem])
    stems = Chains.of_sizes(size[stem])
    centres = np.column_stack(network.grid.xy(*np.divmod(cells, network.grid.cols)))
    courses, xy = on_the_floor(ground, stems, centres, network.trend, network.grid)
    along_m, floor_m = courses.chainage(xy), ground.levels_at(xy)
    share = stems.chainage(centres)
    share /= np.repeat(stems.at_last(share), stems.size)
    length_m = courses.at_last(along_m)
    heads_m = share[stems.start[:-1] + network.head[stem]] * length_m
    before = along_m < np.repeat(heads_m, courses.size)
    gathered = np.add.reduceat(before, courses.start[:-1], dtype=np.int64)
    begin, end = extents(ground, courses, xy, along_m, floor_m, gathered, shows)
    part = along_m / np.repeat(length_m, courses.size)
    gathered_m2 = stems.at(share, area_m2[cells], courses, part)
    drawn_m = _DRAWN * network.grid.cell_m
    return _Candidates(stem, courses, xy, along_m, floor_m, gathered_m2, begin, end, drawn_m)


def _own(
    candidates: _Candidates, ground: ReliefGround, shows: Shows, min_length_m: float
) -> list[_KeptCourse]:
    """Keep what stands for a length of its own beside all that was kept before."""
    courses, xy, along_m = candidates.courses, candidates.xy, candidates.along_m
    limits = {"flank_m": shows.flank_m, "least_m": shows.least_m}
    before = Drawn(ground, courses, xy, candidates.floor_m, **limits)
    kept: list[_KeptCourse] = []
    for place in np.flatnonzero(candidates.end > candidates.begin):
        begin, end = int(candidates.begin[place]), int(candidates.end[place])
        met = before.meets(xy[begin:end])
        beside = None
        if met is not None:
            end, beside = begin + met[0] + 1, kept[met[1]].stem
        if along_m[end - 1] - along_m[begin] < min_length_m:
            continue
        line = candidates.drawn(place, end)
        if line is None:
            continue
        vertices = shapely.get_coordinates(line)
        if before.own_length_m(vertices) >= min_length_m:
            before.add(place, vertices)
            course = candidates.course(place, end)
            kept.append(_KeptCourse(int(candidates.stem[place]), course, line, beside))
    return kept


@dataclass(frozen=True, slots=True, eq=False)
class _KeptCourse:
    """A course that is drawn; `beside` is the stem that it was cut short at."""

    stem: int
    course: Course
    line: shapely.LineString
    beside: int | None


def _ordered(kept: list[_KeptCourse], network: StemNetwork) -> list[Traced]:
    place = {one.stem: number for number, one in enumerate(kept)}
    joins = []
    for one in kept:
        below = int(network.joins[one.stem]) if one.beside is None else one.beside
        while below >= 0 and below not in place:
            below = int(network.joins[below])
        into = place.get(below, -1)
        at_m = kept[into].course.nearest_m(one.line.coords[-1]) if into >= 0 else 0.0
        joins.append((into, at_m))
    ranks = strahler_orders(joins, up_to=_PRIMARY_ORDER)
    return [
        Traced(one.course, one.line, into, order, min(upper_m, one.course.to_m))
        for one, (into, _), (order, upper_m) in zip(kept, joins, ranks, strict=True)
    ]
