"""Compiled tracing of flow paths."""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel


@kernel
def channel_donors(receiver):
    """Count the channel donors of each channel cell; `receiver` holds places, -1 for none."""
    donors = np.zeros(receiver.size, dtype=np.uint8)
    for below in receiver:
        if below >= 0:
            donors[below] += 1
    return donors


@kernel
def trace(receiver, donors, heads, starts, places):
    """Write the places of each path from its head down to the next joint or outlet, included.

    Called first with no room in `places` to fill `starts`, then with room for the last start.
    """
    filled = 0
    room = places.size > 0
    for i in range(heads.size):
        starts[i] = filled
        place = heads[i]
        if room:
            places[filled] = place
        filled += 1
        while receiver[place] >= 0:
            place = receiver[place]
            if room:
                places[filled] = place
            filled += 1
            if donors[place] > 1:
                break
    starts[heads.size] = filled


@kernel
def strahler(downstream, order_of_work):
    """Strahler order of each path; `downstream` holds positions, -1 where there is none."""
    order = np.ones(downstream.size, dtype=np.int32)
    highest = np.zeros(downstream.size, dtype=np.int32)  # of the donors so far
    again = np.zeros(downstream.size, dtype=np.bool_)  # more than one of them is of that order
    for path in order_of_work:
        if highest[path] > 0:
            order[path] = highest[path] + 1 if again[path] else highest[path]
        below = downstream[path]
        if below < 0:
            continue
        if order[path] > highest[below]:
            highest[below], again[below] = order[path], False
        elif order[path] == highest[below]:
            again[below] = True
    return order
