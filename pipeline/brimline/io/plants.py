"""The person's plants and guilds, from CSV files that a spreadsheet writes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, TypeAlias

from brimline.errors import InputError, Problem, Severity
from brimline.io.text_tables import number_of, read_rows
from brimline.planting import LAYERS, SUN, WETNESS, Companion, Guild, Plant

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

_Fault: TypeAlias = "Callable[[str, str], None]"
_NUMBERS: Final = {  # least, most; those that must be there first
    "spacing_m": (0.01, 50.0), "height_m": (0.01, 100.0), "crown_m": (0.01, 50.0),
    "mature_y": (0.5, 100.0), "frost_limit_c": (-70.0, 20.0), "kc": (0.0, 1.4),
    "kc_dormant": (0.0, 1.4), "root_depth_m": (0.05, 10.0), "price_each": (0.0, 1e6),
}  # fmt: skip
_MOST_AROUND, _FARTHEST_M = 500, 50.0  # plants of one guild, and how far from its centre
_NEEDED: Final = ("name", "layer", "spacing_m", "height_m", "crown_m")
_WORDS: Final = {"sun": SUN, "water": WETNESS}
_MONTHS: Final = ("leaf_months", "plant_months")
_COLUMNS: Final = (
    "name", "kind", "layer", *_NUMBERS, *_WORDS, *_MONTHS, "size", "care",
)  # fmt: skip


def read_plants(path: Path) -> dict[str, Plant]:
    """Read plants by name, a row each.

    Lists of words and months are separated by semicolons, months as 1 to 12 or 11-3. ``care`` is
    ``what @ months @ minutes a plant``, several separated by ``|``.

    Raises
    ------
    InputError
        Naming everything that is wrong, with its line.
    """
    rows, problems = _rows(path, _COLUMNS, _NEEDED)
    found: dict[str, Plant] = {}
    for line, row in rows:
        plant = _plant(row, str(path), f"line {line}", problems)
        if plant is not None and plant.name in found:
            problems.append(
                _fault(f"{plant.name} stands twice", "give each its own name", path, line)
            )
        elif plant is not None:
            found[plant.name] = plant
    if problems:
        raise InputError(problems)
    return found


def read_guilds(path: Path, plants: Mapping[str, Plant]) -> dict[str, Guild]:
    """Read guilds by name: columns guild, plant, count, radius_m; the centre has the radius 0.

    Raises
    ------
    InputError
        As `read_plants`, and where a plant is not among `plants`.
    """
    rows, problems = _rows(path, ("guild", "plant", "count", "radius_m"), ("guild", "plant"))
    centres: dict[str, str] = {}
    others: dict[str, list[Companion]] = {}
    for line, row in rows:
        guild, plant = row["guild"], row["plant"]
        count, radius = (
            number_of(row.get("count", "") or "1"),
            number_of(row.get("radius_m", "") or "0"),
        )
        if plant not in plants:
            message = f"{guild}: there is no plant {plant} in the plants file"
            problems.append(_fault(message, "add it there, or correct the name", path, line))
        elif not guild:
            problems.append(_fault("the guild is empty", "write its name", path, line))
        elif guild in plants:
            problems.append(
                _fault(f"{guild} is a plant", "give the guild another name", path, line)
            )
        elif not (
            count is not None and 1 <= count <= _MOST_AROUND and count == int(count)
            and radius is not None and 0 <= radius <= _FARTHEST_M
        ):  # fmt: skip
            message = (
                f"{guild}: count must be a whole number from 1 to {_MOST_AROUND}, radius_m a"
                f" number from 0 to {_FARTHEST_M:g}"
            )
            problems.append(_fault(message, "correct the row", path, line))
        elif radius == 0 and (guild in centres or count > 1):
            message = f"{guild} has two centres: only one plant may have the radius 0"
            problems.append(_fault(message, "give the others a radius", path, line))
        elif radius == 0:
            centres[guild] = plant
        else:
            others.setdefault(guild, []).append(Companion(plant, int(count), radius))
    for guild in others.keys() - centres.keys():
        if not problems:
            problems.append(_fault(f"{guild} has no centre", "add a row with the radius 0", path))
    if problems:
        raise InputError(problems)
    return {
        name: Guild(name, centre, tuple(others.get(name, ()))) for name, centre in centres.items()
    }


def _rows(
    path: Path, known: tuple[str, ...], needed: tuple[str, ...]
) -> tuple[list[tuple[int, dict[str, str]]], list[Problem]]:
    heads, lines = read_rows(path)
    heads = [name.lower() for name in heads]
    lacking = [name for name in needed if name not in heads]
    strange = [name for name in heads if name not in known]
    problems = [
        _fault(f"has no column {name}", "add it to the first line", path) for name in lacking
    ]
    problems += [
        _fault(f"has a column {name}, which is not known", f"known are: {', '.join(known)}", path)
        for name in strange
    ]
    if problems:
        raise InputError(problems)
    if not lines:
        problems.append(_fault("holds no row below its header", "add one, or remove it", path))
    return [(line, dict(zip(heads, cells, strict=True))) for line, cells in lines], problems


def _plant(row: dict[str, str], source: str, place: str, problems: list[Problem]) -> Plant | None:
    before = len(problems)

    def fault(message: str, mend: str) -> None:
        name = row.get("name") or "a plant"
        problems.append(Problem(Severity.ERROR, f"{name}: {message}", mend, source, place))

    values: dict[str, Any] = {"name": row["name"], "size": row.get("size", "")}
    values["kind"] = row.get("kind") or row["name"]
    if not row["name"]:
        fault("name is empty", "write one")
    if row["layer"] not in LAYERS:
        fault(f'layer "{row["layer"]}" is not known', f"one of: {', '.join(LAYERS)}")
    values["layer"] = row["layer"]
    values |= _numbers_of(row, fault) | _words_of(row, fault)
    tasks = _care(row.get("care", ""))
    if tasks is None:
        fault(f'care "{row["care"]}" is not understood', "such as prune @ 1-2 @ 15 | pick @ 9 @ 30")
    else:
        values["care"] = tasks
    return Plant(**values) if len(problems) == before else None


def _numbers_of(row: dict[str, str], fault: _Fault) -> dict[str, float]:
    values = {}
    for name, (low, high) in _NUMBERS.items():
        text = row.get(name, "")
        if not text:
            if name in _NEEDED:
                fault(f"{name} is empty", "write a number")
            continue
        number = number_of(text)
        if number is None or not low <= number <= high:
            fault(f'{name} "{text}" is not a number from {low:g} to {high:g}', "correct it")
        else:
            values[name] = number
    return values


def _words_of(row: dict[str, str], fault: _Fault) -> dict[str, tuple[Any, ...]]:
    values: dict[str, tuple[Any, ...]] = {}
    for name, allowed in _WORDS.items():
        words = tuple(word.strip() for word in row.get(name, "").split(";") if word.strip())
        if any(word not in allowed for word in words):
            fault(
                f'{name} "{row[name]}" is not known', f"of: {', '.join(allowed)}, with semicolons"
            )
        elif words:
            values[name] = words
    for name in _MONTHS:
        if row.get(name):
            months = _months(row[name])
            if months is None:
                fault(f'{name} "{row[name]}" is no list of months', "such as 11-3 or 4;5;6")
            else:
                values[name] = months
    return values


def _care(text: str) -> tuple[tuple[str, tuple[int, ...], float], ...] | None:
    found = []
    for part in (part for part in text.split("|") if part.strip()):
        words = [word.strip() for word in part.split("@")]
        months = _months(words[1]) if len(words) == 3 else None
        minutes = number_of(words[2]) if len(words) == 3 else None
        if months is None or minutes is None or minutes < 0:
            return None
        found.append((words[0], months, minutes))
    return tuple(found)


def _months(text: str) -> tuple[int, ...] | None:
    """Read months such as 4;5;6 or 11-3, which runs over the end of the year."""
    found: list[int] = []
    for part in text.split(";"):
        first, _, last = part.partition("-")
        ends = [number_of(first), number_of(last or first)]
        if any(end is None or end not in range(1, 13) for end in ends):
            return None
        low, high = int(ends[0] or 0), int(ends[1] or 0)
        found += [(low - 1 + step) % 12 + 1 for step in range((high - low) % 12 + 1)]
    return tuple(dict.fromkeys(found))


def _fault(message: str, mend: str, path: Path, line: int | None = None) -> Problem:
    return Problem(Severity.ERROR, message, mend, str(path), f"line {line}" if line else "")
