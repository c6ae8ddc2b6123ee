"""What a person wrote for a file: globs spread out, missing files named with their nearest."""

from __future__ import annotations

import difflib
import glob
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from brimline.errors import InputError, Problem, Severity

if TYPE_CHECKING:
    from collections.abc import Iterable

_GLOB: Final = frozenset("*?[")
_TABLES: Final = frozenset({".csv", ".txt", ".tsv"})
_LAYERS: Final = frozenset({".gpkg", ".geojson", ".json", ".fgb", ".shp", ".gpx", ".dxf", ".kml"})
_CLOUDS: Final = frozenset({".las", ".laz"})  # COPC files end in .copc.laz


@dataclass(frozen=True, slots=True)
class VectorSource:
    """Where rows come from: a file, a layer in it, and a filter in SQL words."""

    path: Path
    layer: str = ""
    where: str = ""

    def __str__(self) -> str:
        return f"{self.path} ({self.layer})" if self.layer else str(self.path)


def is_table(path: Path) -> bool:
    """Tell whether a file is read as text rather than as a layer of points."""
    return path.suffix.casefold() in _TABLES


def is_remote(name: str) -> bool:
    """Tell whether what a person wrote for a file is an address."""
    return name.lower().startswith(("http://", "https://"))


def is_levels(path: Path) -> bool:
    """Tell whether a file holds single levels rather than a raster or a cloud, by its ending."""
    return is_table(path) or path.suffix.lower() in _LAYERS


def is_points(path: Path) -> bool:
    """Tell whether a file is a point cloud, by its ending."""
    return path.suffix.lower() in _CLOUDS


def spread(paths: str | Path | Iterable[str | Path]) -> tuple[Path, ...]:
    """Return the files that paths and globs stand for, in the order written, globs sorted.

    Raises
    ------
    InputError
        Naming every path that is missing and every glob that fits no file.
    """
    written = [paths] if isinstance(paths, str | Path) else list(paths)
    found: dict[Path, None] = {}
    problems: list[Problem] = []
    for entry in written:
        path = Path(entry)
        if path.is_file():
            found[path] = None
        elif _GLOB & set(str(entry)):
            fits = sorted(Path(name) for name in glob.glob(str(entry), recursive=True))  # noqa: PTH207
            files = [fit for fit in fits if fit.is_file()]
            if "**" in str(entry):  # folders that links lead to are entered, even in circles
                shortest = sorted(files, key=lambda fit: len(fit.parts), reverse=True)
                once = set({fit.resolve(): fit for fit in shortest}.values())
                files = [fit for fit in files if fit in once]
            found.update(dict.fromkeys(files))
            if not files:
                problems.append(_no_fit(str(entry)))
        else:
            problems.append(missing(path))
    if problems:
        raise InputError(problems)
    return tuple(found)


def missing(path: Path) -> Problem:
    """Say that a file does not exist, and what comes nearest to its name."""
    if path.is_dir():
        return Problem(
            Severity.ERROR,
            "is a folder, not a file",
            'name the file in it, or use a pattern such as "folder/*.tif".',
            str(path),
        )
    if path.exists():
        return Problem(
            Severity.ERROR,
            "is no plain file but a pipe or a device",
            "write what it gives into a file and name that.",
            str(path),
        )
    near = nearest_file(path)
    if near is not None:
        mend = f'did you mean "{near.name}"? It lies in {near.parent}.'
    elif path.parent.is_dir():
        mend = f"put the file into {path.parent} or correct its name."
    else:
        mend = f"the folder {path.parent} does not exist either; correct the path."
    return Problem(Severity.ERROR, "does not exist", mend, str(path))


def nearest_file(path: Path) -> Path | None:
    """Return the file in the same folder whose name comes nearest, if any comes near."""
    if not path.parent.is_dir():
        return None
    names = {entry.name.casefold(): entry for entry in path.parent.iterdir() if entry.is_file()}
    near = difflib.get_close_matches(path.name.casefold(), sorted(names), n=1, cutoff=0.6)
    if not near:  # a right name with a wrong ending
        near = [name for name in sorted(names) if Path(name).stem == path.stem.casefold()][:1]
    return names[near[0]] if near else None


def nearest_word(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that comes nearest to a misspelled one, if any comes near."""
    by_fold = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(word.casefold(), sorted(by_fold), n=1, cutoff=0.6)
    return by_fold[near[0]] if near else None


def _no_fit(pattern: str) -> Problem:
    folder = Path(pattern).parent
    there = "" if folder.is_dir() or _GLOB & set(str(folder)) else f" ({folder} does not exist)"
    return Problem(
        Severity.ERROR, f"fits no file{there}", "correct the pattern or the folder.", pattern
    )
