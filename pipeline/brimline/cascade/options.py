"""What could be changed to take a flag away: which dimension, how far, and how."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from brimline.cascade.network import NOWHERE, Link
from brimline.elements import Drain, Kind, Orifice, Pipe, Pond, Sill, Trapezoid, width_for_m
from brimline.elements.pipe import NOMINAL_MM

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from brimline.cascade.findings import Finding
    from brimline.cascade.limits import Limits
    from brimline.cascade.network import Network
    from brimline.cascade.routing import Routed

CENTIMETRE: Final = 0.01
DECIMETRE: Final = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Option:
    """One dimension that a change of could mend a flag.

    Parameters
    ----------
    element_id : element that is changed, not always the one that is flagged.
    dimension : what is changed, such as "sill width".
    now, most : its value, and how far it may go, up or down.
    step : to which the answer is rounded, away from `now`; 0 where `values` lists them.
    values : the only values allowed, the least change first; empty allows any.
    guess : value that is expected to do, where there is a formula for it.
    target : what the change lets water reach that it may not have reached before.
    everywhere : whether it changes more of the cascade than the element and what it spills to.
    apply : makes the changed network.
    text : says the change in words.
    """

    element_id: str
    dimension: str
    unit: str
    now: float
    most: float
    step: float
    apply: Callable[[Network, float], Network]
    text: Callable[[float], str]
    values: tuple[float, ...] = ()
    guess: float | None = None
    target: str = NOWHERE
    everywhere: bool = False


def options_for(
    routed: Routed, finding: Finding, limits: Limits, targets: Mapping[str, str]
) -> list[Option]:
    """List what could mend a finding, the change that a crew would like best first.

    Parameters
    ----------
    targets : element to where water that leaves it would run on the ground, where it is known.
    """
    makers = {
        "cycle": _for_cycle,
        "no-safe-outlet": _for_no_outlet,
        "pipe-only": _for_pipe_only,
        "uphill": _for_drop,
        "small-drop": _for_drop,
        "drowned": _for_drop,
        "overtopped": _for_level,
        "freeboard": _for_level,
        "small-outlet": _for_outlet,
        "slow-drawdown": _for_drawdown,
        "fast-flow": _for_speed,
        "shape-limit": _for_shape,
    }
    maker = makers.get(finding.flag)
    return maker(routed, finding, limits, targets) if maker else []


def _for_cycle(
    routed: Routed, finding: Finding, limits: Limits, targets: Mapping[str, str]
) -> list[Option]:
    """Lead the ring's link that falls least somewhere else."""
    network = routed.network
    ring = next(ring for ring in network.rings if finding.element_id in ring)
    inside = [link for link in network.links if link.from_id in ring and link.to_id in ring]
    worst = min(inside, key=lambda link: network.drop_m(link) or 0.0)
    target = _target(network, worst.from_id, limits, targets, banned=set(ring))
    return [_redirect(worst, target)] if target else []


def _for_no_outlet(
    routed: Routed, finding: Finding, limits: Limits, targets: Mapping[str, str]
) -> list[Option]:
    network, name = routed.network, finding.element_id
    link = finding.link
    if link is not None and link.to_id != NOWHERE:
        return [_name_discharge(network, link.to_id)]
    target = _target(network, name, limits, targets, banned={name})
    if not target:
        return []
    return [_redirect(link, target)] if link else _new_sill(routed, name, target)


def _for_pipe_only(
    routed: Routed, finding: Finding, limits: Limits, targets: Mapping[str, str]
) -> list[Option]:
    name = finding.element_id
    target = routed.network.spills_to(name)
    if target == NOWHERE:
        target = _target(routed.network, name, limits, targets, banned={name})
    return _new_sill(routed, name, target) if target else []


def _for_drop(
    routed: Routed,
    finding: Finding,
    limits: Limits,
    targets: Mapping[str, str],  # noqa: ARG001 - all makers take the same
) -> list[Option]:
    link = finding.link
    if link is None:
        return []
    needed_m = limits.min_drop_m - (routed.network.drop_m(link) or 0.0)
    if finding.flag == "drowned":
        needed_m = float(routed.links.tail_m[routed.way(link)]) - limits.drowned_m
    found = [_raise_outlet(link, limits, needed_m, crest=False)]
    found.append(_raise_outlet(link, limits, needed_m, crest=True))
    below = routed.network.main_way_out(link.to_id) if link.to_id in routed.network.index else None
    if below is not None and not below.outlet.is_pipe:
        if finding.flag == "drowned":
            found += _widen(below, limits)
        found += _lower_outlet(routed.network, below, needed_m)
    return found


def _for_level(
    routed: Routed,
    finding: Finding,
    limits: Limits,
    targets: Mapping[str, str],
) -> list[Option]:
    network, name = routed.network, finding.element_id
    way = network.main_way_out(name)
    if way is None:
        return _for_no_outlet(routed, finding, limits, targets)
    found = _widen(way, limits) + _larger_pipe(way)
    found.append(_raise_crest(routed, name, limits))
    if not way.outlet.is_pipe:
        found += _lower_outlet(network, way)
    return found + _deepen(network, name)


def _for_outlet(
    routed: Routed,
    finding: Finding,
    limits: Limits,
    targets: Mapping[str, str],  # noqa: ARG001
) -> list[Option]:
    link = finding.link
    if link is None:
        return []
    peak = float(routed.links.peak_m3_s[routed.way(link)])
    if peak > link.capacity_m3_s:
        return [_stronger_path(link, peak)]
    return [*_larger_pipe(link), _raise_crest(routed, finding.element_id, limits)]


def _for_drawdown(
    routed: Routed,
    finding: Finding,
    limits: Limits,  # noqa: ARG001
    targets: Mapping[str, str],  # noqa: ARG001
) -> list[Option]:
    network, name = routed.network, finding.element_id
    way = network.main_way_out(name)
    found = []
    if way is not None and not way.outlet.is_pipe:
        found += _lower_outlet(network, way)
    target = network.spills_to(name)
    return [*found, _low_outlet(network, name, target)] if target != NOWHERE else found


def _for_speed(
    routed: Routed,
    finding: Finding,
    limits: Limits,
    targets: Mapping[str, str],  # noqa: ARG001
) -> list[Option]:
    element = routed.network.element(finding.element_id)
    drain, link = element.shape, finding.link
    if not isinstance(drain, Drain) or not isinstance(drain.section, Trapezoid) or link is None:
        return []
    section = drain.section

    def widened(network: Network, bottom_m: float) -> Network:
        wider = replace(drain, section=replace(section, bottom_m=bottom_m))
        changed = network.with_element(wider.element())
        return changed.with_link(link, replace(link, outlet=wider.outlet()))

    return [
        Option(
            finding.element_id,
            "bottom width",
            "m",
            section.bottom_m,
            limits.largest_sill_m,
            DECIMETRE,
            widened,
            lambda to: f"widen the bottom of {finding.element_id} to {to:.1f} m",
        )
    ]


def _for_shape(
    routed: Routed,
    finding: Finding,
    limits: Limits,  # noqa: ARG001
    targets: Mapping[str, str],  # noqa: ARG001
) -> list[Option]:
    name = finding.element_id
    side = getattr(routed.network.element(name).shape, "side", None)
    depth = getattr(routed.network.element(name).shape, "depth_m", None)
    if side is None or depth is None:
        return []
    return [
        Option(
            name,
            "depth",
            "m",
            depth,
            DECIMETRE,
            CENTIMETRE,
            lambda network, to: _with_dimension(network, name, "depth_m", to),
            lambda to: f"dig {name} {to:.2f} m deep, not {depth:.2f} m",
        ),
        Option(
            name,
            "side",
            "",
            side,
            1.0,
            DECIMETRE,
            lambda network, to: _with_dimension(network, name, "side", to),
            lambda to: f"make the sides of {name} {to:.1f} to 1",
        ),
    ]


def _with_dimension(network: Network, name: str, dimension: str, value: float) -> Network:
    return network.with_element(network.element(name).changed(dimension, value))


def _target(
    network: Network,
    element_id: str,
    limits: Limits,
    targets: Mapping[str, str],
    banned: set[str],
) -> str:
    """Where water from an element should go: as traced, or the nearest level below it."""
    traced = targets.get(element_id, NOWHERE)
    if traced and traced not in banned:
        return traced
    highest = network.spill_level_m(element_id) - limits.min_drop_m
    upstream = {name for name in network.index if element_id in network.below({name})}
    reachable = [
        (network.spill_level_m(name), name)
        for name in network.index
        if name not in banned | upstream and network.spill_level_m(name) <= highest
    ]
    if reachable:
        return max(reachable)[1]
    ends = [
        discharge.discharge_id
        for discharge in network.discharges
        if discharge.name.strip() and (discharge.level_m is None or discharge.level_m <= highest)
    ]
    return ends[0] if ends else NOWHERE


def _redirect(link: Link, target: str) -> Option:
    return Option(
        link.from_id,
        "overflow",
        "",
        0.0,
        1.0,
        0.0,
        lambda network, _: network.with_link(link, replace(link, to_id=target)),
        lambda _: f"lead the overflow of {link.from_id} to {target}",
        values=(1.0,),
        everywhere=True,
    )


def _name_discharge(network: Network, discharge_id: str) -> Option:
    def named(network: Network, _: float) -> Network:
        discharges = tuple(
            replace(discharge, name=discharge_id)
            if discharge.discharge_id == discharge_id
            else discharge
            for discharge in network.discharges
        )
        return replace(network, discharges=discharges)

    text = f"name discharge point {discharge_id}, once it is known to be stable and legal"
    ends_here = next(link.from_id for link in network.links if link.to_id == discharge_id)
    return Option(ends_here, "name", "", 0.0, 1.0, 0.0, named, lambda _: text, values=(1.0,))


def _new_sill(routed: Routed, element_id: str, target: str) -> list[Option]:
    """Offer a sill at the spill level, about as wide as what arrives asks for."""
    element = routed.network.element(element_id)
    level = element.spill_level_m
    head = element.highest_safe_m - level
    if head <= 0:
        return []
    peak = float(routed.elements.inflow_peak_m3_s[routed.at(element_id)])
    least = max(width_for_m(peak, head), 0.5)
    return [
        Option(
            element_id,
            "sill width",
            "m",
            0.0,
            4 * least,
            DECIMETRE,
            lambda network, to: network.with_link(None, Link(element_id, target, Sill(level, to))),
            lambda to: f"add a sill {to:.1f} m wide at {level:.2f} m from {element_id} to {target}",
            guess=least,
            target=target,
        )
    ]


def _raise_outlet(link: Link, limits: Limits, needed_m: float, *, crest: bool) -> Option:
    def raised(network: Network, by_m: float) -> Network:
        changed = network.with_link(link, replace(link, outlet=link.outlet.raised(by_m)))
        return _with_crest(changed, link.from_id, by_m) if crest else changed

    what = "sill and crest" if crest else "sill"
    return Option(
        link.from_id,
        f"{what} level",
        "m",
        0.0,
        limits.highest_raise_m,
        CENTIMETRE,
        raised,
        lambda by: (
            f"raise the {what} of {link.from_id} by {by:.2f} m to {link.outlet.crest_m + by:.2f} m"
        ),
        guess=needed_m,
    )


def _lower_outlet(network: Network, link: Link, needed_m: float | None = None) -> list[Option]:
    element = network.element(link.from_id)
    room = link.outlet.crest_m - element.floor_m - 2 * CENTIMETRE
    if room <= CENTIMETRE:
        return []
    return [
        Option(
            link.from_id,
            "sill level",
            "m",
            0.0,
            -room,
            CENTIMETRE,
            lambda net, by: net.with_link(link, replace(link, outlet=link.outlet.raised(by))),
            lambda by: (
                f"lower the sill of {link.from_id} by {-by:.2f} m to "
                f"{link.outlet.crest_m + by:.2f} m"
            ),
            guess=None if needed_m is None else -needed_m,
        )
    ]


def _with_crest(network: Network, element_id: str, by_m: float) -> Network:
    element = network.element(element_id)
    if isinstance(element.shape, Pond):
        over = element.crest_level_m + by_m - element.shape.spill_level_m
        return network.with_element(element.changed("crest_over_spill_m", over))
    higher = replace(
        element,
        crest_level_m=element.crest_level_m + by_m,
        embankment_height_m=element.embankment_height_m + by_m,
        cautions=tuple(c for c in element.cautions if c.flag != "freeboard"),
    )
    return network.with_element(higher)


def _raise_crest(routed: Routed, element_id: str, limits: Limits) -> Option:
    network = routed.network
    peak_m = float(routed.elements.peak_level_m[routed.at(element_id)])
    needed_m = peak_m - network.element(element_id).highest_safe_m
    crest_m = network.element(element_id).crest_level_m
    return Option(
        element_id,
        "crest level",
        "m",
        0.0,
        limits.highest_raise_m,
        CENTIMETRE,
        lambda net, by: _with_crest(net, element_id, by),
        lambda by: f"raise the crest of {element_id} by {by:.2f} m to {crest_m + by:.2f} m",
        guess=needed_m,
    )


def _widen(link: Link, limits: Limits) -> list[Option]:
    sill = link.outlet
    if not isinstance(sill, Sill) or sill.form == "notch":
        return []
    return [
        Option(
            link.from_id,
            "sill width",
            "m",
            sill.width_m,
            max(limits.largest_sill_m, 2 * sill.width_m),
            DECIMETRE,
            lambda net, to: net.with_link(link, replace(link, outlet=replace(sill, width_m=to))),
            lambda to: f"widen the sill of {link.from_id} to {to:.1f} m",
        )
    ]


def _larger_pipe(link: Link) -> list[Option]:
    pipe = link.outlet
    if not isinstance(pipe, Pipe | Orifice):
        return []
    now_mm = pipe.diameter_m * 1000
    larger = tuple(float(size) for size in NOMINAL_MM if size > now_mm + 0.5)
    if not larger:
        return []
    return [
        Option(
            link.from_id,
            "pipe size",
            "mm",
            now_mm,
            larger[-1],
            0.0,
            lambda net, to: net.with_link(
                link, replace(link, outlet=replace(pipe, diameter_m=to / 1000))
            ),
            lambda to: f"lay a pipe of DN {to:.0f} from {link.from_id} to {link.to_id}",
            values=larger,
        )
    ]


def _low_outlet(network: Network, element_id: str, target: str) -> Option:
    """Offer a small pipe through the bank at the floor, led to where the element spills."""
    floor_m = network.element(element_id).floor_m
    return Option(
        element_id,
        "low outlet",
        "mm",
        0.0,
        float(NOMINAL_MM[-1]),
        0.0,
        lambda net, to: net.with_link(None, Link(element_id, target, Orifice(floor_m, to / 1000))),
        lambda to: f"add a low outlet of DN {to:.0f} at the floor of {element_id}, {floor_m:.2f} m",
        values=tuple(float(size) for size in NOMINAL_MM),
        target=target,
    )


def _stronger_path(link: Link, peak_m3_s: float) -> Option:
    return Option(
        link.from_id,
        "path capacity",
        "m³/s",
        link.capacity_m3_s,
        peak_m3_s * 1.001,
        0.0,
        lambda net, to: net.with_link(link, replace(link, capacity_m3_s=to)),
        lambda to: f"enlarge the way from {link.from_id} to {link.to_id} to carry {to:.3f} m³/s",
        values=(peak_m3_s * 1.001,),
    )


def _deepen(network: Network, element_id: str) -> list[Option]:
    element = network.element(element_id)
    depth_m = getattr(element.shape, "depth_m", None)
    if depth_m is None or element.kind is Kind.DRAIN:
        return []
    return [
        Option(
            element_id,
            "depth",
            "m",
            depth_m,
            4 * depth_m,
            CENTIMETRE,
            lambda net, to: _with_dimension(net, element_id, "depth_m", to),
            lambda to: f"deepen {element_id} to {to:.2f} m",
        )
    ]
