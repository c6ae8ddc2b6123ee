"""Works as built judged as a whole: levels, sills, storage, and the cascade routed with them."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from brimline.as_built import findings as told
from brimline.as_built.elements import bottom_places, elements_built
from brimline.as_built.findings import BuiltFinding
from brimline.as_built.levels import checked
from brimline.as_built.shift import off_alike
from brimline.cascade import check, judge, mends_for, route

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from brimline.as_built.differences import Differences, FoundLevel
    from brimline.as_built.elements import AllBuilt, BuiltElement, DesignedWorks, SillBuilt
    from brimline.as_built.levels import Asked, CheckedLevel, Tolerances, Verdict
    from brimline.as_built.shift import SurveyShift
    from brimline.cascade import CascadeLimits, Finding, Mend, Pace, Routed, StormInflow


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """Storms that the cascade must bear.

    Parameters
    ----------
    inflows : of the design storm first, then of the others.
    targets : element to what its overflow reaches on the ground, for mends.
    """

    inflows: tuple[StormInflow, ...]
    limits: CascadeLimits
    pace: Pace
    targets: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class JudgedElement:
    """An element as built: its fields are the columns of the layer `as_built_elements`."""

    element_id: str
    kind: str
    verdict: str
    stakes: int
    passed: int
    failed: int
    not_decided: int
    not_surveyed: int
    spill_level_design_m: float
    spill_level_built_m: float
    sill_uneven_m: float
    crest_level_design_m: float
    crest_level_built_m: float
    storage_design_m3: float
    storage_built_m3: float
    storage_error_m3: float
    storage_pct: float
    spills_to: str
    peak_level_m: float
    dry_height_m: float
    new_flags: tuple[str, ...]
    flag: tuple[str, ...]
    notes: str


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """What was built, judged.

    Parameters
    ----------
    checks, found : every level that was asked for, and the reading that speaks for it.
    findings : the gravest first.
    """

    checks: list[CheckedLevel]
    found: list[FoundLevel]
    sills: list[SillBuilt]
    elements: list[JudgedElement]
    findings: list[BuiltFinding]

    @property
    def headline(self) -> dict[str, int]:
        """How many levels were checked and how they came out, and how many elements fail."""
        count = Counter(one.verdict for one in self.checks)
        return {
            "levels_checked": len(self.checks) - count["not surveyed"],
            "levels_off": count["fail"],
            "levels_not_decided": count["not decided"],
            "levels_not_surveyed": count["not surveyed"],
            "elements_that_fail_as_built": sum(one.verdict == "fails" for one in self.elements),
        }


def judge_works(
    works: DesignedWorks,
    stakes: Sequence[Asked],
    differences: Differences,
    tolerances: Tolerances,
    trial: Trial,
    *,
    shift: SurveyShift,
    shift_taken_off: bool = True,
) -> Judgement:
    """Hold what was surveyed against the design, and route every storm through it.

    Parameters
    ----------
    stakes : levels asked for; places on the bottoms of ponds and basins are added.
    shift : of the whole survey, already taken off the differences or not.
    """
    asked = [*stakes, *bottom_places(works)]
    found = [differences.at(one) for one in asked]
    # an element is told as built otherwise by any one of its levels: all are judged together
    among = Counter(
        one.element_id
        for one, here in zip(asked, found, strict=True)
        if math.isfinite(here.difference_m)
    )
    checks = [
        checked(one, here.difference_m, tolerances, among=among[one.element_id] or 1)
        for one, here in zip(asked, found, strict=True)
    ]
    built = elements_built(works, checks, differences, tolerances)
    after = _rerouted(works, built, trial)
    network = works.network
    designed_m3 = {
        one.element_id: float(one.stages.storage_at(network.spill_level_m(one.element_id)))
        for one in network.elements
    }
    findings = told.ranked(
        [
            *_of_survey(shift, checks, taken_off=shift_taken_off),
            *told.of_cascade(after.new, after.mends, told.back_to_design(checks, built.elements)),
            *told.of_levels(checks),
            *told.of_sills(built.elements),
            *told.of_storage(built.elements, designed_m3, checks, tolerances.storage_pct),
            *told.of_undecided(checks, built.elements, differences, tolerances),
            *told.of_unseen(checks),
        ]
    )
    elements = [
        _judged(works, one, designed_m3[name], after, checks, findings)
        for name, one in built.elements.items()
    ]
    sills = [sill for one in built.elements.values() for sill in one.sills]
    return Judgement(checks, found, sills, elements, findings)


@dataclass(frozen=True, slots=True)
class _After:
    """The cascade as built, routed; what is wrong now and was not by design."""

    routed: list[Routed]
    new: list[tuple[str, Finding]]
    mends: Sequence[Mend]


def _rerouted(works: DesignedWorks, built: AllBuilt, trial: Trial) -> _After:
    limits, pace = trial.limits, trial.pace
    network = works.network.rebuilt(
        {name: one.element for name, one in built.elements.items()}, built.outlets
    )
    marks = {(one.element_id, one.flag) for one in check(works.network, limits)}
    for inflow in trial.inflows:
        routed = route(works.network, inflow, pace)
        marks |= {(one.element_id, one.flag) for one in judge(routed, limits)}
    now = [route(network, one, pace) for one in trial.inflows]
    drawn = [("", one) for one in check(network, limits)]
    by_storm = [[(one.inflow.name, found) for found in judge(one, limits)] for one in now]
    every = drawn + [pair for part in by_storm for pair in part]
    new = [(storm, one) for storm, one in every if (one.element_id, one.flag) not in marks]
    shown = [one for _, one in drawn + by_storm[0]]
    mended = [one for one in shown if (one.element_id, one.flag) not in marks]
    mends = mends_for(
        now[0], mended, limits, pace, trial.targets,
        others=[one for one in shown if one not in mended],
    )  # fmt: skip
    return _After(now, new, mends)


def _of_survey(
    shift: SurveyShift, checks: Sequence[CheckedLevel], *, taken_off: bool
) -> list[BuiltFinding]:
    """Say what lies on the whole survey alike, and that it errs more than it is said to."""
    mend = (
        "state rmse_m under [as_built] as it is, or survey again; levels are judged by what it says"
    )
    noisy = [BuiltFinding(told.SURVEY, "", "", shift.scatter, mend)] if shift.scatter else []
    return [*_alike(shift, checks, taken_off=taken_off), *noisy]


def _alike(
    shift: SurveyShift, checks: Sequence[CheckedLevel], *, taken_off: bool
) -> list[BuiltFinding]:
    if shift.told:
        what = "was taken off before levels were judged" if taken_off else "was left in, as asked"
        mend = (
            "check the survey's base and height reference against the benchmark; "
            "set take_off_shift under [as_built] to leave it in"
        )
        return [BuiltFinding(told.SURVEY, "", "", f"{shift.told}; it {what}", mend)]
    alike = "" if shift.by else off_alike(checks)
    mend = "survey the benchmark and some untouched ground before anything is cut or filled"
    return [BuiltFinding(told.SURVEY, "", "", alike, mend)] if alike else []


def _judged(
    works: DesignedWorks,
    one: BuiltElement,
    designed_m3: float,
    after: _After,
    checks: Sequence[CheckedLevel],
    findings: Sequence[BuiltFinding],
) -> JudgedElement:
    name = one.element.element_id
    element, network = works.network.element(name), after.routed[0].network
    own = [finding for finding in findings if finding.element_id == name]
    new = sorted({found.flag for _, found in after.new if found.element_id == name})
    codes = {finding.code for finding in own} - {*new, ""}
    count = Counter(level.verdict for level in checks if level.asked.element_id == name)
    peak = max(float(part.elements.peak_level_m[network.index[name]]) for part in after.routed)
    spill_m = min(network.spill_level_m(name), one.element.crest_level_m)
    holds = float(one.element.stages.storage_at(spill_m)) if one.storage_known else math.nan
    return JudgedElement(
        name,
        str(element.kind),
        _verdict(new, codes, count),
        count.total(),
        count["pass"],
        count["fail"],
        count["not decided"],
        count["not surveyed"],
        works.network.spill_level_m(name),
        spill_m,
        max((sill.line.uneven_m for sill in one.sills if sill.line), default=math.nan),
        element.crest_level_m,
        one.element.crest_level_m,
        designed_m3,
        holds,
        one.storage_error_m3 if one.storage_known else math.nan,
        100 * holds / designed_m3 if designed_m3 > 0 else math.nan,
        network.spills_to(name),
        peak,
        one.element.crest_level_m - peak,
        tuple(new),
        tuple(codes | ({"no-longer-works"} if new else set())),
        "; ".join(finding.text for finding in own),
    )


def _verdict(new: Sequence[str], codes: set[str], count: Counter[Verdict]) -> str:
    if new or "short-storage" in codes:
        return "fails"
    if count.total() == count["not surveyed"]:
        return "not surveyed"
    if count["fail"] or codes & {"uneven-sill", "built-off"}:
        return "works"
    return "not decided" if "not-decided" in codes else "as designed"
