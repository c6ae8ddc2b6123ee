"""All passes over all tiles: what each needs, and what the driver settles between them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Protocol

import numpy as np

from brimline.drainage.catchments.edges import OpenEdge, joined
from brimline.drainage.catchments.seams import solve_labels
from brimline.drainage.catchments.subcatchments import gathered
from brimline.drainage.flow.seams import HALO, TileLinks, solve_inflows
from brimline.drainage.paths import ChannelCells, joined_cells, paths_along
from brimline.errors import InternalError
from brimline.grid.tiles import Window
from brimline.terrain.conditioning.seams import TileSpills, outside_rings, solve_spills
from brimline.tiled import passes

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from brimline.drainage.paths import FlowPaths
    from brimline.grid import Grid
    from brimline.tiled.passes import Pack, TiledSurvey, TileStore

_FAR: Final = np.int64(1) << 60


class Runner(Protocol):
    """Calls a pass for each tile, on whatever machines there are."""

    def each(
        self,
        title: str,
        function: Callable[..., Pack],
        arguments: Mapping[int, tuple[Any, ...]],
        upstream: Mapping[int, tuple[str, ...]] | None = None,
    ) -> dict[int, Pack]:
        """Return the pack of each tile named.

        Parameters
        ----------
        arguments : by tile, what the pass takes besides store, survey and tile.
        upstream : by tile, digests of the rasters it reads; a pass that was finished with the
            same arguments and digests need not be called again. None: it is always called.
        """


@dataclass(frozen=True, slots=True)
class Drained:
    """What is known once all passes are done.

    Parameters
    ----------
    valid_cells : cells with data; all of them leave the survey or end in a kept sink.
    rounds : how often tiles told each other of flats across seams.
    """

    valid_cells: int
    lowest_m: float
    highest_m: float
    rounds: int
    codes: tuple[NDArray[np.uint8], ...]
    direction_digests: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Intakes:
    """What drains to each intake, as `Subcatchments` has it without the raster.

    Parameters
    ----------
    box : the rows and columns that hold all of it.
    edge : where the ground of each leaves the data.
    """

    downstream_ids: NDArray[np.int32]
    own_cells: NDArray[np.int64]
    cells: NDArray[np.int64]
    edge_limited: NDArray[np.bool_]
    box: Window
    edge: OpenEdge


def drain(
    survey: TiledSurvey,
    runner: Runner,
    reads: Mapping[int, Callable[..., Any]],
    sources: Mapping[int, tuple[str, ...]],
    path_area_m2: float | None = None,
) -> Drained:
    """Condition, direct and accumulate a whole survey.

    Parameters
    ----------
    path_area_m2 : contributing area from which cells are kept for `paths` [m²]; None keeps none.
    reads : by tile, what gives the levels of its window.
    sources : by tile, what its levels come from, for the key.

    Raises
    ------
    InternalError
        If what leaves the survey is not what lies on it.
    """
    tiling = survey.tiling
    tiles = range(len(tiling))
    taken = runner.each("ground", passes.ground, {t: (reads[t],) for t in tiles}, sources)
    digest = {t: str(taken[t]["digest"]) for t in tiles}
    if any("pieces" in taken[t] for t in tiles):
        sizes = np.diff(tiling.ring_starts)
        rings = outside_rings(
            tiling, [taken[t].get("pieces", np.zeros(sizes[t], np.int32)) for t in tiles]
        )
        patchy = [t for t in tiles if "pieces" in taken[t]]
        runner.each(
            "voids",
            passes.voids,
            {t: (rings[t],) for t in patchy},
            {t: (str(taken[t]["made"]),) for t in patchy},
        )
        digest |= {t: digest[t] + passes.digest_of(rings[t]) for t in patchy}
    digest = _conditioned(survey, runner, digest)
    near = {t: tuple(digest[n] for n in tiling.over(tiling.padded(t, HALO))) for t in tiles}
    told, rounds = _settle_flats(survey, runner, near)
    directed = runner.each("directions", passes.directions, told, near)
    links = [
        TileLinks(directed[t]["codes"], directed[t]["own_cells"], directed[t]["leads_to"])
        for t in tiles
    ]
    inflows = solve_inflows(tiling, links)
    digests = tuple(str(directed[t]["digest"]) for t in tiles)
    added = runner.each(
        "accumulation",
        passes.accumulation,
        {t: (inflows[t], path_area_m2) for t in tiles},
        {t: (digests[t],) for t in tiles},
    )
    valid = sum(int(taken[t]["valid_cells"]) for t in tiles)
    leaving = sum(int(added[t]["leaving_cells"]) for t in tiles)
    if leaving != valid:
        raise InternalError(f"{leaving} cells drain to outlets, but {valid} have data")
    return Drained(
        valid_cells=valid,
        lowest_m=float(np.nanmin([taken[t].get("lowest_m", np.nan) for t in tiles])),
        highest_m=float(np.nanmax([taken[t].get("highest_m", np.nan) for t in tiles])),
        rounds=rounds,
        codes=tuple(link.codes for link in links),
        direction_digests=digests,
    )


def _conditioned(survey: TiledSurvey, runner: Runner, digest: dict[int, str]) -> dict[int, str]:
    """Breach and fill; return a digest of each tile of the surface."""
    tiling = survey.tiling
    tiles = range(len(tiling))
    reads: dict[int, tuple[str, ...]] = {t: (digest[t],) for t in tiles}
    if survey.mode == "breach":
        near = {t: tiling.over(tiling.padded(t, survey.breach_halo)) for t in tiles}
        cuts = runner.each(
            "breach",
            passes.breach,
            dict.fromkeys(tiles, ()),
            {t: tuple(digest[n] for n in near[t]) for t in tiles},
        )
        reads = {t: (digest[t], *(str(cuts[n]["digest"]) for n in near[t])) for t in tiles}
    spill: list[NDArray[np.float32] | None] = [None] * len(tiling)
    if survey.mode != "none":
        found = runner.each("spills", passes.spills, dict.fromkeys(tiles, ()), reads)
        spill = [*solve_spills(tiling, [TileSpills(**_plain(found[t])) for t in tiles])]
    filled = runner.each("fill", passes.conditioned, {t: (spill[t],) for t in tiles}, reads)
    return {t: str(filled[t]["digest"]) for t in tiles}


def _settle_flats(
    survey: TiledSurvey, runner: Runner, near: Mapping[int, tuple[str, ...]]
) -> tuple[dict[int, tuple[Any, ...]], int]:
    """Let tiles tell each other of the flats that cross seams until none learns anything.

    Returns
    -------
    by tile, what its neighbours know: steps away, steps towards, and ranks of outlets; and the
    number of rounds.
    """
    tiling = survey.tiling
    found = runner.each("flats", passes.rims, dict.fromkeys(range(len(tiling)), ()), near)
    exchange = _Exchange(survey, {t: pack for t, pack in found.items() if "offered" in pack})
    known = {
        name: exchange.joined({t: found[t][name] for t in exchange.tiles})
        for name in ("away", "toward")
    }

    def spread(keys: NDArray[np.int64] | None, first: set[int]) -> int:
        def arguments(tile: int) -> tuple[Any, ...]:
            mine = exchange.asked[tile]
            told = None if keys is None else keys[mine]
            return known["away"][mine], known["toward"][mine], told

        return exchange.settle(runner, passes.relax, known, arguments, first)

    rounds = spread(None, {t for t in exchange.tiles if exchange.asked[t].size})
    keys: NDArray[np.int64] | None = None
    dry = {t for t in exchange.tiles if (known["toward"][exchange.own[t]] == _FAR).any()}
    if dry:
        ranks = {"keys": np.full(exchange.size, _FAR)}
        rounds += exchange.settle(
            runner,
            passes.rank,
            ranks,
            lambda tile: (
                known["toward"][exchange.asked[tile]],
                ranks["keys"][exchange.asked[tile]],
            ),
            dry,
        )
        keys = ranks["keys"]
        rounds += spread(keys, dry)
    told: dict[int, tuple[Any, ...]] = dict.fromkeys(range(len(tiling)), (None, None, None))
    for t in exchange.tiles:
        mine = exchange.asked[t]
        told[t] = (
            known["away"][mine],
            known["toward"][mine],
            keys[mine] if keys is not None and t in dry else None,
        )
    return told, rounds


def paths(survey: TiledSurvey, store: TileStore, grid: Grid) -> tuple[FlowPaths, ChannelCells]:
    """Draw the flow paths of a drained survey, whole, from the cells that its tiles kept."""
    parts = [
        ChannelCells(**{name: pack[name] for name in ChannelCells.__slots__})
        for tile in range(len(survey.tiling))
        for pack in [store.read_pack("channels", tile)]
    ]
    channels = joined_cells(parts)
    return paths_along(channels, grid), channels


class _Exchange:
    """Who tells whom of which cells."""

    def __init__(self, survey: TiledSurvey, packs: Mapping[int, Pack]) -> None:
        tiling = survey.tiling
        self._survey = survey
        self.tiles = sorted(packs)
        starts = np.cumsum([0, *(packs[t]["offered"].size for t in self.tiles)])
        self.size = int(starts[-1])
        self.own = {
            t: slice(int(a), int(b))
            for t, a, b in zip(self.tiles, starts[:-1], starts[1:], strict=True)
        }
        self.asked: dict[int, NDArray[np.int64]] = {}
        for t in self.tiles:
            cells = packs[t]["given"]
            owner = tiling.owners(*np.divmod(cells, tiling.cols))
            asked = np.empty(cells.size, dtype=np.int64)
            for other in np.unique(owner).tolist():
                among = owner == other
                offered = packs[other]["offered"]
                asked[among] = self.own[other].start + np.searchsorted(offered, cells[among])
            self.asked[t] = asked

    def joined(self, values: Mapping[int, NDArray[np.int64]]) -> NDArray[np.int64]:
        """Put the values of all offered cells into one array."""
        return np.concatenate([np.empty(0, np.int64), *(values[t] for t in self.tiles)])

    def settle(
        self,
        runner: Runner,
        function: Callable[..., Pack],
        known: dict[str, NDArray[np.int64]],
        arguments: Callable[[int], tuple[Any, ...]],
        first: set[int],
    ) -> int:
        """Call a pass for the tiles that have something to learn, until none has; in place."""
        waiting, rounds = first, 0
        while waiting:
            rounds += 1
            learnt = runner.each(
                "flats across seams", function, {t: arguments(t) for t in sorted(waiting)}
            )
            changed = np.zeros(self.size, dtype=np.bool_)
            for t, pack in learnt.items():
                for name, values in pack.items():
                    changed[self.own[t]] |= known[name][self.own[t]] != values
                    known[name][self.own[t]] = values
            waiting = {t for t in self.tiles if changed[self.asked[t]].any()}
        return rounds


def divide(
    survey: TiledSurvey, runner: Runner, drained: Drained, intakes: NDArray[np.int64]
) -> Intakes:
    """Divide a drained survey among intakes.

    Parameters
    ----------
    intakes : int64 (intakes, 2); row and column of each, on cells with data.
    """
    tiling = survey.tiling
    tiles = range(len(tiling))
    linear = intakes[:, 0] * tiling.cols + intakes[:, 1]
    owner = tiling.owners(intakes[:, 0], intakes[:, 1])
    at = {t: np.flatnonzero(owner == t) for t in tiles}
    mine = {t: (linear[at[t]], (at[t] + 1).astype(np.int32)) for t in tiles}
    reads = {t: (drained.direction_digests[t],) for t in tiles}
    met = runner.each("intakes", passes.meets, mine, reads)
    onward = solve_labels(tiling, drained.codes, [met[t]["meets"] for t in tiles])
    around = {
        t: tuple(drained.direction_digests[n] for n in tiling.over(tiling.padded(t, 1)))
        for t in tiles
    }
    found = runner.each(
        "subcatchments",
        passes.labels,
        {t: (*mine[t], onward[t], len(intakes)) for t in tiles},
        around,
    )
    own = sum(found[t]["own_cells"] for t in tiles)[1:]
    touched = np.any([found[t]["touched"] for t in tiles], axis=0)[1:]
    boxes = np.array([found[t]["box"] for t in tiles if found[t]["box"].size])
    (first_row, first_col), (last_row, last_col) = (
        boxes[:, :, 0].min(axis=0).tolist(),
        boxes[:, :, 1].max(axis=0).tolist(),
    )
    downstream = np.zeros(len(intakes), dtype=np.int32)
    for t in tiles:
        downstream[at[t]] = found[t]["downstream"]
    return Intakes(
        downstream_ids=downstream,
        own_cells=own,
        cells=gathered(downstream, own),
        edge_limited=gathered(downstream, touched, np.logical_or),
        edge=joined(
            [OpenEdge(*(found[t][f"edge_{name}"] for name in OpenEdge._fields)) for t in tiles]
        ),
        box=Window(first_row, first_col, last_row - first_row + 1, last_col - first_col + 1),
    )


def _plain(pack: Pack) -> Pack:
    return {name: pack[name] for name in ("level_m", "leaves", "one", "other", "at_m")}
