"""Rasters of the run folder, made while later stages still run."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from brimline.engine import GRID, NEAR
from brimline.grid import Grid
from brimline.grid.tiles import Window
from brimline.layers import CATALOGUE, Raster
from brimline.publish.folder import CAUTIONS, base_keys
from brimline.publish.piece import found, raster_piece
from brimline.publish.sight import World

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.engine import CodeReach, RunInputs, Store
    from brimline.engine.store import Stored
    from brimline.publish.workers import Workers
    from brimline.units import System


class RastersAhead:
    """Hands each raster over to a worker as soon as its stage is done.

    A piece that was made ahead is found by its key when the folder is filled, as of an earlier run.

    Parameters
    ----------
    site_name, units : as `publish` takes them.
    """

    def __init__(
        self,
        inputs: RunInputs,
        reach: CodeReach,
        store: Store,
        workers: Workers,
        site_name: str,
        units: System,
    ) -> None:
        self._inputs, self._reach, self._store = inputs, reach, store
        self._workers, self._site_name, self._units = workers, site_name, units

    def made(self, outputs: Mapping[str, Stored], there: Mapping[str, Stored]) -> None:
        """Take what a stage has made, and where all stands that is there by now."""
        if not {GRID, NEAR} <= there.keys():
            return  # what comes before they are known is written at the end
        for name in outputs:
            item = CATALOGUE.get(name)
            if isinstance(item, Raster) and item.published:
                self._hand_over(name, there)

    def _hand_over(self, name: str, there: Mapping[str, Stored]) -> None:
        piece = raster_piece(name)
        grid, near = (json.loads(self._store.open(there[at]).read_bytes()) for at in (GRID, NEAR))
        world = World(
            self._store.folder, {at: there[at] for at in (GRID, NEAR, name)}, {}, Grid(**grid),
            self._site_name, self._units, CAUTIONS, near=Window(**near),
        )  # fmt: skip
        base = base_keys((piece,), self._inputs, self._reach, world)[piece.name]
        if found(base, world, self._store) is None:
            self._workers.hand_over(piece, base, world)
