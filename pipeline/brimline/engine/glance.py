"""Whether anything at all can have changed since the last run, seen before anything heavy loads.

A run that ended well leaves a note of every file that it rests on, with its size, times and inode.
While all of them are as they were, so is the result. Where one is not, or there is no note, the
stages are asked, which know better. A run removes the note when it starts, so that one that was
killed is always followed by one that looks at everything.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import brimline
from brimline.engine.digests import files_of, is_fresh, status
from brimline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from brimline.engine.digests import Status

NOTE: Final = "glance.json"
_PACKAGE: Final = Path(brimline.__file__).parent


def code_files() -> dict[Path, Status]:
    """Return every file of brimline itself with its status."""
    found = (path for path in _PACKAGE.rglob("*") if "__pycache__" not in path.parts)
    return {path: status(path) for path in found if path.is_file()}


def forget(store_folder: Path) -> None:
    """Remove the note."""
    (store_folder / NOTE).unlink(missing_ok=True)


def note_text(
    site: Path,
    name: str,
    folder: Path,
    said: Iterable[Path],
    seen: Mapping[Path, Status],
    code: Mapping[Path, Status],
    results: Iterable[Path],
    began_s: float,
) -> str:
    """Return the text of the note; empty where it could not be trusted.

    That is so where a file is too fresh to be sure of, or where an input has come that was not
    read.

    Parameters
    ----------
    site, name : file of the site, and its name.
    folder : run folder.
    said : inputs as the site says them: files, folders and patterns.
    seen : files that were read, with their status before.
    code : of brimline, as `code_files` had it when the run began.
    results : files that tell that the run folder is whole.
    began_s : when the run began, in seconds as `time.time` gives them.
    """
    files = _told({path: found for path, found in seen.items() if path not in code})
    patterns = {str(path.absolute()): _names(files_of(path)) for path in said}
    fresh = any(is_fresh(found, began_s) for found in (*seen.values(), *code.values()))
    if fresh or any(name not in files for names in patterns.values() for name in names):
        return ""
    return json.dumps(
        {
            "site": str(site.absolute()),
            "name": name,
            "folder": str(folder.absolute()),
            "files": files | _told({path: status(path) for path in results}),
            "said": patterns,
            "code": _told(code),
            "libraries": _libraries(),
        }
    )


def unchanged(store_folder: Path, site: Path, folder: Path) -> str | None:
    """Return the name of the site where nothing can have changed, else None.

    Parameters
    ----------
    folder : that the run would write to.
    """
    try:
        note: dict[str, Any] = json.loads((store_folder / NOTE).read_text(encoding="utf-8"))
        same = (
            note["site"] == str(site.absolute())
            and note["folder"] == str(folder.absolute())
            and note["libraries"] == _libraries()
            and note["code"] == _told(code_files())
            and all(_names(files_of(Path(path))) == names for path, names in note["said"].items())
            and all(list(status(Path(path))) == found for path, found in note["files"].items())
        )
        return str(note["name"]) if same else None
    except (OSError, ValueError, KeyError, TypeError, InputError):
        return None  # no note, one of another version, or a file that is gone


def _told(files: Mapping[Path, Status]) -> dict[str, list[int]]:
    return {str(path.absolute()): list(found) for path, found in files.items()}


def _names(paths: Iterable[Path]) -> list[str]:
    return sorted(str(path.absolute()) for path in paths)


def _libraries() -> list[str]:
    """Python and every installed distribution, by name and version."""
    folders = [Path(entry) for entry in dict.fromkeys(sys.path) if entry]
    found = [path.name for folder in folders for path in folder.glob("*.dist-info")]
    return [sys.version, *sorted(found)]
