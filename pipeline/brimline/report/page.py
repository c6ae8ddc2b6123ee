"""``report.html``: one file that opens offline and prints cleanly."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from brimline.report import assumptions, attention, numbers, prose, tables
from brimline.report.palette import theme_colours
from brimline.report.parts import part_of_plate, part_of_rows
from brimline.report.plates.album import album
from brimline.report.plates.svg import theme_variables, themed
from brimline.report.tables import glossary
from brimline.report.templates import environment

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.report.parts import Part
    from brimline.report.plates.plate import Plate
    from brimline.report.results import Results


_PARTS: Final[dict[Part, tuple[str, str]]] = {
    "design": ("The design", "What is to be built, what it holds and what it takes."),
    "evidence": ("The evidence", "What the design rests on: the ground, its water, storms, years."),
    "proposals": (
        "Proposals",
        "Where more could be drawn. Nothing here is part of the design: lines are thin and broken.",
    ),
    "work": ("", ""),
}
_ORDER: Final = tuple(_PARTS)


def report_html(
    results: Results, plates: Sequence[Plate] | None = None, *, paper: bool = False
) -> str:
    """Return the report as one HTML text; the same results give the same text.

    Parameters
    ----------
    plates : of these results; None draws them.
    paper : colours of paper only, for a printer; otherwise dark screens get dark colours.
    """
    return environment().get_template("report.html.j2").render(_content(results, plates, paper))


def _content(
    results: Results,
    drawn: Sequence[Plate] | None,
    paper: bool,  # noqa: FBT001
) -> dict[str, Any]:
    found = numbers.figures(results)
    plates = [
        {
            "name": plate.name,
            "title": plate.title,
            "alt": plate.alt,
            "caption": plate.caption,
            "svg": plate.svg if paper else themed(plate.svg),
        }
        for plate in (album(results) if drawn is None else drawn)
    ]
    plates.sort(key=lambda plate: _ORDER.index(part_of_plate(plate["name"])))
    printed = tables.printed(results)
    parameters = assumptions.parameters(results)
    every_flag = attention.flagged(results)
    return {
        **results.title_block,
        "crs": results.crs_text,
        "paragraph": prose.paragraph(results, {figure.key: figure for figure in found}),
        "parts": [
            held
            for part, (title, words) in _PARTS.items()
            if (
                held := {
                    "name": part,
                    "title": title,
                    "words": words,
                    "figures": [
                        (figure, figure.text(results.units))
                        for figure in found
                        if part_of_rows(figure.source) == part
                    ],
                    "plates": [plate for plate in plates if part_of_plate(plate["name"]) == part],
                    "tables": [table for table in printed if part_of_rows(table.name) == part],
                }
            )["tables"]
            or held["plates"]
            or held["figures"]
            or part == "design"
        ],
        "sheets": {plate["name"]: number for number, plate in enumerate(plates, 1)},
        "glossary": glossary(printed),
        "first": attention.first_lines(results),
        "flagged": [flag for flag in every_flag if flag.severity == "look"],
        "notices": [flag for flag in every_flag if flag.severity == "notice"],
        "cautions": results.cautions,
        "input_files": assumptions.input_files(results),
        "accuracy": assumptions.accuracy(results),
        "parameters": parameters,
        "changed": [parameter for parameter in parameters if parameter.changed],
        "notes": assumptions.notes(results),
        "versions": results.manifest.get("versions", {}),
        "paper": paper,
        "sheet": "letter" if results.units == "us" else "A4",
        "light": theme_colours(dark=False) + theme_variables(dark=False),
        "dark": theme_colours(dark=True) + theme_variables(dark=True),
    }
