"""Tracing the valleys of a surface; ridges are those of the surface turned upside down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from brimline.lines.relief.courses import (
    chainage,
    drawn,
    levels_at,
    on_the_floor,
    rise_beside,
    trimmed,
)
from brimline.lines.relief.network import Network, find_network, strahler_orders
from brimline.lines.relief.parted import Drawn
from brimline.lines.sample import checked_on_grid

if TYPE_CHECKING:
    import shapely
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Elevation, Grid

_PRIMARY_ORDER = 2  # a valley that small side valleys join is still one that runs from the ridge
_FEWEST_FLANK_CELLS = 3.0
_HEAD_FLANKS = 4  # length of a head in which water may come in from the side
_SIDEWAYS = 0.64  # cosine of the turn, about 50°, from which on it does
_LEAST_TURN = 0.08  # of the flank by which a contour is set back there, at least


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

    def drawn_xy(self) -> NDArray[np.float64]:
        """Return the points that are drawn; float64 (n, 2)."""
        part = (self.chainage_m >= self.from_m) & (self.chainage_m <= self.to_m)
        return self.xy[part]

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
    surface: Elevation,
    grid: Grid,
    *,
    min_area_m2: float,
    min_length_m: float,
    flank_m: float,
    least_m: float,
    edge_m: float,
    to_end: bool,
) -> list[Traced]:
    """Find the valleys of a surface, clean and in order, most ground first.

    Parameters
    ----------
    surface : float32 (rows, cols) [m]; turned upside down for ridges.
    grid : where the cells are.
    min_area_m2 : ground that must gather in one [m²].
    min_length_m : what stands for less of its own is dropped [m].
    flank_m, least_m : how far to both sides, and how much higher the ground must stand [m].
    edge_m : nothing is drawn so close to the edge of the data [m].
    to_end : go on to the mouth, even if the ground beside the last part does not stand higher.

    Raises
    ------
    GridError
        If `surface` does not lie on the grid.
    ValueError
        If a number is out of range.
    """
    surface = checked_on_grid(surface, grid, "surface")
    if not flank_m > 0 or min(min_length_m, least_m, edge_m) < 0:
        raise ValueError(
            f"flank_m must be above 0 m, and lengths and heights not negative: flank_m {flank_m}, "
            f"min_length_m {min_length_m}, depth or height {least_m}, edge_m {edge_m}"
        )
    flank_m = max(flank_m, _FEWEST_FLANK_CELLS * grid.cell_m)
    network = find_network(surface, grid, flank_m=flank_m, min_area_m2=min_area_m2)
    clear = _clear_of_edge(surface, grid, edge_m)
    candidates = []
    for stem in range(len(network.cells)):
        course = _course(network, stem, surface, grid, clear, flank_m, least_m, to_end=to_end)
        if course is not None:
            # what a stem joins comes before it: more ground passes its mouth
            candidates.append((-float(network.area_m2.flat[network.cells[stem][-1]]), stem, course))
    candidates.sort(key=lambda one: one[:2])
    before = Drawn(surface, grid, flank_m=flank_m, least_m=least_m)
    kept: list[_Kept] = []
    for _, stem, course in candidates:
        met = before.meets(course.drawn_xy())
        into = None
        if met is not None:
            course = _ended(course, met[0])
            into = met[1]
        if course.to_m - course.from_m < max(min_length_m, grid.cell_m):
            continue
        line = drawn(course.drawn_xy(), network.grid.cell_m)
        if line.is_simple and before.own_length_m(line) >= max(min_length_m, grid.cell_m):
            before.add(line, course.xy)
            kept.append(_Kept(stem, course, line, None if into is None else kept[into].stem))
    kept.sort(key=lambda one: (-one.course.area_m2, one.stem))
    return _ordered(kept, network)


@dataclass(frozen=True, slots=True, eq=False)
class _Kept:
    """A course that is drawn; `beside` is the stem that it was cut short at."""

    stem: int
    course: Course
    line: shapely.LineString
    beside: int | None


def _ended(course: Course, place: int) -> Course:
    """End a course at a place in what is drawn of it."""
    chainages = course.chainage_m[course.chainage_m >= course.from_m]
    return replace(course, to_m=float(chainages[place]))


def _clear_of_edge(surface: Elevation, grid: Grid, edge_m: float) -> BoolGrid:
    known = np.isfinite(surface)
    if edge_m == 0:
        return known
    size = 2 * int(np.ceil(edge_m / grid.cell_m)) + 1
    lowest = ndimage.minimum_filter(known.view(np.uint8), size, mode="constant", cval=0)
    clear: BoolGrid = lowest.view(np.bool_)
    return clear


def _course(
    network: Network,
    stem: int,
    surface: Elevation,
    grid: Grid,
    clear: BoolGrid,
    flank_m: float,
    least_m: float,
    *,
    to_end: bool,
) -> Course | None:
    """Lay a stem on the floor and trim it; None if nothing of it is drawn."""
    cells, head = network.cells[stem], int(network.head[stem])
    if len(cells) - head < 2:
        return None
    points = np.column_stack(network.grid.xy(*np.divmod(cells, network.grid.cols)))
    xy = on_the_floor(surface, grid, points, network.trend, network.grid)
    along, along_cells = chainage(xy), chainage(points)
    share = along_cells / along_cells[-1]
    gathered = int(np.searchsorted(along, share[head] * along[-1]))
    rise, fall = rise_beside(surface, grid, xy, flank_m=flank_m)
    with np.errstate(invalid="ignore"):
        good = (rise >= least_m) & (rise >= _LEAST_TURN * flank_m * fall)
    good &= _inside(clear, grid, xy)
    known = np.flatnonzero(np.isfinite(levels_at(surface, grid, xy)))
    if not known.size:
        return None
    good = good[: known[-1] + 1]  # a wide cell at the edge reaches beyond the data
    good = _bridged(good, along, flank_m)
    level = np.flatnonzero(~good[:gathered])
    good[: level[-1] if level.size else 0] = False  # a valley further up is another one
    kept = trimmed(good, to_end=to_end)
    kept = slice(kept.start + _side_entry(xy[kept], flank_m), kept.stop)
    if kept.stop - kept.start < 2:
        return None
    gathered_m2 = np.interp(along / along[-1], share, network.area_m2.ravel()[cells])
    from_m, to_m = float(along[kept.start]), float(along[kept.stop - 1])
    return Course(xy, along, gathered_m2, from_m, to_m)


def _side_entry(xy: NDArray[np.float64], flank_m: float) -> int:
    """Count the points at the head of a course that come in from the side.

    Water from a steep side turns into the floor; its way down the side is no part of the floor.
    """
    if len(xy) < 3:
        return 0
    step_m = max(float(chainage(xy)[-1]) / (len(xy) - 1), 1e-6)
    flank = max(round(flank_m / step_m), 1)
    last = len(xy) - 1
    place = np.arange(min(_HEAD_FLANKS * flank, last))
    way = xy[np.minimum(place + flank, last)] - xy[place]
    later = xy[np.minimum(place + 3 * flank, last)] - xy[np.minimum(place + 2 * flank, last - 1)]
    along = (way * later).sum(axis=1)
    turned = along < _SIDEWAYS * np.hypot(*way.T) * np.hypot(*later.T)
    return int(np.flatnonzero(turned)[-1]) + 1 + flank // 2 if turned.any() else 0


def _bridged(
    good: NDArray[np.bool_], along: NDArray[np.float64], longest_m: float
) -> NDArray[np.bool_]:
    """Close gaps that are not longer than a length."""
    step_m = max(float(along[-1]) / max(len(along) - 1, 1), 1e-6)
    reach = max(int(longest_m / step_m / 2), 1)
    padded = np.pad(good, reach)
    closed = ndimage.binary_closing(padded, np.ones(2 * reach + 1))
    return np.asarray(closed[reach:-reach] | good)


def _inside(clear: BoolGrid, grid: Grid, xy: NDArray[np.float64]) -> NDArray[np.bool_]:
    row, col = grid.cell(*xy.T)
    inside = grid.holds(row, col)
    inside[inside] = clear[row[inside], col[inside]]
    return inside


def _ordered(kept: list[_Kept], network: Network) -> list[Traced]:
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
