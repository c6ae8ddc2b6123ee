"""How catchments change over the surfaces that a survey's error allows."""

from __future__ import annotations

import math
import threading
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from brimline._jit import thread_count, threads
from brimline.drainage.catchments import subcatchments
from brimline.drainage.certainty.given_survey import GivenSurvey
from brimline.drainage.certainty.moving import nearest_alike
from brimline.drainage.certainty.patches import Patch
from brimline.drainage.flow import (
    accumulate,
    dinf_accumulation,
    flow_directions,
    mfd_accumulation,
)
from brimline.errors import GridError
from brimline.grid import checked_elevation, checked_same_shape
from brimline.terrain.conditioning import fill

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import ArrayLike, NDArray

    from brimline.drainage.catchments import Subcatchments
    from brimline.grid import BoolGrid, Elevation

_LOW_PCT, _HIGH_PCT = 5.0, 95.0
_BATCH: Final = 40  # realisations between two looks at the percentiles
_FEWEST: Final = 120
_STILL_OF_AREA, _STILL_OF_RANGE = 0.10, 0.20
_SURE: Final = 1.645  # standard deviations either side that hold 90 %
SELDOM: Final = 0.02  # share of the realisations that cannot move a 5th or 95th percentile
_WIDER: Final = 2  # cells in the side of a wider one
_LEAST_CELLS: Final = 200  # in a catchment that is told on wider cells too: 50 of those
_GATHERS: Final = 4.0  # power of the slope in valleys; Holmgren (1994) has 4 to 6


class _Method(Enum):
    """How water is followed over a surface."""

    D8 = 0
    D_INFINITY = 1
    WIDER_CELLS = 2
    MULTIPLE = 3
    OTHER_SINKS = 4


# each fourth surface is followed otherwise, since the method leaves that open; where there is
# nothing to do otherwise, by D8
_TURNS: Final = tuple(
    turn for other in list(_Method)[1:] for turn in (_Method.D8, _Method.D8, _Method.D8, other)
)


@dataclass(frozen=True, slots=True)
class Draining:
    """How water is made to leave a surface.

    Parameters
    ----------
    condition : makes a surface that water can leave; called from several threads at a time.
    sinks : bool (rows, cols), optional; kept sinks, as `condition` leaves them.
    """

    condition: Callable[[Elevation], Elevation] = fill
    sinks: BoolGrid | None = None


@dataclass(frozen=True, slots=True)
class CatchmentChance:
    """What the survey's error leaves of catchments.

    Parameters
    ----------
    chance : float32 (rows, cols)
        Share of the realisations in which the cell drains to any of the intakes; NaN at nodata.
    area_low_m2, area_high_m2 : float64 (intakes,) [m²]
        5th and 95th percentile of all that drains to each intake.
    areas_m2 : float64 (realisations, intakes) [m²]
    settled : bool (intakes,)
        True where the percentiles stood still before the realisations ran out.
    crossed : float64 (4,)
        Share of the realisations in which water came in over each of the inner sides.
    """

    chance: NDArray[np.float32]
    area_low_m2: NDArray[np.float64]
    area_high_m2: NDArray[np.float64]
    areas_m2: NDArray[np.float64]
    settled: NDArray[np.bool_]
    crossed: NDArray[np.float64]


Sides = tuple[bool, bool, bool, bool]


@dataclass(frozen=True, slots=True)
class _Trial:
    """What all realisations share."""

    ground: GivenSurvey
    intakes: NDArray[np.int64]
    expected_m2: NDArray[np.float64]
    radii_m: NDArray[np.float64]
    cell_m: float
    lengths: int
    ways: Draining
    other: Draining | None
    wider: Draining | None
    counted: NDArray[np.bool_]
    inner: Sides

    def run(
        self, number: int, seed: np.random.SeedSequence
    ) -> tuple[BoolGrid, list[bool], NDArray[np.float64]]:
        """Draw one surface.

        Returns
        -------
        drained : bool (rows, cols); cells that drain to an intake that counts.
        crossed : which of the inner sides water comes to any intake over.
        areas_m2 : float64 (intakes,)
        """
        drawn = self.ground.draw(number, np.random.default_rng(seed))
        # each method meets each correlation length
        method = _TURNS[number // self.lengths % len(_TURNS)]
        if method is _Method.WIDER_CELLS and self.wider is not None:
            return self._on_wider_cells(drawn, self.wider)
        ways = self.other if method is _Method.OTHER_SINKS and self.other else self.ways
        surface = ways.condition(drawn)
        found = self._gathered(surface, ways.sinks, self.intakes, self.cell_m)
        if method not in (_Method.D_INFINITY, _Method.MULTIPLE):
            return self._told(found, self.cell_m)
        spread_m2 = (
            dinf_accumulation(surface, sinks=ways.sinks)
            if method is _Method.D_INFINITY
            else mfd_accumulation(surface, exponent=_GATHERS, sinks=ways.sinks)
        )
        spread_m2 *= np.float64(self.cell_m) ** 2
        drained, crossed, _ = self._told(found, self.cell_m)
        followed = self._followed(spread_m2, self.intakes, self.cell_m)
        return drained, crossed, spread_m2[tuple(followed.T)]

    def _on_wider_cells(
        self, drawn: Elevation, ways: Draining
    ) -> tuple[BoolGrid, list[bool], NDArray[np.float64]]:
        rows, cols = drawn.shape
        cell_m = _WIDER * self.cell_m
        patch = Patch(slice(0, rows), slice(0, cols), _WIDER, cell_m)
        surface = ways.condition(patch.level(drawn))
        found = self._gathered(surface, ways.sinks, patch.places(self.intakes), cell_m)
        drained, crossed, areas_m2 = self._told(found, cell_m)
        return patch.spread(drained), crossed, areas_m2

    def _gathered(
        self,
        surface: Elevation,
        sinks: BoolGrid | None,
        intakes: NDArray[np.int64],
        cell_m: float,
    ) -> Subcatchments:
        directions = flow_directions(surface, sinks=sinks)
        area_m2 = accumulate(directions)
        area_m2 *= np.float64(cell_m) ** 2
        return subcatchments(directions, self._followed(area_m2, intakes, cell_m))

    def _told(
        self, found: Subcatchments, cell_m: float
    ) -> tuple[BoolGrid, list[bool], NDArray[np.float64]]:
        crossed = _on_sides(found.labels > 0, self.inner)
        return self.counted[found.labels], crossed, found.cells * np.float64(cell_m) ** 2

    def _followed(
        self, area_m2: NDArray[np.float64], intakes: NDArray[np.int64], cell_m: float
    ) -> NDArray[np.int64]:
        return nearest_alike(
            intakes, area_m2, expected_m2=self.expected_m2, radii_m=self.radii_m, cell_m=cell_m
        )


def catchment_chance(
    dem: Elevation,
    intakes: ArrayLike,
    intake_area_m2: ArrayLike,
    *,
    cell_m: float,
    rmse_m: float,
    correlations_m: Sequence[float],
    realisations: int,
    seed: int,
    snap_radius_m: float,
    movable: ArrayLike = True,
    ways: Draining = Draining(),
    other: Draining | None = None,
    wider: Draining | None = None,
    counted: ArrayLike = True,
    inner_sides: Sides = (False, False, False, False),
    workers: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> CatchmentChance:
    """Delineate the catchments again on many surfaces that could lie under the survey.

    The surfaces are drawn given the survey (`GivenSurvey`), over each correlation length in turn.
    On most of them the water of a cell goes to one receiver (D8). Each fourth is followed
    otherwise, since the method leaves that open, in turn: shared between two receivers
    (D-infinity); on cells twice as wide, where every catchment has 200 cells; shared among all
    lower neighbours (by the fourth power of the slope); with the `other` sinks kept.

    **The area meant.** An intake stands for a flow path, and paths whose areas differ by no more
    than a factor of two are taken for the same, as `snap` does. The area of an intake on any
    surface, the true one included, is that of the nearest cell within `snap_radius_m` that
    gathers between half and twice the surveyed area; where there is none the path has changed
    and it is the cell whose area is most alike. An intake that is not movable stays on its cell.

    **When it stops.** After at least 120 realisations, and each 40 more, the 5th and 95th
    percentile are looked at: they stand still once the order statistics that hold each of them
    with 90 % confidence lie within a tenth of the surveyed area, or a fifth of the range where
    that is more. `realisations` is the most that are tried. It stops at once where water crosses
    an inner side in more than 2 % of them, which could move a percentile.

    Every realisation has random numbers of its own from `seed`, so that results depend neither on
    the number of workers nor on the order in which they finish.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; the surface as surveyed, NaN is nodata. Not modified.
    intakes : int (intakes, 2); row and column on the surface without error.
    intake_area_m2 : float (intakes,) [m²]; what drains to each of them there.
    cell_m : side of a cell [m].
    rmse_m : vertical error [m].
    correlations_m : distances over which it may stay alike [m]; see `GivenSurvey`.
    realisations : how many surfaces are tried at most, at least 1.
    seed : start of the random numbers, at least 0.
    snap_radius_m : how far an intake may move [m].
    movable : bool, or bool (intakes,)
    ways : how water is made to leave a surface, and which sinks are kept.
    other : the same with those sinks kept or filled that could as well be filled or kept.
    wider : the same as `ways` on cells twice as wide, each the mean of a square.
    counted : bool, or bool (intakes,); intakes that the chance tells of.
    inner_sides : first row, last row, first column, last column: True where more ground lies
        beyond, from which water could come.
    workers : realisations at a time; the processors where left out.
    progress : called with the realisations done and the most, from the calling thread.

    Raises
    ------
    ValueError
        If a size is out of range.
    GridError
        If the shapes differ, or an intake lies outside the data.

    References
    ----------
    Oksanen & Sarjakoski (2005), Error propagation analysis of DEM-based drainage basin
    delineation, doi:10.1080/01431160500057947 (citation from memory); Holmgren (1994), Multiple
    flow direction algorithms for runoff modelling in grid based elevation models,
    doi:10.1002/hyp.3360080405
    """
    if realisations < 1:
        raise ValueError(f"at least 1 realisation is needed, got {realisations}")
    if not (rmse_m >= 0 and cell_m > 0 and correlations_m and min(correlations_m) >= 0):
        raise ValueError(
            f"rmse_m and correlations_m must be 0 m or more and cell_m above 0 m, got {rmse_m} m,"
            f" {tuple(correlations_m)} m and {cell_m} m"
        )
    if not snap_radius_m >= 0:
        raise ValueError(f"snap_radius_m must be 0 m or more, got {snap_radius_m} m")
    surface = checked_elevation(dem)
    for one in (ways, other):
        if one is not None and one.sinks is not None:
            checked_same_shape(dem=surface, sinks=one.sinks)
    places = _checked_intakes(intakes, surface)
    area_m2 = np.broadcast_to(np.asarray(intake_area_m2, dtype=np.float64), places.shape[:1])
    moving = np.broadcast_to(np.asarray(movable, dtype=np.bool_), places.shape[:1])
    ground = GivenSurvey(surface, cell_m=cell_m, rmse_m=rmse_m, correlations_m=correlations_m)
    trial = _Trial(
        ground=ground,
        intakes=places,
        expected_m2=area_m2,
        radii_m=np.where(moving, snap_radius_m, 0.0),
        cell_m=cell_m,
        lengths=len(correlations_m),
        ways=ways,
        other=other,
        wider=wider if area_m2.min(initial=np.inf) >= _LEAST_CELLS * cell_m**2 else None,
        counted=np.append(False, np.broadcast_to(np.asarray(counted), places.shape[:1])),
        inner=inner_sides,
    )
    seeds = np.random.SeedSequence(seed).spawn(realisations)
    hits = np.zeros(surface.shape, dtype=np.int32)
    crossed = np.zeros(len(inner_sides), dtype=np.int64)
    areas_m2 = np.empty((0, len(places)), dtype=np.float64)
    settled = np.zeros(len(places), dtype=np.bool_)
    while len(areas_m2) < realisations and not (settled.all() and len(areas_m2) >= _FEWEST):
        batch = range(len(areas_m2), min(len(areas_m2) + _BATCH, realisations))
        more_m2, over = _run_batch(trial, seeds, batch, hits, workers or thread_count(), progress)
        areas_m2 = np.vstack((areas_m2, more_m2))
        settled = _settled(areas_m2, area_m2)
        crossed += over
        if crossed.max() > SELDOM * len(areas_m2):
            break
    chance = hits.astype(np.float32) / np.float32(len(areas_m2))
    chance[np.isnan(surface)] = np.nan
    low_m2, high_m2 = np.percentile(areas_m2, [_LOW_PCT, _HIGH_PCT], axis=0)
    return CatchmentChance(chance, low_m2, high_m2, areas_m2, settled, crossed / len(areas_m2))


def followed_areas_m2(
    surface: Elevation,
    intakes: NDArray[np.int64],
    expected_m2: NDArray[np.float64],
    *,
    radii_m: NDArray[np.float64],
    cell_m: float,
    sinks: BoolGrid | None,
) -> NDArray[np.float64]:
    """Area of each intake on a surface that water can leave, as `catchment_chance` means it.

    Returns
    -------
    float64 (intakes,) [m²]
    """
    area_m2 = accumulate(flow_directions(surface, sinks=sinks)) * np.float64(cell_m) ** 2
    moved = nearest_alike(intakes, area_m2, expected_m2=expected_m2, radii_m=radii_m, cell_m=cell_m)
    return np.asarray(area_m2[tuple(moved.T)])


def _on_sides(marked: BoolGrid, sides: Sides) -> list[bool]:
    lines = (marked[0], marked[-1], marked[:, 0], marked[:, -1])
    return [side and bool(line.any()) for side, line in zip(sides, lines, strict=True)]


def _settled(areas_m2: NDArray[np.float64], area_m2: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell for each intake whether more realisations would hardly move its percentiles."""
    count = len(areas_m2)
    ordered = np.sort(areas_m2, axis=0)
    low_m2, high_m2 = np.percentile(areas_m2, [_LOW_PCT, _HIGH_PCT], axis=0)
    still_m2 = np.maximum(_STILL_OF_AREA * area_m2, _STILL_OF_RANGE * (high_m2 - low_m2))
    share = _LOW_PCT / 100.0
    apart = _SURE * math.sqrt(count * share * (1.0 - share))
    first = max(math.floor(count * share - apart), 0)
    last = min(math.ceil(count * share + apart), count - 1)
    settled: NDArray[np.bool_] = (ordered[last] - ordered[first] <= still_m2) & (
        ordered[count - 1 - first] - ordered[count - 1 - last] <= still_m2
    )
    return settled


def _checked_intakes(intakes: ArrayLike, dem: Elevation) -> NDArray[np.int64]:
    places = np.asarray(intakes, dtype=np.int64).reshape(-1, 2)
    inside = np.all((places >= 0) & (places < dem.shape), axis=1)
    inside[inside] = ~np.isnan(dem[tuple(places[inside].T)])
    if not inside.all():
        raise GridError(f"{(~inside).sum()} of {inside.size} intakes lie outside the data")
    return places


def _run_batch(
    trial: _Trial,
    seeds: list[np.random.SeedSequence],
    batch: range,
    hits: NDArray[np.int32],
    workers: int,
    progress: Callable[[int, int], None] | None,
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Run realisations side by side; add to `hits` how often each cell drained to an intake.

    Returns the areas [m²], and how often water crossed each inner side.
    """
    crossed = np.zeros((len(batch), len(trial.inner)), dtype=np.bool_)
    areas_m2 = np.empty((len(batch), len(trial.intakes)), dtype=np.float64)
    adding = threading.Lock()

    def one(number: int) -> None:
        place = number - batch.start
        drained, crossed[place], areas_m2[place] = trial.run(number, seeds[number])
        with adding:
            np.add(hits, drained, out=hits)

    with threads(1), ThreadPoolExecutor(workers) as pool:
        running: list[Any] = [pool.submit(one, number) for number in batch]
        try:
            for done, finished in enumerate(as_completed(running), start=batch.start + 1):
                finished.result()
                if progress is not None:
                    progress(done, len(seeds))
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
    return areas_m2, crossed.sum(axis=0)
