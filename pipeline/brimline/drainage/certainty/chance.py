"""How catchments change over the surfaces that a survey's error allows."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline._jit import thread_count, threads
from brimline.drainage.catchments import subcatchments
from brimline.drainage.certainty.error_field import error_field
from brimline.drainage.certainty.moving import nearest_alike
from brimline.drainage.flow import accumulate, flow_directions
from brimline.errors import GridError
from brimline.grid import checked_elevation, checked_same_shape
from brimline.terrain.conditioning import fill

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    from brimline.grid import BoolGrid, Elevation

_LOW_PCT, _HIGH_PCT = 5.0, 95.0


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
    """

    chance: NDArray[np.float32]
    area_low_m2: NDArray[np.float64]
    area_high_m2: NDArray[np.float64]
    areas_m2: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Trial:
    """What all realisations share."""

    dem: Elevation
    intakes: NDArray[np.int64]
    least_m2: NDArray[np.float64]
    radii_m: NDArray[np.float64]
    cell_m: float
    rmse_m: float
    correlation_m: float
    condition: Callable[[Elevation], Elevation]
    sinks: BoolGrid | None

    def run(self, seed: np.random.SeedSequence) -> tuple[BoolGrid, NDArray[np.float64]]:
        """Return which cells drain to an intake on one surface, and each intake's area [m²]."""
        error = error_field(
            self.dem.shape,
            rmse_m=self.rmse_m,
            correlation_m=self.correlation_m,
            cell_m=self.cell_m,
            random=np.random.default_rng(seed),
        )
        directions = flow_directions(self.condition(self.dem + error), sinks=self.sinks)
        cell_area_m2 = np.float64(self.cell_m) ** 2
        area_m2 = accumulate(directions)
        area_m2 *= cell_area_m2
        moved = nearest_alike(
            self.intakes, area_m2, least_m2=self.least_m2, radii_m=self.radii_m, cell_m=self.cell_m
        )
        found = subcatchments(directions, moved)
        return found.labels > 0, found.cells * cell_area_m2


def catchment_chance(
    dem: Elevation,
    intakes: ArrayLike,
    intake_area_m2: ArrayLike,
    *,
    cell_m: float,
    rmse_m: float,
    correlation_m: float,
    realisations: int,
    seed: int,
    snap_radius_m: float,
    movable: ArrayLike = True,
    condition: Callable[[Elevation], Elevation] = fill,
    sinks: BoolGrid | None = None,
    workers: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> CatchmentChance:
    """Delineate the catchments again on many surfaces, each the survey plus a random error.

    On a changed surface the flow path that an intake stands for may lie some cells aside, so the
    intake goes with it: to the nearest cell within `snap_radius_m` that gathers at least half of
    the intake's area, half being what `snap` takes as another path. Where there is none the path
    was lost, and the intake goes to the cell that gathers most within the radius. An intake that
    is not movable stays on its cell.

    Every realisation has random numbers of its own from `seed`, so that results depend neither on
    the number of workers nor on the order in which they finish.

    Parameters
    ----------
    dem : float32 (rows, cols) [m]; the surface as surveyed, NaN is nodata. Not modified.
    intakes : int (intakes, 2); row and column on the surface without error.
    intake_area_m2 : float (intakes,) [m²]; what drains to each of them there.
    cell_m : side of a cell [m].
    rmse_m, correlation_m : vertical error and how far it stays alike [m]; see `error_field`.
    realisations : how many surfaces are tried, at least 1.
    seed : start of the random numbers, at least 0.
    snap_radius_m : how far an intake may move [m].
    movable : bool, or bool (intakes,)
    condition : makes a surface that water can leave; called from several threads at a time.
    sinks : bool (rows, cols), optional; kept sinks, as `condition` leaves them.
    workers : realisations at a time; the processors where left out.
    progress : called with the realisations done and their number, from the calling thread.

    Raises
    ------
    ValueError
        If a size is out of range.
    GridError
        If the shapes differ, or an intake lies outside the data.

    References
    ----------
    Oksanen & Sarjakoski (2005), Error propagation analysis of DEM-based drainage basin
    delineation, doi:10.1080/01431160500057947 (citation from memory)
    """
    if realisations < 1:
        raise ValueError(f"at least 1 realisation is needed, got {realisations}")
    if not snap_radius_m >= 0:
        raise ValueError(f"snap_radius_m must be 0 m or more, got {snap_radius_m} m")
    surface = checked_elevation(dem)
    if sinks is not None:
        checked_same_shape(dem=surface, sinks=sinks)
    places = _checked_intakes(intakes, surface)
    area_m2 = np.broadcast_to(np.asarray(intake_area_m2, dtype=np.float64), places.shape[:1])
    moving = np.broadcast_to(np.asarray(movable, dtype=np.bool_), places.shape[:1])
    trial = _Trial(
        dem=surface,
        intakes=places,
        least_m2=area_m2 / 2.0,
        radii_m=np.where(moving, snap_radius_m, 0.0),
        cell_m=cell_m,
        rmse_m=rmse_m,
        correlation_m=correlation_m,
        condition=condition,
        sinks=sinks,
    )
    seeds = np.random.SeedSequence(seed).spawn(realisations)
    hits, areas_m2 = _run_all(trial, seeds, workers or thread_count(), progress)
    chance = hits.astype(np.float32) / np.float32(realisations)
    chance[np.isnan(surface)] = np.nan
    low_m2, high_m2 = np.percentile(areas_m2, [_LOW_PCT, _HIGH_PCT], axis=0)
    return CatchmentChance(chance, low_m2, high_m2, areas_m2)


def _checked_intakes(intakes: ArrayLike, dem: Elevation) -> NDArray[np.int64]:
    places = np.asarray(intakes, dtype=np.int64).reshape(-1, 2)
    inside = np.all((places >= 0) & (places < dem.shape), axis=1)
    inside[inside] = ~np.isnan(dem[tuple(places[inside].T)])
    if not inside.all():
        raise GridError(f"{(~inside).sum()} of {inside.size} intakes lie outside the data")
    return places


def _run_all(
    trial: _Trial,
    seeds: list[np.random.SeedSequence],
    workers: int,
    progress: Callable[[int, int], None] | None,
) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Run the realisations side by side; count how often each cell drained to an intake."""
    hits = np.zeros(trial.dem.shape, dtype=np.int32)
    areas_m2 = np.empty((len(seeds), len(trial.intakes)), dtype=np.float64)
    adding = threading.Lock()

    def one(number: int) -> None:
        drained, areas_m2[number] = trial.run(seeds[number])
        with adding:
            np.add(hits, drained, out=hits)

    with threads(1), ThreadPoolExecutor(workers) as pool:
        running: list[Any] = [pool.submit(one, number) for number in range(len(seeds))]
        try:
            for done, finished in enumerate(as_completed(running), start=1):
                finished.result()
                if progress is not None:
                    progress(done, len(seeds))
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
    return hits, areas_m2
