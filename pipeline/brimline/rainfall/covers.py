"""Ground covers by plain name, with their NRCS curve numbers.

Unless a cover says otherwise, the numbers are those of TR-55 (NRCS 1986, Urban Hydrology for Small
Watersheds, 2nd edition): Table 2-2a urban areas, 2-2b cultivated land, 2-2c other agricultural
land, for the average antecedent runoff condition and an initial abstraction of 0.2 S.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from brimline.rainfall._checks import named

if TYPE_CHECKING:
    from collections.abc import Mapping

SOIL_GROUPS: Final = ("A", "B", "C", "D")

Row: TypeAlias = tuple[int, int, int, int]  # soil groups A, B, C, D


@dataclass(frozen=True, slots=True)
class Cover:
    """What lies on the ground.

    Parameters
    ----------
    name : the word used in the `surfaces` input.
    curve_numbers : hydrologic condition to curve numbers of soil groups A, B, C, D; a cover that
        has no condition has the single key ``""``.
    sheet_n : Manning's n for sheet flow, nearest row of TR-55 Table 3-1.
    source : where the curve numbers stand.
    impervious : rain does not soak in at all.
    """

    name: str
    curve_numbers: Mapping[str, Row]
    sheet_n: float
    source: str
    impervious: bool = False

    @property
    def conditions(self) -> tuple[str, ...]:
        """The hydrologic conditions that it is tabulated for; empty where there is only one."""
        return tuple(condition for condition in self.curve_numbers if condition)

    @property
    def usual_condition(self) -> str:
        """The condition taken where none is given: fair, else poor, which sheds more water."""
        for condition in ("fair", "poor"):
            if condition in self.curve_numbers:
                return condition
        return next(iter(self.curve_numbers))


def _plain(name: str, row: Row, n: float, source: str, *, impervious: bool = False) -> Cover:
    return Cover(name, {"": row}, n, source, impervious)


def _crop(name: str, n: float, poor: Row, good: Row) -> Cover:
    return Cover(name, {"poor": poor, "good": good}, n, "TR-55 Table 2-2b")


def _grown(name: str, n: float, poor: Row, fair: Row, good: Row, table: str) -> Cover:
    return Cover(name, {"poor": poor, "fair": fair, "good": good}, n, f"TR-55 Table {table}")


_ALL_98: Final = (98, 98, 98, 98)
_ALL_100: Final = (100, 100, 100, 100)

COVERS: Final = (
    _plain("roof", _ALL_98, 0.011, "TR-55 Table 2-2a", impervious=True),
    _plain("paving", _ALL_98, 0.011, "TR-55 Table 2-2a", impervious=True),
    # all rain on open water is runoff
    _plain("water", _ALL_100, 0.011, "common practice, no source", impervious=True),
    _plain("gravel", (76, 85, 89, 91), 0.011, "TR-55 Table 2-2a, gravel road"),
    _plain("dirt track", (72, 82, 87, 89), 0.011, "TR-55 Table 2-2a, dirt road"),
    _plain("bare", (77, 86, 91, 94), 0.011, "TR-55 Table 2-2a, newly graded; 2-2b, fallow"),
    _plain("farmstead", (59, 74, 82, 86), 0.15, "TR-55 Table 2-2c"),
    _plain("meadow", (30, 58, 71, 78), 0.24, "TR-55 Table 2-2c"),
    _grown("lawn", 0.24, (68, 79, 86, 89), (49, 69, 79, 84), (39, 61, 74, 80), "2-2a"),
    _grown("pasture", 0.15, (68, 79, 86, 89), (49, 69, 79, 84), (39, 61, 74, 80), "2-2c"),
    _grown("brush", 0.40, (48, 67, 77, 83), (35, 56, 70, 77), (30, 48, 65, 73), "2-2c"),
    _grown("orchard", 0.24, (57, 73, 82, 86), (43, 65, 76, 82), (32, 58, 72, 79), "2-2c"),
    _grown("woods", 0.40, (45, 66, 77, 83), (36, 60, 73, 79), (30, 55, 70, 77), "2-2c"),
    _crop("row crops", 0.06, (72, 81, 88, 91), (67, 78, 85, 89)),
    _crop("contoured row crops", 0.06, (70, 79, 84, 88), (65, 75, 82, 86)),
    _crop("terraced row crops", 0.06, (66, 74, 80, 82), (62, 71, 78, 81)),
    _crop("small grain", 0.17, (65, 76, 84, 88), (63, 75, 83, 87)),
    _crop("contoured small grain", 0.17, (63, 74, 82, 85), (61, 73, 81, 84)),
    _crop("rotation meadow", 0.17, (66, 77, 85, 89), (58, 72, 81, 85)),
)

_BY_NAME: Final = {one.name: one for one in COVERS}


def cover(name: str) -> Cover:
    """Return the cover of that name.

    Raises
    ------
    ValueError
        If no cover has the name; the message gives the nearest.
    """
    return _BY_NAME[named(name, _BY_NAME, "ground cover")]


def condition_of(one: Cover, condition: str = "") -> str:
    """Return the hydrologic condition to read a cover's row at; empty text takes the usual one.

    Raises
    ------
    ValueError
        If the cover is not tabulated for the condition.
    """
    if not condition:
        return one.usual_condition
    if not one.conditions:
        raise ValueError(f"cover {one.name!r} has no hydrologic condition, got {condition!r}")
    return named(condition, one.conditions, f"condition of {one.name!r}")


def soil_group(text: str, *, drained: bool = False) -> str:
    """Return the hydrologic soil group, A to D, that a soil map's text means.

    A dual group such as ``"B/D"`` stands for a soil that is wet unless it is drained: the first
    letter where it has been drained, else D.

    Raises
    ------
    ValueError
        If the text is not one of A, B, C, D, A/D, B/D, C/D.

    References
    ----------
    NRCS (2009), National Engineering Handbook, part 630, chapter 7 (dual groups; from memory)
    """
    letters = text.strip().upper().split("/")
    known = all(letter in SOIL_GROUPS for letter in letters)
    if not known or len(letters) > 2 or (len(letters) == 2 and letters[1] != "D"):
        raise ValueError(f"soil group must be A, B, C, D, A/D, B/D or C/D, got {text!r}")
    return letters[0] if drained else letters[-1]
