"""A routed cascade as rows of plain values, for layers and tables.

Names of keys are those of the layer catalogue; geometry, and what only the plan knows, is added
by whoever writes the layers. None stands for a value that is not known.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from brimline.cascade.beyond import CASE_FLAGS, CheckCase
from brimline.elements import Drain, Orifice, Pipe, Rating, Sill
from brimline.elements.section import hydraulic_radius_m
from brimline.elements.sill import critical_speed_m_s

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from brimline.cascade.findings import Finding
    from brimline.cascade.mends import Mend
    from brimline.cascade.network import Link, Network
    from brimline.cascade.routing import Routed
    from brimline.elements import Outlet

Row = dict[str, Any]


def element_rows(network: Network, storms: Sequence[Routed]) -> list[Row]:
    """Make one row for each element: what it is, and the worst of all storms."""
    rows = []
    for at, element in enumerate(network.elements):
        peaks = [float(routed.elements.peak_level_m[at]) for routed in storms]
        hours = [float(routed.elements.drawdown_h[at]) for routed in storms]
        spill_m = network.spill_level_m(element.element_id)
        rows.append(
            {
                "element_id": element.element_id,
                "kind": str(element.kind),
                "form": element.form or None,
                "floor_level_m": element.floor_m,
                "spill_level_m": spill_m,
                "crest_level_m": element.crest_level_m,
                "storage_m3": float(element.stages.storage_at(spill_m)),
                "footprint_m2": element.footprint_m2,
                "depth_m": spill_m - element.floor_m,
                "spills_to": network.spills_to(element.element_id) or None,
                "freeboard_m": element.freeboard_m,
                "embankment_height_m": element.embankment_height_m,
                "soak_mm_per_h": element.soak.design_mm_per_h,
                "peak_level_m": max(peaks, default=None),
                "drawdown_h": _finite(max(hours, default=math.nan)) if element.empties else None,
            }
        )
    return rows


def overflow_rows(network: Network, storms: Sequence[Routed]) -> list[Row]:
    """Make one row for each link: what it is, and the worst of all storms."""
    rows = []
    for place, link in enumerate(network.links):
        sill = link.outlet if isinstance(link.outlet, Sill) else None
        at = network.index[link.from_id]
        highest = max((float(routed.elements.peak_level_m[at]) for routed in storms), default=0.0)
        peak = max((float(r.links.peak_m3_s[place]) for r in storms), default=0.0)
        head_m = max(highest - link.outlet.crest_m, 0.0)
        diameter_m = getattr(link.outlet, "diameter_m", None)
        rows.append(
            {
                "from_id": link.from_id,
                "to_id": link.to_id or None,
                "outlet": outlet_word(link.outlet),
                "crest_level_m": link.outlet.crest_m,
                "drop_m": network.drop_m(link),
                "peak_m3_s": peak,
                "sill_width_m": sill.width_m if sill else None,
                "sill_head_m": head_m,
                "diameter_mm": None if diameter_m is None else 1000 * diameter_m,
                "speed_m_s": _speed_m_s(network, link, head_m, peak),
                "preference": 1 + _place(network.ways_out(link.from_id), link),
            }
        )
    return rows


def result_rows(routed: Routed) -> list[Row]:
    """Make one row for each element of one storm."""
    sums = routed.elements
    rows = []
    for at, element in enumerate(routed.network.elements):
        hours = float(sums.drawdown_h[at])
        rows.append(
            {
                "storm": routed.inflow.name,
                "element_id": element.element_id,
                "outside_m3": float(sums.outside_m3[at]),
                "received_m3": float(sums.received_m3[at]),
                "inflow_peak_m3_s": float(sums.inflow_peak_m3_s[at]),
                "inflow_peak_h": _hours(routed, sums.inflow_peak_s[at]),
                "peak_level_m": float(sums.peak_level_m[at]),
                "peak_h": _hours(routed, sums.peak_s[at]),
                "peak_storage_m3": float(sums.peak_storage_m3[at]),
                "start_m3": float(sums.start_m3[at]),
                "end_m3": float(sums.end_m3[at]),
                "soaked_m3": float(sums.soaked_m3[at]),
                "spilled_m3": float(sums.spilled_m3[at]),
                "overtopped_m3": float(sums.overtopped_m3[at]),
                "dry_height_m": element.crest_level_m - float(sums.peak_level_m[at]),
                "drawdown_h": _finite(hours) if element.empties else None,
                "residual_m3": float(sums.residual_m3[at]),
            }
        )
    return rows


def drain_rows(routed: Routed) -> list[Row]:
    """Make one row for each drain of one storm: uniform flow at its peak."""
    rows = []
    for place, link in enumerate(routed.network.links):
        drain = routed.network.element(link.from_id).shape
        if not isinstance(drain, Drain) or link.outlet.is_pipe:
            continue
        peak = float(routed.links.peak_m3_s[place])
        depth_m, speed = drain.depth_for_m(peak), drain.speed_m_s(peak)
        radius_m = hydraulic_radius_m(drain.section, depth_m) if depth_m > 0 else 0.0
        rows.append(
            {
                "storm": routed.inflow.name,
                "element_id": link.from_id,
                "fall_pct": 100 * drain.fall,
                "roughness": radius_m ** (2 / 3) * drain.fall**0.5 / speed if speed > 0 else None,
                "capacity_m3_s": drain.capacity_m3_s(),
                "peak_m3_s": peak,
                "flow_depth_m": depth_m,
                "speed_m_s": speed,
                "permissible_m_s": drain.permissible_m_s,
                "travel_min": drain.travel_s(peak) / 60 if speed > 0 else None,
            }
        )
    return rows


def overflow_result_rows(routed: Routed) -> list[Row]:
    """Make one row for each way out of one storm; brims only where water ran over them."""
    rows = []
    links = len(routed.network.links)
    for place, way in enumerate(routed.ways):
        if place >= links and routed.links.forward_m3[place] + routed.links.back_m3[place] == 0:
            continue
        rows.append(
            {
                "storm": routed.inflow.name,
                "from_id": way.from_id,
                "to_id": way.to_id or None,
                "outlet": "brim" if place >= links else outlet_word(way.outlet),
                "volume_m3": float(routed.links.forward_m3[place]),
                "back_m3": float(routed.links.back_m3[place]),
                "peak_m3_s": float(routed.links.peak_m3_s[place]),
                "peak_h": _hours(routed, routed.links.peak_s[place]),
            }
        )
    return rows


def series_columns(routed: Routed) -> dict[str, NDArray[Any]]:
    """Make the columns of levels and flows by time, one element after another.

    Raises
    ------
    ValueError
        If the series were not kept.
    """
    series = routed.series
    if series is None:
        raise ValueError("the series of this routing were not kept")
    names = [element.element_id for element in routed.network.elements]
    steps = series.edges_s.size - 1
    outflow = np.zeros((steps, len(names)))
    for place, way in enumerate(routed.ways):
        outflow[:, routed.network.index[way.from_id]] += series.flow_m3_s[:, place]
    hours = (series.edges_s[1:] - series.edges_s[0]) / 3600
    return {
        "storm": np.full(steps * len(names), routed.inflow.name, dtype=object),
        "element_id": np.repeat(np.array(names, dtype=object), steps),
        "time_h": np.tile(hours, len(names)),
        "level_m": series.level_m[1:].T.ravel(),
        "storage_m3": series.storage_m3[1:].T.ravel(),
        "inflow_m3_s": series.inflow_m3_s.T.ravel(),
        "outflow_m3_s": outflow.T.ravel(),
        "soaked_m3": series.soaked_m3[1:].T.ravel(),
    }


def balance_row(routed: Routed) -> Row:
    """Make the row that says where the water of one storm went."""
    sums = routed.elements
    put_in = float(sums.start_m3.sum() + sums.outside_m3.sum())
    return {
        "storm": routed.inflow.name,
        "start_m3": float(sums.start_m3.sum()),
        "outside_m3": float(sums.outside_m3.sum()),
        "left_m3": routed.left_m3,
        "soaked_m3": float(sums.soaked_m3.sum()),
        "end_m3": float(sums.end_m3.sum()),
        "residual_m3": routed.residual_m3,
        "residual_ratio": routed.residual_m3 / put_in if put_in > 0 else 0.0,
        "steps": routed.steps,
        "missed": routed.missed,
    }


def check_row(case: CheckCase) -> Row:
    """Make the row of one case beyond the design storm."""
    return {
        "case": case.case,
        "storm": case.storm,
        "element_id": case.element_id or None,
        "failure": case.failure,
        "first_id": case.first_id or None,
        "first_h": case.first_h,
        "over_m": case.over_m,
        "follows": "; ".join(case.follows) or None,
        "overtopped_m3": case.overtopped_m3,
        "flag": (CASE_FLAGS[case.case],) if case.fails else (),
        "notes": case.text or None,
    }


def finding_rows(findings: Iterable[Finding], storm: str | None = None) -> list[Row]:
    """Make one row for each finding."""
    return [
        {
            "storm": storm,
            "element_id": finding.element_id,
            "to_id": (finding.link.to_id or None) if finding.link else None,
            "code": finding.flag,
            "text": finding.text,
        }
        for finding in findings
    ]


def mend_rows(mends: Iterable[Mend], storm: str | None = None) -> list[Row]:
    """Make one row for each mend."""
    return [
        {
            "storm": storm,
            "element_id": mend.element_id,
            "code": mend.flag,
            "changed_id": mend.changed_id,
            "dimension": mend.dimension,
            "unit": mend.unit or None,
            "value_now": mend.now,
            "value_mended": mend.to,
            "text": mend.text,
            "raises_id": mend.raised_id or None,
            "raises_m": mend.raised_m if mend.raised_id else 0.0,
            "more_leaves_m3_s": mend.more_leaves_m3_s,
        }
        for mend in mends
    ]


def _speed_m_s(network: Network, link: Link, head_m: float, peak_m3_s: float) -> float | None:
    """Speed over a sill's crest, or along a drain; None for what hides it."""
    if isinstance(link.outlet, Sill):
        return critical_speed_m_s(head_m)
    drain = network.element(link.from_id).shape
    return drain.speed_m_s(peak_m3_s) if isinstance(drain, Drain) else None


def outlet_word(outlet: Outlet) -> str:
    """Name what water runs through."""
    if isinstance(outlet, Sill):
        return "sill"
    if isinstance(outlet, Pipe):
        return "pipe"
    if isinstance(outlet, Orifice):
        return "orifice"
    return "pipe" if isinstance(outlet, Rating) and outlet.is_pipe else "drain"


def _place(ways: tuple[Link, ...], link: Link) -> int:
    return next(place for place, way in enumerate(ways) if way is link)


def _hours(routed: Routed, time_s: float) -> float:
    return float(time_s - routed.inflow.edges_s[0]) / 3600


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
