"""What to mend first, and how: mends dug and followed again, findings in the order of danger."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from brimline.config import Rates, Works
from brimline.design import (
    KEPT_SHARE,
    advised,
    mends_of,
    mends_of_place,
    mends_on_ground,
    mends_to_level,
    running_ground,
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
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from brimline.design import Advice, Mark
    from brimline.engine.stage import Given, Made, Reporter
    from brimline.lines.rows import Corrected
    from brimline.stages._follow import Known

_MADE: Final = ("cascade_mends", "advice")
_TOLD_M3: Final = 0.1
_LEAST_AMOUNT: Final = 1e-3  # of an item of the bill, in its unit


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
    mends = [row | _cost(row, prices) for row in told.rows]
    return {
        "cascade_mends": table_of(mends, "cascade_mends"),
        "advice": table_of(_by_danger(base, told, mends), "advice"),
    }


def _by_danger(base: Known, told: Advice, mends: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """List every finding that needs a person once, the most dangerous first."""
    design = base.assessment.done.design
    network, final = design.network, told.final.marks
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
                "does": _does(best) if best else None,
                "why_none": None if best else _why_none(name, code, told, mine, final),
            }
        )
    return rows


def _does(mend: dict[str, Any]) -> str:
    """Say what following a mend does to the rest."""
    others = mend["clears"] - 1
    parts = [f"clears {counted(others, 'other finding')} too" if others > 0 else ""]
    parts.append(f"brings {mend['brings']}" if mend["brings"] else "brings none")
    for word, m3 in (("dug", mend["cut_m3"]), ("heaped up", mend["fill_m3"])):
        if m3 is not None and abs(m3) >= _TOLD_M3:
            parts.append(f"{abs(m3):.1f} m³ {'more' if m3 > 0 else 'less'} {word}")
    if mend["cost"]:
        parts.append(f"costs {abs(mend['cost']):,.0f} {'more' if mend['cost'] > 0 else 'less'}")
    if mend["raises_id"]:
        parts.append(f"raises the water of {mend['raises_id']} by {mend['raises_m']:.2f} m")
    return "; ".join(part for part in parts if part)


def _why_none(
    name: str, code: str, told: Advice, mends: Sequence[dict[str, Any]], final: Mapping[Mark, str]
) -> str:
    """Say why a finding has no mend of its own that is advised."""
    if (name, code) not in final:
        return "gone with what is advised for other findings"
    brought = next((row["brings"] for row in mends if row["proved"] == "no"), None)
    if brought:
        return f"what takes it away brings {brought}"
    if any(row["proved"] == "not tried" for row in mends):
        return (
            "its mends meet others that are advised, or works.proved was reached: follow, run again"
        )
    tried = told.in_vain.get((name, code), 0)
    if tried:
        return (
            f"{counted(tried, 'change was', 'changes were')} dug and followed, alone and together,"
            f" and it stays: {name} cannot be built as drawn on this ground; draw it elsewhere, or"
            " leave it out"
        )
    return f"no single change of the plan is known: {FLAGS[code].mend}"


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


def _cost(row: dict[str, Any], prices: Mapping[str, float | None]) -> dict[str, float | None]:
    """Price what a mend needs more, where it was dug and the price of all of that is known."""
    more = row.pop("fittings", None)
    if more is None:
        return {"cost": None}
    amounts = more | {"cut": row["cut_m3"], "fill": row["fill_m3"]}
    asked = {item: amount for item, amount in amounts.items() if abs(amount) > _LEAST_AMOUNT}
    priced = [(amount, prices[item]) for item, amount in asked.items()]
    known = [amount * price for amount, price in priced if price is not None]
    return {"cost": sum(known) if len(known) == len(priced) else None}


STAGE = Stage(
    name="advice",
    version=3,
    title="what to mend first, and how",
    needs=tuple(dict.fromkeys((*ASSESSED, *PROVED, "cascade_findings", "design_proof"))),
    makes=_MADE,
    run=_run,
    sources=("inflows",),
    tables=tuple(dict.fromkeys((*ASSESSED_BY, *PROVED_BY, "rates"))),
)
