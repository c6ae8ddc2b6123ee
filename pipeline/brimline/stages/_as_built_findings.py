"""What the levels as built put in question, the gravest first."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from brimline.layers import FLAGS
from brimline.stages._as_built_elements import names

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from brimline.cascade import Finding, Mend
    from brimline.elements.building import Checked
    from brimline.stages._as_built_elements import Built, SillBuilt

SURVEY: Final = 0
# what a storm shows comes first, by how much harm it does; then what it has not shown yet
_STORM: Final = ("overtopped", "cycle", "uphill", "no-safe-outlet", "drowned", "freeboard")
_OTHER_FLAG: Final = 8
_BEYOND: Final = 9
_SILL: Final = 10
_STORAGE: Final = 11
_STANDING: Final = 12
_LEVELS: Final = 13
_UNSEEN: Final = 14
_LEAST_STANDING_M: Final = 0.02


@dataclass(frozen=True, slots=True)
class BuiltFinding:
    """One thing that a person must look at.

    Parameters
    ----------
    weight : smaller ones come first.
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
        mend = "; or ".join(ways) or FLAGS[finding.flag].mend.rstrip(".")
        yield BuiltFinding(weight, finding.element_id, finding.flag, finding.text, mend, storm)


def of_levels(checks: Sequence[Checked]) -> Iterator[BuiltFinding]:
    """Gather failing stakes by element, what they are, and what fails by it."""
    groups: dict[tuple[str, str, str, bool], list[Checked]] = defaultdict(list)
    for one in checks:
        if one.verdict == "fail" and not one.asked.role.startswith("sill"):
            key = (one.asked.element_id, one.asked.role, one.beyond, one.difference_m > 0)
            groups[key].append(one)
    for (name, role, beyond, high), found in groups.items():
        worst = max(found, key=lambda one: abs(one.difference_m))
        stakes = names([one.asked.stake_id for one in found])
        many = f"{len(found)} {role} levels" if len(found) > 1 else f"a {role} level"
        text = (
            f"{many} built too {'high' if high else 'low'}, by up to "
            f"{abs(worst.difference_m):.2f} m ({stakes})"
        )
        yield BuiltFinding(
            _BEYOND if beyond else _LEVELS, name, "built-off",
            f"{text}: {beyond}" if beyond else text,
            f"{'cut' if high else 'fill'} by up to {abs(worst.difference_m):.2f} m; as_built_stakes"
            " says how much at each",
            grave=abs(worst.difference_m) / worst.tolerance_m,
        )  # fmt: skip


def of_sills(rows: Sequence[tuple[SillBuilt, str, str]]) -> Iterator[BuiltFinding]:
    """Tell of sills that are off or uneven."""
    for sill, verdict, mend in rows:
        line = sill.line
        if verdict != "fail" or line is None:
            continue
        low = line.lowest_m - sill.level_m
        off = line.mean_m - sill.level_m
        text = (
            f"its sill should lie at {sill.level_m:.2f} m and lies {abs(off):.3f} m too"
            f" {'high' if off > 0 else 'low'}"
        )
        if line.uneven_m > 0.001:
            text = (
                f"its sill is uneven by {line.uneven_m:.3f} m: it spills {line.lowest_at_m:.1f} m"
                f" along, {abs(low):.3f} m {'below' if low < 0 else 'above'} its design level"
            )
        code = "uneven-sill" if line.uneven_m > 0.001 else "built-off"
        off = max(abs(low), abs(line.highest_m - sill.level_m))
        yield BuiltFinding(_SILL, sill.element_id, code, text, mend, grave=off)


def of_storage(
    built: Mapping[str, Built],
    designed_m3: Mapping[str, float],
    checks: Sequence[Checked],
    sills: Sequence[tuple[SillBuilt, str, str]],
    short_pct: float,
) -> Iterator[BuiltFinding]:
    """Tell of elements that hold too little, and of beds in which water stands."""
    off_floor = {
        one.asked.element_id
        for one in checks
        if one.verdict == "fail" and one.asked.role in ("floor", "edge")
    }
    off_sill = {sill.element_id for sill, verdict, _ in sills if verdict == "fail"}
    for name, one in built.items():
        before = designed_m3[name]
        now = one.element.storage_m3
        if one.storage_known and now < (1 - short_pct / 100) * before:
            text = f"it holds {now:.1f} m³ to its spill level where {before:.1f} m³ were designed"
            ways = ["bring its sill to its level"] if name in off_sill else []
            if name in off_floor or not ways:
                ways.insert(0, "dig it out to its designed floor and sides")
            mend = ", and ".join(ways)
            yield BuiltFinding(_STORAGE, name, "short-storage", text, mend, grave=1 - now / before)
        if one.standing_m > _LEAST_STANDING_M:
            text = (
                f"its bed does not fall all the way: {one.standing_m:.2f} m of water stand"
                f" {one.standing_at_m:.0f} m from its upper end"
            )
            yield BuiltFinding(_STANDING, name, "fall-error", text, "cut the high place below it")


def of_unseen(checks: Sequence[Checked]) -> Iterator[BuiltFinding]:
    """Say what was not surveyed, by element."""
    groups: dict[str, list[Checked]] = defaultdict(list)
    every: dict[str, int] = defaultdict(int)
    for one in checks:
        every[one.asked.element_id] += 1
        if one.verdict == "not surveyed":
            groups[one.asked.element_id].append(one)
    for name, found in groups.items():
        stakes = names([one.asked.stake_id for one in found])
        text = f"{len(found)} of its {every[name]} levels were not surveyed ({stakes})"
        yield BuiltFinding(
            _UNSEEN, name, "not-surveyed", text, "survey them, or accept them unseen"
        )


def back_to_design(
    checks: Sequence[Checked], sills: Sequence[tuple[SillBuilt, str, str]]
) -> dict[str, str]:
    """Say for each element with failing levels how they come back to the design."""
    found: dict[str, list[str]] = defaultdict(list)
    worst: dict[tuple[str, str], Checked] = {}
    for one in checks:
        if one.verdict != "fail" or one.asked.role.startswith("sill"):
            continue
        key = one.asked.element_id, one.asked.role
        before = worst.get(key)
        if before is None or abs(one.difference_m) > abs(before.difference_m):
            worst[key] = one
    for (name, role), one in sorted(worst.items()):  # the crest before the edge and the floor
        found[name].append(f"{role}: {one.told} at {one.asked.stake_id}")
    for sill, verdict, mend in sills:
        if verdict == "fail":
            found[sill.element_id].append(f"sill: {mend}")
    return {
        name: f"bring it back to its levels ({'; '.join(ways)})" for name, ways in found.items()
    }


def ranked(found: Sequence[BuiltFinding]) -> list[BuiltFinding]:
    """Return findings the gravest first; equals keep their order."""
    return sorted(found, key=lambda one: (one.weight, -one.grave))


def known(value: float) -> float | None:
    """Return a number, or None for one that is not known."""
    return value if math.isfinite(value) else None
