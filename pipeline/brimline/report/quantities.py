"""How a column's values are shown: which unit, how many digits, and empty values in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from brimline.units import FOOT_M, Shown, shown

if TYPE_CHECKING:
    from collections.abc import Iterable

    from brimline.layers import Column
    from brimline.units import System

NINE_IN_TEN: Final = 1.645  # standard errors to either side, of a normal error
UNKNOWN: Final = "–"  # no value: not known, or not asked of this row
_PLAIN_LENGTHS: Final = ("length", "chainage", "spacing", "longest", "offset_m", "relief")
_EARTH: Final = (
    "cut", "fill", "earth", "spoil", "topsoil", "mound", "stone", "built", "respread", "bank_m3",
    "loose_m3",
)  # fmt: skip
# below, the larger unit would show too few digits
_AREA_FROM_M2: Final = 5_000.0
_EARTH_FROM_M3: Final = 20.0
_FLOW_FROM_M3_S: Final = 0.01


def unit_of(name: str, unit: str, system: System, *, typical: float = math.inf) -> Shown | None:
    """Return the unit that values of a column are shown in; None where they are plain numbers.

    Parameters
    ----------
    name, unit : of the column, as the catalogue has them.
    typical : a usual value [SI]; decides between large and small units of area, earth and flow.
    """
    if unit == "m":
        plain = any(word in name for word in _PLAIN_LENGTHS) and "error" not in name
        return shown("length" if plain else "level", system)
    if unit == "m²":
        return shown("area" if typical >= _AREA_FROM_M2 else "small area", system)
    if unit == "m³":
        earth = any(word in name for word in _EARTH)
        return shown(earth_of(typical) if earth else "volume", system)
    if unit == "m³/s":
        return shown(flow_of(typical), system)
    if unit == "mm/h":
        depth = shown("rain", system)
        return Shown(f"{depth.symbol}/h", depth.per_si, depth.digits)
    if unit == "m/s":
        return Shown("m/s", 1.0, 2) if system == "metric" else Shown("ft/s", 1 / FOOT_M, 2)
    if unit == "m³/a":
        volume = shown("volume", system)
        return Shown(f"{volume.symbol}/a", volume.per_si, volume.digits)
    simple = {"%": "slope", "mm": "rain"}.get(unit)
    if simple is not None:
        return shown(simple, system)
    if unit in {"h", "min", "d", "s", "L", "m³/d", "1/m"}:
        return Shown(unit, 1.0, 3 if unit == "1/m" else 1)
    return Shown(unit, 1.0, 2) if unit else None


def earth_of(typical_m3: float) -> str:
    """Return the quantity that amounts of earth are shown as: small ones in more digits."""
    return "earth" if abs(typical_m3) >= _EARTH_FROM_M3 else "small earth"


def flow_of(typical_m3_s: float) -> str:
    """Return the quantity that flows are shown as: small ones in litres a second."""
    return "flow" if typical_m3_s >= _FLOW_FROM_M3_S else "small flow"


def unit_for(column: Column, system: System, values: Iterable[Any] = ()) -> Shown | None:
    """Return the unit in which a whole column is shown, so that its rows can be compared."""
    if _is_share(column):
        return shown("share", system)
    sized = column.unit in {"m²", "m³", "m³/s"}
    known = [float(v) for v in values if not _missing(v)] if sized else []
    typical = max(known, default=math.inf)
    return unit_of(column.name, column.unit, system, typical=typical)


def _is_share(column: Column) -> bool:
    return (
        column.dtype == "float"
        and not column.unit
        and (column.minimum, column.maximum) == (0, 1)
        and "coefficient" not in column.name  # written as a decimal in the trade
    )


def text(value: Any, unit: Shown | None, dtype: str = "") -> str:  # noqa: ANN401 - any cell
    """Show one value; `unit` is that of the column."""
    if _missing(value):
        return UNKNOWN
    if isinstance(value, str):
        return value
    if dtype == "bool" or isinstance(value, bool):
        return "yes" if value else "no"
    if unit is not None:
        return unit.text(float(value))
    number = float(value)
    if dtype == "int" or number.is_integer():
        return f"{number:,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")
    return f"{number:.2f}"


def number(value: Any, unit: Shown | None, dtype: str = "") -> str:  # noqa: ANN401 - any cell
    """Show one value without its unit, for a table whose header names it."""
    shown_text = text(value, unit, dtype)
    if unit is None or shown_text == UNKNOWN:
        return shown_text
    return shown_text.removesuffix(unit.symbol).rstrip("\N{NO-BREAK SPACE}")


def _missing(value: object) -> bool:
    if value is None or value == "":
        return True
    try:
        return bool(value != value)
    except TypeError:
        return True
