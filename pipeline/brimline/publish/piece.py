"""A piece of the run folder, and its key in the store."""

from __future__ import annotations

import hashlib
import json
import time
import uuid
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from brimline.engine import Later, place_of
from brimline.engine.store import Record, Store, explained
from brimline.publish.groups import RASTERS
from brimline.publish.sight import Sight

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from brimline.engine.store import Stored
    from brimline.publish.sight import Read, World

_FILE: Final = "file"
_READS: Final = "reads"


@dataclass(frozen=True, slots=True)
class Piece:
    """One file of the run folder, or a part that other pieces are put together from.

    Parameters
    ----------
    name : where the file goes in the run folder, or any word for a part.
    group : what people ask for it with; pieces of no group are made where others read them.
    title : what people read while it is made.
    make : a plain function of a module; writes the file to the path that it is handed, or leaves
        it away where the run has nothing for it.
    args : plain values, handed on to `make`.
    code : modules that `make` reaches by name only.
    part : it does not go into the run folder by itself.
    after : earlier pieces are made first: those that it is put together from.
    """

    name: str
    group: str
    title: str
    make: Callable[..., None]
    args: tuple[str, ...] = ()
    code: tuple[str, ...] = ()
    part: bool = False
    after: tuple[str, ...] = ()

    @property
    def modules(self) -> tuple[str, ...]:
        """Modules whose code, and all that it reaches, makes the piece."""
        return (place_of(self.make).module, *self.code)


def raster_piece(name: str) -> Piece:
    """Return the piece that one raster is; what writes it is loaded when it is made."""
    file = f"{RASTERS}/{name}.tif"
    write = Later("brimline.publish.data", "write_one_raster")
    return Piece(file, RASTERS, f"writing {file}", write, (name,))


class Made(NamedTuple):
    """A piece that is there: its file, None where the run has nothing for it; how it came."""

    stored: Stored | None
    keys: tuple[str, ...]
    seconds: float = 0.0


def base_key(piece: Piece, parts: Mapping[str, Any]) -> str:
    """Return a digest of all that a piece depends on but what it reads."""
    place = place_of(piece.make)
    told = [piece.name, place.module, place.name, piece.args, parts]
    return _digest(told)


def found(base: str, world: World, store: Store) -> Made | None:
    """Return what an earlier run made of the same code from the same content, if it is there."""
    note = store.record(base)
    if note is None:
        return None
    reads: list[Read] = json.loads(store.open(note.outputs[_READS]).read_bytes())
    key = _full_key(base, reads, world)
    record = store.record(key)
    return None if record is None else Made(record.outputs.get(_FILE), (base, key))


def make(piece: Piece, base: str, world: World) -> Made:
    """Make a piece, in whatever process, and keep it."""
    began = time.perf_counter()
    store = Store(world.folder)
    sight = Sight(world, store, base)
    path = store.folder / "partial" / f"{uuid.uuid4().hex[:8]}-{piece.name.rpartition('/')[2]}"
    try:
        with explained(store.folder):
            piece.make(sight, path, *piece.args)
        stored = store.put(path.replace) if path.exists() else None
    finally:
        path.unlink(missing_ok=True)
    seconds = time.perf_counter() - began
    reads = sorted(sight.reads)
    note = store.put(lambda to: to.write_text(json.dumps(reads), encoding="utf-8"))
    key = _full_key(base, reads, world)
    store.keep(key, Record(piece.name, {} if stored is None else {_FILE: stored}, (), seconds))
    store.keep(base, Record(piece.name, {_READS: note}))
    return Made(stored, (base, key), seconds)


def _full_key(base: str, reads: list[Read], world: World) -> str:
    return _digest([base, [[*read, world.digest(tuple(read))] for read in reads]])


def _digest(plain: Any) -> str:  # noqa: ANN401 - what JSON can hold
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()
