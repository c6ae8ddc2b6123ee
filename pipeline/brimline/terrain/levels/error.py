"""How far a surface through single levels may be off, and where one more level helps most."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import linalg, ndimage
from scipy.spatial import Delaunay, KDTree, QhullError, distance

from brimline.errors import GridError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Grid
    from brimline.terrain.levels.mesh import LevelMesh

    Floats = NDArray[np.float64]

_NEIGHBOURS: Final = 16  # levels that a place is told from; more change the third digit
_MOST_FITTED: Final = 400  # levels that the spread is fitted to
_MOST_NODES: Final = 5_000  # places at which the spread is worked out; between them it is read
_RANGES: Final = (0.25, 0.5, 1.0, 2.0, 4.0)  # of correlation, in parts of the site's width
_NUGGETS: Final = (0.0, 1e-4, 1e-3, 1e-2, 1e-1)  # in parts of the variance
_HELD: Final = 0.90  # of left-out levels that lie within what is stated
_NORMAL: Final = 1.6448536269514722  # half-width of 90 % of a normal distribution, in sd
_FEWEST: Final = 10  # left-out levels without which nothing is known of the error


@dataclass(frozen=True, slots=True, eq=False)
class LevelError:
    """How far a surface may be off, told by levels that were left out one at a time.

    Parameters
    ----------
    sd_m : float32 (rows, cols) [m]; 90 % of the ground lies within 1.645 of it.
    left_out_m : float64 (levels,) [m], the surface without a level less that level; NaN for
        levels on breaklines or on the hull, where the others make no surface.
    mean_m, rmse_m : of these [m].
    """

    sd_m: NDArray[np.float32]
    left_out_m: Floats
    mean_m: float
    rmse_m: float


@dataclass(frozen=True, slots=True)
class _Spread:
    """An exponential covariance with a linear drift.

    Parameters
    ----------
    sill_m2, nugget_m2 : variance of the ground and of a level [m²].
    range_m : distance at which the correlation has fallen to 1/e [m].
    """

    sill_m2: float
    nugget_m2: float
    range_m: float

    def between(self, distance_m: Floats) -> Floats:
        return self.sill_m2 * np.exp(-distance_m / self.range_m)


def level_error(mesh: LevelMesh, grid: Grid, *, reading_sd_m: float = 0.0) -> LevelError:
    """Leave each level out, compare, and spread what is found over the grid.

    The kriging variance of an exponential covariance, fitted to the levels by restricted
    likelihood, says how the error grows between levels; it is scaled so that nine in ten of the
    left-out levels lie within 1.645 standard deviations of the surface without them.

    Parameters
    ----------
    mesh : from `level_mesh`.
    reading_sd_m : standard deviation of a reading [m]; the error is nowhere below it.

    Raises
    ------
    GridError
        If fewer than ten levels can be left out: the error is then unknown.

    References
    ----------
    Chilès & Delfiner (2012), Geostatistics, sections 2.6 and 3.4. Dubrule (1983), Cross validation
    of kriging in a unique neighborhood. Vovk, Gammerman & Shafer (2005) for the quantile of n + 1.
    """
    spots = np.unique(mesh.spot)
    places = np.column_stack([mesh.x, mesh.y])[spots]
    left_out = _left_out(mesh, spots)
    told = np.isfinite(left_out)
    if told.sum() < _FEWEST:
        raise GridError(
            f"the error of a surface needs {_FEWEST} levels off its hull and off breaklines,"
            f" got {int(told.sum())}"
        )
    spread = _fitted(places, mesh.level_m[spots])
    others = KDTree(places)
    expected = np.sqrt(_variance(places[told], places, others, spread, without_nearest=True))
    scale = _scale(left_out[told], expected)
    sd = scale * np.sqrt(_on_grid(grid, places, spread))
    every = np.full(len(mesh.spot), np.nan)
    every[:] = left_out[np.searchsorted(spots, mesh.spot)]
    return LevelError(
        np.maximum(sd, reading_sd_m).astype(np.float32),
        every,
        float(np.mean(left_out[told])),
        float(np.sqrt(np.mean(left_out[told] ** 2))),
    )


def next_places(
    mesh: LevelMesh, grid: Grid, wanted: BoolGrid, *, count: int, weight: Floats | None = None
) -> NDArray[np.float64]:
    """Return where further levels would help most, the best first.

    The variance depends on where levels lie, not on what they read, so that each place can be
    chosen as if those before it had been measured.

    Parameters
    ----------
    wanted : bool (rows, cols), True where a level could be taken.
    count : most places.
    weight : float (rows, cols), how much the error at a cell matters; None: all alike.

    Returns
    -------
    float64 (places, 2)
        x, y [m]; fewer than `count` where nothing is left to win.

    References
    ----------
    McBratney, Webster & Burgess (1981), The design of optimal sampling schemes (from memory).
    """
    spots = np.unique(mesh.spot)
    places = np.column_stack([mesh.x, mesh.y])[spots]
    spread = _fitted(places, mesh.level_m[spots])
    nodes, matters = _nodes(grid, wanted, weight)
    first = len(places)
    for _ in range(count if len(nodes) else 0):
        sd = np.sqrt(_variance(nodes, places, KDTree(places), spread) - spread.nugget_m2)
        best = int(np.argmax(sd * matters))
        if not sd[best] * matters[best] > 0:
            break
        places = np.vstack([places, nodes[best]])
    return places[first:]


def _left_out(mesh: LevelMesh, spots: NDArray[np.int64]) -> Floats:
    """Read, at each single level, the surface that its neighbours make without it.

    Taking a point out of a Delaunay triangulation changes only the star around it, which the
    triangulation of its neighbours fills again.
    """
    ring: list[set[int]] = [set() for _ in range(len(mesh.x))]
    for a, b, c in mesh.faces.tolist():
        ring[a] |= {b, c}
        ring[b] |= {a, c}
        ring[c] |= {a, b}
    found = np.full(len(spots), np.nan)
    for place, point in enumerate(spots.tolist()):
        if mesh.on_line[point] or len(ring[point]) < 3:
            continue
        around = np.array(sorted(ring[point]))
        here = np.array([mesh.x[point], mesh.y[point]])
        corners = np.column_stack([mesh.x[around], mesh.y[around]]) - here
        try:
            star = Delaunay(corners)
        except QhullError:
            continue
        face = int(star.find_simplex(np.zeros(2)))
        if face < 0:
            continue
        way = star.transform[face]
        share = way[:2] @ (np.zeros(2) - way[2])
        weights = np.append(share, 1 - share.sum())
        level_m = weights @ mesh.level_m[around[star.simplices[face]]]
        found[place] = level_m - mesh.level_m[point]
    return found


def _scale(left_out_m: Floats, expected_m: Floats) -> float:
    """Return what the expected errors must be multiplied with so that they hold nine in ten."""
    ratios = np.sort(np.abs(left_out_m) / np.maximum(expected_m, 1e-12))
    rank = min(int(np.ceil(_HELD * (ratios.size + 1))), ratios.size) - 1
    return float(ratios[rank]) / _NORMAL


def _drift(places: Floats, middle: Floats, width: float) -> Floats:
    return np.column_stack([np.ones(len(places)), (places - middle) / width])


def _fitted(places: Floats, level_m: Floats) -> _Spread:
    """Fit the covariance by restricted likelihood, over ranges and nuggets of a short list."""
    if len(places) > _MOST_FITTED:
        chosen = np.linspace(0, len(places) - 1, _MOST_FITTED).astype(np.int64)
        order = np.lexsort((places[:, 1], places[:, 0]))[chosen]
        places, level_m = places[order], level_m[order]
    middle, width = places.mean(axis=0), float(np.ptp(places, axis=0).max())
    drift = _drift(places, middle, width)
    apart = distance.squareform(distance.pdist(places))
    values = level_m - level_m.mean()
    best, spread = -np.inf, _Spread(1.0, 0.0, width)
    for part in _RANGES:
        correlation = np.exp(-apart / (part * width))
        for nugget in _NUGGETS:
            found = _likelihood(correlation + nugget * np.eye(len(values)), drift, values)
            if found is not None and found[0] > best:
                best = found[0]
                sill_m2 = max(found[1], 1e-12)
                spread = _Spread(sill_m2, nugget * sill_m2, part * width)
    return spread


def _likelihood(matrix: Floats, drift: Floats, values: Floats) -> tuple[float, float] | None:
    """Restricted log-likelihood and the variance that makes it largest."""
    try:
        factor = linalg.cholesky(matrix, lower=True)
    except linalg.LinAlgError:
        return None
    plain = linalg.solve_triangular(factor, drift, lower=True)
    target = linalg.solve_triangular(factor, values, lower=True)
    inner = plain.T @ plain
    rest = target - plain @ linalg.solve(inner, plain.T @ target, assume_a="pos")
    freedom = len(values) - drift.shape[1]
    variance = float(rest @ rest) / freedom
    if not variance > 0:
        return None
    log_determinant = 2 * np.log(np.diag(factor)).sum() + np.linalg.slogdet(inner)[1]
    return -0.5 * (freedom * np.log(variance) + log_determinant), variance


def _variance(
    wanted: Floats,
    places: Floats,
    others: KDTree,
    spread: _Spread,
    *,
    without_nearest: bool = False,
) -> Floats:
    """Universal kriging variance of the ground at places, by the levels nearest to each [m²]."""
    count = min(_NEIGHBOURS, len(places) - without_nearest)
    _, near = others.query(wanted, k=list(range(1 + without_nearest, count + 1 + without_nearest)))
    around = places[near]  # (wanted, count, 2)
    middle = around.mean(axis=1, keepdims=True)
    width = np.maximum(np.ptp(around, axis=1).max(axis=1), 1e-9)[:, np.newaxis, np.newaxis]
    size = count + 3
    system = np.zeros((len(wanted), size, size))
    apart = np.linalg.norm(around[:, :, np.newaxis] - around[:, np.newaxis], axis=-1)
    system[:, :count, :count] = spread.between(apart)
    at = np.arange(count)
    system[:, at, at] += spread.nugget_m2 + 1e-10 * spread.sill_m2
    scaled = (around - middle) / width
    system[:, :count, count] = system[:, count, :count] = 1.0
    system[:, :count, count + 1 :] = scaled
    system[:, count + 1 :, :count] = scaled.transpose(0, 2, 1)
    right = np.zeros((len(wanted), size))
    to_levels = np.linalg.norm(around - wanted[:, np.newaxis], axis=-1)
    right[:, :count] = spread.between(to_levels)
    right[:, count] = 1.0
    right[:, count + 1 :] = ((wanted[:, np.newaxis] - middle) / width)[:, 0]
    weights = np.linalg.solve(system, right[..., np.newaxis])[..., 0]
    variance: Floats = spread.sill_m2 - np.einsum("ij,ij->i", weights, right)
    return np.maximum(variance, spread.nugget_m2)


def _on_grid(grid: Grid, places: Floats, spread: _Spread) -> Floats:
    """Work the variance out at nodes that are few enough, and read it between them [m²]."""
    step = max(1, int(np.ceil(np.sqrt(grid.rows * grid.cols / _MOST_NODES))))
    rows = np.arange(0, grid.rows + step - 1, step)
    cols = np.arange(0, grid.cols + step - 1, step)
    x, y = grid.xy(*np.meshgrid(rows, cols, indexing="ij"))
    nodes = np.column_stack([x.ravel(), y.ravel()])
    found = _variance(nodes, places, KDTree(places), spread).reshape(x.shape)
    if step == 1:
        return found
    row, col = np.meshgrid(np.arange(grid.rows) / step, np.arange(grid.cols) / step, indexing="ij")
    read: Floats = ndimage.map_coordinates(found, [row, col], order=1, mode="nearest")
    return read


def _nodes(grid: Grid, wanted: BoolGrid, weight: Floats | None) -> tuple[Floats, Floats]:
    """Return cells, thinned to a number that can be tried, and how much each matters."""
    row, col = np.nonzero(wanted)
    step = max(1, int(np.ceil(np.sqrt(row.size / _MOST_NODES * 4))))
    kept = (row % step == 0) & (col % step == 0)
    row, col = row[kept], col[kept]
    matters = np.ones(row.size) if weight is None else np.asarray(weight, np.float64)[row, col]
    return np.column_stack(grid.xy(row, col)), matters
