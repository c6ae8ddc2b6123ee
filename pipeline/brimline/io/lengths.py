"""Units of length as files and people call them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from brimline.errors import Problem, Severity
from brimline.units import FOOT_M, US_SURVEY_FOOT_M

_METRE_NAMES: Final = frozenset({"m", "metre", "meter", "metres", "meters"})
_FOOT_NAMES: Final = frozenset({"ft", "foot", "feet", "international foot", "int ft"})
_SURVEY_FOOT_NAMES: Final = frozenset(
    {"us-ft", "ftus", "usft", "us ft", "us survey foot", "us survey feet", "foot_us", "us_ft"}
)
_SMALL_UNITS_M: Final = {"dm": 0.1, "decimetre": 0.1, "cm": 0.01, "centimetre": 0.01, "mm": 0.001}


@dataclass(frozen=True, slots=True)
class LengthUnit:
    """A unit of length: what people call it and how many metres it is."""

    name: str
    metres: float

    @property
    def is_metre(self) -> bool:
        """Whether values need no conversion."""
        return abs(self.metres - 1.0) < 1e-12


METRE: Final = LengthUnit("metres", 1.0)
FOOT: Final = LengthUnit("feet", FOOT_M)
SURVEY_FOOT: Final = LengthUnit("US survey feet", US_SURVEY_FOOT_M)


def length_unit(name: str) -> LengthUnit | None:
    """Return the unit that a file or a person calls by `name`; None where it is not known."""
    key = name.strip().lower()
    if key in _METRE_NAMES:
        return METRE
    if key in _FOOT_NAMES:
        return FOOT
    if key in _SURVEY_FOOT_NAMES:
        return SURVEY_FOOT
    if key in _SMALL_UNITS_M:
        return LengthUnit(key, _SMALL_UNITS_M[key])
    return None


def converted(unit: LengthUnit, source: str) -> Problem:
    """Say that levels were converted to metres."""
    return Problem(
        Severity.NOTICE,
        f"has levels in {unit.name}; they were converted to metres (times {unit.metres:.10g})",
        "",
        source,
    )
