"""``client.html``: what whoever pays and lives there wants to know, in plain words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from brimline.report import answers, care
from brimline.report.costs import costs
from brimline.report.palette import theme_colours
from brimline.report.plates.concept import concept
from brimline.report.plates.frame import MapFrame
from brimline.report.plates.svg import theme_variables, themed
from brimline.report.templates import environment
from brimline.units import counted, shown

if TYPE_CHECKING:
    from brimline.report.costs import Costs
    from brimline.report.plates.plate import Plate
    from brimline.report.results import Results


def client_html(results: Results, plan: Plate | None = None, *, paper: bool = False) -> str | None:
    """Return the client's page as one HTML text; None where the run has no design.

    Parameters
    ----------
    plan : the concept plan of these results; None draws it.
    paper : colours of paper only, for a printer.
    """
    if results.layer("elements") is None:
        return None
    drawn = plan or concept(results, MapFrame.around(results))
    found = costs(results)
    cautions = results.cautions
    return (
        environment()
        .get_template("client.html.j2")
        .render(
            **results.title_block,
            plan=_plan(drawn, paper=paper),
            built=_built(results),
            said=elements_said(results),
            kinds=_kinds(results),
            storage=_amount(results, answers.storage(results)),
            costs=found,
            money=found.text if found else None,
            about=found.about if found else None,
            storm=results.design_storm,
            storm_rain=_storm_rain(results),
            storm_water=[_amount(results, one) for one in answers.storm_water(results)],
            year_water=[_amount(results, one) for one in answers.year_water(results)],
            made_up=_made_up(results),
            risks=answers.risks(results),
            greater=answers.greater_storms(results),
            phases=phases(results, found),
            care=care.calendar(results),
            cautions=cautions,
            paper=paper,
            sheet="letter" if results.units == "us" else "A4",
            light=theme_colours(dark=False) + theme_variables(dark=False),
            dark=theme_colours(dark=True) + theme_variables(dark=True),
        )
    )


def _plan(plate: Plate | None, *, paper: bool) -> dict[str, str] | None:
    if plate is None:
        return None
    svg = plate.svg if paper else themed(plate.svg)
    return {"svg": svg, "alt": plate.alt, "caption": plate.caption}


def _amount(results: Results, amount: answers.Amount | None) -> dict[str, str] | None:
    if amount is None:
        return None
    span = amount.range_text(results.units)
    return {
        "key": amount.key,
        "title": amount.title,
        "text": amount.text(results.units),
        "range": span,
        "of_range": amount.of_range if span else "",
        "note": amount.note,
    }


def _built(results: Results) -> list[dict[str, str]]:
    """Return each element in plain words: what it is, how large, and where it spills to."""
    rows = []
    elements = results.layer("elements")
    for _, row in elements.iterrows() if elements is not None else ():
        kind = str(row["kind"])
        form = row.get("form")
        length_m, area_m2 = row.get("length_m"), float(row["footprint_m2"])
        size = answers.rounded(area_m2, "small area", results.units)
        if isinstance(length_m, float) and length_m == length_m and length_m > 0:
            size = f"{answers.rounded(length_m, 'length', results.units)} long"
        elif kind == "tank":
            size = "–"
        rows.append(
            {
                "name": str(row["element_id"]),
                "kind": str(form) if isinstance(form, str) and form else kind,
                "size": size,
                "depth": shown("level", results.units).text(float(row["depth_m"])),
                "holds": "–"
                if kind == "drain"
                else answers.rounded(float(row["storage_m3"]), "volume", results.units),
                "to": str(row["spills_to"]) if isinstance(row["spills_to"], str) else "not settled",
            }
        )
    return rows


def _kinds(results: Results) -> list[tuple[str, str]]:
    elements = results.layer("elements")
    held = set() if elements is None else set(elements["kind"])
    return [(kind, words) for kind, words in answers.KINDS.items() if kind in held]


def _storm_rain(results: Results) -> str:
    storm = results.design_storm
    return shown("rain", results.units).text(storm.total_mm) if storm else ""


def _made_up(results: Results) -> bool:
    years = results.table("site_years")
    return years is not None and bool((years["weather"] == "made up").any())


def phases(results: Results, found: Costs | None) -> list[dict[str, Any]]:
    """Return the building by element: what is done, what may flow then, and what it costs.

    `step` is the step of the order of building, as the bill and the crew sheets count them.
    """
    steps = results.table("building_steps")
    if steps is None:
        return []
    price = {one.element_id: one.cost for one in found.elements} if found else {}
    rows: list[dict[str, Any]] = []
    for _, step in steps.iterrows():
        name, action = str(step["element_id"]), step["action"]
        if action == "open overflow":
            words = f"{name} may now spill to {step['to_id'] or 'its outlet'}"
            if rows:
                rows[-1]["then"].append({"step": int(step["step"]), "words": words})
            continue
        what = f"Make {name} safe to take water" if action == "make safe" else f"Build {name}"
        cost = found.text(price[name]) if found and name in price else ""
        rows.append(
            {"number": len(rows) + 1, "step": int(step["step"]), "what": what, "then": [],
             "cost": cost}
        )  # fmt: skip
    return rows


def elements_said(results: Results) -> str:
    """Return how many elements are built, by kind: ``3 swales, 1 pond and 1 tank``."""
    elements = results.layer("elements")
    if elements is None:
        return ""
    count = elements["kind"].value_counts(sort=False)
    words = [counted(int(n), str(kind)) for kind, n in count.items()]
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
