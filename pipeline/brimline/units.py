"""Conversions between SI, which everything inside uses, and what people write and read.

Lengths follow the definitions of the international foot (0.3048 m exactly) and the US survey
foot (1200/3937 m exactly); the US gallon is 231 cubic inches exactly (NIST SP 811, appendix B).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

FOOT_M: Final = 0.3048
US_SURVEY_FOOT_M: Final = 1200 / 3937
INCH_MM: Final = 25.4
ACRE_M2: Final = 43_560 * FOOT_M**2
CUBIC_YARD_M3: Final = (3 * FOOT_M) ** 3
MILE_M: Final = 5280 * FOOT_M
US_GALLON_M3: Final = 231 * (INCH_MM / 1000) ** 3
HECTARE_M2: Final = 10_000.0
DAY_S: Final = 86_400.0
MM_PER_H_M_S: Final = 1 / 3_600_000  # one millimetre an hour in metres a second

System = Literal["metric", "us"]


@dataclass(frozen=True, slots=True)
class Shown:
    """A unit that values are shown in: its symbol and how many of it make one SI unit."""

    symbol: str
    per_si: float
    digits: int

    def text(self, value_si: float) -> str:
        """Show an SI value in this unit, with thousands separated by thin spaces."""
        shown = f"{value_si * self.per_si:z,.{self.digits}f}".replace(
            ",", "\N{NARROW NO-BREAK SPACE}"
        )
        return f"{shown}\N{NO-BREAK SPACE}{self.symbol}"


_SHOWN: Final[dict[str, dict[System, Shown]]] = {
    "length": {"metric": Shown("m", 1.0, 1), "us": Shown("ft", 1 / FOOT_M, 1)},
    "level": {"metric": Shown("m", 1.0, 2), "us": Shown("ft", 1 / FOOT_M, 2)},
    "area": {"metric": Shown("ha", 1 / HECTARE_M2, 2), "us": Shown("ac", 1 / ACRE_M2, 2)},
    "small area": {"metric": Shown("m²", 1.0, 0), "us": Shown("ft²", 1 / FOOT_M**2, 0)},
    "volume": {"metric": Shown("m³", 1.0, 1), "us": Shown("gal", 1 / US_GALLON_M3, 0)},
    "earth": {"metric": Shown("m³", 1.0, 0), "us": Shown("yd³", 1 / CUBIC_YARD_M3, 0)},
    "small earth": {"metric": Shown("m³", 1.0, 1), "us": Shown("yd³", 1 / CUBIC_YARD_M3, 1)},
    "bore": {"metric": Shown("mm", 1.0, 0), "us": Shown("in", 1 / INCH_MM, 1)},
    "rain": {"metric": Shown("mm", 1.0, 1), "us": Shown("in", 1 / INCH_MM, 2)},
    "flow": {"metric": Shown("m³/s", 1.0, 3), "us": Shown("ft³/s", 1 / FOOT_M**3, 2)},
    "small flow": {"metric": Shown("l/s", 1e3, 2), "us": Shown("gal/min", 60 / US_GALLON_M3, 1)},
    "slope": {"metric": Shown("%", 1.0, 1), "us": Shown("%", 1.0, 1)},
    "density": {"metric": Shown("/m²", 1.0, 1), "us": Shown("/ft²", FOOT_M**2, 2)},
    "share": {"metric": Shown("%", 100.0, 0), "us": Shown("%", 100.0, 0)},
}


def counted(count: int, one: str, many: str = "") -> str:
    """Return a count with its noun: ``1 row``, ``3 rows``; `many` where an s is not enough."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def shown(quantity: str, system: System) -> Shown:
    """Return the unit in which a quantity is shown.

    Parameters
    ----------
    quantity : one of length, level, area, small area, volume, earth, small earth, rain, bore, flow,
        small flow, slope, density, share.
    system : ``"metric"`` or ``"us"``.

    Raises
    ------
    KeyError
        If the quantity is not in the table.
    """
    return _SHOWN[quantity][system]
