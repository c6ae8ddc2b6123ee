"""Tables as spreadsheets and controllers write them: text, a header, cells parted by a mark.

Commas, semicolons and tabs part cells; a single decimal comma is understood where they are not
commas. Blank lines and those that begin with ``#`` are passed over, numbers of lines kept.
"""

from __future__ import annotations

import csv
import math
import re
from typing import TYPE_CHECKING, Final

from brimline.errors import InputError, shown
from brimline.io.paths import missing

if TYPE_CHECKING:
    from pathlib import Path

Line = tuple[int, list[str]]

MOST_BYTES: Final = 200_000_000  # a century of days is 4 MB
_MARKS: Final = ";\t,"
_LONGEST_CELL: Final = 1000
# control characters, and marks that turn the reading direction: what is shown is not what is meant
_HIDDEN: Final = re.compile("[\x00-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def read_lines(path: Path, *, old_letters: bool = False) -> list[Line]:
    """Return the cells of each line, stripped, with its number in the file from 1.

    Parameters
    ----------
    old_letters : take a file that is not UTF-8 as Latin-1, as instruments write it.

    Raises
    ------
    InputError
        If the file is missing, empty, too large or not text, or a cell holds control characters.
    """
    lines = text_of(path, old_letters=old_letters).splitlines()
    kept = [
        (number, line)
        for number, line in enumerate(lines, start=1)
        if line.strip(f" {_MARKS}") and not line.lstrip().startswith("#")
    ]
    if not kept:
        raise InputError.of("is empty", mend="name another file.", source=str(path))
    mark = max(_MARKS, key=lambda one: (kept[0][1].count(one), one == ";"))
    found = []
    for number, line in kept:  # line by line: no quote runs on over the end of one
        try:
            cells = next(csv.reader([line], delimiter=mark, skipinitialspace=True, strict=True))
        except csv.Error:
            raise InputError.of(
                "has quotes that do not close, or an endless cell",
                mend="write each row on one line, quotes in pairs.",
                source=str(path),
                place=f"line {number}",
            ) from None
        cells = [cell.strip() for cell in cells]
        for cell in cells:
            if len(cell) > _LONGEST_CELL or _HIDDEN.search(cell):
                raise _bad_cell(path, number, cell)
        found.append((number, cells))
    return found


def _bad_cell(path: Path, number: int, cell: str) -> InputError:
    hidden = _HIDDEN.search(cell) is not None
    why = "holds control characters" if hidden else f"has {len(cell)} letters"
    return InputError.of(
        f'"{shown(cell)}" {why}',
        mend="write it anew, on one line, in letters that can be seen." if hidden else
        "write it in fewer.",
        source=str(path),
        place=f"line {number}",
    )  # fmt: skip


def read_rows(path: Path) -> tuple[list[str], list[Line]]:
    """Return the header and the rows below it, each filled up to its width.

    Raises
    ------
    InputError
        As `read_lines`, and where a row has more cells than the header.
    """
    (_, heads), *rows = read_lines(path)
    wide = len(heads)
    for number, cells in rows:
        if any(cells[wide:]):
            raise InputError.of(
                f"has {len(cells)} cells where the header has {wide}",
                mend="write one cell for each column; put texts with commas into quotes.",
                source=str(path),
                place=f"line {number}",
            )
    return heads, [(number, [*cells[:wide], *[""] * (wide - len(cells))]) for number, cells in rows]


def text_of(path: Path, *, old_letters: bool = False) -> str:
    """Return a file as text.

    Raises
    ------
    InputError
        As `read_lines`.
    """
    if not path.is_file():
        raise InputError(missing(path))
    raw = b"" if path.stat().st_size > MOST_BYTES else path.read_bytes()
    if not raw and path.stat().st_size:
        raise InputError.of(
            f"has more than {MOST_BYTES / 1e6:.0f} MB, which no such table has",
            mend="check that the right file is named.",
            source=str(path),
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        if not old_letters or b"\0" in raw:
            line = raw[: fault.start].count(b"\n") + 1
            raise InputError.of(
                f"is not text in UTF-8 (line {line})",
                mend="save it as CSV in UTF-8.",
                source=str(path),
            ) from None
        text = raw.decode("cp1252", "replace")  # Latin-1 and the letters that Windows adds to it
    text = text.rstrip("\x1a")  # how some systems of old end a file
    if "\0" in text:
        raise InputError.of(
            "is not text: it holds bytes of nothing",
            mend="save it as CSV in UTF-8.",
            source=str(path),
        )
    return text


def number_of(text: str) -> float | None:
    """Read a number; a single decimal comma is understood, a unit is not. None where it is none."""
    plain = text.strip()
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    try:
        value = float(plain)
    except ValueError:
        return None
    return value if math.isfinite(value) and "_" not in plain else None
