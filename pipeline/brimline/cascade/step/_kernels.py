"""One small step of level-pool routing, for all elements together.

Each element holds a volume V with one level; dV/dt = inflow + Σ flows in − Σ flows out − soakage.
A step solves, for every element at once,

    V1 = V0 + dt [mean inflow + Σ ± ((1 − θ) q0 + θ q1) − ((1 − θ) s0 + θ s1)]

θ is a half (the storage-indication method) wherever that is stable and turns towards one
(backward Euler) for elements that empty within a step: θ = max(1/2, 1 − 1/(λ dt)) with λ the
outflow's slope in volume keeps the explicit part from taking more than there is. Flows enter
both sides from one place, so that volume is conserved to rounding, whatever the accuracy.

Elements are solved from the top down, each by a bracketed Newton search on its level; where no
level drowns the outlet above it, that is all. Where one does, all are solved together by Newton's
method: the matrix is eliminated from the top down, which is exact where each element is drowned
by one other at the most, and each move is shortened until it lessens the sum of all misfits.
Should that stall, elements are solved one by one in alternating sweeps until they agree; volume
being conserved and every flow rising with the level above and falling with the level below, they
do from any start (nonlinear Gauss-Seidel on an M-function: Rheinboldt 1970). A step that does not
settle, or whose error estimate is too large, is halved.
"""

from brimline._jit import kernel
from brimline.elements._kernels import outlet_flow, segment_of
from brimline.rainfall.infiltration import green_ampt_step

DRY = -1e30  # a level that drowns nothing
PONDED = 1.0  # a supply that no ground can take [m/s]

LEVEL_TOLERANCE_M = 1e-8  # by which two sweeps may differ
FLOW_TOLERANCE = 1e-7  # the same for flows, as a ratio
NEWTON_TOLERANCE_M = 1e-11
NEWTON_STEPS = 80
JOINT_STEPS = 30  # moves of all levels together
SHORTEST_MOVE = 1.0 / 256.0
LIMIT_TURNS = 20  # cuts of flows that take more than there is


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
def tail_of(link, elements):
    """Level beyond a link."""
    return elements[link["target"]]["level"] if link["target"] >= 0 else DRY


@kernel
def _begin_flows(elements, links, heads, flows):
    """Flows at the start of a step, and their slopes."""
    for at in range(links.size):
        link = links[at]
        level = elements[link["origin"]]["level"]
        flow, by_level, by_tail = link_flow(link, heads, flows, level, tail_of(link, elements))
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
        link["share"] = 1.0
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
        flow, by_level, _ = link_flow(link, heads, flows, level, tail_of(link, elements))
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
        tail = tail_of(link, elements)
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
def _misfits(dt, table, heads, flows, elements, links):
    """Find all flows and misfits at the present levels; return the sum of the misfits' sizes."""
    for i in range(elements.size):
        element = elements[i]
        volume, area, soak_area, soak_slope = read_stage(element, table, element["level"])
        share = dt * element["theta"] * element["rate"]
        element["area"] = area
        element["misfit"] = volume + share * soak_area - element["known"]
        element["pivot"] = area + share * soak_slope
    for at in range(links.size):
        link = links[at]
        origin, target = link["origin"], link["target"]
        level = elements[origin]["level"]
        flow, by_level, by_tail = link_flow(link, heads, flows, level, tail_of(link, elements))
        link["flow"], link["by_level"], link["by_tail"] = flow, by_level, by_tail
        share = dt * link["theta"]
        elements[origin]["misfit"] += share * flow
        elements[origin]["pivot"] += share * by_level
        if target >= 0:
            elements[target]["misfit"] -= share * flow
            elements[target]["pivot"] -= share * by_tail
    total = 0.0
    for i in range(elements.size):
        element = elements[i]
        element["dry"] = element["level"] <= element["floor"] and element["misfit"] >= 0.0
        if element["dry"]:
            element["misfit"] = 0.0
        total += abs(element["misfit"])
    return total


@kernel
def _eliminate(order, dt, lists, elements, links):
    """Solve for the moves of all levels that would take the misfits away.

    Exact where each element is drowned by one other at the most; further ones are left to the
    next move.
    """
    for i in range(elements.size):
        elements[i]["move"] = -elements[i]["misfit"]
    for place in range(order.size):
        element = elements[order[place]]
        if element["dry"]:
            continue
        parent, most = -1, 0.0
        for k in range(element["out_first"], element["out_last"]):
            link = links[lists[k]]
            pull = -link["theta"] * link["by_tail"]
            if pull > most and not elements[link["target"]]["dry"]:
                parent, most = link["target"], pull
        to_parent = 0.0
        for k in range(element["out_first"], element["out_last"]):
            link = links[lists[k]]
            if parent >= 0 and link["target"] == parent:
                to_parent += dt * link["theta"] * link["by_tail"]
        for k in range(element["out_first"], element["out_last"]):
            link = links[lists[k]]
            if link["target"] < 0 or elements[link["target"]]["dry"]:
                continue
            factor = -dt * link["theta"] * link["by_level"] / element["pivot"]
            elements[link["target"]]["move"] -= factor * element["move"]
            if link["target"] == parent:
                elements[parent]["pivot"] -= factor * to_parent
        element["parent"] = parent
        element["to_parent"] = to_parent
    for place in range(order.size - 1, -1, -1):
        element = elements[order[place]]
        if element["dry"]:
            element["move"] = 0.0
            continue
        if element["parent"] >= 0:
            element["move"] -= element["to_parent"] * elements[element["parent"]]["move"]
        element["move"] /= element["pivot"]


@kernel
def _solve_together(order, dt, table, heads, flows, lists, elements, links):
    """Move all levels together until volumes add up; tell whether that came."""
    total = _misfits(dt, table, heads, flows, elements, links)
    for _ in range(JOINT_STEPS):
        worst = 0.0
        for i in range(elements.size):
            worst = max(worst, abs(elements[i]["misfit"]) / elements[i]["area"])
            elements[i]["level_before"] = elements[i]["level"]
        if worst < LEVEL_TOLERANCE_M:
            return True
        _eliminate(order, dt, lists, elements, links)
        share = 1.0
        while True:
            for i in range(elements.size):
                moved = elements[i]["level_before"] + share * elements[i]["move"]
                elements[i]["level"] = max(moved, elements[i]["floor"])
            new_total = _misfits(dt, table, heads, flows, elements, links)
            if new_total < total:
                break
            share *= 0.5
            if share < SHORTEST_MOVE:
                return False
        total = new_total
    return False


@kernel
def _sweep(order, dt, sweeps, table, heads, flows, lists, elements, links):
    """Solve all elements until none is dirty; tell whether that came."""
    for turn in range(sweeps):
        if turn == 1 and _solve_together(order, dt, table, heads, flows, lists, elements, links):
            return True
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
def moved_by(link, dt):
    """Volume that a link moves in a step; below 0 where it runs back."""
    theta = link["theta"]
    return link["share"] * dt * ((1.0 - theta) * link["flow_start"] + theta * link["flow"])


@kernel
def _giver(link, moved):
    """Place of the element that a volume comes from."""
    return link["origin"] if moved > 0.0 else link["target"]


@kernel
def _limit(dt, elements, links, strict):
    """Cut flows where an element gave more than it had.

    They take too much by a hair of rounding, or where a step did not settle. A cut leaves less for
    the next element, so this is repeated. `strict` grants each element only what it held and what
    came from outside: then none can be short.
    """
    for i in range(elements.size):
        elements[i]["outward"] = 0.0
    for at in range(links.size):
        moved = moved_by(links[at], dt)
        if moved != 0.0:
            elements[_giver(links[at], moved)]["outward"] += abs(moved)
    for at in range(links.size):
        moved = moved_by(links[at], dt)
        if moved == 0.0:
            continue
        giver = elements[_giver(links[at], moved)]
        granted = giver["outward"] + min(giver["balance"], 0.0)
        if strict:
            granted = giver["volume"] + dt * giver["inflow"]
        links[at]["share"] *= min(max(granted, 0.0) / giver["outward"], 1.0)


@kernel
def _close(element, dt, table, lists, links):
    """Find the volume at the step's end from the flows, and what soaked away; tell if it held."""
    volume = element["volume"] + dt * element["inflow"]
    for k in range(element["out_first"], element["out_last"]):
        volume -= moved_by(links[lists[k]], dt)
    for k in range(element["in_first"], element["in_last"]):
        volume += moved_by(links[lists[k]], dt)
    element["balance"] = volume
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
    return volume >= 0.0


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
def try_step(order, dt, sweeps, table, heads, flows, lists, elements, links):
    """Take one step; leave its end in the records and return its error [m]."""
    _begin_flows(elements, links, heads, flows)
    for i in range(order.size):
        _begin(elements[i], dt, table, links, lists)
    _begin_links(dt, elements, links)
    settled = _sweep(order, dt, sweeps, table, heads, flows, lists, elements, links)
    for turn in range(LIMIT_TURNS + 1):
        held = True
        for i in range(order.size):
            held = _close(elements[i], dt, table, lists, links) and held
        if held or turn == LIMIT_TURNS:
            break
        _limit(dt, elements, links, turn == LIMIT_TURNS - 1)
    worst = 0.0
    for i in range(order.size):
        worst = max(worst, _error(elements[i], dt, table, lists, links))
    return worst, settled
