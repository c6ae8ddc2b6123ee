"""``brimline new``: a commented site.toml and an empty plan.gpkg to draw in."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from brimline.cli import console
from brimline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

SITE = "site.toml"
PLAN = "plan.gpkg"


def run(
    folder: Path,
    elevation: Sequence[Path],
    boundary: Path | None,
    intakes: Path | None,
    *,
    as_json: bool,
) -> None:
    """Write the two files; an existing one is never touched."""
    from brimline.config.template import template
    from brimline.io.atomic import write_text

    _refuse_existing(folder)
    inputs: dict[str, Any] = {}
    if elevation:
        inputs["elevation"] = [_from(folder, path) for path in elevation]
    for name, path in (("boundary", boundary), ("intakes", intakes)):
        if path is not None:
            inputs[name] = _vector(folder, path, name)
    written = [folder / SITE]
    crs = _run_crs(elevation) if elevation else ""
    folder.mkdir(parents=True, exist_ok=True)
    if crs:
        from brimline.io.drawing import new_plan

        new_plan(folder / PLAN, crs)
        inputs["plan"] = PLAN
        written.append(folder / PLAN)
    name = folder.resolve().name.replace("_", " ").strip() or "site"
    write_text(folder / SITE, template({"site": {"name": name}, "inputs": inputs}))
    missing = [key for key in ("elevation", "boundary") if key not in inputs]
    if as_json:
        console.result_json({"ok": True, "written": [str(path) for path in written]})
        return
    for path in written:
        console.result(f"wrote {path}")
    if missing:
        console.result(f"Fill in {' and '.join(missing)} under [inputs] in {folder / SITE}, then:")
    if not crs:
        console.result(f"{PLAN} needs the elevation's CRS: give --elevation to get one.")
    console.result(f"  brimline check {folder / SITE}")
    console.result(f"  brimline run {folder / SITE}")


def _refuse_existing(folder: Path) -> None:
    for name in (SITE, PLAN):
        if (folder / name).exists():
            raise InputError.of(
                "is already there and would be overwritten",
                mend="name another folder, or move the file away",
                source=str(folder / name),
            )


def _from(folder: Path, path: Path) -> str:
    """Write a path relative to the new folder, as the site's file wants it."""
    if not path.exists() and not any(sign in path.name for sign in "*?["):
        from brimline.io.paths import missing

        raise InputError(missing(path))
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive on Windows
        return path.resolve().as_posix()


def _vector(folder: Path, path: Path, wanted: str) -> str | dict[str, str]:
    """Name the layer as well where the file holds several and one is meant."""
    from brimline.io.vectors import layer_names

    written = _from(folder, path)
    names = layer_names(path)
    if len(names) > 1 and wanted in names:
        return {"file": written, "layer": wanted}
    return written


def _run_crs(elevation: Sequence[Path]) -> str:
    from brimline.io.elevation import run_crs

    return run_crs(list(elevation))
