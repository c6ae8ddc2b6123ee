"""What is done to one tile in each pass: small packs come back, rasters stay in the store.

A pass reads blocks of the store, calls the domain, and writes its own tile. It never waits for
another task. Working rasters hold NaN for nodata outside the survey and minus infinity for nodata
that the survey encloses.
"""

from __future__ import annotations

import hashlib
import uuid
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from brimline._jit import threads
from brimline.drainage.catchments.edges import OpenEdge, open_edge
from brimline.drainage.catchments.seams import label_tile, ring_labels
from brimline.drainage.flow.seams import (
    HALO,
    FlatDistances,
    RimFlats,
    accumulate_tile,
    direct_tile,
    flat_distances,
    outlet_keys,
    rim_flats,
    tile_links,
)
from brimline.drainage.paths import channel_cells
from brimline.grid import NO_DATA, OUTLET
from brimline.grid.tiles import Tiling, Window
from brimline.terrain.conditioning.seams import (
    breach_cuts,
    breach_halo,
    enclosed_marked,
    fill_tile,
    tile_nodata,
    tile_spills,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from brimline.grid import BoolGrid, Directions, Elevation, Labels

Pack = dict[str, Any]  # arrays by name, small enough to travel


class TileStore(Protocol):
    """Where the rasters and packs of tiles are kept between passes."""

    def read(self, name: str, window: Window) -> NDArray[Any]:
        """Return a block of a raster, which may lie in several tiles."""

    def write(self, name: str, tile: int, array: NDArray[Any]) -> None:
        """Keep a tile of a raster."""

    def read_pack(self, name: str, tile: int) -> Pack:
        """Return the pack of a tile."""

    def write_pack(self, name: str, tile: int, pack: Pack) -> None:
        """Keep a pack of a tile."""

    def publish(self, name: str, tile: int, array: NDArray[Any]) -> None:
        """Hand on a tile of a result."""


@dataclass(frozen=True)
class TiledSurvey:
    """What all passes know.

    Parameters
    ----------
    tiling : the whole grid and its tiles.
    cell_m : side of a cell [m].
    mode : ``"breach"``, ``"fill"`` or ``"none"``, as in `condition`.
    max_depth_m, max_length_m : limits of a breach [m]; the length must be finite.
    sinks : int64; linear indices of kept sinks, ascending.
    """

    tiling: Tiling
    cell_m: float
    mode: str = "breach"
    max_depth_m: float = 1.0
    max_length_m: float = 30.0
    sinks: tuple[int, ...] = ()

    @property
    def breach_halo(self) -> int:
        """Cells around a tile that decide how its pits are breached."""
        return breach_halo(self.cell_m, self.max_length_m)

    def sinks_in(self, window: Window) -> BoolGrid | None:
        """Kept sinks of a window; None where the survey has none."""
        if not self.sinks:
            return None
        kept = np.zeros(window.shape, dtype=np.bool_)
        cells = self.tiling.local(window, np.array(self.sinks, dtype=np.int64))
        kept.ravel()[cells[cells >= 0]] = True
        return kept


def digest_of(array: NDArray[Any]) -> str:
    """Return a digest of an array's bytes."""
    return hashlib.sha256(np.ascontiguousarray(array).data).hexdigest()[:32]


def ground(
    store: TileStore, survey: TiledSurvey, tile: int, read: Callable[[Window], Elevation]
) -> Pack:
    """Take a tile in from the source."""
    at = survey.tiling.window(tile)
    level = read(at)
    nodata = ~np.isfinite(level)
    count = int(np.count_nonzero(nodata))
    store.write("ground", tile, level)
    pack: Pack = {"valid_cells": level.size - count, "digest": digest_of(level)}
    pack["made"] = uuid.uuid4().hex  # `voids` works on the file: made anew, it must run anew
    if count:
        pack["pieces"] = tile_nodata(nodata, at)
    if count < level.size:
        pack["lowest_m"], pack["highest_m"] = np.nanmin(level), np.nanmax(level)
    return pack


def voids(store: TileStore, survey: TiledSurvey, tile: int, outside: NDArray[np.bool_]) -> Pack:
    """Tell enclosed nodata from what lies outside."""
    at = survey.tiling.window(tile)
    store.write("ground", tile, enclosed_marked(store.read("ground", at), at, outside))
    return {}


def breach(store: TileStore, survey: TiledSurvey, tile: int) -> Pack:
    """List the cuts that drain the pits of a tile."""
    around = survey.tiling.padded(tile, survey.breach_halo)
    limits = (survey.cell_m, survey.max_depth_m, survey.max_length_m)
    cells, levels = breach_cuts(
        store.read("ground", around),
        survey.tiling.window(tile),
        around,
        limits,
        survey.sinks_in(around),
    )
    linear = survey.tiling.linear(around, cells)
    store.write_pack("cuts", tile, {"cells": linear, "levels_m": levels})
    return {"digest": digest_of(linear) + digest_of(levels)}


def opened(store: TileStore, survey: TiledSurvey, tile: int) -> Elevation:
    """Return the ground of a tile with the cuts of all pits near it."""
    at = survey.tiling.window(tile)
    level: Elevation = store.read("ground", at)
    if survey.mode != "breach":
        return level
    for near in survey.tiling.over(survey.tiling.padded(tile, survey.breach_halo)):
        cuts = store.read_pack("cuts", near)
        cells = survey.tiling.local(at, cuts["cells"])
        mine = cells >= 0
        np.fmin.at(level.ravel(), cells[mine], cuts["levels_m"][mine])
    return level


def spills(store: TileStore, survey: TiledSurvey, tile: int) -> Pack:
    """Reduce a tile to the levels at which its ring cells are joined."""
    at = survey.tiling.window(tile)
    found = tile_spills(opened(store, survey, tile), at, survey.tiling.whole, survey.sinks_in(at))
    return {name: getattr(found, name) for name in ("level_m", "leaves", "one", "other", "at_m")}


def conditioned(
    store: TileStore, survey: TiledSurvey, tile: int, spill_m: NDArray[np.float32] | None
) -> Pack:
    """Fill a tile, given the levels at which water leaves from its ring."""
    at = survey.tiling.window(tile)
    level = opened(store, survey, tile)
    surface = level
    if spill_m is not None:
        surface = fill_tile(level, at, survey.tiling.whole, survey.sinks_in(at), spill_m)
        enclosed = np.isneginf(level)
        if enclosed.any():
            surface[enclosed] = -np.inf
    store.write("conditioned", tile, surface)
    return {"digest": digest_of(surface)}


def rims(store: TileStore, survey: TiledSurvey, tile: int) -> Pack:
    """List the flats of a tile that reach its rim, and spread what the tile knows of them."""
    around = survey.tiling.padded(tile, HALO)
    flats = rim_flats(
        store.read("conditioned", around),
        survey.tiling.window(tile),
        around,
        survey.sinks_in(around),
    )
    if flats is None:
        return {}
    store.write_pack(
        "rims",
        tile,
        {
            "box": np.array(flats.box),
            "cells": flats.cells,
            "notes": flats.notes,
            "given": flats.given,
            "offered": flats.offered,
        },
    )
    linear = survey.tiling.linear(flats.box, flats.cells)
    order = flats.offered[np.argsort(linear[flats.offered])]
    far = flat_distances(flats)
    store.write_pack("steps", tile, asdict(far))
    return {
        "given": linear[flats.given],
        "offered": linear[order],
        "away": far.away[order],
        "toward": far.toward[order],
    }


def _rim_flats(store: TileStore, tile: int) -> RimFlats:
    pack = store.read_pack("rims", tile)
    box = Window(*(int(size) for size in pack["box"]))
    return RimFlats(box, pack["cells"], pack["notes"], pack["given"], pack["offered"])


def relax(
    store: TileStore,
    survey: TiledSurvey,
    tile: int,
    away: NDArray[np.int64],
    toward: NDArray[np.int64],
    keys: NDArray[np.int64] | None,
) -> Pack:
    """Spread in the flats of a tile what its neighbours know."""
    flats = _rim_flats(store, tile)
    linear = survey.tiling.linear(flats.box, flats.cells)
    order = flats.offered[np.argsort(linear[flats.offered])]
    before = FlatDistances(**store.read_pack("steps", tile))
    far = _distances(flats, linear, (away, toward, keys), before)
    if far is not before:
        store.write_pack("steps", tile, asdict(far))
    return {"away": far.away[order], "toward": far.toward[order]}


def _distances(
    flats: RimFlats,
    linear: NDArray[np.int64],
    told: tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64] | None],
    before: FlatDistances,
) -> FlatDistances:
    away, toward, keys = told
    outlets = None if keys is None else outlet_keys(flats, linear, toward, keys)[1]
    return flat_distances(flats, away, toward, outlets, before)


def rank(
    store: TileStore,
    survey: TiledSurvey,
    tile: int,
    toward: NDArray[np.int64],
    keys: NDArray[np.int64],
) -> Pack:
    """Spread the rank of the cell that becomes the outlet of a flat without a way down."""
    flats = _rim_flats(store, tile)
    linear = survey.tiling.linear(flats.box, flats.cells)
    order = flats.offered[np.argsort(linear[flats.offered])]
    return {"keys": outlet_keys(flats, linear, toward, keys)[0][order]}


def directions(
    store: TileStore,
    survey: TiledSurvey,
    tile: int,
    away: NDArray[np.int64] | None,
    toward: NDArray[np.int64] | None,
    keys: NDArray[np.int64] | None,
) -> Pack:
    """Direct a tile, and tell how water passes through it."""
    at, around = survey.tiling.window(tile), survey.tiling.padded(tile, HALO)
    surface = store.read("conditioned", around)
    flats, far = None, None
    if away is not None and toward is not None:
        flats = _rim_flats(store, tile)
        linear = survey.tiling.linear(flats.box, flats.cells)
        before = FlatDistances(**store.read_pack("steps", tile))
        far = _distances(flats, linear, (away, toward, keys), before)
    codes = direct_tile(surface, at, around, survey.sinks_in(around), flats, far)
    store.write("flow_direction", tile, codes)
    store.publish("flow_direction", tile, codes)
    core = surface[at.inside(around)]
    store.publish("conditioned", tile, np.where(np.isneginf(core), np.float32(np.nan), core))
    links, own_cells = tile_links(codes)
    store.write("own_cells", tile, own_cells)
    return {
        "codes": links.codes,
        "own_cells": links.own_cells,
        "leads_to": links.leads_to,
        "digest": digest_of(codes),
    }


def accumulation(
    store: TileStore,
    survey: TiledSurvey,
    tile: int,
    inflow: NDArray[np.int64],
    path_area_m2: float | None,
) -> Pack:
    """Count what drains through each cell of a tile, and keep the cells of flow paths."""
    at = survey.tiling.window(tile)
    codes = store.read("flow_direction", at)
    cells = accumulate_tile(codes, store.read("own_cells", at), inflow)
    leaving = int(cells[codes == OUTLET].sum())
    cells *= survey.cell_m * survey.cell_m
    store.publish("contributing_area_m2", tile, cells)
    if path_area_m2 is not None:
        level, ground = (store.read(name, at) for name in ("conditioned", "ground"))
        found = channel_cells(codes, cells, level, ground, min_area_m2=path_area_m2)
        linear = survey.tiling.linear(at, found.cells)
        store.write_pack("channels", tile, asdict(found) | {"cells": linear})
    return {"leaving_cells": leaving}


def meets(
    store: TileStore,
    survey: TiledSurvey,
    tile: int,
    intakes: NDArray[np.int64],
    numbers: NDArray[np.int32],
) -> Pack:
    """Tell which intake the water of each ring cell meets first in the tile."""
    at = survey.tiling.window(tile)
    codes = store.read("flow_direction", at)
    return {"meets": ring_labels(codes, survey.tiling.local(at, intakes), numbers)}


def labels(
    store: TileStore,
    survey: TiledSurvey,
    tile: int,
    intakes: NDArray[np.int64],
    numbers: NDArray[np.int32],
    onward: NDArray[np.int32],
    count: int,
) -> Pack:
    """Label the ground of a tile by intake, and count it."""
    at, around = survey.tiling.window(tile), survey.tiling.padded(tile, 1)
    codes = store.read("flow_direction", around)
    found = label_tile(codes, at, around, survey.tiling.local(at, intakes), numbers, onward, count)
    store.publish("subcatchment", tile, found.labels)
    edge = _edge(store, codes, found.labels, at, around)
    rows, cols = (np.flatnonzero((found.labels > 0).any(axis=axis)) for axis in (1, 0))
    box = (at.row + rows[[0, -1]], at.col + cols[[0, -1]]) if rows.size else ()
    return {
        "box": np.array(box, dtype=np.int64),
        "own_cells": found.own_cells,
        "touched": found.touched,
        "downstream": found.downstream,
        **{f"edge_{name}": values for name, values in edge._asdict().items()},
    }


def _edge(
    store: TileStore, codes: Directions, labels: Labels, at: Window, around: Window
) -> OpenEdge:
    """Where the labelled ground of a tile leaves the data, in rows and columns of the survey."""
    framed = np.zeros(around.shape, dtype=np.int32)
    framed[at.inside(around)] = labels
    beyond = codes == NO_DATA
    if beyond.any():
        beyond &= np.isnan(store.read("conditioned", around))  # what is enclosed is minus infinity
    found = open_edge(framed, beyond)
    return found._replace(row=found.row + around.row, col=found.col + around.col)


def alone(function: Callable[..., Pack], *arguments: Any) -> Pack:  # noqa: ANN401
    """Call a pass with one thread: tasks share the processors, not their kernels."""
    with threads(1):
        return function(*arguments)
