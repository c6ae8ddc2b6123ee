"""Checks at the doors of this room: every message names the value, the limit and the unit."""

from __future__ import annotations

import math
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike, NDArray


def _with_unit(value: object, unit: str) -> str:
    return f"{value} {unit}" if unit else f"{value}"


def above_zero(value: float, name: str, unit: str = "") -> float:
    """Return a finite number above zero.

    Raises
    ------
    ValueError
        If it is not.
    """
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(
            f"{name} must be above {_with_unit(0, unit)}, got {_with_unit(value, unit)}"
        )
    return float(value)


def not_below_zero(value: float, name: str, unit: str = "") -> float:
    """Return a finite number that is zero or more.

    Raises
    ------
    ValueError
        If it is not.
    """
    if not (value >= 0 and math.isfinite(value)):
        raise ValueError(
            f"{name} must not be below {_with_unit(0, unit)}, got {_with_unit(value, unit)}"
        )
    return float(value)


def within(value: float, low: float, high: float, name: str, unit: str = "") -> float:
    """Return a number from `low` to `high`, both included.

    Raises
    ------
    ValueError
        If it is not.
    """
    if not low <= value <= high:
        raise ValueError(
            f"{name} must be {low:g} to {_with_unit(f'{high:g}', unit)}, "
            f"got {_with_unit(value, unit)}"
        )
    return float(value)


def series(values: ArrayLike, name: str, unit: str, *, least: int = 1) -> NDArray[np.float64]:
    """Return a copy as a one-dimensional float64 array of finite numbers, none below zero.

    Raises
    ------
    ValueError
        If it has fewer than `least` values, another shape, or a value that is not allowed.
    """
    array = np.array(values, dtype=np.float64)
    if array.ndim != 1 or array.size < least:
        raise ValueError(
            f"{name} must be a list of {least} or more values, got shape {array.shape}"
        )
    wrong = ~(np.isfinite(array) & (array >= 0))
    if wrong.any():
        place = int(np.argmax(wrong))
        raise ValueError(
            f"{name} must not be below {_with_unit(0, unit)}, "
            f"got {_with_unit(array[place], unit)} at place {place + 1}"
        )
    return array


def rising(values: NDArray[np.float64], name: str, unit: str) -> NDArray[np.float64]:
    """Return the array if each value is above the one before it.

    Raises
    ------
    ValueError
        If one is not.
    """
    falls = np.diff(values) <= 0
    if falls.any():
        place = int(np.argmax(falls))
        raise ValueError(
            f"{name} must rise from value to value, "
            f"got {values[place]:g} then {_with_unit(f'{values[place + 1]:g}', unit)}"
        )
    return values


def area_shares(areas_m2: ArrayLike, count: int, what: str) -> NDArray[np.float64]:
    """Return areas as shares of their sum.

    Raises
    ------
    ValueError
        If there are not `count` of them, one is below 0 m² or they sum to 0 m².
    """
    areas = series(areas_m2, "areas_m2", "m²")
    if areas.size != count or not areas.sum() > 0:
        raise ValueError(
            f"{count} {what} need as many areas that sum to more than 0 m², "
            f"got {areas.size} that sum to {areas.sum():g} m²"
        )
    shares: NDArray[np.float64] = areas / areas.sum()
    return shares


def plain_name(text: str) -> str:
    """Write a name the way the tables do: lower case, single spaces."""
    return " ".join(text.lower().replace("_", " ").replace("-", " ").split())


def named(name: str, known: Iterable[str], what: str) -> str:
    """Return the known name that `name` means, whatever its case, hyphens or underscores.

    Raises
    ------
    ValueError
        If there is none; the message gives the nearest known name, or all of them.
    """
    by_plain = {plain_name(one): one for one in known}
    found = by_plain.get(plain_name(name))
    if found is not None:
        return found
    near = get_close_matches(plain_name(name), by_plain, n=1)
    hint = (
        f"did you mean {by_plain[near[0]]!r}?" if near else f"known: {', '.join(by_plain.values())}"
    )
    raise ValueError(f"no {what} is named {name!r}; {hint}")


def read_only(array: NDArray[Any]) -> NDArray[Any]:
    """Return the array itself, closed to writing."""
    array.setflags(write=False)
    return array
