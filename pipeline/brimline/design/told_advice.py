"""Advice in words and money: what a mend does to the rest, what it costs, why there is none."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from brimline.design.advising import Advice, Mark, Row

_TOLD_M3: Final = 0.1
_LEAST_AMOUNT: Final = 1e-3  # of an item of the bill, in its unit


def effect_told(mend: Row) -> str:
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


def why_none(mark: Mark, told: Advice, mends: Sequence[Row], otherwise: str) -> str:
    """Say why a finding has no mend of its own that is advised.

    Parameters
    ----------
    mends : those of this finding.
    otherwise : what a person can do, where no change of the plan is known.
    """
    if mark not in told.last.outcome.marks:
        return "gone with what is advised for other findings"
    brought = next((row["brings"] for row in mends if row["proved"] == "no"), None)
    if brought:
        return f"what takes it away brings {brought}"
    if any(row["proved"] == "not tried" for row in mends):
        return (
            "its mends meet others that are advised, or works.proved was reached: follow, run again"
        )
    tried = told.in_vain.get(mark, 0)
    if tried:
        return (
            f"{counted(tried, 'change was', 'changes were')} dug and followed, alone and together,"
            f" and it stays: {mark[0]} cannot be built as drawn on this ground; draw it elsewhere,"
            " or leave it out"
        )
    return f"by hand: {otherwise[:1].lower()}{otherwise[1:]}"


def cut_away(name: str, by: str, share: float) -> str:
    """Say that an element leaks because another is dug where it stands."""
    return (
        f"{by} is dug so deep into the slope that it cuts away {100 * share:.0f} % of {name}: draw"
        f" {by} farther off, on gentler ground, or shallower"
    )


def held_by(rows: Sequence[Row]) -> str:
    """Say what would hold an element in a greater storm; all rows are of one element."""
    ways = "; or ".join(f"{row['text']} ({row['mend_id']})" for row in rows)
    return (
        "no storm of the run asks for it, so nothing is advised; in the"
        f" {rows[0]['storm']} storm it would hold, designed and routed anew, if you {ways}"
    )


def cost_of(row: Row, prices: Mapping[str, float | None]) -> dict[str, float | None]:
    """Price what a mend needs more, where it was dug and the price of all of that is known."""
    more = row.pop("fittings", None)
    if more is None:
        return {"cost": None}
    amounts = more | {"cut": row["cut_m3"], "fill": row["fill_m3"]}
    asked = {item: amount for item, amount in amounts.items() if abs(amount) > _LEAST_AMOUNT}
    priced = [(amount, prices[item]) for item, amount in asked.items()]
    known = [amount * price for amount, price in priced if price is not None]
    return {"cost": sum(known) if len(known) == len(priced) else None}
