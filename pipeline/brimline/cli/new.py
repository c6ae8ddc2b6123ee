"""``brimline new``: a commented site.toml and an empty plan.gpkg to draw in."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from brimline.cli import console
from brimline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from brimline.errors import Problem

SITE = "site.toml"
PLAN = "plan.gpkg"


def run(
    folder: Path,
    elevation: Sequence[Path],
    vectors: Mapping[str, Path | None],
    *,
    crs: str,
    latitude_deg: float | None,
    grid_north_deg: float | None = None,
    as_json: bool,
) -> None:
    """Write the two files; an existing one is never touched.

    What cannot be written yet is left out, and the site's file names what is missing.
    """
    from brimline.config.template import template
    from brimline.io.atomic import write_text

    _refuse_existing(folder)
    inputs = _inputs(folder, elevation, vectors)
    missing = [f"{key} under [inputs]" for key in ("elevation", "boundary") if key not in inputs]
    stated = crs.strip()
    run_crs, unsaid = _run_crs(elevation, stated)
    if unsaid:
        missing.append("crs under [terrain]")
    local = bool(run_crs) and _is_local(run_crs)
    if local and latitude_deg is None:
        missing.append("latitude_deg under [site]")
    written = [folder / SITE]
    folder.mkdir(parents=True, exist_ok=True)
    if run_crs:
        from brimline.io.drawing import new_plan

        new_plan(folder / PLAN, run_crs)
        inputs["plan"] = PLAN
        written.append(folder / PLAN)
    name = folder.resolve().name.replace("_", " ").strip() or "site"
    given: dict[str, dict[str, Any]] = {"site": {"name": name}, "inputs": inputs}
    if latitude_deg is not None:
        given["site"]["latitude_deg"] = latitude_deg
    if grid_north_deg is not None:
        given["sun"] = {"grid_north_deg": grid_north_deg}
    if stated:
        given["terrain"] = {"crs": stated}
    write_text(folder / SITE, template(given, missing))
    if as_json:
        written_to = [str(path) for path in written]
        console.result_json({"ok": True, "written": written_to, "missing": missing})
        return
    for problem in unsaid:
        console.say(str(problem))
    _tell(folder, written, missing)


def _tell(folder: Path, written: Sequence[Path], missing: Sequence[str]) -> None:
    for path in written:
        console.result(f"wrote {path}")
    if missing:
        console.result(f"Fill in {', '.join(missing)} in {folder / SITE}, then:")
    if folder / PLAN not in written:
        console.result(f"{PLAN} needs the elevation and its reference system, and was left out.")
    console.result(f"  brimline check {folder / SITE}")
    console.result(f"  brimline run {folder / SITE}")


def _inputs(
    folder: Path, elevation: Sequence[Path], vectors: Mapping[str, Path | None]
) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if elevation:
        found["elevation"] = [_from(folder, path) for path in elevation]
    for name, path in vectors.items():
        if path is not None:
            found[name] = _vector(folder, path, name)
    return found


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


def _run_crs(elevation: Sequence[Path], stated: str) -> tuple[str, Sequence[Problem]]:
    """Return the CRS of the run, empty where none can be known yet, and what stands against it."""
    from brimline.io.crs import canonical, parsed
    from brimline.io.elevation import run_crs

    if stated:
        own = parsed(stated, source="--crs")  # a word that is no CRS is refused, not written
    if not elevation:
        return (canonical(own), ()) if stated and not own.is_geographic else ("", ())
    try:
        return run_crs(list(elevation), crs=stated or None), ()
    except InputError as error:
        if stated:
            raise
        return "", error.problems


def _is_local(crs: str) -> bool:
    from brimline.io.crs import is_local

    return is_local(crs)
