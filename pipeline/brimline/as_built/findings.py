"""What the levels as built put in question, the gravest first."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from brimline.as_built.levels import SURE, chance_of_one, decided

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from brimline.as_built.differences import Differences
    from brimline.as_built.elements import BuiltElement
    from brimline.as_built.levels import CheckedLevel, Tolerances
    from brimline.cascade import Finding, Mend

SURVEY: Final = 0
# what a storm shows comes first, by how much harm it does; then what it has not shown yet
_STORM: Final = ("overtopped", "cycle", "uphill", "no-safe-outlet", "drowned", "freeboard")
_OTHER_FLAG: Final = 8
_BEYOND: Final = 9
_SILL: Final = 10
_STORAGE: Final = 11
_STANDING: Final = 12
_LEVELS: Final = 13
_UNDECIDED: Final = 14
_UNSEEN: Final = 15
_LEAST_STANDING_M: Final = 0.02
_MOST_SHOTS: Final = 30  # on one sill or line; more is levelled sooner (common practice, no source)


@dataclass(frozen=True, slots=True)
class BuiltFinding:
    """One thing that a person must look at.

    Parameters
    ----------
    weight : smaller ones come first.
    code : of the flag catalogue; empty for the whole survey.
    mend : what to do; empty is what the catalogue says of the flag.
    grave : among those of one weight, greater ones come first.
    """

    weight: int
    element_id: str
    code: str
    text: str
    mend: str
    storm: str = ""
    grave: float = 0.0


def of_cascade(
    new: Sequence[tuple[str, Finding]], mends: Sequence[Mend], failing: Mapping[str, str]
) -> Iterator[BuiltFinding]:
    """Turn what storms show to be wrong, and the design had right, into findings.

    Parameters
    ----------
    new : storm, empty for any, and finding.
    failing : element to how its levels come back to the design, where some fail.
    """
    seen = set()
    for storm, finding in new:
        mark = (finding.element_id, finding.flag)
        if mark in seen:
            continue
        seen.add(mark)
        weight = _STORM.index(finding.flag) + 1 if finding.flag in _STORM else _OTHER_FLAG
        ways = [failing[finding.element_id]] if finding.element_id in failing else []
        ways += [one.text for one in mends if (one.element_id, one.flag) == mark]
        yield BuiltFinding(
            weight, finding.element_id, finding.flag, finding.text, "; or ".join(ways), storm
        )


def of_levels(checks: Sequence[CheckedLevel]) -> Iterator[BuiltFinding]:
    """Gather failing stakes by element, what they are, and what fails by it."""
    groups: dict[tuple[str, str, str, bool], list[CheckedLevel]] = defaultdict(list)
    for one in checks:
        if one.verdict == "fail" and not one.asked.role.startswith("sill"):
            key = (one.asked.element_id, one.asked.role, one.beyond, one.difference_m > 0)
            groups[key].append(one)
    for (name, role, beyond, high), found in groups.items():
        worst = max(found, key=lambda one: abs(one.difference_m))
        many = f"{len(found)} {role} levels" if len(found) > 1 else f"a {role} level"
        text = (
            f"{many} built too {'high' if high else 'low'}, by up to "
            f"{abs(worst.difference_m):.2f} m ({_stakes(found)})"
        )
        yield BuiltFinding(
            _BEYOND if beyond else _LEVELS, name, "built-off",
            f"{text}: {beyond}" if beyond else text,
            f"{'cut' if high else 'fill'} by up to {abs(worst.difference_m):.2f} m; as_built_stakes"
            " says how much at each",
            grave=abs(worst.difference_m) / worst.tolerance_m,
        )  # fmt: skip


def of_sills(built: Mapping[str, BuiltElement]) -> Iterator[BuiltFinding]:
    """Tell of sills that lie at a wrong level, and of those that are uneven."""
    for sill in (sill for one in built.values() for sill in one.sills):
        line = sill.line
        if line is None:
            continue
        off, low = line.mean_m - sill.level_m, line.lowest_m - sill.level_m
        if sill.verdict.level == "fail":
            text = (
                f"its sill should lie at {sill.level_m:.2f} m and lies {abs(off):.3f} m too"
                f" {'high' if off > 0 else 'low'} over its width"
            )
            mend = sill.verdict.told
            yield BuiltFinding(_SILL, sill.element_id, "built-off", text, mend, grave=abs(off))
        if sill.verdict.even == "fail":
            text = (
                f"its sill is uneven by {line.uneven_m:.3f} m: it spills {line.lowest_at_m:.1f} m"
                f" along, {abs(low):.3f} m {'below' if low < 0 else 'above'} its design level"
            )
            worst = max(abs(low), abs(line.highest_m - sill.level_m))
            mend = sill.verdict.told
            yield BuiltFinding(_SILL, sill.element_id, "uneven-sill", text, mend, grave=worst)


def of_storage(
    built: Mapping[str, BuiltElement],
    designed_m3: Mapping[str, float],
    checks: Sequence[CheckedLevel],
    short_pct: float,
) -> Iterator[BuiltFinding]:
    """Tell of elements that hold too little, and of beds in which water stands."""
    off_floor = {
        one.asked.element_id
        for one in checks
        if one.verdict == "fail" and one.asked.role in ("floor", "edge")
    }
    for name, one in built.items():
        before, now = designed_m3[name], one.element.storage_m3
        least = (1 - short_pct / 100) * before
        unsure_m3 = SURE * one.storage_error_m3
        by_chance_m3 = max(SURE, chance_of_one(len(built))) * one.storage_error_m3
        if one.storage_known and now < least:
            held = f"{now:.1f} m³" if unsure_m3 < 0.05 else f"{now:.1f} ± {unsure_m3:.1f} m³"
            text = f"it holds {held} to its spill level where {before:.1f} m³ were designed"
            off_sill = any(sill.verdict.both == "fail" for sill in one.sills)
            ways = ["bring its sill to its level"] if off_sill else []
            if name in off_floor or not ways:
                ways.insert(0, "dig it out to its designed floor and sides")
            mend, grave = ", and ".join(ways), 1 - now / before
            if now + by_chance_m3 < least:
                yield BuiltFinding(_STORAGE, name, "short-storage", text, mend, grave=grave)
            else:
                text += "; this survey cannot decide whether that is short"
                mend = "survey its floor and sides closer, then judge"
                yield BuiltFinding(_UNDECIDED, name, "not-decided", text, mend, grave=grave)
        if one.standing_m > _LEAST_STANDING_M:
            text = (
                f"its bed does not fall all the way: {one.standing_m:.2f} m of water stand"
                f" {one.standing_at_m:.0f} m from its upper end"
            )
            yield BuiltFinding(_STANDING, name, "fall-error", text, "cut the high place below it")


def of_undecided(
    checks: Sequence[CheckedLevel],
    built: Mapping[str, BuiltElement],
    differences: Differences,
    tolerances: Tolerances,
) -> Iterator[BuiltFinding]:
    """Tell of what the survey shows to be neither right nor wrong, or wrong only as a whole.

    Single levels of a floor or rim that chance puts near their limit are not told where their mean
    passes; each undecided place of a crest is, for it is where water would run over.
    """
    survey_error_m = tolerances.survey_error_m
    groups: dict[tuple[str, str], list[CheckedLevel]] = defaultdict(list)
    for one in checks:
        if math.isfinite(one.difference_m) and not one.asked.role.startswith("sill"):
            groups[one.asked.element_id, one.asked.role].append(one)
    open_: dict[str, list[str]] = defaultdict(list)
    tightest_m: dict[str, float] = defaultdict(lambda: math.inf)
    for (name, role), found in groups.items():
        undecided = [one for one in found if one.verdict == "not decided"]
        if not undecided:
            continue
        mean = sum(one.difference_m for one in found) / len(found)
        tolerance = found[0].tolerance_m
        error = differences.error_of_mean_m(survey_error_m, len(found))
        whole = decided(-mean if role == "crest" else abs(mean), tolerance, error)
        some_fail = any(one.verdict == "fail" for one in found)
        if whole == "fail" and not some_fail:
            yield BuiltFinding(
                _LEVELS, name, "built-off",
                f"its {role} as a whole lies {abs(mean):.3f} m too {'high' if mean > 0 else 'low'}",
                f"{'cut' if mean > 0 else 'fill'} {abs(mean):.2f} m over all of it",
                grave=abs(mean) / tolerance,
            )  # fmt: skip
        elif whole == "not decided" or role == "crest":
            open_[name].append(f"{len(undecided)} of its {len(found)} {role} levels")
            tightest_m[name] = min(tightest_m[name], tolerance)
    for name, element in built.items():
        for sill in element.sills:
            words = [
                word
                for word, verdict in (
                    ("the level", sill.verdict.level), ("the evenness", sill.verdict.even),
                )
                if verdict == "not decided"
            ]  # fmt: skip
            if words:
                number = f" {sill.number}" if len(element.sills) > 1 else ""
                open_[name].append(f"{' and '.join(words)} of its sill{number}")
                tightest_m[name] = min(tightest_m[name], tolerances.sill_m)
    for name, parts in open_.items():
        text = (
            f"not decided by this survey, which errs by {survey_error_m:.3f} m: {', '.join(parts)}"
        )
        mend = "check them with a level from the benchmark"
        shots = shots_wanted(differences, survey_error_m, tightest_m[name])
        if shots:
            mend += f", or shoot {shots} places on each: the mean of so many tells"
        yield BuiltFinding(_UNDECIDED, name, "not-decided", text, mend)


def shots_wanted(differences: Differences, error_m: float, tolerance_m: float) -> int:
    """Count levels whose mean tells what is right from what is off by twice the tolerance.

    Returns
    -------
    0 where no number that a crew would shoot does, as with errors that are alike all over.
    """
    for count in range(2, _MOST_SHOTS + 1):
        if 2 * SURE * differences.error_of_mean_m(error_m, count) <= tolerance_m:
            return count
    return 0


def of_unseen(checks: Sequence[CheckedLevel]) -> Iterator[BuiltFinding]:
    """Say what was not surveyed, by element."""
    groups: dict[str, list[CheckedLevel]] = defaultdict(list)
    for one in checks:
        groups[one.asked.element_id].append(one)
    for name, every in groups.items():
        found = [one for one in every if one.verdict == "not surveyed"]
        if found:
            text = f"{len(found)} of its {len(every)} levels were not surveyed ({_stakes(found)})"
            mend = "survey them, or accept them unseen"
            yield BuiltFinding(_UNSEEN, name, "not-surveyed", text, mend)


def back_to_design(
    checks: Sequence[CheckedLevel], built: Mapping[str, BuiltElement]
) -> dict[str, str]:
    """Say for each element with failing levels how they come back to the design."""
    found: dict[str, list[str]] = defaultdict(list)
    worst: dict[tuple[str, str], CheckedLevel] = {}
    for one in checks:
        if one.verdict != "fail" or one.asked.role.startswith("sill"):
            continue
        key = one.asked.element_id, one.asked.role
        before = worst.get(key)
        if before is None or abs(one.difference_m) > abs(before.difference_m):
            worst[key] = one
    for (name, role), one in sorted(worst.items()):  # the crest before the edge and the floor
        found[name].append(f"{role}: {one.told} at {one.asked.stake_id}")
    for sill in (sill for one in built.values() for sill in one.sills):
        if sill.verdict.both == "fail":
            found[sill.element_id].append(f"sill: {sill.verdict.told}")
    return {
        name: f"bring it back to its levels ({'; '.join(ways)})" for name, ways in found.items()
    }


def ranked(found: Sequence[BuiltFinding]) -> list[BuiltFinding]:
    """Return findings the gravest first; equals keep their order."""
    return sorted(found, key=lambda one: (one.weight, -one.grave))


def _stakes(found: Sequence[CheckedLevel]) -> str:
    shown = ", ".join(one.asked.stake_id for one in found[:4])
    return shown + (f" and {len(found) - 4} more" if len(found) > 4 else "")
