"""Scales that a drawing is made at, so that a rule laid on the printed sheet reads ground."""

from __future__ import annotations

import math
from typing import Final

_METRIC: Final = (1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7.5, 8, 10)
_FEET_AN_INCH: Final = (1, 2, 3, 4, 5, 6, 8, 10)
_INCHES_A_FOOT: Final = 12


def drawing_scale(least: float, *, us: bool) -> float:
    """Return the denominator of the largest plain scale that is no larger than 1:`least`.

    Parameters
    ----------
    us : scales of an engineer's rule, so many feet to the inch.
    """
    unit = _INCHES_A_FOOT if us else 1
    steps = _FEET_AN_INCH if us else _METRIC
    power = 10.0 ** math.floor(math.log10(least / unit) + 1e-12)
    plain = (step * power * unit for step in steps)
    return next(found for found in plain if found >= least * (1 - 1e-9))


def scale_words(denominator: float, *, us: bool) -> str:
    """Return a scale as it is written on a sheet: ``1:2 000``, or ``1 in = 40 ft``."""
    if us:
        return f"1 in = {denominator / _INCHES_A_FOOT:g} ft"
    return f"1:{denominator:,.0f}".replace(",", "\N{NARROW NO-BREAK SPACE}")
