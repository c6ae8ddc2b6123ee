"""``notes.html``: what was written down on the ground, with its photographs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brimline.report.palette import theme_colours
from brimline.report.templates import environment
from brimline.units import shown

if TYPE_CHECKING:
    from brimline.report.results import Results


def notes_html(results: Results) -> str:
    """Return the notes as one HTML text; empty where there are none."""
    notes = results.layer("notes")
    if notes is None:
        return ""
    length, photos = shown("level", results.units), results.facts.get("note_photos", {})
    rows = [
        {
            "number": int(row["note_id"]),
            "text": row["text"],
            "about": row["about"] if isinstance(row["about"], str) else "",
            "moved": bool(row["moved"]),
            "moved_by": length.text(row["moved_m"]) if row["moved_m"] == row["moved_m"] else "",
            "within": length.text(row["accuracy_m"]) if row["accuracy_m"] == row["accuracy_m"]
            else "",
            "written": row["written"] if isinstance(row["written"], str) else "",
            "easting": f"{row.geometry.x:.2f}",
            "northing": f"{row.geometry.y:.2f}",
            "photo": photos.get(str(row["note_id"]), ""),
        }
        for _, row in notes.iterrows()
    ]  # fmt: skip
    return (
        environment()
        .get_template("notes.html.j2")
        .render(
            **results.title_block,
            crs=results.crs_text,
            rows=rows,
            sheet="letter" if results.units == "us" else "A4",
            light=theme_colours(dark=False),
            dark=theme_colours(dark=True),
        )
    )
