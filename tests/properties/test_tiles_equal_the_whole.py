"""A survey drained tile by tile is the survey drained whole, in every cell, for any tiling."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brimline.drainage.catchments import subcatchments
from brimline.drainage.flow import accumulate, flow_directions
from brimline.drainage.flow.seams import accumulate_tile, entering, tile_links
from brimline.drainage.paths import flow_paths
from brimline.grid import Grid
from brimline.grid.tiles import Tiling, Window, ring_cells
from brimline.terrain.conditioning import condition
from brimline.tiled import chain, passes


class InMemory:
    """TileStore and runner at once: whole arrays, tiles one after the other."""

    def __init__(self, survey: passes.TiledSurvey) -> None:
        self.survey, self.rasters, self.packs, self.results = survey, {}, {}, {}

    def read(self, name: str, window: Any) -> Any:
        return self.rasters[name][window.inside(self.survey.tiling.whole)].copy()

    def _put(self, held: dict[str, Any], name: str, tile: int, array: Any) -> None:
        at = self.survey.tiling.window(tile)
        assert array.shape == at.shape
        whole = held.setdefault(name, np.zeros(self.survey.tiling.whole.shape, array.dtype))
        whole[at.inside(self.survey.tiling.whole)] = array

    def write(self, name: str, tile: int, array: Any) -> None:
        self._put(self.rasters, name, tile, array)

    def publish(self, name: str, tile: int, array: Any) -> None:
        self._put(self.results, name, tile, array)

    def read_pack(self, name: str, tile: int) -> Any:
        return self.packs[name, tile]

    def write_pack(self, name: str, tile: int, pack: Any) -> None:
        self.packs[name, tile] = pack

    def each(self, _: str, function: Any, arguments: Any, *_keys: Any) -> Any:
        return {
            tile: passes.alone(function, self, self.survey, tile, *more)
            for tile, more in arguments.items()
        }


def assert_part_with_inflow(results: Any, survey: Any, seed: int) -> None:
    """A block alone, told what enters it, has the areas that it has in the whole."""
    whole = survey.tiling.whole
    rng = np.random.default_rng(seed)
    row, col = int(rng.integers(0, whole.rows)), int(rng.integers(0, whole.cols))
    inner = Window(row, col, int(rng.integers(1, 20)), int(rng.integers(1, 20))).common(whole)
    around = Window(row - 1, col - 1, inner.rows + 2, inner.cols + 2).common(whole)
    codes, area = results["flow_direction"], results["contributing_area_m2"]
    there = around.inside(whole)
    cells, entered = entering(codes[there], area[there], inner, around)
    part = codes[inner.inside(whole)]
    inflow = np.zeros(part.size, np.int64)
    inflow[cells] = entered
    ring = ring_cells(Window(0, 0, *part.shape))
    assert inflow.sum() == inflow[ring].sum()
    found = accumulate_tile(part, tile_links(part)[1], inflow[ring])
    np.testing.assert_array_equal(found, area[inner.inside(whole)])


def assert_equal(dem: Any, tile: tuple[int, int], **options: Any) -> chain.Drained:
    sinks = options.pop("sinks", None)
    intakes = options.pop("intakes", None)
    whole = condition(dem, cell_m=1.0, sinks=sinks, **options).surface
    codes = flow_directions(whole, sinks=sinks)
    tiling = Tiling(*dem.shape, *tile)
    kept = () if sinks is None else tuple(np.flatnonzero(sinks).tolist())
    survey = passes.TiledSurvey(tiling, 1.0, sinks=kept, **options)
    memory = InMemory(survey)
    tiles = range(len(tiling))
    read = dict.fromkeys(tiles, lambda at: dem[at.inside(tiling.whole)].copy())
    drained = chain.drain(survey, memory, read, dict.fromkeys(tiles, ()), path_area_m2=3.0)
    np.testing.assert_array_equal(memory.results["conditioned"], whole)
    np.testing.assert_array_equal(memory.results["flow_direction"], codes)
    np.testing.assert_array_equal(memory.results["contributing_area_m2"], accumulate(codes))
    assert drained.valid_cells == np.isfinite(dem).sum()
    grid = Grid(*dem.shape, 1.0, 0.0, float(dem.shape[0]), "EPSG:32626")
    lines = flow_paths(codes, accumulate(codes), whole, grid, min_area_m2=3.0)
    drawn, channels = chain.paths(survey, memory, grid)
    for name in ("downstream_ids", "order", "area_m2", "length_m", "fall_m", "starts", "cells"):
        np.testing.assert_array_equal(getattr(drawn, name), getattr(lines, name))
    assert all(
        one.equals_exact(other, 0) for one, other in zip(drawn.lines, lines.lines, strict=True)
    )
    np.testing.assert_array_equal(channels.fill_m, (whole - dem).ravel()[channels.cells])
    assert_part_with_inflow(memory.results, survey, drained.valid_cells)
    if intakes is not None and len(intakes):
        expected = subcatchments(codes, intakes)
        found = chain.divide(survey, memory, drained, intakes)
        np.testing.assert_array_equal(memory.results["subcatchment"], expected.labels)
        for name in ("downstream_ids", "own_cells", "cells", "edge_limited"):
            np.testing.assert_array_equal(getattr(found, name), getattr(expected, name))
    return drained


@st.composite
def surveys(draw: Any) -> Any:
    rows, cols = draw(st.integers(1, 26)), draw(st.integers(1, 26))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    levels = draw(st.sampled_from([2, 4, 12, 1000]))  # few levels make large flats and many ties
    dem = rng.integers(0, levels, (rows, cols)).astype(np.float32)
    for _ in range(draw(st.integers(0, 2))):  # a lake or a plateau of one level
        r, c = rng.integers(0, rows), rng.integers(0, cols)
        dem[r : r + rng.integers(1, 20), c : c + rng.integers(1, 20)] = rng.integers(0, levels)
    for _ in range(draw(st.integers(0, 3))):
        r, c = rng.integers(0, rows), rng.integers(0, cols)
        dem[r : r + rng.integers(1, 9), c : c + rng.integers(1, 9)] = np.nan
    dem[rng.random(dem.shape) < draw(st.sampled_from([0.0, 0.0, 0.1]))] = np.nan
    if not np.isfinite(dem).any():
        dem[0, 0] = 1.0
    sinks = None
    if draw(st.booleans()):
        sinks = rng.random(dem.shape) < 0.03
    places = np.argwhere(np.isfinite(dem))
    intakes = places[rng.integers(0, len(places), draw(st.integers(0, 5)))]
    return dem, sinks, intakes


sizes = st.one_of(st.integers(1, 4), st.integers(5, 13), st.integers(14, 30))


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    surveys(),
    st.tuples(sizes, sizes),
    st.sampled_from(["fill", "breach", "none"]),
    st.sampled_from([1.0, 2.5, 6.0]),
)
def test_any_tiling_gives_the_cells_of_the_whole(
    survey: Any, tile: tuple[int, int], mode: str, max_length_m: float
) -> None:
    dem, sinks, intakes = survey
    assert_equal(
        dem,
        tile,
        sinks=sinks,
        intakes=intakes,
        mode=mode,
        max_depth_m=2.0,
        max_length_m=max_length_m,
    )


def test_a_lake_that_winds_through_many_tiles_is_drained_as_one() -> None:
    dem = np.full((61, 67), 9.0, dtype=np.float32)
    for turn in range(0, 60, 4):  # a ditch of one level, to and fro, with its way out at the end
        dem[turn + 1 : turn + 3, 1:-1] = 3.0
        dem[turn + 1 : turn + 6, -3 : -1 if turn % 8 == 0 else None][:, :1] = 3.0
        if turn % 8:
            dem[turn + 1 : turn + 6, 1] = 3.0
    dem[-3:-1, 5:9] = np.nan
    drained = assert_equal(dem, (9, 8), mode="none")
    assert drained.rounds > 8
    assert_equal(dem, (9, 8), mode="fill", intakes=np.array([[30, 30], [1, 1], [30, 30]]))


@pytest.mark.parametrize("tile", [(41, 37), (1, 150), (140, 1), (64, 64)])
def test_ties_that_planes_of_65_cells_decide_fall_as_in_the_whole(tile: tuple[int, int]) -> None:
    rng = np.random.default_rng(5)
    row, col = np.mgrid[:140, :150]
    dem = (np.abs(col - 75) + np.abs(row - 70)).astype(np.float32)  # ties everywhere
    for _ in range(40):  # far from the ridges, what breaks their symmetry
        r, c = rng.integers(0, 140), rng.integers(0, 150)
        dem[r, c] += rng.integers(1, 9)
    assert_equal(dem, tile, mode="fill")


@settings(deadline=None)
@given(st.integers(1, 9), st.integers(1, 9), sizes, sizes)
def test_ring_places_count_through_the_rings(rows: int, cols: int, down: int, across: int) -> None:
    tiling = Tiling(rows, cols, down, across)
    cells = [
        tiling.linear(tiling.window(t), ring_cells(tiling.window(t))) for t in range(len(tiling))
    ]
    place = tiling.ring_places(*np.divmod(np.concatenate(cells), cols))
    np.testing.assert_array_equal(place, np.arange(place.size))
