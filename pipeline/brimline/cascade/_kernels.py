"""Routing from the first edge to the last: steps are taken, halved or doubled, and added up."""

import numpy as np

from brimline._jit import kernel
from brimline.cascade.step._kernels import DRY, level_of, moved_by, read_stage, tail_of, try_step


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
def _accept_link(link, dt, links, elements):
    """Add a step to one link's sums, and its flow to that of the way it is a part of."""
    moved = moved_by(link, dt)
    link["sum_step"] += moved
    if moved >= 0.0:
        link["sum_forward"] += moved
    else:
        link["sum_back"] -= moved
    links[link["whole"]]["together"] += link["flow"]
    if elements[link["origin"]]["level"] > link["crest"]:
        tail = tail_of(link, elements) - link["tail"]
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
            error, settled = try_step(
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
                links[at]["together"] = 0.0
            for at in range(links.size):
                _accept_link(links[at], dt, links, elements)
            for at in range(links.size):
                if links[at]["together"] > links[at]["peak"]:
                    links[at]["peak"] = links[at]["together"]
                    links[at]["peak_time"] = now
            if error < 0.25 * tolerance and done % (2 * step) == 0:
                step = min(2 * step, whole)
        if keep:
            _keep(row, span, elements, links, levels, soaked, through)
    return levels, soaked, through, elements, links, steps, missed
