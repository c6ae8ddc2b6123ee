"""What to mend first, and how: mends dug and followed again, findings in the order of danger."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, cast

from brimline.config import Rates, Works
from brimline.design import (
    KEPT_SHARE,
    advised,
    changes_of,
    cost_of,
    cut_away,
    effect_told,
    held_by,
    mends_beyond,
    mends_of,
    mends_of_place,
    mends_on_ground,
    mends_to_level,
    running_ground,
    untried,
    why_none,
)
from brimline.elements import Kind
from brimline.engine.stage import Stage
from brimline.inputs.rules import prices_of
from brimline.layers import FLAGS
from brimline.layers.flags import danger, needs_look
from brimline.stages._assess import ASSESSED, ASSESSED_BY
from brimline.stages._follow import Follower
from brimline.stages._frames import table_of
from brimline.stages._ground_for_lines import drawing_of
from brimline.stages._proof import PROVED, PROVED_BY

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from brimline.design import Advice, Mark
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.lines.rows import Corrected
    from brimline.stages._follow import Known

_MADE: Final = ("cascade_mends", "advice")
_BEYOND: Final = "fails-beyond"
_LEAKS: Final = "leaks"
_CUT_SHARE: Final = 0.1


def _run(given: Given, report: Reporter) -> Made:
    nothing = {name: table_of([], name) for name in _MADE}
    if not _wrong(given):
        return nothing
    follower = Follower(given)
    base = follower.base
    if not base.assessment.routed:
        return nothing
    works, prices = given.params("works", Works), prices_of(given.params("rates", Rates))
    mender = _Mender(given, follower, report)
    report.advanced(0.1, "digging and following what mends say")
    told = advised(base, mender.mends, follower.trial, danger, works.proved)
    greater, why = _in_greater_storms(told, follower)
    why = {**_cut_away(told, follower), **why}
    mends = [row | cost_of(row, prices) for row in (*told.rows, *greater)]
    return {
        "cascade_mends": table_of(mends, "cascade_mends"),
        "advice": table_of(_by_danger(base, told, mends, why), "advice"),
    }


def _cut_away(told: Advice, follower: Follower) -> Mapping[Mark, str]:
    """Say of what leaks in spite of all that was tried whether another is dug where it stands."""
    leaking = [name for name, code in told.last.outcome.marks if code == _LEAKS]
    found = follower.cut_away(cast("Known", told.last), leaking) if leaking else {}
    return {
        (name, _LEAKS): cut_away(name, by, share)
        for name, (by, share) in found.items()
        if share > _CUT_SHARE
    }


def _in_greater_storms(
    told: Advice, follower: Follower
) -> tuple[list[dict[str, Any]], Mapping[Mark, str]]:
    """Say what would hold what a greater storm overtops; nothing of it is advised."""
    known = cast("Known", told.last).assessment
    names = {name for name, code in told.last.outcome.marks if code == _BEYOND}
    if not names:
        return [], {}
    assessor, taken = follower.assessor, [row for row in told.rows if row["advised"]]

    def holds(row: dict[str, Any]) -> bool:
        changes = [one for mend in (*taken, row) for one in changes_of(mend["change"])]
        after = follower.trial(changes)
        return after is not None and not any(
            one.fails and row["element_id"] in (one.first_id, *one.follows)
            for one in assessor.in_storms(after.assessment, row["storm"])
        )

    storms = [*known.routed[1:], *assessor.greater(known)]
    rows, why = mends_beyond(known.done.design, storms, names, assessor.rules, holds)
    for name in {row["element_id"] for row in rows}:
        why[name] = held_by([row for row in rows if row["element_id"] == name])
    presumes = "; ".join(row["mend_id"] for row in taken) or None
    done = [row | {"presumes": presumes} | untried(open_still=True) for row in rows]
    return done, {(name, _BEYOND): text for name, text in why.items()}


def _by_danger(
    base: Known, told: Advice, mends: Sequence[dict[str, Any]], why: Mapping[Mark, str]
) -> list[dict[str, Any]]:
    """List every finding that needs a person once, the most dangerous first."""
    design = base.assessment.done.design
    network = design.network
    height = {network.elements[at].element_id: place for place, at in enumerate(network.order)}
    marks = sorted(base.outcome.marks, key=lambda mark: (danger(mark[1]), height[mark[0]]))
    rows = []
    for rank, (name, code) in enumerate(marks, start=1):
        mine = [row for row in mends if (row["element_id"], row["code"]) == (name, code)]
        best = next((row for row in mine if row["proved"] == "yes"), None)
        place = design.shape_of(name).representative_point()
        rows.append(
            {
                "rank": rank,
                "element_id": name,
                "code": code,
                "x_m": place.x,
                "y_m": place.y,
                "text": base.outcome.marks[name, code],
                "mend_id": best["mend_id"] if best else None,
                "mend": best["text"] if best else None,
                "does": effect_told(best) if best else None,
                "why_none": None
                if best
                else why.get((name, code)) or why_none((name, code), told, mine, FLAGS[code].mend),
            }
        )
    return rows


def _wrong(given: Given) -> bool:
    """Tell whether anything needs a person; if not, there is nothing to look for."""
    codes = [*given.table("cascade_findings")["code"], *given.table("design_proof")["flag"]]
    return any(needs_look(text.split(";")) for text in codes if isinstance(text, str) and text)


class _Mender:
    """Looks for everything that might mend a finding, proved by routing at most."""

    def __init__(self, given: Given, follower: Follower, report: Reporter) -> None:
        self.given, self.follower, self.report = given, follower, report
        self.drawing = drawing_of(given, follower.assessor.level_tolerance_m)
        self.lines: dict[bytes, list[Corrected]] = {}
        drawn = follower.base.assessment.done.design.placed
        self.least_m = {
            one.name: KEPT_SHARE * one.shape.length
            for one in drawn
            if one.element.kind is Kind.SWALE
        }

    def mends(self, known: Known, only: Collection[Mark] | None) -> list[dict[str, Any]]:
        """Return rows of the table of mends, the least change first for each finding."""
        assessor, grid = self.follower.assessor, self.given.grid
        found, design = known.assessment.found, known.assessment.done.design
        marks = known.outcome.marks if only is None else only
        running = running_ground(
            design.placed, known.plan.discharges, assessor.survey.directions, grid
        )
        mends, left_out = mends_of(design, known.assessment.routed, found, assessor.rules, only)
        if known is self.follower.base:
            for problem in left_out:
                self.report.problem(problem)
        level = mends_to_level(
            marks, design.placed, assessor.surface, grid, assessor.kept_clear, assessor.site,
            self.drawing, self.lines, self.least_m,
        )  # fmt: skip
        off = [row for row in level if row["code"] == "off-level"]
        return [
            *off,
            *mends_on_ground(
                design, known.followed, marks, running, assessor.standing, assessor.site
            ),
            *mends,
            *(row for row in level if row not in off),
            *mends_of_place(design, marks, assessor.standing, assessor.kept_clear, assessor.site),
        ]


STAGE = Stage(
    name="advice",
    version=4,
    title="what to mend first, and how",
    needs=tuple(dict.fromkeys((*ASSESSED, *PROVED, "cascade_findings", "design_proof"))),
    makes=_MADE,
    run=_run,
    sources=("inflows",),
    tables=tuple(dict.fromkeys((*ASSESSED_BY, *PROVED_BY, "rates"))),
)
