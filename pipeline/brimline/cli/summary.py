"""What matters of a run, in a short table: figures, flags, and where the files are."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from brimline.units import counted, shown

if TYPE_CHECKING:
    from pathlib import Path

    from brimline.units import System

_QUANTITY: Final = {"_m2": "area", "_m3": "volume", "_m": "length", "_pct": "slope"}
_FILES: Final = (
    ("client.html", "for whoever pays and lives there: four answers on few pages"),
    ("client.pdf", "the same, printed"),
    ("drawings.html", "the drawing set: plans to scale, details, schedules, bill, risks"),
    ("drawings.pdf", "the same, printed"),
    ("report.html", "the report, for reading and printing"),
    ("report.pdf", "the same, printed"),
    ("map.html", "the map page, works offline"),
    ("survey.html", "what the ground was taken from, and what it can and cannot decide"),
    ("notes.html", "notes from the ground with their photographs"),
    ("design.gpkg", "the design alone, for any GIS viewer"),
    ("site.gpkg", "all layers, likewise"),
    ("tables", "every table as CSV"),
    ("rasters", "rasters"),
    ("styles", "a style for each layer (OGC SLD)"),
    ("stakes", "staking sheets to print, and files for machines"),
    ("run.json", "every input, parameter, version and warning"),
)
_MOST_FLAGS: Final = 12
# headline figures that the report's own figures do not tell, in words; a zero is not worth a row
_ALSO: Final = {
    "to_stockpile_m3": "Spoil to the stockpile",
    "borrow_m3": "Fill to bring in",
    "topsoil_left_m3": "Topsoil left over",
    "audit_greatest_difference_pct": "Differs from a second library by",
}


def summary(manifest: dict[str, Any], units: System, folder: Path) -> str:
    """Return the closing table of a run.

    Parameters
    ----------
    manifest : what ``run.json`` holds.
    folder : the run folder, for the list of what is in it.
    """
    parts = [_figures(manifest, units), _needed(manifest), _files(folder)]
    return "\n\n".join(part for part in parts if part)


def _figures(manifest: dict[str, Any], units: System) -> str:
    rows = [
        (
            figure["title"],
            shown(figure["quantity"], units).text(figure["value"])
            if figure["quantity"]
            else _plain(figure["value"]),
            figure["note"],
        )
        for figure in manifest.get("figures", ())
    ]
    headline = manifest["headline"]
    if not rows:  # a run that was stopped early has no figures of a report
        rows = [(_words(name), _text(name, value, units), "") for name, value in headline.items()]
    else:
        rows += [
            (words, _text(name, headline[name], units), "")
            for name, words in _ALSO.items()
            if headline.get(name)
        ]
    wide, right = (max((len(row[at]) for row in rows), default=0) for at in (0, 1))
    return "\n".join(
        f"  {title:<{wide}}  {value:>{right}}  {note}".rstrip() for title, value, note in rows
    )


def _needed(manifest: dict[str, Any]) -> str:
    every = manifest.get("flagged", ())
    # a run folder of an earlier version says nothing of severity
    flagged = [flag for flag in every if flag.get("severity", "look") == "look"]
    told = [flag for flag in every if flag.get("severity", "look") != "look"]
    lines = [
        f"  {flag['title']}: {flag['code']} in {counted(len(flag['rows']), 'row')}"
        f" ({_few(flag['rows'])})"
        for flag in flagged[:_MOST_FLAGS]
    ]
    if len(flagged) > _MOST_FLAGS:
        lines.append(f"  and {len(flagged) - _MOST_FLAGS} more, see the report")
    count = manifest["warnings"]
    if count:
        lines.append(f"  {counted(count, 'warning')}, see above and run.json")
    needed = ["Needs a person:", *lines] if lines else ["Nothing needs a person."]
    return "\n".join([*needed, *_only_told(told)])


def _only_told(flagged: list[dict[str, Any]]) -> list[str]:
    """One line on the flags that are no reason to look."""
    if not flagged:
        return []
    counts: dict[str, int] = {}
    for flag in flagged:
        counts[flag["code"]] = counts.get(flag["code"], 0) + len(flag["rows"])
    return ["Only told: " + ", ".join(f"{code} {count}" for code, count in counts.items())]


def _files(folder: Path) -> str:
    there = [(name, what) for name, what in _FILES if (folder / name).exists()]
    wide = max((len(name) for name, _ in there), default=0)
    return "\n".join([f"Results in {folder}:", *(f"  {n:<{wide}}  {what}" for n, what in there)])


def _few(rows: list[str]) -> str:
    names = list(dict.fromkeys(rows))
    return ", ".join(names[:4]) + (", …" if len(names) > 4 else "")


def _words(name: str) -> str:
    for suffix in _QUANTITY:
        name = name.removesuffix(suffix)
    return name.replace("_", " ").capitalize()


def _text(name: str, value: Any, units: System) -> str:  # noqa: ANN401
    if isinstance(value, float | int) and not isinstance(value, bool):
        for suffix, quantity in _QUANTITY.items():
            if name.endswith(suffix):
                return shown(quantity, units).text(value)
        return _plain(value)
    return str(value)


def _plain(value: float) -> str:
    return f"{round(value, 2):,.10g}".replace(",", "\N{NARROW NO-BREAK SPACE}")
