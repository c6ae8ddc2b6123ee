"""Attributes as people name and fill them, brought to the columns that are wanted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from brimline.errors import Problem, Severity, shown
from brimline.io.paths import nearest_word
from brimline.layers.usual import USUAL_RANGES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import geopandas as gpd

    from brimline.layers.schema import Dtype

_SHAPEFILE_LETTERS: Final = 10
_LONG: Final = 500
_OWN: Final = frozenset({"row", "geometry", "fid", "id", "ogc_fid", "objectid"})
_TRUE: Final = frozenset({"true", "t", "yes", "y", "1"})
_FALSE: Final = frozenset({"false", "f", "no", "n", "0"})
_DTYPES: Final[dict[str, str]] = {
    "int": "Int64",
    "float": "float64",
    "bool": "boolean",
    "text": "object",
}


@dataclass(frozen=True, slots=True)
class WantedColumn:
    """A column that is asked of an input.

    Parameters
    ----------
    aliases : other names that it may have in the file.
    required : every row must have a value.
    allowed : the only texts allowed, in any case; empty allows any.
    minimum, maximum : allowed range, both ends included.
    unique : no two rows may share a value.
    """

    name: str
    dtype: Dtype = "text"
    aliases: tuple[str, ...] = ()
    required: bool = False
    allowed: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    unique: bool = False


def taken(
    frame: gpd.GeoDataFrame,
    columns: Sequence[WantedColumn],
    *,
    source: str,
    truncated: bool,
    keep_others: bool,
) -> tuple[gpd.GeoDataFrame, list[Problem]]:
    """Return the wanted columns in order, typed, with ``row`` and geometry; and what was found.

    Parameters
    ----------
    truncated : names in the file are cut after ten letters, as in Shapefiles.
    """
    problems: list[Problem] = []
    there = [str(name) for name in frame.columns if str(name) not in {"row", "geometry"}]
    matched = {want.name: _matching(want, there, truncated=truncated) for want in columns}
    data: dict[str, Any] = {}
    for want in columns:
        name = matched[want.name]
        if name is None:
            data[want.name] = pd.Series([None] * len(frame), dtype=_DTYPES[want.dtype])
            problems += _absent(want, there, set(matched.values()), source)
            continue
        values, faults = _typed(frame[name], frame["row"], want, source)
        data[want.name] = values
        problems += faults
    used = set(matched.values())
    problems += _misspelled(columns, matched, there, source)
    if keep_others:
        data |= {name: frame[name] for name in there if name not in used and name not in data}
    data["row"] = frame["row"]
    return frame[["geometry"]].assign(**data)[[*data, "geometry"]], problems


def _matching(want: WantedColumn, there: Sequence[str], *, truncated: bool) -> str | None:
    """Name of the wanted column in the file: itself, then its aliases, in any case."""
    folded = {_folded(name): name for name in reversed(there)}
    for name in (want.name, *want.aliases):
        if name in there:
            return name
        found = folded.get(_folded(name))
        if found is None and truncated:
            found = folded.get(_folded(name[:_SHAPEFILE_LETTERS]))
        if found is not None:
            return found
    return None


def _folded(name: str) -> str:
    return name.casefold().replace(" ", "_").replace("-", "_")


def _absent(
    want: WantedColumn, there: Sequence[str], used: set[str | None], source: str
) -> list[Problem]:
    if not want.required:
        return []
    near = nearest_word(want.name, [name for name in there if name not in used])
    known = ", ".join(there) or "none"
    return [
        Problem(
            Severity.ERROR,
            f'has no column "{want.name}" (its columns: {known})',
            f'rename "{near}" to "{want.name}".' if near else f'add the column "{want.name}".',
            source,
        )
    ]


def _misspelled(
    columns: Sequence[WantedColumn],
    matched: dict[str, str | None],
    there: Sequence[str],
    source: str,
) -> list[Problem]:
    """Warn of a column that is nearly an optional one which is missing."""
    used = set(matched.values())
    missing = [want.name for want in columns if matched[want.name] is None and not want.required]
    found = []
    for name in there:
        if name in used or name.casefold() in _OWN:
            continue
        near = nearest_word(name, missing)
        if near is not None:
            found.append(
                Problem(
                    Severity.WARNING,
                    f'the column "{name}" is not known and was passed over',
                    f'rename it if "{near}" is meant.',
                    source,
                )
            )
    return found


def _typed(
    values: pd.Series[Any], rows: pd.Series[Any], want: WantedColumn, source: str
) -> tuple[pd.Series[Any], list[Problem]]:
    read = _READERS[want.dtype]
    result: list[Any] = []
    problems: list[Problem] = []
    for value, row in zip(values.tolist(), rows.tolist(), strict=True):
        place = f"row {row}"
        if _is_empty(value):
            result.append(None)
            if want.required:
                problems.append(
                    Problem(Severity.ERROR, f"{want.name} is empty", "fill it in.", source, place)
                )
            continue
        read_value = read(value)
        fault = _fault(read_value, value, want)
        if fault is not None:
            problems.append(Problem(Severity.ERROR, *fault, source, place))
            read_value = None
        elif want.allowed:
            read_value = _allowed(str(read_value), want)
        elif want.dtype == "float":
            problems += _unusual(read_value, want, source, place)
        elif want.dtype == "text":
            if len(read_value) > _LONG:
                problems.append(_too_long(read_value, want, source, place))
            if not read_value.isprintable():
                problems.append(_unprintable(read_value, want, source, place))
                read_value = " ".join(_visible(read_value).split())
        result.append(read_value)
    if want.unique:
        problems += _repeated(result, rows.tolist(), want, source)
    return pd.Series(result, dtype=_DTYPES[want.dtype], index=values.index), problems


def _is_empty(value: Any) -> bool:  # noqa: ANN401
    if value is None or value is pd.NA or value is pd.NaT:
        return True
    if isinstance(value, str):
        return not value.strip()
    return isinstance(value, float) and np.isnan(value)


def _visible(text: str) -> str:
    """Put a space for every character that cannot be seen: it could break a line or turn it."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def _unprintable(text: str, want: WantedColumn, source: str, place: str) -> Problem:
    return Problem(
        Severity.WARNING,
        f'{want.name} "{shown(text)}" holds line breaks or control characters; spaces were taken',
        "write it on one line.",
        source,
        place,
    )


def _fault(read: Any, value: Any, want: WantedColumn) -> tuple[str, str] | None:  # noqa: ANN401
    """Say what is wrong with a value and how to mend it; None where nothing is."""
    if read is None:
        what = {"int": "a whole number", "float": "a number", "bool": "yes or no"}[want.dtype]
        return f'{want.name} is "{shown(value)}", which is not {what}', "correct the value."
    if want.allowed and _allowed(str(read), want) is None:
        near = nearest_word(str(read), want.allowed)
        hint = f'did you mean "{near}"?' if near else "use one of them."
        return f'{want.name} is "{shown(value)}"; allowed are {", ".join(want.allowed)}', hint
    if want.dtype in {"int", "float"}:
        if want.minimum is not None and read < want.minimum:
            return f"{want.name} is {read:g}; the least allowed is {want.minimum:g}", "correct it."
        if want.maximum is not None and read > want.maximum:
            return f"{want.name} is {read:g}; the most allowed is {want.maximum:g}", "correct it."
    return None


def _unusual(value: float, want: WantedColumn, source: str, place: str) -> list[Problem]:
    low, high = USUAL_RANGES.get(want.name, (-np.inf, np.inf))
    if low <= value <= high:
        return []
    message = f"{want.name} is {value:g}; usual are {low:g} to {high:g}"
    return [Problem(Severity.WARNING, message, "correct it, or check its unit.", source, place)]


def _too_long(text: str, want: WantedColumn, source: str, place: str) -> Problem:
    message = f'{want.name} "{shown(text)}" has {len(text)} letters'
    return Problem(Severity.WARNING, message, "write it in fewer.", source, place)


def _allowed(text: str, want: WantedColumn) -> str | None:
    return {value.casefold(): value for value in want.allowed}.get(text.strip().casefold())


def _number(value: Any) -> float | None:  # noqa: ANN401
    """Read a number; a single decimal comma is understood, a unit is not."""
    if isinstance(value, str):
        value = value.strip()
        if value.count(",") == 1 and "." not in value:
            value = value.replace(",", ".")
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if np.isfinite(number) else None


def _whole(value: Any) -> int | None:  # noqa: ANN401
    number = _number(value)
    return int(number) if number is not None and number == int(number) else None


def _truth(value: Any) -> bool | None:  # noqa: ANN401
    if isinstance(value, bool | np.bool_):
        return bool(value)
    text = f"{value:g}" if isinstance(value, int | float) else str(value).strip().casefold()
    if text in _TRUE:
        return True
    return False if text in _FALSE else None


_READERS: Final[dict[str, Callable[[Any], Any]]] = {
    "int": _whole,
    "float": _number,
    "bool": _truth,
    "text": str,
}


def _repeated(
    values: Sequence[Any], rows: Sequence[Any], want: WantedColumn, source: str
) -> list[Problem]:
    by_value: dict[Any, list[Any]] = {}
    for value, row in zip(values, rows, strict=True):
        if value is not None:
            by_value.setdefault(value, []).append(row)
    return [
        Problem(
            Severity.WARNING,
            f'{want.name} "{shown(value)}" is used {len(where)} times',
            "give each its own, so that results can be told apart.",
            source,
            "rows " + ", ".join(str(row) for row in where),
        )
        for value, where in by_value.items()
        if len(where) > 1
    ]
