"""The rows that a person must look at, and those that are only told, with meaning and mend."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from brimline.layers import CATALOGUE, FLAGS, Layer, Table
from brimline.layers.flags import severity_in

if TYPE_CHECKING:
    from brimline.layers.schema import Severity
    from brimline.report.results import Results

_SEVERITIES: Final[tuple[Severity, ...]] = ("look", "notice")


@dataclass(frozen=True, slots=True)
class Flagged:
    """One flag, and every row of a layer that carries it; `severity` as in the catalogue."""

    layer: str
    title: str
    code: str
    meaning: str
    mend: str
    rows: tuple[str, ...]
    severity: Severity = "look"

    @property
    def names(self) -> tuple[str, ...]:
        """Each name once; one that many rows share, as an element's stakes do, with their count."""
        return tuple(
            f"{name} ({count} rows)" if count > 1 else name
            for name, count in Counter(self.rows).items()
        )


def flagged(results: Results) -> tuple[Flagged, ...]:
    """Return the flags of all layers, in the catalogue's order of layers and of flags.

    What was built comes first: it can be mended while the machine is still on site.
    """
    found: list[Flagged] = []
    for item in sorted(CATALOGUE.values(), key=lambda one: not one.name.startswith("as_built")):
        if not isinstance(item, Layer | Table) or not item.published:
            continue
        frame = results.table(item.name)
        if frame is not None and "flag" in frame.columns:
            found += _of_frame(item, frame)
    return tuple(found)


def first_lines(results: Results, most: int = 10) -> tuple[tuple[str, ...], int]:
    """Return what to look at first, a line a finding, and how many findings are left out.

    Parameters
    ----------
    most : lines at most; what repeats at several elements with the same words is one line.
    """
    advice = results.table("advice")
    if advice is None:
        return (), 0
    names: dict[tuple[str, str, str], list[str]] = {}
    for row in advice.sort_values("rank").to_dict("records"):
        todo = row["mend"] if isinstance(row["mend"], str) else str(row["why_none"])
        names.setdefault((row["code"], row["text"], todo), []).append(row["element_id"])
    lines = [
        f"{', '.join(who)}: {text}. {todo[:1].upper()}{todo[1:].rstrip('.')}."
        for (_, text, todo), who in names.items()
    ]
    return tuple(lines[:most]), sum(len(who) for who in [*names.values()][most:])


def codes_of(value: object) -> tuple[str, ...]:
    """Split the text of a ``flag`` column; anything but text is no flag."""
    return tuple(code for code in value.split(";") if code) if isinstance(value, str) else ()


def row_name(item: Layer | Table, row: Any) -> str:  # noqa: ANN401 - a row of a frame
    """Name a row as people speak of it: its number, and its name where it has one."""
    if row.get("element_id") and "storm" in row:
        return f"{row['element_id']} ({row['storm']})"
    if row.get("from_id"):
        way = f"{row['from_id']} to {row.get('to_id') or 'nowhere'}"
        return f"{way} ({row['storm']})" if "storm" in row else way
    first = item.columns[0].name
    name = row.get("name")
    number = str(row.get(first))
    return f"{number} {name}" if isinstance(name, str) and name and first != "name" else number


def _of_frame(item: Layer | Table, frame: Any) -> list[Flagged]:  # noqa: ANN401
    rows: dict[tuple[str, Severity], list[str]] = {}
    for _, row in frame[[bool(codes_of(flag)) for flag in frame["flag"]]].iterrows():
        drawn = bool(row.get("drawn", False))
        for code in codes_of(row["flag"]):
            key = code, severity_in(item.name, code, drawn=drawn)
            rows.setdefault(key, []).append(row_name(item, row))
    return [
        Flagged(item.name, item.title, code, flag.meaning, flag.mend, tuple(mine), severity)
        for code, flag in FLAGS.items()
        for severity in _SEVERITIES
        if (mine := rows.get((code, severity)))
    ]
