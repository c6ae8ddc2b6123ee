"""What was built, judged, as rows of the layers and tables of the catalogue, and in a few words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import shapely

from brimline.errors import Problem, Severity
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.as_built.differences import FoundLevel
    from brimline.as_built.elements import SillBuilt
    from brimline.as_built.findings import BuiltFinding
    from brimline.as_built.judging import Judgement
    from brimline.as_built.levels import CheckedLevel

Row = dict[str, Any]

_ORDER: Final = ("fail", "not decided", "not surveyed", "pass")
_FLAGS: Final = {"fail": "built-off", "not surveyed": "not-surveyed"}
_SILL_FLAGS: Final = {"not surveyed": "not-surveyed", "not decided": "not-decided"}
_LINE: Final = ("lowest_m", "highest_m", "mean_m", "uneven_m", "lowest_at_m")
_OPEN: Final = frozenset({"not-surveyed", "not-decided"})


def stake_rows(found: Judgement) -> tuple[list[Row], list[shapely.Point]]:
    """Make a row of each level that was asked for, failing ones first, and its place."""
    pairs = zip(found.checks, found.found, strict=True)
    told = sorted(pairs, key=lambda pair: _ORDER.index(pair[0].verdict))
    places = [shapely.Point(one.asked.x, one.asked.y) for one, _ in told]
    return [_stake_row(one, here) for one, here in told], places


def _stake_row(one: CheckedLevel, here: FoundLevel) -> Row:
    asked = one.asked
    return {
        "stake_id": asked.stake_id or None,
        "element_id": asked.element_id or None,
        "role": asked.role or None,
        "verdict": one.verdict,
        "chainage_m": asked.chainage_m,
        "design_m": asked.level_m,
        "built_m": asked.level_m + one.difference_m,
        "difference_m": one.difference_m,
        "tolerance_m": one.tolerance_m,
        "cut_m": one.difference_m if one.verdict == "fail" else math.nan,
        "mend": one.told or None,
        "because": one.beyond or None,
        "distance_m": here.distance_m,
        "point": here.point or None,
        "flag": (_FLAGS[one.verdict],) if one.verdict in _FLAGS else (),
    }


def sill_row(sill: SillBuilt) -> Row:
    """Make the row of a sill."""
    line, verdict = sill.line, sill.verdict
    codes = {
        _SILL_FLAGS.get(verdict.both, ""): True,
        "built-off": verdict.level == "fail",
        "uneven-sill": verdict.even == "fail",
    }
    return {
        "element_id": sill.element_id,
        "sill": sill.number,
        "verdict": verdict.both,
        "level_verdict": verdict.level,
        "even_verdict": verdict.even,
        "width_m": sill.width_m,
        "design_m": sill.level_m,
        **{name: None if line is None else getattr(line, name) for name in _LINE},
        "points": 0 if line is None else line.points,
        "mend": verdict.told or None,
        "flag": tuple(code for code, holds in codes.items() if code and holds),
    }


def told_built(findings: Sequence[BuiltFinding]) -> list[Problem]:
    """Say what lies on the whole survey alike, and which elements are not built as designed."""
    problems = [_warning(one.text, one.mend) for one in findings if not one.element_id]
    told = [one for one in findings if one.element_id]
    failing = dict.fromkeys(one.element_id for one in told if one.code not in _OPEN)
    if failing:
        many = counted(len(failing), "element is", "elements are")
        first = f"first: {told[0].element_id}: {told[0].text}"
        text = f"{many} not built as designed: {', '.join(failing)}; {first}"
        problems.append(_warning(text, told[0].mend))
    return problems


def _warning(text: str, mend: str) -> Problem:
    return Problem(Severity.WARNING, text, mend, "as_built")
