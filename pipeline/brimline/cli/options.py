"""``brimline options``: alternatives run one after the other and set side by side."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any, Final

from brimline.cli import console
from brimline.cli.run import RunOptions, run_folder, run_site
from brimline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

_WORDS: Final = {
    "cost": "cost",
    "earth_m3": "earth moved [m³]",
    "elements_flagged": "elements that need a person",
    "storage_m3": "storage [m³]",
    "kept_pct": "kept of the design storm [%]",
    "without_mains_driest_pct": "without mains, driest year [%]",
    "mains_avoided_a_year_m3": "mains spared a year [m³]",
}


def run(sites: Sequence[Path], out: Path | None, *, as_json: bool) -> None:
    """Run every site, layers only, and write one table.

    Sites whose files lie in one folder share the results of their stages, so that only what
    differs is worked out again.

    Raises
    ------
    InputError
        If there are fewer than two sites, or two of one name.
    """
    from brimline.choose.options import OptionFigures, side_by_side
    from brimline.io.atomic import written_whole
    from brimline.io.runs import read_run

    names = [site.stem for site in sites]
    if len(sites) < 2 or len(set(names)) < len(names):
        raise InputError.of(
            "needs two site files or more, of different names",
            mend="name each alternative's file, such as small.toml large.toml",
            source="brimline options",
        )
    figures = []
    for site, name in zip(sites, names, strict=True):
        run_site(site, RunOptions(draft=True))
        headline = read_run(run_folder(site, None)).manifest.get("headline", {})
        figures.append(OptionFigures.of_headline(name, headline))
    rows = side_by_side(figures)
    table = out or sites[0].with_name("options.csv")
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    with written_whole(table) as part:
        part.write_text(text.getvalue(), encoding="utf-8")
    if as_json:
        console.result_json({"ok": True, "table": str(table), "options": rows})
        return
    console.result(_told(rows))
    console.result(f"\nTable: {table}")


def _told(rows: Sequence[dict[str, Any]]) -> str:
    """Return the designs as columns, the cheapest first, with what each adds over the one before.

    Units are metric whatever the sites show: the figures are those of the layers.
    """
    head = max(map(len, _WORDS.values()))
    wide = max(18, *(len(str(row["name"])) + 2 for row in rows))
    lines = [" " * head + "".join(f"{row['name']:>{wide}}" for row in rows)]
    for key, words in _WORDS.items():
        lines.append(f"{words:<{head}}" + "".join(f"{_cell(row, key):>{wide}}" for row in rows))
    lines += [
        f"{row['name']} is beaten in everything that is known by {row['beaten_by']}"
        for row in rows
        if row["beaten_by"]
    ]
    return "\n".join(lines)


def _cell(row: dict[str, Any], key: str) -> str:
    value, added = row[key], row[f"adds_{key}"]
    if value is None:
        return "not known"
    return f"{value:,.0f}" if added is None else f"{value:,.0f} ({added:+,.0f})"
