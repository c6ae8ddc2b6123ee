"""Earlier run folders, kept beside the newest by date: ``site.20260412-073000`` beside ``site``.

The copy is made of hard links before the exchange, so it costs no room, and a process killed in
between leaves either no copy or a whole one.
"""

from __future__ import annotations

import json
import os
import re
import shutil
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from brimline.io.atomic import new_folder_beside, told

if TYPE_CHECKING:
    from pathlib import Path

_STAMP: Final = "%Y%m%d-%H%M%S"
_DATED: Final = r"\.\d{8}-\d{6}"
_MANIFEST: Final = "run.json"


def keep_dated(target: Path, finished: str) -> Path:
    """Keep the run in `target` under its date as well; return where.

    Parameters
    ----------
    finished : when that run ended, ISO 8601.

    Raises
    ------
    StoreError
        If it cannot be written; `target` is untouched.
    """
    when = datetime.fromisoformat(finished).astimezone(UTC).strftime(_STAMP)
    dated = target.with_name(f"{target.name}.{when}")
    if dated.exists():
        return dated
    part = new_folder_beside(target)
    try:
        shutil.copytree(target, part, copy_function=_link, dirs_exist_ok=True)
        part.rename(dated)
    except (OSError, shutil.Error) as fault:
        shutil.rmtree(part, ignore_errors=True)
        cause = fault if isinstance(fault, OSError) else OSError(str(fault))
        raise told(cause, dated) from fault
    return dated


def earlier(target: Path) -> list[Path]:
    """Return the kept runs of `target`, newest first; those from tomorrow count as oldest."""
    if not target.parent.is_dir():
        return []
    named = re.compile(re.escape(target.name) + _DATED)
    found = [path for path in target.parent.iterdir() if named.fullmatch(path.name)]
    now = f"{target.name}.{(datetime.now(UTC) + timedelta(hours=1)).strftime(_STAMP)}"
    found.sort(key=lambda path: (path.name <= now, path.name), reverse=True)
    return [path for path in found if _is_run(path)]


def forget_older(target: Path, keep: int) -> None:
    """Remove all kept runs of `target` but the newest `keep`; others' folders are left alone."""
    for path in earlier(target)[keep:]:
        shutil.rmtree(path, ignore_errors=True)  # held open on Windows: goes after the next run


def _is_run(path: Path) -> bool:
    try:
        return "brimline" in json.loads((path / _MANIFEST).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False


def _link(source: str, target: str) -> str:
    try:
        os.link(source, target)
    except OSError:  # a disk without hard links
        shutil.copy2(source, target)
    return target
