"""Mends for what the storms of a run show to be wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from brimline.cascade import mends_for
from brimline.cascade.rows import mend_rows
from brimline.errors import Problem, Severity

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from brimline.cascade import Finding, Routed
    from brimline.design.rules import DesignRules

_EACH: Final = 3  # mends of a finding, where there are few findings
_FEW: Final = 20
# What harms most is mended first, then from the top of the cascade down.
_WORST: Final = ("cycle", "uphill", "overtopped", "small-outlet", "freeboard", "no-safe-outlet")


def mends_of(
    routed: Sequence[Routed],
    found: Mapping[str, Sequence[Finding]],
    rules: DesignRules,
    on_ground: Mapping[str, str],
) -> tuple[list[dict[str, Any]], list[Problem]]:
    """Look for mends of each flag in the first storm that shows it, the worst first.

    Parameters
    ----------
    found : findings by name of the storm; those of the drawing itself under an empty name.
    on_ground : element to what its overflow reaches on the ground.

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
        seen |= {(f.element_id, f.flag) for f in every}
        count += len(new)
        new = sorted(new, key=lambda f: (_harm(f.flag), rank[f.element_id]))[:room]
        room -= len(new)
        others = [f for f in every if f not in new]
        most = _EACH if len(new) <= _FEW else 1
        mends = mends_for(one, new, rules.limits, rules.pace, on_ground, others=others, most=most)
        records += mend_rows(mends, one.inflow.name)
    left_out = count - (rules.mended - room)
    if not (left_out and rules.mended):
        return records, []
    text = f"mends were looked for {count - left_out} of {count} findings, the worst first"
    mend = "mend those and run again, or raise works.mended"
    return records, [Problem(Severity.NOTICE, text, mend, "elements")]


def _harm(flag: str) -> int:
    return _WORST.index(flag) if flag in _WORST else len(_WORST)
