"""Level-pool routing of all elements together, one small step of time after another.

Each element holds a volume V with one level; dV/dt = inflow + Σ flows in − Σ flows out − soakage.
A step solves, for every element at once,

    V1 = V0 + dt [mean inflow + Σ ± ((1 − θ) q0 + θ q1) − ((1 − θ) s0 + θ s1)]

θ is a half (the storage-indication method) wherever that is stable and turns towards one
(backward Euler) for elements that empty within a step: θ = max(1/2, 1 − 1/(λ dt)) with λ the
outflow's slope in volume keeps the explicit part from taking more than there is. Flows enter
both sides from one place, so that volume is conserved to rounding, whatever the accuracy.

Elements are solved from the top down, each by a bracketed Newton search on its level. Where the
level below drowns an outlet, the pair is solved again in alternating sweeps until both agree;
volume being conserved and every flow rising with the level above and falling with the level
below, that converges from any start (nonlinear Gauss-Seidel on an M-function: Rheinboldt 1970).
A step whose error estimate is too large, or whose sweeps do not settle, is halved.

Elements and links are records, so that a kernel is handed few arrays and one element's values
lie side by side.
"""

import numpy as np

from brimline._jit import kernel
from brimline.elements._kernels import outlet_flow, segment_of
from brimline.rainfall.infiltration import green_ampt_step

DRY = -1e30  # a level that drowns nothing
PONDED = 1.0  # a supply that no ground can take [m/s]

LEVEL_TOLERANCE_M = 1e-8  # by which two sweeps may differ
FLOW_TOLERANCE = 1e-7  # the same for flows, as a ratio
NEWTON_TOLERANCE_M = 1e-11
NEWTON_STEPS = 80

ELEMENT = np.dtype(
    [
        # what it is
        ("table_first", np.int64),  # its entries in the stage tables
        ("table_last", np.int64),
        ("out_first", np.int64),  # its outlets in the lists of links
        ("out_last", np.int64),
        ("in_first", np.int64),
        ("in_last", np.int64),
        ("floor", np.float64),  # [m]
        ("conductivity", np.float64),  # soakage rate in the long run [m/s]
        ("suction", np.float64),  # [m]
        ("deficit", np.float64),
        # how it stands
        ("hint", np.int64),  # table entry read last
        ("volume", np.float64),  # [m³]
        ("level", np.float64),  # [m]; the end of the step while one is being solved
        ("depth_soaked", np.float64),  # [m]
        # one step
        ("start_level", np.float64),
        ("inflow", np.float64),  # from outside [m³/s]
        ("rate", np.float64),  # soakage rate in this step [m/s]
        ("theta", np.float64),
        ("soak_start", np.float64),  # [m³/s]
        ("net_start", np.float64),  # net inflow [m³/s]
        ("known", np.float64),  # volume less what the end of the step decides [m³]
        ("soaked", np.float64),  # [m³]
        ("new_volume", np.float64),
        ("dirty", np.bool_),  # to be solved (again)
        # sums and peaks
        ("sum_soaked", np.float64),
        ("peak_level", np.float64),
        ("peak_time", np.float64),
        ("peak_inflow", np.float64),
        ("peak_inflow_time", np.float64),
    ]
)

LINK = np.dtype(
    [
        ("origin", np.int64),
        ("target", np.int64),  # −1 where water leaves
        ("kind", np.int64),
        ("rating_first", np.int64),  # its entries in the ratings
        ("rating_last", np.int64),
        ("crest", np.float64),
        ("tail", np.float64),
        ("p0", np.float64),
        ("p1", np.float64),
        ("p2", np.float64),
        ("one_way", np.bool_),  # water never runs back
        # one step
        ("theta", np.float64),
        ("coupled", np.bool_),  # the level below may matter
        ("flow_start", np.float64),
        ("flow", np.float64),
        ("flow_before", np.float64),  # in the sweep before
        ("by_level", np.float64),  # slope of flow in the level above
        ("by_tail", np.float64),  # and in the level below
        # sums and peaks
        ("sum_step", np.float64),  # net, since the last row of the series
        ("sum_forward", np.float64),
        ("sum_back", np.float64),
        ("peak", np.float64),
        ("peak_time", np.float64),
        ("peak_tail", np.float64),
    ]
)

STAGE = np.dtype([("level", np.float64), ("storage", np.float64), ("soak", np.float64)])


@kernel
def read_stage(element, table, level):
    """Volume, its slope, soaking area and its slope at a level of one element."""
    first, last = element["table_first"], element["table_last"]
    at = segment_of(level, table["level"], first, last, element["hint"])
    element["hint"] = at
    low, high = table[at], table[at + 1]
    span = high["level"] - low["level"]
    slope = (high["storage"] - low["storage"]) / span
    if level <= element["floor"]:
        return 0.0, slope, low["soak"], 0.0
    over = level - low["level"]
    volume = low["storage"] + slope * over
    if over >= span:
        return volume, slope, high["soak"], 0.0
    soak_slope = (high["soak"] - low["soak"]) / span
    return volume, slope, low["soak"] + soak_slope * over, soak_slope


@kernel
def level_of(element, table, volume):
    """Level of one element at a volume."""
    if volume <= 0.0:
        return element["floor"]
    first, last = element["table_first"], element["table_last"]
    at = segment_of(volume, table["storage"], first, last, element["hint"])
    low, high = table[at], table[at + 1]
    rise = high["level"] - low["level"]
    return low["level"] + (volume - low["storage"]) * rise / (high["storage"] - low["storage"])


@kernel
def link_flow(link, heads, flows, level, tail_level):
    """Flow of one link and its slopes in both levels."""
    if level <= link["crest"] and tail_level <= link["tail"]:
        return 0.0, 0.0, 0.0
    if link["one_way"] and tail_level >= level:
        return 0.0, 0.0, 0.0
    return outlet_flow(
        link["kind"],
        link["crest"],
        link["p0"],
        link["p1"],
        link["p2"],
        heads,
        flows,
        link["rating_first"],
        link["rating_last"],
        level,
        tail_level,
    )


@kernel
def _tail_of(link, elements):
    """Level beyond a link."""
    return elements[link["target"]]["level"] if link["target"] >= 0 else DRY


@kernel
def _begin_flows(elements, links, heads, flows):
    """Flows at the start of a step, and their slopes."""
    for at in range(links.size):
        link = links[at]
        level = elements[link["origin"]]["level"]
        flow, by_level, by_tail = link_flow(link, heads, flows, level, _tail_of(link, elements))
        link["flow_start"] = flow
        link["by_level"] = by_level
        link["by_tail"] = by_tail


@kernel
def _begin(element, dt, table, links, lists):
    """Fix what does not change during a step of one element: soakage rate, θ, known volume."""
    level, volume = element["level"], element["volume"]
    element["start_level"] = level
    _, area, soak_area, soak_slope = read_stage(element, table, level)
    pull = (element["suction"] + max(level - element["floor"], 0.0)) * element["deficit"]
    taken, conductivity = element["depth_soaked"], element["conductivity"]
    rate = (green_ampt_step(taken, PONDED, pull, conductivity, dt) - taken) / dt
    inward, outward, slope = element["inflow"], 0.0, rate * soak_slope
    for k in range(element["out_first"], element["out_last"]):
        link = links[lists[k]]
        slope += link["by_level"]
        outward += max(link["flow_start"], 0.0)
        inward += max(-link["flow_start"], 0.0)
    for k in range(element["in_first"], element["in_last"]):
        link = links[lists[k]]
        slope -= link["by_tail"]
        inward += max(link["flow_start"], 0.0)
        outward += max(-link["flow_start"], 0.0)

    soak = rate * soak_area
    turnover = dt * slope / area
    if volume > 0.0:
        turnover = max(turnover, dt * (outward + soak) / volume)
    else:
        soak = min(soak, inward)
    theta = 0.5 if turnover <= 2.0 else 1.0 - 1.0 / turnover
    element["rate"] = rate
    element["theta"] = theta
    element["soak_start"] = soak
    element["net_start"] = inward - outward - soak
    element["known"] = volume + dt * (element["inflow"] - (1.0 - theta) * soak)
    element["dirty"] = True


@kernel
def _begin_links(dt, elements, links):
    """Give each link its θ and put the explicit part of its flow into both balances."""
    for at in range(links.size):
        link = links[at]
        theta = elements[link["origin"]]["theta"]
        target = link["target"]
        if target >= 0 and elements[target]["level"] > link["tail"]:
            theta = max(theta, elements[target]["theta"])
        link["theta"] = theta
        link["flow"] = link["flow_start"]
        explicit = dt * (1.0 - theta) * link["flow_start"]
        elements[link["origin"]]["known"] -= explicit
        if target >= 0:
            elements[target]["known"] += explicit


@kernel
def _used(element, level, dt, table, heads, flows, lists, elements, links):
    """Volume held at a level plus what leaves by the step's end, and its slope; sets the flows."""
    volume, area, soak_area, soak_slope = read_stage(element, table, level)
    share = dt * element["theta"] * element["rate"]
    used = volume + share * soak_area
    slope = area + share * soak_slope
    for k in range(element["out_first"], element["out_last"]):
        link = links[lists[k]]
        flow, by_level, _ = link_flow(link, heads, flows, level, _tail_of(link, elements))
        link["flow"] = flow
        link["by_level"] = by_level
        used += dt * link["theta"] * flow
        slope += dt * link["theta"] * by_level
    for k in range(element["in_first"], element["in_last"]):
        link = links[lists[k]]
        if link["coupled"]:
            above = elements[link["origin"]]["level"]
            flow, by_level, by_tail = link_flow(link, heads, flows, above, level)
            link["flow"] = flow
            link["by_level"] = by_level
            used -= dt * link["theta"] * flow
            slope -= dt * link["theta"] * by_tail
    return used, slope


@kernel
def _highest(element, dt, table, heads, flows, lists, elements, links):
    """Level that one element cannot pass in this step: all inflow at its freest, no outflow."""
    most = element["known"]
    for k in range(element["in_first"], element["in_last"]):
        link = links[lists[k]]
        flow = link["flow"]
        if element["level"] > link["tail"]:
            above = elements[link["origin"]]["level"]
            flow, _, _ = link_flow(link, heads, flows, above, DRY)
        most += dt * link["theta"] * flow
    for k in range(element["out_first"], element["out_last"]):
        link = links[lists[k]]
        tail = _tail_of(link, elements)
        if tail > link["tail"]:
            flow, _, _ = link_flow(link, heads, flows, element["floor"], tail)
            most -= dt * link["theta"] * min(flow, 0.0)
    return level_of(element, table, most)


@kernel
def _solve(element, dt, table, heads, flows, lists, elements, links):
    """Level of one element at the step's end, its neighbours' levels held."""
    floor = element["floor"]
    high = _highest(element, dt, table, heads, flows, lists, elements, links)
    goal = element["known"]
    for k in range(element["in_first"], element["in_last"]):
        link = links[lists[k]]
        link["coupled"] = high > link["tail"]
        if not link["coupled"]:
            goal += dt * link["theta"] * link["flow"]
    low, floor_tried = floor, False
    level = min(max(element["level"], low), high)
    for _ in range(NEWTON_STEPS):
        used, slope = _used(element, level, dt, table, heads, flows, lists, elements, links)
        floor_tried = floor_tried or level <= floor
        if used > goal:
            if level <= floor:
                break
            high = level
        else:
            low = level
        step = (goal - used) / slope
        if abs(step) < NEWTON_TOLERANCE_M or high - low < NEWTON_TOLERANCE_M:
            break
        level += step
        if level <= low or level >= high:
            # an element may run empty: look there once before halving towards it
            level = floor if level <= low and not floor_tried else 0.5 * (low + high)
    return level


@kernel
def _update(element, dt, table, heads, flows, lists, elements, links):
    """Solve one element and mark the neighbours that must be solved again."""
    old_level = element["level"]
    for k in range(element["out_first"], element["out_last"]):
        links[lists[k]]["flow_before"] = links[lists[k]]["flow"]
    level = _solve(element, dt, table, heads, flows, lists, elements, links)
    element["level"] = level
    element["dirty"] = False
    for k in range(element["out_first"], element["out_last"]):
        link = links[lists[k]]
        change = abs(link["flow"] - link["flow_before"])
        if link["target"] >= 0 and change > 1e-13 + FLOW_TOLERANCE * abs(link["flow"]):
            elements[link["target"]]["dirty"] = True
    if abs(level - old_level) > LEVEL_TOLERANCE_M:
        for k in range(element["in_first"], element["in_last"]):
            link = links[lists[k]]
            if max(level, old_level) > link["tail"]:
                elements[link["origin"]]["dirty"] = True


@kernel
def _sweep(order, dt, sweeps, table, heads, flows, lists, elements, links):
    """Solve all elements, top down and back up, until none is dirty; tell whether that came."""
    for turn in range(sweeps):
        solved = 0
        for place in range(order.size):
            i = order[place] if turn % 2 == 0 else order[order.size - 1 - place]
            if elements[i]["dirty"]:
                _update(elements[i], dt, table, heads, flows, lists, elements, links)
                solved += 1
        if solved == 0:
            return True
    return False


@kernel
def _close(element, dt, table, lists, links):
    """Volume at the step's end from the flows, and what soaked away."""
    volume = element["volume"] + dt * element["inflow"]
    for k in range(element["out_first"], element["out_last"]):
        link = links[lists[k]]
        theta = link["theta"]
        volume -= dt * ((1.0 - theta) * link["flow_start"] + theta * link["flow"])
    for k in range(element["in_first"], element["in_last"]):
        link = links[lists[k]]
        theta = link["theta"]
        volume += dt * ((1.0 - theta) * link["flow_start"] + theta * link["flow"])
    available = max(volume, 0.0)
    rate, theta = element["rate"], element["theta"]
    if rate <= 0.0:
        soaked = 0.0
    elif element["level"] <= element["floor"]:
        soaked = available
    else:
        _, _, soak_area, _ = read_stage(element, table, element["level"])
        wanted = dt * ((1.0 - theta) * element["soak_start"] + theta * rate * soak_area)
        soaked = min(wanted, available)
    element["soaked"] = soaked
    element["new_volume"] = max(volume - soaked, 0.0)


@kernel
def _error(element, dt, table, lists, links):
    """Estimate by how much a step missed the level of one element [m].

    The θ rule misses by dt (θ − 1/2) of the change in net rate and, as a trapezoid, by about
    λ dt / 12 of it again.
    """
    _, area, soak_area, soak_slope = read_stage(element, table, element["level"])
    inward, outward, slope = element["inflow"], 0.0, element["rate"] * soak_slope
    for k in range(element["out_first"], element["out_last"]):
        link = links[lists[k]]
        slope += link["by_level"]
        outward += link["flow"]
    for k in range(element["in_first"], element["in_last"]):
        inward += links[lists[k]]["flow"]
    soak = element["rate"] * soak_area
    if element["new_volume"] <= 0.0:
        soak = min(soak, max(inward - outward, 0.0))
    change = abs(inward - outward - soak - element["net_start"])
    weight = element["theta"] - 0.5 + min(dt * slope / area, 2.0) / 12.0
    return dt * change * weight / area


@kernel
def _try_step(order, dt, sweeps, table, heads, flows, lists, elements, links):
    """Take one step; leave its end in the records and return its error [m]."""
    _begin_flows(elements, links, heads, flows)
    for i in range(order.size):
        _begin(elements[i], dt, table, links, lists)
    _begin_links(dt, elements, links)
    settled = _sweep(order, dt, sweeps, table, heads, flows, lists, elements, links)
    worst = 0.0
    for i in range(order.size):
        _close(elements[i], dt, table, lists, links)
        worst = max(worst, _error(elements[i], dt, table, lists, links))
    return worst, settled


@kernel
def _accept(element, now, dt, table, lists, links):
    """Make the end of a step the start of the next, and add it to the sums and peaks."""
    theta = element["theta"]
    _, _, area_start, _ = read_stage(element, table, element["start_level"])
    _, _, area_end, _ = read_stage(element, table, element["level"])
    area = (1.0 - theta) * area_start + theta * area_end
    if area > 0.0:
        element["depth_soaked"] += min(element["soaked"] / area, dt * element["rate"])
    element["volume"] = element["new_volume"]
    element["level"] = level_of(element, table, element["volume"])
    element["sum_soaked"] += element["soaked"]
    if element["level"] > element["peak_level"]:
        element["peak_level"] = element["level"]
        element["peak_time"] = now
    arriving = element["inflow"]
    for k in range(element["in_first"], element["in_last"]):
        arriving += max(links[lists[k]]["flow"], 0.0)
    if arriving > element["peak_inflow"]:
        element["peak_inflow"] = arriving
        element["peak_inflow_time"] = now


@kernel
def _accept_link(link, now, dt, elements):
    """Add a step to one link's sums and peaks."""
    moved = dt * ((1.0 - link["theta"]) * link["flow_start"] + link["theta"] * link["flow"])
    link["sum_step"] += moved
    if moved >= 0.0:
        link["sum_forward"] += moved
    else:
        link["sum_back"] -= moved
    if link["flow"] > link["peak"]:
        link["peak"] = link["flow"]
        link["peak_time"] = now
    if elements[link["origin"]]["level"] > link["crest"]:
        tail = _tail_of(link, elements) - link["tail"]
        link["peak_tail"] = max(link["peak_tail"], tail)


@kernel
def _first_state(now, table, elements, links):
    """Levels before the first step."""
    for i in range(elements.size):
        element = elements[i]
        element["hint"] = element["table_first"]
        element["level"] = level_of(element, table, element["volume"])
        element["peak_level"] = element["level"]
        element["peak_time"] = now
        element["peak_inflow_time"] = now
    for at in range(links.size):
        links[at]["peak_tail"] = DRY


@kernel
def _keep(row, span, elements, links, levels, soaked, through):
    """Write one row of the series; flows are means since the row before."""
    for i in range(elements.size):
        levels[row, i] = elements[i]["level"]
        soaked[row, i] = elements[i]["sum_soaked"]
    for at in range(links.size):
        if row > 0:
            through[row - 1, at] = links[at]["sum_step"] / span
        links[at]["sum_step"] = 0.0


@kernel
def route(
    edges,
    inflow,
    order,
    element_rows,
    link_rows,
    table,
    heads,
    flows,
    lists,
    tolerance,
    halvings,
    sweeps,
    keep,
):
    """Route inflow through all elements from the first edge to the last.

    Parameters
    ----------
    edges : float64 (steps + 1,) [s]; inflow : float64 (steps, elements), mean of each [m³/s].
    order : int64 (elements,), from the top down.
    element_rows, link_rows : records of what they are and, for elements, the starting volume.
    table : records of all stage tables; heads, flows : all ratings; lists : links by element.
    tolerance : error of level allowed in a step [m]; halvings, sweeps : how far it is pursued.
    keep : whether to keep the series.

    Returns
    -------
    level and soaked so far (steps + 1, elements) and mean flow (steps, links), or one empty row;
    the records at the end; small steps taken, and those that missed the tolerance.
    """
    elements, links = element_rows.copy(), link_rows.copy()
    rows = edges.size if keep else 1
    levels = np.zeros((rows, elements.size))
    soaked = np.zeros((rows, elements.size))
    through = np.zeros((max(rows - 1, 1), links.size))
    steps, missed = 0, 0
    _first_state(edges[0], table, elements, links)
    if keep:
        _keep(0, 1.0, elements, links, levels, soaked, through)

    whole = 1 << halvings
    step = whole
    for row in range(1, edges.size):
        span = edges[row] - edges[row - 1]
        for i in range(elements.size):
            elements[i]["inflow"] = inflow[row - 1, i]
        step = min(whole, 2 * step)
        done = 0
        while done < whole:
            dt = span * step / whole
            error, settled = _try_step(
                order, dt, sweeps, table, heads, flows, lists, elements, links
            )
            if step > 1 and (error > tolerance or not settled):
                for i in range(elements.size):
                    elements[i]["level"] = elements[i]["start_level"]
                step //= 2
                continue
            steps += 1
            if error > tolerance or not settled:
                missed += 1
            done += step
            now = edges[row - 1] + span * done / whole
            for i in range(elements.size):
                _accept(elements[i], now, dt, table, lists, links)
            for at in range(links.size):
                _accept_link(links[at], now, dt, elements)
            if error < 0.25 * tolerance and done % (2 * step) == 0:
                step = min(2 * step, whole)
        if keep:
            _keep(row, span, elements, links, levels, soaked, through)
    return levels, soaked, through, elements, links, steps, missed
