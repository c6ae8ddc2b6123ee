"""Single changes to a cascade: which dimension, how far, and how it is made."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from brimline.cascade.network import NOWHERE, Link
from brimline.elements import (
    Basin,
    Drain,
    Kind,
    Orifice,
    Pipe,
    Pond,
    Sill,
    Swale,
    Trapezoid,
    width_for_m,
)
from brimline.elements.pipe import NOMINAL_MM

if TYPE_CHECKING:
    from collections.abc import Callable

    from brimline.cascade.limits import CascadeLimits
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


def redirect(link: Link, target: str) -> Option:
    """Lead a link to another target."""
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


def name_discharge(network: Network, discharge_id: str) -> Option:
    """Give a discharge point its identifier for a name."""

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


def new_sill(routed: Routed, element_id: str, target: str) -> list[Option]:
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


def raise_outlet(
    network: Network, link: Link, limits: CascadeLimits, needed_m: float, *, crest: bool
) -> list[Option]:
    """Raise an outlet, and the crest of its element with it where asked.

    Alone it may come up to the crest: above that, water would run over the brim and not over it.
    """
    room_m = network.element(link.from_id).crest_level_m - link.outlet.crest_m
    most_m = limits.highest_raise_m if crest else min(limits.highest_raise_m, room_m)
    if most_m < CENTIMETRE:
        return []

    def raised(network: Network, by_m: float) -> Network:
        changed = network.with_link(link, replace(link, outlet=link.outlet.raised(by_m)))
        return _with_crest(changed, link.from_id, by_m) if crest else changed

    what = "sill and crest" if crest else "sill"
    return [
        Option(
            link.from_id,
            f"{what} level",
            "m",
            0.0,
            most_m,
            CENTIMETRE,
            raised,
            lambda by: (
                f"raise the {what} of {link.from_id} by {by:.2f} m to"
                f" {link.outlet.crest_m + by:.2f} m"
            ),
            guess=needed_m,
        )
    ]


def lower_outlet(network: Network, link: Link, needed_m: float | None = None) -> list[Option]:
    """Lower an outlet; nothing where it lies at the floor."""
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


def raise_crest(routed: Routed, element_id: str, limits: CascadeLimits) -> Option:
    """Raise the crest of an element."""
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


def widen(link: Link, limits: CascadeLimits) -> list[Option]:
    """Widen a sill; nothing where it is not one with a level crest."""
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


def larger_pipe(link: Link) -> list[Option]:
    """Lay a larger pipe; nothing where it is not a pipe."""
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


def low_outlet(network: Network, element_id: str, target: str) -> Option:
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


def stronger_path(link: Link, peak_m3_s: float) -> Option:
    """Enlarge the way below an outlet to carry a peak."""
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


def deepen(network: Network, element_id: str) -> list[Option]:
    """Dig an element deeper; nothing where its shape has no depth."""
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


def _with_crest(network: Network, element_id: str, by_m: float) -> Network:
    element = network.element(element_id)
    crest_m = element.crest_level_m + by_m
    if isinstance(element.shape, Pond | Basin):
        over = crest_m - element.shape.spill_level_m
        return network.with_element(element.changed("crest_over_spill_m", over))
    if isinstance(element.shape, Swale):
        over = crest_m - element.shape.line_level_m
        return network.with_element(element.changed("crest_over_line_m", over))
    higher = replace(
        element,
        crest_level_m=crest_m,
        embankment_height_m=element.embankment_height_m + by_m,
        cautions=tuple(c for c in element.cautions if c.flag != "freeboard"),
    )
    return network.with_element(higher)


def _with_dimension(network: Network, name: str, dimension: str, value: float) -> Network:
    return network.with_element(network.element(name).changed(dimension, value))


def widen_bottom(network: Network, link: Link, limits: CascadeLimits) -> list[Option]:
    """Widen the bottom of a drain; nothing where its section has none."""
    drain = network.element(link.from_id).shape
    if not isinstance(drain, Drain) or not isinstance(drain.section, Trapezoid):
        return []
    section = drain.section

    def widened(changed: Network, bottom_m: float) -> Network:
        return _with_drain(
            changed, link, replace(drain, section=replace(section, bottom_m=bottom_m))
        )

    return [
        Option(
            link.from_id,
            "bottom width",
            "m",
            section.bottom_m,
            limits.largest_sill_m,
            DECIMETRE,
            widened,
            lambda to: f"widen the bottom of {link.from_id} to {to:.1f} m",
        )
    ]


def deepen_drain(network: Network, link: Link) -> list[Option]:
    """Dig a drain deeper, its banks staying where they are; nothing where it is not one."""
    drain = network.element(link.from_id).shape
    if not isinstance(drain, Drain):
        return []
    return [
        Option(
            link.from_id,
            "depth",
            "m",
            drain.depth_m,
            4 * drain.depth_m,
            CENTIMETRE,
            lambda net, to: _with_drain(net, link, drain.deeper(to - drain.depth_m)),
            lambda to: f"deepen {link.from_id} to {to:.2f} m",
        )
    ]


def sow_grass(network: Network, link: Link) -> list[Option]:
    """Line a drain with grass; nothing where it is not one, or has grass."""
    drain = network.element(link.from_id).shape
    if not isinstance(drain, Drain) or isinstance(drain.roughness, str):
        return []
    grassed = drain.under_grass()
    stands = grassed.permissible_m_s
    if stands <= drain.permissible_m_s:
        return []
    return [
        Option(
            link.from_id,
            "permissible speed",
            "m/s",
            drain.permissible_m_s,
            stands,
            0.0,
            lambda net, _: _with_drain(net, link, grassed),
            lambda to: (
                f"sow {link.from_id} with a grass mixture and keep it 15 to 30 cm high: it then "
                f"stands {to:.2f} m/s"
            ),
            values=(stands,),
        )
    ]


def _with_drain(network: Network, link: Link, drain: Drain) -> Network:
    new = replace(link, outlet=drain.outlet())
    # the link first or the element first: an outlet must never lie below its element's floor
    if drain.from_level_m < network.element(link.from_id).floor_m:
        return network.with_element(drain.element()).with_link(link, new)
    return network.with_link(link, new).with_element(drain.element())


def shallower(network: Network, element_id: str) -> list[Option]:
    """Dig less deep; nothing where the shape has no depth."""
    depth_m = getattr(network.element(element_id).shape, "depth_m", None)
    if depth_m is None:
        return []
    return [
        Option(
            element_id,
            "depth",
            "m",
            depth_m,
            DECIMETRE,
            CENTIMETRE,
            lambda changed, to: _with_dimension(changed, element_id, "depth_m", to),
            lambda to: f"dig {element_id} {to:.2f} m deep, not {depth_m:.2f} m",
        )
    ]


def steeper_sides(network: Network, element_id: str) -> list[Option]:
    """Dig steeper sides; nothing where the shape has none."""
    side = getattr(network.element(element_id).shape, "side", None)
    if side is None:
        return []
    return [
        Option(
            element_id,
            "side",
            "",
            side,
            1.0,
            DECIMETRE,
            lambda changed, to: _with_dimension(changed, element_id, "side", to),
            lambda to: f"make the sides of {element_id} {to:.1f} to 1",
        )
    ]
