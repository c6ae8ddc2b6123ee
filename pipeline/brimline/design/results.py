"""What a design comes to in its storms, as rows of the layers and tables of the catalogue.

Codes of flags are left as they are, for whoever writes the rows to join.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.cascade import flags_of
from brimline.cascade.beyond import headline
from brimline.cascade.rows import (
    balance_row,
    check_row,
    drain_rows,
    element_rows,
    finding_rows,
    overflow_result_rows,
    overflow_rows,
    result_rows,
)
from brimline.errors import Problem, Severity
from brimline.units import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping, Sequence

    from brimline.cascade import Finding, Link, Routed
    from brimline.cascade.beyond import CheckCase
    from brimline.design.making import Design

Row = dict[str, Any]


def element_results(
    design: Design, routed: Sequence[Routed], findings: Collection[Finding]
) -> list[Row]:
    """Make a row of each element as designed, with the worst of all storms and its flags."""
    rows = []
    for row, one in zip(element_rows(design.network, routed), design.placed, strict=True):
        own = (f.text for f in findings if f.element_id == one.name and f.link is None)
        told = {
            "drawn": True,
            "length_m": one.shape.length if one.shape.geom_type == "LineString" else None,
            "flag": tuple(flags_of(findings, one.name)),
            "notes": _once(own),
        }
        rows.append(row | told)
    return rows


def overflow_results(
    design: Design, routed: Sequence[Routed], findings: Collection[Finding]
) -> list[Row]:
    """Make a row of each way that water takes, with the worst of all storms and its flags."""
    rows = []
    for row, link in zip(overflow_rows(design.network, routed), design.links, strict=True):
        mine = [f for f in findings if f.link is not None and _same_way(f.link, link)]
        told = {"flag": tuple({f.flag for f in mine}), "notes": _once(f.text for f in mine)}
        rows.append(row | told)
    return rows


def storm_tables(
    routed: Sequence[Routed],
    found: Mapping[str, Sequence[Finding]],
    beyond: Iterable[Finding],
    cases: Iterable[CheckCase],
) -> dict[str, list[Row]]:
    """Make the rows of every storm, by the name of their table.

    Parameters
    ----------
    found : findings by storm; those of the drawing itself under an empty name.
    beyond : findings of `cases`, greater storms and single faults.
    """
    every = [finding for part in found.values() for finding in part]

    def flagged(make: Callable[[Routed], list[Row]]) -> list[Row]:
        """Rows of every storm with the flags that it gives their elements."""
        return [
            row | {"flag": tuple(flags_of(found[one.inflow.name], row["element_id"]))}
            for one in routed
            for row in make(one)
        ]

    return {
        "storm_results": flagged(result_rows),
        "drain_results": flagged(drain_rows),
        "overflow_results": [
            row | {"flag": tuple(flags_of(every, row["from_id"]))}
            for one in routed
            for row in overflow_result_rows(one)
        ],
        "storm_balance": [balance_row(one) for one in routed],
        "check_storms": [check_row(one) for one in cases],
        "cascade_findings": [
            *(row for storm, part in found.items() for row in finding_rows(part, storm or None)),
            *finding_rows(beyond),
        ],
    }


def told_results(
    flagged: Collection[str], cases: Sequence[CheckCase], *, by_table: bool
) -> list[Problem]:
    """Say which elements need a person, and what fails first beyond the design storm.

    Parameters
    ----------
    flagged : elements that need a person.
    by_table : whether the storms have return periods, from a table of rainfall.
    """
    problems = []
    if flagged:
        problems.append(
            Problem(
                Severity.WARNING,
                f"{counted(len(flagged), 'element needs', 'elements need')} a person: "
                + ", ".join(sorted(flagged)),
                "read advice: findings in the order of danger, each with its mend",
                "elements",
            )
        )
    if cases:
        standard = "" if by_table else " (multiples of a rain, not a standard)"
        problems.append(
            Problem(
                Severity.WARNING if any(one.fails for one in cases) else Severity.NOTICE,
                f"beyond the design storm{standard}: {headline(cases)}",
                "read check_storms: each case, what fails first, by how much, and what follows",
                "check_storms",
            )
        )
    return problems


def _once(texts: Iterable[str]) -> str | None:
    return "; ".join(dict.fromkeys(texts)) or None


def _same_way(one: Link, other: Link) -> bool:
    return (one.from_id, one.to_id, one.outlet.crest_m) == (
        other.from_id,
        other.to_id,
        other.outlet.crest_m,
    )
