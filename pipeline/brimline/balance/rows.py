"""The year as rows of layers and tables: zones as drawn, zones at each age, what to be told."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from brimline.balance.cases import AS_DRAWN, YearSite
from brimline.balance.yearly import YearRun
from brimline.errors import Problem, Severity

if TYPE_CHECKING:
    from collections.abc import Mapping

    from brimline.balance.periods import Calendar
    from brimline.balance.planting import Planting

Row = dict[str, Any]

_AGED: Final = (
    "demand_m3", "mains_m3", "deficit_m3", "share_without_mains", "share_without_mains_worst",
)  # fmt: skip


def zone_results(site: YearSite, ran: YearRun) -> list[Row]:
    """Make a row of each zone: what it is, and how it fares in the average and the worst year."""
    rows = []
    for place, (zone, simulated) in enumerate(zip(site.zones, ran.system.zones, strict=True)):
        fed_by = [store for store, zones in site.feeds.items() if zone.zone_id in zones]
        rows.append(
            {
                "zone_id": zone.zone_id,
                "planting": zone.planting.name,
                "texture": zone.texture_text,
                "area_m2": simulated.area_m2,
                "root_depth_m": zone.root_depth_m,
                "available_mm": simulated.available_mm,
                "curve_number": site.grounds[zone.zone_id].curve_number,
                "mulch_share": zone.mulch_share,
                "irrigated": zone.irrigated,
                "draws_on": "; ".join(simulated.draws_on) if zone.irrigated else None,
                "fed_by": "; ".join(fed_by) or None,
                **ran.zone_row(place),
                "weather": site.weather.origin,
                "flag": ("assumed",) if zone.assumed else (),
                "notes": "; ".join(zone.assumed) or None,
            }
        )
    return rows


def age_rows(
    site: YearSite, when: Calendar, grown: Mapping[int, Mapping[str, Planting]]
) -> list[Row]:
    """Make rows of the zones whose plants are set out, at each age.

    Parameters
    ----------
    grown : by age in years, the planting of each zone then.
    """
    rows = []
    for age, plantings in grown.items():
        if not plantings:
            continue
        zones = [
            replace(zone, planting=plantings.get(zone.zone_id, zone.planting))
            for zone in site.zones
        ]
        ran = YearRun.of(replace(site, zones=zones).system(AS_DRAWN), when)
        for place, zone in enumerate(zones):
            if zone.zone_id in plantings:
                row: Row = ran.zone_row(place)
                shares = (row["share_without_mains"], row["share_without_mains_worst"])
                lives = all(one is not None and one >= site.rules.goal_share for one in shares)
                told = {name: row[name] for name in _AGED}
                rows.append({"zone_id": zone.zone_id, "age_y": age, **told, "lives": lives})
    return rows


def bare_beds(site: YearSite) -> list[Problem]:
    """Say which beds have no zone over them, through which rain would reach their reservoir."""
    over = {bed for shares in site.over_beds.values() for bed in shares}
    bare = [one.element_id for one in site.elements if one.own_use and one.element_id not in over]
    if not bare:
        return []
    return [
        Problem(
            Severity.NOTICE,
            f"no planting zone lies over {', '.join(bare)}: through the year no rain reaches the"
            " reservoir beneath",
            "draw a planting zone over the bed, with the bed in its draws_on",
            "plan, planting_zones",
        )
    ]


def what_lacks(zones: int, *, has_weather: bool) -> list[Problem]:
    """Say why there is no year where one half of it was given."""
    if zones and not has_weather:
        message = f"{zones} planting zones are drawn, but there is no weather to run them through"
        mend = "give inputs.weather, or monthly normals in [weather]"
    elif has_weather:
        message = "there is weather, but no planting zone is drawn: the year was left out"
        mend = "draw planting_zones in the plan"
    else:
        return []
    return [Problem(Severity.NOTICE, message, mend, "year")]
