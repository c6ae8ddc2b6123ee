"""A triangulation through single levels that keeps to breaklines (constrained Delaunay)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pythoncdt
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator
from scipy.spatial import KDTree

from brimline.errors import GridError
from brimline.terrain.points import _kernels

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from brimline.grid import Elevation, Grid

    Floats = NDArray[np.float64]

_SAME_M: Final = 0.001  # places nearer than this are one


@dataclass(frozen=True, slots=True)
class Crossing:
    """A place where two breaklines cross at different levels; the mean was taken.

    Parameters
    ----------
    apart_m : how far the two levels lie apart [m].
    """

    x: float
    y: float
    apart_m: float


@dataclass(frozen=True, slots=True, eq=False)
class LevelMesh:
    """Triangles through levels; no triangle's edge crosses a breakline.

    Parameters
    ----------
    x, y, level_m : float64 (points,), map coordinates and levels [m]; single levels first, in
        the order of `spot`, then corners of breaklines and their crossings.
    faces : int32 (faces, 3), places in the three, counter-clockwise as seen from above.
    spot : int64 (levels,), the point that each single level became.
    on_line : bool (points,), True for what lies on a breakline.
    crossings : breaklines that cross at levels more than a millimetre apart.
    """

    x: Floats
    y: Floats
    level_m: Floats
    faces: NDArray[np.int32]
    spot: NDArray[np.int64]
    on_line: NDArray[np.bool_]
    crossings: tuple[Crossing, ...]


def level_mesh(
    x: Floats, y: Floats, level_m: Floats, breaklines: Sequence[Floats] = ()
) -> LevelMesh:
    """Triangulate single levels so that breaklines are edges of the triangles.

    Parameters
    ----------
    x, y, level_m : float64 (levels,) [m], finite.
    breaklines : float64 (corners, 3) each: x, y and level [m]; a level of NaN is taken from a
        single level at the same place, else along the line between its known corners, else from
        the surface without the line.

    Returns
    -------
    LevelMesh
        Over the convex hull of all points. Levels at one place (to a millimetre) are averaged.

    Raises
    ------
    GridError
        If shapes differ, a value is not finite, or no three points make a triangle.

    References
    ----------
    Chew (1989), Constrained Delaunay triangulations, Algorithmica 4. Edges that cross share a new
    point (Amirkhanov, CDT).
    """
    spots = np.column_stack([x, y, level_m]).astype(np.float64)
    if spots.ndim != 2 or not np.isfinite(spots).all():
        raise GridError("single levels need finite x, y and level of the same length")
    lines = [_known_along(np.asarray(line, np.float64), spots) for line in breaklines]
    corners = np.vstack([spots, *lines]) if lines else spots
    if not np.isfinite(corners[:, :2]).all():
        raise GridError("breaklines need finite x and y")
    places, point_of = _merged(corners)
    if len(places) < 3:
        raise GridError(f"a surface needs 3 levels at different places, got {len(places)}")
    level = _levels(corners, point_of, len(spots))
    _fill(places, level)
    edges = _edges(lines, point_of[len(spots) :])
    datum = places.mean(axis=0)  # keeps digits where coordinates are large
    try:
        shared, faces, pieces = _triangulated(places - datum, edges)
    except RuntimeError as fault:
        raise GridError(f"the levels and breaklines cannot be triangulated ({fault})") from fault
    if not len(faces):
        raise GridError("a surface needs 3 levels that do not lie on one line")
    places = np.vstack([places, shared + datum])
    added, crossings = _levels_of_crossings(places, level, len(level), pieces)
    on_line = np.zeros(len(places), dtype=bool)
    on_line[edges.ravel()] = True
    on_line[len(level) :] = True
    return LevelMesh(
        places[:, 0], places[:, 1], np.concatenate([level, added]), faces,
        point_of[: len(spots)], on_line, crossings,
    )  # fmt: skip


def levels_on(mesh: LevelMesh, grid: Grid) -> Elevation:
    """Read the triangles at every cell centre.

    Returns
    -------
    float32 (rows, cols) [m]
        NaN outside the triangles.
    """
    row, col = grid.position(mesh.x, mesh.y)
    out = np.full(grid.shape, np.nan, dtype=np.float32)
    _kernels.read_triangles(row, col, mesh.level_m, mesh.faces, np.ones(grid.shape, bool), out)
    return out


def spacing_m(x: Floats, y: Floats) -> float:
    """Return the usual distance from a level to the nearest other one, the median [m].

    Raises
    ------
    GridError
        If there are fewer than two levels.
    """
    if len(x) < 2:
        raise GridError(f"a spacing needs at least 2 levels, got {len(x)}")
    places = np.column_stack([x, y])
    distances, _ = KDTree(places).query(places, k=2)
    return float(np.median(distances[:, 1]))


def _known_along(line: Floats, spots: Floats) -> Floats:
    """Fill levels of a line's corners from single levels upon them, then along the line."""
    if line.ndim != 2 or line.shape[1] != 3 or len(line) < 2:
        raise GridError(f"a breakline needs at least 2 corners of x, y, level; got {line.shape}")
    line = line.copy()
    if len(spots):
        distance, nearest = KDTree(spots[:, :2]).query(line[:, :2])
        upon = np.isnan(line[:, 2]) & (distance <= _SAME_M)
        line[upon, 2] = spots[nearest[upon], 2]
    known = np.isfinite(line[:, 2])
    if known.any() and not known.all():
        steps = np.hypot(*np.diff(line[:, :2], axis=0).T)
        chainage = np.concatenate([[0.0], np.cumsum(steps)])
        line[~known, 2] = np.interp(chainage[~known], chainage[known], line[known, 2])
    return line


def _merged(corners: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """Return places that differ, in order of their first use, and the place of each corner."""
    keys = np.round(corners[:, :2] / _SAME_M).astype(np.int64)
    _, first, place = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty_like(order)
    rank[order] = np.arange(order.size)
    return corners[first[order], :2], rank[place.ravel()]


def _levels(corners: Floats, point_of: NDArray[np.int64], spots: int) -> Floats:
    """Average what is known at each place; single levels go before corners of lines."""
    count = int(point_of.max()) + 1
    level = np.full(count, np.nan)
    for part in (slice(spots, None), slice(0, spots)):
        known = np.isfinite(corners[part, 2])
        at, values = point_of[part][known], corners[part, 2][known]
        weight = np.bincount(at, minlength=count)
        total = np.bincount(at, values, minlength=count)
        level = np.where(weight > 0, total / np.maximum(weight, 1), level)
    return level


def _fill(places: Floats, level: Floats) -> None:
    """Give corners without any level that of the surface through all others; in place."""
    void = np.isnan(level)
    if not void.any():
        return
    known = ~void
    if known.sum() < 3:
        raise GridError(f"a surface needs 3 known levels, got {int(known.sum())}")
    surface = LinearNDInterpolator(places[known], level[known])(places[void])
    nearest = NearestNDInterpolator(places[known], level[known])(places[void])
    level[void] = np.where(np.isnan(surface), nearest, surface)


def _edges(lines: Sequence[Floats], point_of: NDArray[np.int64]) -> NDArray[np.uint32]:
    found, first = [], 0
    for line in lines:
        of_line = point_of[first : first + len(line)]
        found.append(np.column_stack([of_line[:-1], of_line[1:]]))
        first += len(line)
    edges = np.vstack(found) if found else np.zeros((0, 2), np.int64)
    edges = edges[edges[:, 0] != edges[:, 1]]
    return np.unique(np.sort(edges, axis=1), axis=0).astype(np.uint32)


def _triangulated(
    places: Floats, edges: NDArray[np.uint32]
) -> tuple[Floats, NDArray[np.int32], dict[tuple[int, int], list[tuple[int, int]]]]:
    """Return points added where edges cross, the triangles, and which edges the pieces are of."""
    mesh = pythoncdt.Triangulation(
        pythoncdt.VertexInsertionOrder.AUTO,
        pythoncdt.IntersectingConstraintEdges.TRY_RESOLVE,
        0.0,
    )
    mesh.insert_vertices(np.ascontiguousarray(places))
    if len(edges):
        mesh.insert_edges(edges)
    mesh.erase_super_triangle()
    found = mesh.vertices_array()
    added = np.column_stack([found["x"], found["y"]])[len(places) :]
    pieces = {
        (piece.v1, piece.v2): [(edge.v1, edge.v2) for edge in edges_of]
        for piece, edges_of in mesh.piece_to_originals_iter()
    }
    return added, mesh.triangles_array()["vertices"].astype(np.int32), pieces


def _levels_of_crossings(
    places: Floats,
    level: Floats,
    first: int,
    pieces: dict[tuple[int, int], list[tuple[int, int]]],
) -> tuple[Floats, tuple[Crossing, ...]]:
    """Read the level of each added point along the edges that cross there."""
    edges_of: dict[int, set[tuple[int, int]]] = {}
    for piece, edges in pieces.items():
        for point in piece:
            if point >= first:
                edges_of.setdefault(point, set()).update(edges)
    added, crossings = np.zeros(len(places) - first), []
    for point in range(first, len(places)):
        read = []
        for start, end in sorted(edges_of[point]):
            along = places[end] - places[start]
            share = float((places[point] - places[start]) @ along / (along @ along))
            read.append(level[start] + share * (level[end] - level[start]))
        added[point - first] = np.mean(read)
        apart_m = float(np.ptp(read))
        if apart_m > _SAME_M:
            crossings.append(Crossing(float(places[point, 0]), float(places[point, 1]), apart_m))
    return added, tuple(crossings)
