"""The person's inputs as the engine and the stages want them: paths resolved, files listed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.engine import STORE, Source, files_of
from brimline.io.paths import VectorSource, missing

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from brimline.config import Loaded
    from brimline.config.tables import InputSource as Entry
    from brimline.errors import Problem

_VECTORS = (
    "boundary",
    "intakes",
    "surfaces",
    "soils",
    "keep_out",
    "culverts",
    "as_built",
    "breaklines",
    "walls",
    "notes",
    "tile_index",
)
_FILES = ("plan", "weather", "rainfall", "inflows", "plants", "guilds")


def sources_of(loaded: Loaded) -> dict[str, Source]:
    """Return what the site's file says of each input; inputs that it leaves out are left out."""
    inputs = loaded.settings.inputs
    patterns = [loaded.resolve(name) for name in inputs.elevation]
    files = tuple(file for pattern in patterns for file in files_of(pattern))
    found = {"elevation": Source(patterns, files, list(inputs.elevation), tuple(patterns))}
    for name in _VECTORS:
        entry = getattr(inputs, name)
        if entry is not None:
            found[name] = _vector(loaded, entry)
    for name in _FILES:
        said = getattr(inputs, name)
        if said is not None:
            path = loaded.resolve(said)
            found[name] = Source(path, files_of(path), said=said)
    return found


def missing_files(sources: Mapping[str, Source]) -> list[Problem]:
    """Say which files that the site's file names are not there."""
    return [
        missing(path) for source in sources.values() for path in source.files if not path.exists()
    ]


def store_of(loaded: Loaded) -> Path:
    """Return the folder of the results of stages, which several sites may share."""
    said = loaded.settings.keep.store
    return loaded.resolve(said) if said else loaded.folder / STORE


def said_paths(loaded: Loaded) -> tuple[Path, ...]:
    """Return the files, folders and patterns that the site's file names, resolved."""
    inputs = loaded.settings.inputs
    names = [*inputs.elevation, *(inputs.coarser or ())]
    names += [entry.file for name in _VECTORS if (entry := getattr(inputs, name)) is not None]
    names += [said for name in _FILES if (said := getattr(inputs, name)) is not None]
    return tuple(loaded.resolve(name) for name in names)


def _vector(loaded: Loaded, entry: Entry) -> Source:
    path = loaded.resolve(entry.file)
    value = VectorSource(path, entry.layer, entry.where)
    return Source(value, files_of(path), said=entry.model_dump(mode="json"))
