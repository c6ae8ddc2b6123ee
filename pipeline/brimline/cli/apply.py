"""``brimline apply``: chosen mends written into the plan."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

from brimline.cli import console
from brimline.cli.run import run_folder
from brimline.errors import InputError, Problem, Severity
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from brimline.config import Loaded
    from brimline.io.runs import RunFolder

_TABLE = "cascade_mends"
_SITES = "pond_sites"
_BANKS = "pond_banks"
_SEARCHED = "searched_designs"


def run(
    site: Path,
    chosen: Sequence[str],
    out: Path | None,
    *,
    all_safe: bool = False,
    advised: bool = False,
    as_json: bool = False,
) -> None:
    """Write mends of the last run into the plan of a site.

    Raises
    ------
    InputError
        If a mend is not known, cannot be written or meets another, or the plan has changed since.
    """
    from brimline.config import load
    from brimline.io.runs import read_run

    if bool(chosen) + all_safe + advised != 1:
        raise InputError.of(
            "name mends, or give --advised or --all-safe",
            mend="mend_id in cascade_mends names them, site_id in pond_sites places for ponds,"
            " design_id in searched_designs designs",
            source="brimline apply",
        )
    loaded = load(site)
    done = read_run(run_folder(site, out))
    plan = _plan_as_it_was(loaded, done)
    rows = _rows(done)
    if advised:
        taken = sorted((row for row in rows if row.get("advised")), key=lambda row: row["advised"])
    else:
        taken = _safe(rows) if all_safe else _named(rows, chosen)
    backup = _write(plan, taken, done) if taken else None
    if as_json:
        told = [
            {key: row[key] for key in ("mend_id", "element_id", "code", "text")} for row in taken
        ]
        console.result_json(
            {
                "ok": True,
                "applied": told,
                "plan": str(plan),
                "backup": None if backup is None else str(backup),
            }
        )
        return
    for row in taken:
        console.result(f"{row['mend_id']}  {row['element_id']}, {row['code']}: {row['text']}")
    if backup is None:
        kind = "is advised" if advised else "costs nothing elsewhere"
        console.result(f"no mend {kind}; the plan is as it was")
    else:
        console.result(f"{counted(len(taken), 'mend')} written into {plan}; as it was: {backup}")
        console.result(f"  brimline run {site}")


def _plan_as_it_was(loaded: Loaded, done: RunFolder) -> Path:
    """Return the plan; mends of a run are proved for the plan of that run alone."""
    said = loaded.settings.inputs.plan
    if said is None:
        raise InputError.of(
            "names no plan", mend="set inputs.plan", source=str(loaded.folder), place="inputs"
        )
    plan = loaded.resolve(said)
    files = done.manifest.get("inputs", {}).get("plan", {}).get("files", [])
    known = {file["sha256"] for file in files}
    if not plan.is_file() or _digest(plan) not in known:
        raise InputError.of(
            "is not as it was in the run, and mends are proved for that plan alone",
            mend="run the site again, then apply",
            source=str(plan),
        )
    return plan


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _rows(done: RunFolder) -> list[dict[str, Any]]:
    frame, places = done.layer(_TABLE), [*_places(done), *_searched(done)]
    if frame is None and places:
        return places
    if frame is None or "mend_id" not in frame.columns:
        raise InputError.of(
            f"holds no {_TABLE} with mend_id",
            mend="run the site again",
            source=str(done.folder),
        )
    mends = [
        {key: None if value != value else value for key, value in row.items()}
        for row in frame.to_dict("records")
    ]
    return mends + places


def _places(done: RunFolder) -> list[dict[str, Any]]:
    """Return what puts each place for a pond into the plan, by the name of the place."""
    from brimline.choose.ponds.drawn import dam_row
    from brimline.config import Ponds
    from brimline.design.plan_changes import changes_text

    frame, axes = done.layer(_SITES), done.layer(_BANKS)
    if frame is None or axes is None:
        return []
    banks, found = dict(zip(axes["site_id"], axes.geometry, strict=True)), []
    section = {
        column: float(done.parameter("ponds", column) or Ponds.model_fields[column].default)
        for column in ("top_m", "upstream_side", "downstream_side")
    }
    for place in frame.to_dict("records"):
        name, side = str(place["site_id"]), place["spill_side"]
        change = dam_row(
            name, banks[name], place["geometry"], place["level_m"], place["crest_m"], section,
            side if isinstance(side, str) else "",
        )  # fmt: skip
        found.append(
            {
                "mend_id": name,
                "element_id": change.row,
                "changed_id": change.row,
                "code": "place for a pond",
                "text": f"drawn as a dam that holds about {place['storage_m3']:.0f} m³",
                "safe": False,
                "change": changes_text([change]),
            }
        )
    return found


def _searched(done: RunFolder) -> list[dict[str, Any]]:
    """Return what puts each design that was searched for into the plan, by its name."""
    frame = done.layer(_SEARCHED)
    if frame is None:
        return []
    return [
        {
            "mend_id": row["design_id"],
            "element_id": "all that is free",
            "changed_id": "all that is free",
            "code": "cheapest design",
            "text": f"sized for {row['cost']:.0f}, keeps {row['kept_pct']:.1f} % of the storm",
            "safe": False,
            "change": row["change"] or None,
        }
        for row in frame.to_dict("records")
    ]


def _named(rows: Sequence[dict[str, Any]], chosen: Sequence[str]) -> list[dict[str, Any]]:
    by_id = {row["mend_id"]: row for row in rows}
    problems = []
    for name in chosen:
        row = by_id.get(name)
        if row is None:
            known = ", ".join(by_id) or "none"
            problems.append(_refused(f"there is no mend {name}", f"known: {known}"))
        elif row["change"] is None:
            text = f"no column of the plan says {name}: {row['text']}"
            problems.append(_refused(text, "draw it by hand, or take another mend"))
        elif lacking := [one for one in _presumed(row) if one not in chosen]:
            text = f"{name} was proved on top of {', '.join(lacking)}"
            problems.append(_refused(text, "name those too, or give --advised"))
    taken = [by_id[name] for name in dict.fromkeys(chosen) if name in by_id]
    taken.sort(key=lambda row: row.get("advised") or len(by_id))  # each on top of those before
    if not problems:
        cells: dict[tuple[str, ...], str] = {}
        for row in taken:
            finding = f"{row['element_id']}, {row['code']}"
            own: dict[tuple[str, ...], str] = {("", finding): finding}
            own |= {cell: f"{cell[1]}, {cell[2]}" for cell in _cells(row)}
            presumed = _presumed(row)
            meets = [
                (cells[cell], what)
                for cell, what in own.items()
                if cell in cells and cells[cell] not in presumed
            ]
            for other, what in meets[:1]:
                text = f"{other} and {row['mend_id']} both change {what}"
                problems.append(_refused(text, "take one, run again, then the other if need be"))
            cells |= dict.fromkeys(own, row["mend_id"])
    if problems:
        raise InputError(problems)
    return taken


def _safe(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Take the first safe mend of each finding, one for each element; the rest waits for a run."""
    taken: list[dict[str, Any]] = []
    mended: set[tuple[str, str]] = set()
    cells: set[tuple[str, ...]] = set()
    changed: set[str] = set()
    for row in rows:
        mark = row["element_id"], row["code"]
        if not row["safe"] or row.get("proved") == "no" or row["change"] is None or mark in mended:
            continue
        if not set(_presumed(row)) <= {one["mend_id"] for one in taken}:
            continue
        own = _cells(row)
        if own & cells or row["changed_id"] in changed:
            continue
        taken.append(row)
        mended.add(mark)
        cells |= own
        changed.add(row["changed_id"])
    return taken


def _presumed(row: dict[str, Any]) -> list[str]:
    """Mends that one was proved on top of; a run of an earlier version names none."""
    return [one for one in (row.get("presumes") or "").split("; ") if one]


def _cells(row: dict[str, Any]) -> set[tuple[str, ...]]:
    """Cells of the plan that a mend writes."""
    from brimline.design import changes_of

    return {
        (change.layer, change.row, column)
        for change in changes_of(row["change"])
        for column in (*change.values, *(["shape"] if change.shape_wkt else []))
    }


def _write(plan: Path, taken: Sequence[dict[str, Any]], done: RunFolder) -> Path:
    from brimline.design import changes_of
    from brimline.io.plan_rows import write_changes

    pairs = [
        (change, f"{row['mend_id']} ({row['element_id']}, {row['code']}): {change.told}")
        for row in taken
        for change in changes_of(row["change"])
    ]
    boundary = done.layer("boundary")
    crs = "" if boundary is None or boundary.crs is None else boundary.crs.to_wkt()
    return write_changes(plan, [one for one, _ in pairs], [note for _, note in pairs], crs=crs)


def _refused(text: str, mend: str) -> Problem:
    return Problem(Severity.ERROR, text, mend, _TABLE)
