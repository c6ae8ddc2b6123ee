"""``brimline options``: alternatives run one after the other and set side by side."""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from brimline.cli import console
from brimline.cli.run import RunOptions, run_site
from brimline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from brimline.report.options_page import Alternative

_TABLE: Final = "options.csv"
_PAGE: Final = "options.html"


class _Wanted(NamedTuple):
    """A design to run: of which file, and which of its options."""

    site: Path
    option: str
    name: str
    differs: tuple[str, ...]


def run(sites: Sequence[Path], out: Path | None, *, as_json: bool) -> None:
    """Run every design, layers only, and write one table and one page.

    Designs whose files lie in one folder share the results of their stages, so that only what
    differs is worked out again.

    Parameters
    ----------
    out : the table; the page goes beside it under the same name.

    Raises
    ------
    InputError
        If there are fewer than two designs, two of one name, or designs in different units.
    """
    from brimline.io.atomic import write_text
    from brimline.report.options_page import option_rows, options_html

    wanted = [one for site in sites for one in _designs(site)]
    names = [one.name for one in wanted]
    if len(wanted) < 2 or len(set(names)) < len(names):
        raise InputError.of(
            "needs two designs or more, of different names",
            mend="name each alternative's file, such as small.toml large.toml, or write"
            " [options.small] and [options.large] into one site's file",
            source="brimline options",
        )
    options = [_run_one(one) for one in wanted]
    if len({one.results.units for one in options}) > 1:
        raise InputError.of(
            "the designs are shown in different units",
            mend="give all of them the same site.units",
            source="brimline options",
        )
    rows = option_rows(options)
    table = out or sites[0].with_name(_TABLE)
    page = table.with_suffix(".html") if out else sites[0].with_name(_PAGE)
    write_text(table, _csv(rows))
    write_text(page, options_html(options, rows))
    if as_json:
        said = {"ok": True, "table": str(table), "page": str(page), "options": rows}
        console.result_json(said)
        return
    console.result(_told(rows, options))
    console.result(f"\nTable: {table}\nPage: {page}")


def _designs(site: Path) -> list[_Wanted]:
    """Return the site as its file has it, if it has a plan or no options, then its options."""
    from brimline.config import load

    loaded = load(site)
    own = [_Wanted(site, "", site.stem, ())]
    named = [
        _Wanted(site, name, name, tuple(_lines(option.said)))
        for name, option in loaded.options.items()
    ]
    return [*(own if loaded.settings.inputs.plan or not named else []), *named]


def _lines(said: Mapping[str, Any], above: str = "") -> list[str]:
    lines = []
    for key, value in said.items():
        if isinstance(value, dict):
            lines += _lines(value, f"{above}{key}.")
        else:
            lines.append(f"{above}{key} = {value}")
    return lines


def _run_one(one: _Wanted) -> Alternative:
    from brimline.publish import CAUTIONS, results_of
    from brimline.report.options_page import Alternative

    done = run_site(one.site, RunOptions(draft=True, option=one.option, sensitivity=True))
    settings = done.loaded.settings
    results = results_of(
        done.result, done.published.manifest, settings.site.name, settings.site.units, CAUTIONS
    )
    ran = len(done.result.ran)
    return Alternative(one.name, results, one.differs, ran, len(done.result.stages) - ran)


def _csv(rows: Sequence[dict[str, Any]]) -> str:
    from brimline.io.exchange_csv import defused

    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(
        {key: defused(value) if isinstance(value, str) else value for key, value in row.items()}
        for row in rows
    )
    return text.getvalue()


def _told(rows: Sequence[dict[str, Any]], options: Sequence[Alternative]) -> str:
    """Return the designs as columns, the cheapest first, each with what it adds."""
    from brimline.report.options_page import WORDS, added_text, figure_text, verdicts

    results = options[0].results
    units, currency = results.units, results.parameter("rates", "currency") or ""
    cells = {
        name: [
            " ".join(
                part
                for part in (
                    figure_text(name, row[name], units, currency),
                    f"({added_text(name, row, units, currency)})" if row[f"adds_{name}"] else "",
                )
                if part
            )
            for row in rows
        ]
        for name in WORDS
    }
    head = max(map(len, WORDS.values()))
    names = [row["name"] for row in rows]
    wide = [
        2 + max(len(name), *(len(line[place]) for line in cells.values()))
        for place, name in enumerate(names)
    ]
    lines = [" " * head + "".join(f"{name:>{w}}" for name, w in zip(names, wide, strict=True))]
    for name, words in WORDS.items():
        line = zip(cells[name], wide, strict=True)
        lines.append(f"{words:<{head}}" + "".join(f"{cell:>{w}}" for cell, w in line))
    return "\n".join([*lines, "", *verdicts(options, rows)])
