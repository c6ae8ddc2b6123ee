"""Beyond the design storm: what fails first in a greater one, and what one fault sets off.

Beside the design storm are routed: greater and longer storms; the same on frozen ground; each pipe
blocked in turn; each store that is fed by pump or hand fed on; each bank that holds water above
ground failed in turn. Each gives one row that says what fails first, by how much, and what follows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from brimline.cascade.findings import Finding
from brimline.cascade.inflow import StormInflow
from brimline.cascade.limits import CascadeLimits
from brimline.cascade.network import NOWHERE, Network
from brimline.cascade.routing import route
from brimline.elements import SEALED
from brimline.rainfall import Hydrograph, peak_and_volume

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from brimline.cascade.routing import Pace, Routed
    from brimline.elements import Element

CASE_FLAGS: Final = {
    "storm": "fails-beyond",
    "frozen ground": "fails-frozen",
    "high end": "fails-high-end",
    "pipe blocked": "blocked-pipe",
    "feed left on": "feed-left-on",
    "bank fails": "takes-next",
}
_RELEASE_STEPS: Final = 16
_FOLLOWED: Final = 12  # elements that a release is followed through, so that hundreds stay cheap


@dataclass(frozen=True, slots=True)
class CheckCase:
    """What came of one case.

    Parameters
    ----------
    case : ``storm``, ``frozen ground``, ``high end``, ``pipe blocked``, ``feed left on`` or
        ``bank fails``.
    storm : name of the storm that was routed.
    element_id : whose pipe is blocked, which is fed or whose bank fails; empty for a storm alone.
    failure : ``none``; ``freeboard``, where only that is used up; ``overtopped``.
    first_id, first_h : what fails first, and when after the storm's begin [h].
    over_m : highest stand over its crest, or over its freeboard's foot [m].
    follows : what is overtopped after it, in the order of the cascade.
    overtopped_m3 : all that runs over brims [m³].
    text : the rest, in words.
    """

    case: str
    storm: str
    element_id: str
    failure: str
    first_id: str
    first_h: float | None
    over_m: float | None
    follows: tuple[str, ...]
    overtopped_m3: float
    text: str

    @property
    def fails(self) -> bool:
        """Whether water runs over a brim."""
        return self.failure == "overtopped"


def storm_case(
    routed: Routed,
    limits: CascadeLimits | None = None,
    *,
    case: str = "storm",
    beside: Routed | None = None,
    text: str = "",
) -> CheckCase:
    """Say what fails first in a storm, from its series.

    Parameters
    ----------
    case : what else than the storm is different, as in `CheckCase`.
    beside : the storm without that; what it overtops itself is not told again.
    text : the rest, in words.
    """
    limits = limits or CascadeLimits()
    before = set() if beside is None else _overtopped(beside, limits)
    return _case(case, routed, "", before, limits, text)


def frozen(network: Network) -> Network:
    """Return a cascade whose elements soak nothing, their floors being frozen."""
    sealed = tuple(replace(one, soak=SEALED) for one in network.elements)
    return replace(network, elements=sealed)


def blocked_pipes(
    base: Routed, pace: Pace, limits: CascadeLimits | None = None
) -> Iterator[CheckCase]:
    """Block each pipe in turn and route the same storm: whether the way over ground holds.

    Parameters
    ----------
    base : the storm with all pipes open.
    """
    limits = limits or CascadeLimits()
    network, before = base.network, _overtopped(base, limits)
    brief = pace.brief()
    inflow = base.inflow.thinned()
    for link in network.links:
        if not link.outlet.is_pipe:
            continue
        left = replace(network, links=tuple(one for one in network.links if one is not link))
        others = left.ways_out(link.from_id)
        text = "" if others else "no other way out is drawn: water runs over the brim"
        done = route(left, inflow, brief)
        yield _case("pipe blocked", done, link.from_id, before, limits, text)


def feeds_left_on(
    base: Routed,
    fed_m3_s: Mapping[str, float],
    pace: Pace,
    limits: CascadeLimits | None = None,
) -> Iterator[CheckCase]:
    """Let each feed run on through the same storm: a float that sticks, a tap left open.

    Parameters
    ----------
    base : the storm with all feeds still.
    fed_m3_s : by the name of the element that it fills [m³/s].
    """
    limits = limits or CascadeLimits()
    before = _overtopped(base, limits)
    brief = pace.brief()
    inflow = base.inflow.thinned()
    for name, flow_m3_s in fed_m3_s.items():
        dry = np.zeros(np.asarray(inflow.edges_s).size - 1)
        fed = {**inflow.mean_m3_s, name: np.asarray(inflow.mean_m3_s.get(name, dry)) + flow_m3_s}
        done = route(base.network, replace(inflow, mean_m3_s=fed), brief)
        text = f"{flow_m3_s * 1000:.3g} l/s run into it all the while"
        yield _case("feed left on", done, name, before, limits, text)


def failed_banks(
    base: Routed, pace: Pace, limits: CascadeLimits | None = None
) -> Iterator[CheckCase]:
    """Let each bank that holds water above ground fail in turn, at the worst moment below it.

    What it holds up to its crest is let go to where it spills, when the water there stands
    highest, as a triangle with the peak that `breach_peak_m3_s` gives. It is followed through the
    next dozen elements.

    Parameters
    ----------
    base : the storm with all banks whole, its series kept.
    """
    limits = limits or CascadeLimits()
    network, before = base.network, _overtopped(base, limits)
    brief = pace.brief()
    for element in network.elements:
        height, volume = element.embankment_height_m, element.held_above_ground_m3
        below = network.spills_to(element.element_id)
        if not (height > 0 and volume > 0):
            continue
        peak = breach_peak_m3_s(volume, height)
        told = f"{volume:.0f} m³ let go, about {peak:.1f} m³/s (order of magnitude)"
        if below not in network.index:
            where = below or "nowhere that is drawn"
            yield CheckCase(
                "bank fails", base.inflow.name, element.element_id, "none", "", None, None, (), 0.0,
                f"{told}, running to {where}",
            )  # fmt: skip
            continue
        part, inflow = _below(base, below)
        at_s = float(base.elements.peak_s[base.at(below)])
        released = _with_release(inflow, below, peak, volume, at_s)
        done = route(part, released, brief)
        yield _case("bank fails", done, element.element_id, before, limits, told)


def breach_peak_m3_s(volume_m3: float, water_m: float) -> float:
    """Peak outflow of an earth bank that fails, Q = 0.607 V^0.295 h^1.24 [m³/s].

    An order of magnitude only: 95 % of the failures that it was found on lie within 0.53 to 2.3
    times it, and those were dams of 3 m and more (from memory), far larger than a farm's banks.

    Parameters
    ----------
    volume_m3 : water above the breach's foot [m³].
    water_m : its depth there [m].

    Raises
    ------
    ValueError
        If a value is not above 0.

    References
    ----------
    Froehlich (1995), Peak outflow from breached embankment dam
    """
    if not (volume_m3 > 0 and water_m > 0):
        raise ValueError(
            f"a breach needs a volume and a depth above 0, got {volume_m3} m³ and {water_m} m"
        )
    return float(0.607 * volume_m3**0.295 * water_m**1.24)


def _overtopped(routed: Routed, limits: CascadeLimits) -> set[str]:
    return {
        one.element_id
        for one, peak in zip(routed.network.elements, routed.elements.peak_level_m, strict=True)
        if peak - one.crest_level_m > limits.level_slack_m
    }


def _case(
    case: str, routed: Routed, about: str, before: set[str], limits: CascadeLimits, text: str
) -> CheckCase:
    """Make a row of what fails that did not fail before."""
    network = routed.network
    over = _overtopped(routed, limits) - before
    short = {
        one.element_id
        for one in network.elements
        if _peak(routed, one) - one.highest_safe_m > limits.level_slack_m
    } - before  # fmt: skip
    failure = "overtopped" if over else "freeboard" if short else "none"
    if failure == "none":
        return CheckCase(case, routed.inflow.name, about, failure, "", None, None, (), 0.0, text)
    times = {name: _exceeded_s(routed, name, failure) for name in over or short}
    first = min(times, key=lambda name: (times[name], network.index[name]))
    element = network.element(first)
    limit_m = element.crest_level_m if over else element.highest_safe_m
    in_order = [name for name in network.index if name in over]  # a set's order is left to chance
    follows = tuple(name for name in in_order if name != first)
    spilled = sum(float(routed.elements.overtopped_m3[routed.at(name)]) for name in in_order)
    return CheckCase(
        case, routed.inflow.name, about, failure, first,
        (times[first] - float(routed.inflow.edges_s[0])) / 3600,
        _peak(routed, element) - limit_m, follows, spilled, text,
    )  # fmt: skip


def _peak(routed: Routed, element: Element) -> float:
    return float(routed.elements.peak_level_m[routed.at(element.element_id)])


def _exceeded_s(routed: Routed, name: str, failure: str) -> float:
    """Time at which water first stands over the limit [s]."""
    element = routed.network.element(name)
    limit_m = element.crest_level_m if failure == "overtopped" else element.highest_safe_m
    series, place = routed.series, routed.at(name)
    if series is not None:
        above = np.flatnonzero(series.level_m[:, place] > limit_m)
        if above.size:
            return float(series.edges_s[above[0]])
    return float(routed.elements.peak_s[place])


def _below(base: Routed, name: str) -> tuple[Network, StormInflow]:
    """Return the part of a cascade from an element down, with all that reached it as inflow."""
    network, series = base.network, base.series
    if series is None:
        raise ValueError("the series of the storm must be kept, for what reaches the part below")
    names = _next_below(network, name)
    part = Network(
        tuple(one for one in network.elements if one.element_id in names),
        tuple(
            replace(one, to_id=NOWHERE)
            if one.to_id in network.index and one.to_id not in names
            else one
            for one in network.links
            if one.from_id in names
        ),
        network.discharges,
    )
    count = np.asarray(base.inflow.edges_s).size
    mean = {
        one: np.array(base.inflow.mean_m3_s.get(one, np.zeros(count - 1)), dtype=np.float64)
        for one in part.index
    }
    for place, way in enumerate(base.ways):
        if way.to_id in names and way.from_id not in names and place not in base.broken:
            mean[way.to_id] += np.maximum(series.flow_m3_s[: count - 1, place], 0.0)
    whole = StormInflow(base.inflow.edges_s, mean, base.inflow.ends_s, base.inflow.name)
    return part, whole.thinned()


def _next_below(network: Network, name: str) -> set[str]:
    """Return an element and what lies below it, as far as a release is followed."""
    names, edge = {name}, {name}
    while edge and len(names) < _FOLLOWED:
        edge = {one.to_id for one in network.links if one.from_id in edge} & set(network.index)
        edge -= names
        names |= edge
    return names


def _with_release(
    inflow: StormInflow, name: str, peak_m3_s: float, volume_m3: float, at_s: float
) -> StormInflow:
    """Add water that is let go at once, its peak at a time."""
    shape = peak_and_volume(peak_m3_s, volume_m3)
    start_s = max(at_s - shape.peak_time_s, float(inflow.edges_s[0]))
    release = Hydrograph(shape.time_s + start_s, shape.flow_m3_s)
    end_s = float(release.time_s[-1])
    fine = np.linspace(start_s, end_s, _RELEASE_STEPS + 1)
    old = np.asarray(inflow.edges_s, dtype=np.float64)
    if end_s > old[-1]:
        old = np.append(old, end_s)
    edges = np.union1d(old, fine)
    edges = edges[np.concatenate([[True], np.diff(edges) > 1e-6])]
    middle = (edges[1:] + edges[:-1]) / 2
    place = np.searchsorted(old, middle, side="right") - 1
    mean = {}
    for one, flows in inflow.mean_m3_s.items():
        known = np.append(np.asarray(flows, dtype=np.float64), 0.0)
        mean[one] = known[np.minimum(place, known.size - 1)]
    mean[name] = mean.get(name, np.zeros(middle.size)) + release.mean_flow_m3_s(edges)
    return StormInflow(edges, mean, inflow.ends_s, inflow.name)


def beyond_findings(cases: Iterable[CheckCase], design_storm: str = "") -> Iterator[Finding]:
    """Find what a person must look at beyond the design storm; in storms, each element once.

    Parameters
    ----------
    design_storm : its name; what it overtops itself is found by `judge`.
    """
    told: set[str] = set()
    for one in cases:
        if not one.fails or (one.case == "storm" and one.storm == design_storm):
            continue
        if one.case == "storm":
            for name in (one.first_id, *one.follows):
                if name not in told:
                    yield Finding("fails-beyond", name, f"is overtopped in the {one.storm} storm")
                told.add(name)
            continue
        what = ", ".join((one.first_id, *one.follows))
        if one.case in ("frozen ground", "high end"):
            for name in (one.first_id, *one.follows):
                yield Finding(CASE_FLAGS[one.case], name, f"is overtopped: {one.case}, {one.storm}")
            continue
        if one.case == "feed left on":
            yield Finding("feed-left-on", one.element_id, f"with its feed left on: over at {what}")
        elif one.case == "pipe blocked":
            yield Finding("blocked-pipe", one.element_id, f"with its pipe blocked: over at {what}")
        else:
            yield Finding("takes-next", one.element_id, f"its failed bank overtops {what}")


def headline(cases: Iterable[CheckCase]) -> str:
    """Say in one line at which step what fails first, and what single faults set off."""
    every = list(cases)
    storms = [one for one in every if one.case == "storm"]
    first = next((one for one in storms if one.fails), None)
    if first is None:
        held = f"nothing is overtopped up to the {storms[-1].storm} storm" if storms else ""
    else:
        held = f"{first.first_id} is overtopped first, in the {first.storm} storm"
    blocked = [one.element_id for one in every if one.case == "pipe blocked" and one.fails]
    banks = [one.element_id for one in every if one.case == "bank fails" and one.fails]
    parts = [held]
    parts += [
        f"on frozen ground {one.first_id} is overtopped first"
        for one in every
        if one.case == "frozen ground" and one.fails
    ]
    if blocked:
        parts.append(f"a blocked pipe overtops at {', '.join(dict.fromkeys(blocked))}")
    if banks:
        parts.append(f"a failed bank takes the next along at {', '.join(banks)}")
    return "; ".join(part for part in parts if part)
