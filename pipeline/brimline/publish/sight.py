"""What a piece may look at, and a note of what it looked at."""

from __future__ import annotations

import hashlib
import json
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from brimline.engine.stage import GRID
from brimline.engine.stage import NEAR as NEAR_BLOCK
from brimline.engine.store import DamagedError, Record
from brimline.grid import Grid
from brimline.io.intermediates import FileCodec
from brimline.layers import CATALOGUE, Layer, Raster, Table
from brimline.publish.groups import NEAR
from brimline.report.results import Results

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from brimline.engine import RunResult
    from brimline.engine.store import Store, Stored
    from brimline.grid.tiles import Window
    from brimline.units import System

# a kind (value, piece, manifest) and a name or the keys to it; "names" alone: what there is at all
Read = tuple[str, ...]
_DRAWN: Final = "drawn"
_HELD_BYTES: Final = (
    200_000_000  # stored size of the values that a process keeps for the next piece
)
_held: OrderedDict[str, tuple[int, Any]] = OrderedDict()
TYPED: Final = frozenset({"storms"})  # values of the domain that pages tell of


@dataclass(frozen=True, slots=True)
class World:
    """A finished run as every process is told of it: names and digests, no arrays.

    Parameters
    ----------
    folder : of the store.
    outputs : stored values of the catalogue and facts by name.
    made : stored files of pieces by name, None where there is nothing for one.
    near : the block of the grid that lies near the site, which pages show; None is all of it.
    manifest : of the run, its moment cut to the day, so that pages of one day are the same.
    """

    folder: Path
    outputs: Mapping[str, Stored]
    manifest: Mapping[str, Any]
    grid: Grid
    site_name: str
    units: System
    cautions: tuple[str, ...]
    made: Mapping[str, Stored | None] = field(default_factory=dict)
    near: Window | None = None

    @property
    def near_grid(self) -> Grid:
        """Where the cells near the site are."""
        return self.grid.window(*self.near) if self.near else self.grid

    def with_made(self, made: Mapping[str, Stored | None]) -> World:
        """Return the same with these pieces, and layers as far as they lie near the site."""
        near = {NEAR[name]: stored for name, stored in made.items() if name in NEAR and stored}
        return replace(self, made=dict(made), outputs={**self.outputs, **near})

    def digest(self, read: Read) -> str | None:
        """Return a digest of what a read gives; None where it gives nothing."""
        kind, *names = read
        if kind == "names":
            return hashlib.sha256("\n".join(sorted(self.outputs)).encode()).hexdigest()
        if kind == "manifest":
            value = self.manifest_at(names)
            text = json.dumps(value, sort_keys=True, default=str)
            return hashlib.sha256(text.encode()).hexdigest()
        stored = (self.outputs if kind == "value" else self.made).get(names[0])
        return None if stored is None else stored.digest

    def manifest_at(self, keys: list[str]) -> Any:  # noqa: ANN401 - any plain value
        """Return what the manifest holds there; None for nothing."""
        value: Any = self.manifest
        for key in keys:
            value = value.get(key) if isinstance(value, Mapping) else None
        return value


class Sight:
    """A run as one piece sees it; values load when they are looked at."""

    def __init__(self, world: World, store: Store, base: str = "") -> None:
        self.world = world
        self._base = base
        self.reads: set[Read] = set()
        self._store = store

    @property
    def results(self) -> Results:
        """The run as pages are made from it."""
        self._hear("names")  # a layer that a further stage makes must be seen
        items = {name: CATALOGUE[name] for name in self.world.outputs if name in CATALOGUE}
        shown = {name: item for name, item in items.items() if item.published}
        facts = [
            name
            for name in self.world.outputs
            if name not in CATALOGUE and name not in (GRID, NEAR_BLOCK)
        ]
        return Results(
            self.world.site_name,
            self.world.units,
            self.near_grid,
            _Values([n for n, item in shown.items() if not isinstance(item, Raster)], self.value),
            _Values([n for n, item in shown.items() if isinstance(item, Raster)], self.near),
            _Manifest(self.world.manifest, (), self._hear),
            _Values(facts, self.value),
            self.world.cautions,
            self,
        )

    @property
    def near_grid(self) -> Grid:
        """Where the cells near the site are."""
        self._hear("value", NEAR_BLOCK)
        return self.world.near_grid

    @property
    def day(self) -> datetime:
        """The day of the run, for files that must state a moment."""
        return datetime.fromisoformat(self.results.manifest["finished"]).replace(tzinfo=UTC)

    @property
    def published(self) -> list[Layer | Table | Raster]:
        """Declarations of what the run published, in the catalogue's order."""
        self._hear("names")
        items = CATALOGUE.values()
        return [item for item in items if item.published and item.name in self.world.outputs]

    def value(self, name: str) -> Any:  # noqa: ANN401 - the declaration says what it is
        """Return a value of the run; None where it made none of that name."""
        self._hear("value", name)
        stored = self.world.outputs.get(name)
        if stored is None:
            return None
        if stored.digest in _held:
            _held.move_to_end(stored.digest)
            return _held[stored.digest][1]
        item, path = CATALOGUE.get(name), self._store.open(stored)
        value: Any
        if name in TYPED:
            value = FileCodec().read_value(path)
        else:
            value = json.loads(path.read_bytes()) if item is None else FileCodec().read(path, item)
        _hold(stored, value)
        return value

    def near(self, raster: str) -> Any:  # noqa: ANN401 - an array
        """Return what of a raster lies near the site; None where there is none of that name."""
        item, block = CATALOGUE[raster], self.world.near
        if block is None or block.shape == self.world.grid.shape or getattr(item, "near", False):
            return self.value(raster)
        from brimline.io.rasters import read_block  # only where a piece is made

        self._hear("value", NEAR_BLOCK)
        self._hear("value", raster)
        stored = self.world.outputs.get(raster)
        return None if stored is None else read_block(self._store.open(stored), block)

    def rows(self, name: str) -> Any:  # noqa: ANN401 - a frame
        """Return a layer or table that holds rows, else None."""
        frame = self.value(name)
        return None if frame is None or frame.empty else frame

    def piece(self, name: str) -> str | None:
        """Return the text of another piece; None where there is none."""
        file = self.piece_file(name)
        return None if file is None else file.read_text(encoding="utf-8")

    def piece_file(self, name: str) -> Path | None:
        """Return the file of another piece; None where there is none."""
        self._hear("piece", name)
        stored = self.world.made.get(name)
        return None if stored is None else self._store.open(stored)

    def told(self, raster: str) -> str | None:
        """Return a digest of a raster without loading it; None where there is none."""
        self._hear("value", raster)
        stored = self.world.outputs.get(raster)
        return None if stored is None else stored.digest

    def recall(self, of: object, draw: Callable[[], Any]) -> Any:  # noqa: ANN401 - plain values
        """Return what the same piece drew of the same before, else draw it."""
        text = json.dumps([self._base, of], sort_keys=True)
        key = hashlib.sha256(text.encode()).hexdigest()
        record = self._store.record(key)
        if record is not None:
            with suppress(DamagedError):
                return json.loads(self._store.open(record.outputs[_DRAWN]).read_bytes())
        drawn = draw()
        content = json.dumps(drawn)
        stored = self._store.put(lambda path: path.write_text(content, encoding="utf-8"))
        self._store.keep(key, Record(_DRAWN, {_DRAWN: stored}))
        return drawn

    def _hear(self, *read: str) -> None:
        self.reads.add(read)


def results_of(
    result: RunResult,
    manifest: Mapping[str, Any],
    site_name: str,
    units: System,
    cautions: tuple[str, ...],
) -> Results:
    """Return a run that has just ended as pages are made from it."""
    shown = {item.name: item for item in result.published}
    return Results(
        site_name,
        units,
        Grid(**result.value(GRID)),
        _Values([n for n, item in shown.items() if not isinstance(item, Raster)], result.value),
        _Values([n for n, item in shown.items() if isinstance(item, Raster)], result.value),
        manifest,
        _Values([*result.fact_names, *(TYPED & result.outputs.keys())], result.value),
        cautions,
    )


def _hold(stored: Stored, value: Any) -> None:  # noqa: ANN401
    """Keep a value for the next piece of this process, as far as there is room."""
    if stored.size > _HELD_BYTES / 4:
        return
    _held[stored.digest] = (stored.size, value)
    while sum(size for size, _ in _held.values()) > _HELD_BYTES:
        _held.popitem(last=False)


class _Values(Mapping[str, Any]):
    """Values by name, each loaded when it is asked for."""

    def __init__(self, names: list[str], load: Callable[[str], Any]) -> None:
        self._names, self._load = dict.fromkeys(names), load

    def __getitem__(self, name: str) -> Any:  # noqa: ANN401
        value = self._load(name)  # also what is not there: that it is missing is read as well
        if name not in self._names:
            raise KeyError(name)
        return value

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


class _Manifest(Mapping[str, Any]):
    """A mapping within the manifest that tells which of its leaves are read."""

    def __init__(
        self, values: Mapping[str, Any], keys: tuple[str, ...], hear: Callable[..., None]
    ) -> None:
        self._values, self._keys = values, keys
        self._hear = partial(hear, "manifest", *keys)

    def __getitem__(self, key: str) -> Any:  # noqa: ANN401
        value = self._values.get(key)
        if isinstance(value, Mapping):
            return _Manifest(value, (*self._keys, key), self._hear_root)
        self._hear(key)
        return self._values[key]

    def __iter__(self) -> Iterator[str]:
        self._hear()
        return iter(self._values)

    def __len__(self) -> int:
        self._hear()
        return len(self._values)

    def _hear_root(self, *read: str) -> None:
        self._hear.func(*read)
