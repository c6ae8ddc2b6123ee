"""Which mends to follow: each written into the plan in thought, and the whole judged again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from brimline.design.plan_changes import changes_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from brimline.design.plan_changes import PlanChange

Mark = tuple[str, str]  # element and flag

# what decides where water goes is mended before how much of it there is
_FIRST: Final = (
    "off-level", "cycle", "uphill", "no-safe-outlet", "reaches-other", "over-boundary",
    "at-building", "leaks", "sill-shut", "shape-limit",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a plan comes to.

    Parameters
    ----------
    marks : every finding that needs a person, with its text.
    cut_m3, fill_m3 : its earth [m³].
    """

    marks: Mapping[Mark, str]
    cut_m3: float
    fill_m3: float


@dataclass(frozen=True, slots=True)
class Advice:
    """Mends that were tried, and how often in vain.

    Parameters
    ----------
    rows : with what the trial told, those chosen first; those that do not mend are left out.
    in_vain : by finding, how many mends were tried that did not take it away.
    final : what the plan comes to with all that are chosen.
    """

    rows: tuple[dict[str, Any], ...]
    in_vain: Mapping[Mark, int]
    final: Outcome


def advised(
    rows: Sequence[dict[str, Any]],
    base: Outcome,
    trial: Callable[[Sequence[PlanChange]], Outcome | None],
    harm: Callable[[str], int],
    most: int,
) -> Advice:
    """Prove mends by what the plan comes to with them, and choose those to follow together.

    A mend is proved where its finding is gone, no worse one is brought, and no more findings than
    before are left. Each is tried on top of those chosen before it, so that all chosen ones hold
    together.

    Parameters
    ----------
    rows : of the table of mends; of each finding the first that is proved is taken.
    trial : what the plan comes to with changes; None where it cannot be made.
    harm : how harmful a flag is, 0 the worst.
    most : how many plans to try.

    """
    waiting = sorted(
        (row for row in rows if (row["element_id"], row["code"]) in base.marks),
        key=lambda row: (_place(row["code"]), harm(row["code"])),
    )
    chosen: list[PlanChange] = []
    now, cells, order, tries = base, set[tuple[str, ...]](), 0, 0
    told: list[dict[str, Any]] = []
    in_vain: dict[Mark, int] = {}
    for row in waiting:
        mark = row["element_id"], row["code"]
        changes = changes_of(row["change"]) if row["change"] else ()
        own = {(c.layer, c.row, k) for c in changes for k in (*c.values, *_shape(c))}
        if mark not in now.marks or not changes or own & cells or tries >= most:
            told.append(row | _untried(mark in now.marks))
            continue
        tries += 1
        after = trial([*chosen, *changes])
        if after is None or mark in after.marks:
            in_vain[mark] = in_vain.get(mark, 0) + 1
            continue
        brought = {one for one in after.marks if one not in now.marks}
        worse = any(harm(flag) <= harm(mark[1]) for _, flag in brought)
        proved = not worse and len(after.marks) <= len(now.marks)
        tells = {
            "proved": "yes" if proved else "no",
            "clears": sum(one not in after.marks for one in now.marks),
            "brings": ", ".join(f"{flag} of {name}" for name, flag in sorted(brought)) or None,
            "cut_m3": after.cut_m3 - now.cut_m3,
            "fill_m3": after.fill_m3 - now.fill_m3,
            "advised": 0,
        }
        if proved:
            order += 1
            tells["advised"] = order
            chosen += changes
            cells |= own
            now = after
        told.append(row | tells)
    rows = sorted(told, key=lambda row: (row["advised"] == 0, row["advised"]))
    return Advice(tuple(rows), in_vain, now)


def _place(flag: str) -> int:
    return _FIRST.index(flag) if flag in _FIRST else len(_FIRST)


def _shape(change: PlanChange) -> tuple[str, ...]:
    return ("shape",) if change.shape_wkt else ()


def _untried(open_still: bool) -> dict[str, Any]:  # noqa: FBT001 - the one thing that it tells
    """Say of a mend that it was not dug: another mends its finding, or none was left to try."""
    return {
        "proved": "not tried" if open_still else "not needed",
        "clears": 0,
        "brings": None,
        "cut_m3": None,
        "fill_m3": None,
        "advised": 0,
    }
