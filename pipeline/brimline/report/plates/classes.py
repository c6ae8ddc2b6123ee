"""The words beside the colours of a ramp."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.layers import raster
from brimline.report.quantities import unit_of
from brimline.units import shown

if TYPE_CHECKING:
    from brimline.report.ramps import Ramp
    from brimline.report.results import Results

_OPEN: Final = 1e8  # a break beyond it stands for "anything below"
_IN_PERCENT: Final = frozenset({"catchment_chance"})


def ramp_title(ramp: Ramp) -> str:
    """Return what the classes of a ramp are classes of."""
    try:
        return f"{raster(ramp.raster).title}:"
    except KeyError:
        return f"{ramp.raster.removesuffix('_m').replace('_', ' ').capitalize()}:"


def class_titles(results: Results, ramp: Ramp) -> list[tuple[str, str]]:
    """Return (words, colour) of each class, in the units shown."""
    try:
        declared = raster(ramp.raster)
    except KeyError:
        declared = None
    unit = unit_of(ramp.raster, declared.unit if declared else "", results.units)
    factor, symbol = (unit.per_si, unit.symbol) if unit else (1.0, "")
    if ramp.raster in _IN_PERCENT:
        factor, symbol = 100.0, "%"
    if ramp.raster == "change_m":
        return _cut_and_fill(results, ramp)
    told = []
    for number, colour in enumerate(ramp.colours):
        low = ramp.breaks[number]
        high = ramp.breaks[number + 1] if number + 1 < len(ramp.breaks) else None
        if low < -_OPEN and high is not None:
            words = f"below {_round(high * factor)}"
        elif high is None:
            words = f"{_round(low * factor)} and more"
        else:
            words = f"{_round(low * factor)} to {_round(high * factor)}"
        told.append((f"{words} {symbol}".strip(), colour))
    return told


def _cut_and_fill(results: Results, ramp: Ramp) -> list[tuple[str, str]]:
    unit = shown("level", results.units)
    half = len(ramp.colours) // 2
    limits = [abs(limit) * unit.per_si for limit in ramp.breaks[1 : half + 1]]  # falling to 0
    told = []
    for number, colour in enumerate(ramp.colours):
        word = "cut" if number < half else "fill"
        at = number if number < half else len(ramp.colours) - 1 - number
        deeper = f"over {_round(limits[0])}" if at == 0 else None
        words = deeper or f"{_round(limits[at])} to {_round(limits[at - 1])}"
        told.append((f"{word} {words} {unit.symbol}", colour))
    return told


def _round(value: float) -> str:
    return (
        f"{value:,.3g}".replace(",", "\N{NARROW NO-BREAK SPACE}")
        if abs(value) < 1000
        else (f"{value:,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}"))
    )
