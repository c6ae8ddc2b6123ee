"""Mends for what the storms of a run show to be wrong."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from brimline.cascade import judge, mends_for, told_tries
from brimline.cascade.rows import mend_rows
from brimline.design.plan_changes import changes_text, mend_id, plan_changes
from brimline.errors import Problem, Severity

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence

    from brimline.cascade import Finding, Mend, Routed
    from brimline.design.advising import Mark
    from brimline.design.making import Design
    from brimline.design.rules import DesignRules

_BEYOND: Final = "fails-beyond"
_CLEAR_M: Final = 0.02
_EACH: Final = 3  # mends of a finding, where there are few findings
_FEW: Final = 20
# What harms most is mended first, then from the top of the cascade down.
_WORST: Final = ("cycle", "uphill", "overtopped", "small-outlet", "freeboard", "no-safe-outlet")


def mends_of(
    design: Design,
    routed: Sequence[Routed],
    found: Mapping[str, Sequence[Finding]],
    rules: DesignRules,
    only: Collection[Mark] | None = None,
) -> tuple[list[dict[str, Any]], list[Problem]]:
    """Look for mends of each flag in the first storm that shows it, the worst first.

    Parameters
    ----------
    found : findings by name of the storm; those of the drawing itself under an empty name.
    only : element and flag of those to mend; None for all.

    Returns
    -------
    rows of the table of mends, and what is to be told.
    """
    network = routed[0].network
    rank = {network.elements[at].element_id: rank for rank, at in enumerate(network.order)}
    records: list[dict[str, Any]] = []
    seen: set[tuple[str, str]] = set()
    room, count = rules.mended, 0
    for place, one in enumerate(routed):
        every = [*found[""], *found[one.inflow.name]]
        new = [f for f in every if (f.element_id, f.flag) not in seen]
        if place:  # the drawing itself has had its turn
            new = [f for f in new if f not in found[""]]
        if only is not None:
            new = [f for f in new if (f.element_id, f.flag) in only]
        seen |= {(f.element_id, f.flag) for f in every}
        count += len(new)
        new = sorted(new, key=lambda f: (_harm(f.flag), rank[f.element_id]))[:room]
        room -= len(new)
        others = [f for f in every if f not in new]
        if not new:
            continue
        most = _EACH if len(new) <= _FEW else 1
        mends = mends_for(
            one, new, rules.limits, rules.pace, design.on_ground, others=others, most=most
        )
        for mend, row in zip(mends, mend_rows(mends, one.inflow.name), strict=True):
            records.append(row | written_row(design, mend))
    left_out = count - (rules.mended - room)
    if not (left_out and rules.mended):
        return records, []
    text = f"mends were looked for {count - left_out} of {count} findings, the worst first"
    todo = "mend those and run again, or raise works.mended"
    return records, [Problem(Severity.NOTICE, text, todo, "elements")]


def mends_beyond(
    design: Design,
    routed: Sequence[Routed],
    names: Collection[str],
    rules: DesignRules,
    holds: Callable[[dict[str, Any]], bool],
) -> tuple[list[dict[str, Any]], dict[str, str]]:
    """Look for what would hold elements in the first greater storm that overtops each.

    Only that storm is looked at, in which the freeboard may be used up.

    Parameters
    ----------
    routed : greater storms, with their series.
    holds : whether the plan, designed and routed anew with a mend, keeps its element from that.

    Returns
    -------
    rows of the table of mends; and, by element, why there is none.
    """
    # what is built larger also catches more rain: it is to stay clear of the crest
    limits = replace(rules.limits, keeps_freeboard=False, level_slack_m=-_CLEAR_M)
    rows: list[dict[str, Any]] = []
    why: dict[str, str] = {}
    left = set(names)
    for one in routed:
        found, storm = judge(one, limits), one.inflow.name
        over = [f for f in found if f.flag == "overtopped" and f.element_id in left]
        left -= {f.element_id for f in over}
        others = [f for f in found if f not in over]
        mends = mends_for(
            one, over, limits, rules.pace.brief(), design.on_ground,
            others=others, most=_EACH, exact=True,
        )  # fmt: skip
        mends = tuple(replace(mend, flag=_BEYOND) for mend in mends)
        made = [
            row | written_row(design, mend) | {"safe": False}
            for mend, row in zip(mends, mend_rows(mends, storm), strict=True)
        ]
        rows += [row for row in made if row["change"] and holds(row)]
        for f in over:
            if not any(row["element_id"] == f.element_id for row in rows):
                tried = told_tries(one, f, limits, design.on_ground)
                why[f.element_id] = f"in the {storm} storm {f.text}; " + (
                    f"none of these keeps it from that without another fault: {tried}"
                    if tried
                    else "it has no way out whose size could be changed"
                )
    return rows, why


def written_row(design: Design, mend: Mend) -> dict[str, Any]:
    """Return the columns that `brimline apply` goes by."""
    changes = plan_changes(design, mend.network)
    # a ring that is led elsewhere, and a name for where water leaves, ask for a person's word
    asks = mend.dimension in ("overflow", "name")
    return {
        "mend_id": mend_id(mend.element_id, mend.flag, mend.changed_id, mend.dimension),
        "safe": changes is not None and mend.costs_nothing_elsewhere and not asks,
        "change": None if changes is None else changes_text(changes),
    }


def _harm(flag: str) -> int:
    return _WORST.index(flag) if flag in _WORST else len(_WORST)
