"""Compiled loops that draw all parallels to one guide line.

A *frame* is a place on the guide and a direction square to it; a vertex at which the guide turns
has several. The *reach* of a frame is the radius of the largest disc that touches the guide there
and holds no vertex of it: as far as that, and no farther, the place on the guide is the nearest to
the point that lies so far off it (Blum 1967, A transformation for extracting new descriptors of
shape: the discs' centres are the medial axis).

The ground within d of the guide, drawn out by r and in again by r (the closing of mathematical
morphology by a disc; Serra 1982, Image analysis and mathematical morphology, ch. 2), has for its
rim the points at d of all frames that reach to d + r, and arcs of radius r about the places where
two of them meet at d + r.
"""

from __future__ import annotations

import numpy as np

from brimline._jit import kernel
from brimline.lines._kernels import thin
from brimline.lines.plane._kernels import BLOCK, box_distance2

_OPEN, _OUTWARD, _INWARD = 0, 1, 2  # what ends a stretch: the guide, a turn towards or away
_SLACK = 0.08  # of the radius, by which a short bend may be tighter
_SAME = 0.02  # m; centres of a turn that lie so near are one
_ASTRAY = 0.03  # m, more than leaving out points may move a line
_ROUNDS = 6
_HALVINGS = 24


@kernel
def _square(ax, ay, bx, by):
    """Return the unit vector to the left of the way from a to b."""
    dx, dy = bx - ax, by - ay
    length = np.sqrt(dx * dx + dy * dy)
    return -dy / length, dx / length


@kernel
def frames(xy, side, step):
    """Vertex, and direction to the side (1 left, -1 right), of each frame.

    A vertex has one frame, square to the mean of its legs; where it bulges to the side by more
    than `step` it has several, which turn from leg to leg.
    """
    count = xy.shape[0]
    foot = np.empty(0, dtype=np.int64)
    out = np.empty((0, 2), dtype=np.float64)
    for turn in range(2):  # count, then write
        room = 0
        for i in range(count):
            first, last = max(i, 1), min(i + 1, count - 1)
            ax, ay = _square(xy[first - 1, 0], xy[first - 1, 1], xy[first, 0], xy[first, 1])
            bx, by = _square(xy[last - 1, 0], xy[last - 1, 1], xy[last, 0], xy[last, 1])
            angle = np.arctan2(ax * by - ay * bx, ax * bx + ay * by)
            parts = np.int64(np.ceil(-side * angle / step))  # of a bulge; it turns the other way
            for k in range(parts + 1 if parts > 1 else 1):
                if turn == 1:
                    part = angle * k / parts if parts > 1 else 0.5 * angle
                    cos, sin = np.cos(part), np.sin(part)
                    foot[room] = i
                    out[room, 0] = side * (ax * cos - ay * sin)
                    out[room, 1] = side * (ax * sin + ay * cos)
                room += 1
        if turn == 0:
            foot = np.empty(room, dtype=np.int64)
            out = np.empty((room, 2), dtype=np.float64)
    return foot, out


@kernel
def windows(at, reach):
    """First and last vertex that lie within `reach` of each, by their chainages."""
    count = at.size
    out = np.empty((count, 2), dtype=np.int64)
    first, last = 0, 0
    for i in range(count):
        while at[i] - at[first] > reach:
            first += 1
        while last + 1 < count and at[last + 1] - at[i] <= reach:
            last += 1
        out[i, 0], out[i, 1] = first, last
    return out


@kernel
def _touching(x, y, nx, ny, qx, qy):
    """Radius of the disc that touches a frame and has a point on its rim; inf on the other side."""
    dx, dy = qx - x, qy - y
    ahead = nx * dx + ny * dy
    if ahead <= 1e-12:
        return np.inf
    return (dx * dx + dy * dy) / (2.0 * ahead)


@kernel
def _reach(xy, box, first, last, x, y, nx, ny, most, guess):
    """Reach of a frame, at most `most`, and the vertex that bounds it; -1 where none does.

    Vertices `first` to `last`, about the frame, do not bound it: what lies so near tells nothing
    but how the guide was drawn.
    """
    best, which = most, -1
    count = xy.shape[0]
    for i in range(max(guess - 1, 0), min(guess + 2, count) if guess >= 0 else 0):
        radius = _touching(x, y, nx, ny, xy[i, 0], xy[i, 1])
        if radius < best and not first <= i <= last:
            best, which = radius, i
    for b in range(box.shape[0]):
        if box_distance2(box, b, x + best * nx, y + best * ny) >= best * best:
            continue
        for i in range(b * BLOCK, min((b + 1) * BLOCK, count)):
            radius = _touching(x, y, nx, ny, xy[i, 0], xy[i, 1])
            if radius < best and not first <= i <= last:
                best, which = radius, i
    return best, which


@kernel
def reaches(xy, box, about, foot, aside, sign, most):
    """Reach of every frame to its side, or away from it (`sign` -1), and what vertex bounds it."""
    count = foot.size
    reach = np.empty(count, dtype=np.float64)
    bound = np.empty(count, dtype=np.int64)
    guess = np.int64(-1)
    for k in range(count):
        i = foot[k]
        nx, ny = sign * aside[k, 0], sign * aside[k, 1]
        first, last = about[i, 0], about[i, 1]
        reach[k], bound[k] = _reach(xy, box, first, last, xy[i, 0], xy[i, 1], nx, ny, most, guess)
        guess = bound[k]
    return reach, bound


@kernel
def _between(xy, foot, aside, sign, j, k, t):
    """Place and direction at a part `t` of the way from frame j to frame k."""
    a, b = foot[j], foot[k]
    x = xy[a, 0] + t * (xy[b, 0] - xy[a, 0])
    y = xy[a, 1] + t * (xy[b, 1] - xy[a, 1])
    nx = aside[j, 0] + t * (aside[k, 0] - aside[j, 0])
    ny = aside[j, 1] + t * (aside[k, 1] - aside[j, 1])
    length = sign * np.sqrt(nx * nx + ny * ny)
    return x, y, nx / length, ny / length


@kernel
def _edge(xy, box, about, foot, aside, sign, good, bad, radius, by):
    """Part of the way from a frame that reaches to `radius`, to the next, up to which frames do."""
    first = about[min(foot[good], foot[bad]), 0]
    last = about[max(foot[good], foot[bad]), 1]
    t = 1.0
    for _ in range(_ROUNDS):
        low, high = 0.0, t
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            x, y, nx, ny = _between(xy, foot, aside, sign, good, bad, middle)
            if _touching(x, y, nx, ny, xy[by, 0], xy[by, 1]) >= radius:
                low = middle
            else:
                high = middle
        t = low
        x, y, nx, ny = _between(xy, foot, aside, sign, good, bad, t)
        _, other = _reach(xy, box, first, last, x, y, nx, ny, radius - 1e-6, by)
        if other < 0:
            break
        by = other
    return t


@kernel
def _ends_here(xy, box, about, foot, aside, good, bad, out_m, in_m, towards, out_by, away, in_by):
    """End of a stretch between a frame that is on the line and one that is not.

    Gives what ends it (`_OUTWARD`, `_INWARD`), and place and direction there.
    """
    kind, t = _OPEN, 1.0
    if towards[bad] < out_m:
        kind = _OUTWARD
        t = _edge(xy, box, about, foot, aside, 1.0, good, bad, out_m, out_by[bad])
    if in_m > 0.0 and away[bad] < in_m:
        part = _edge(xy, box, about, foot, aside, -1.0, good, bad, in_m, in_by[bad])
        if kind == _OPEN or part < t:
            kind, t = _INWARD, part
    x, y, nx, ny = _between(xy, foot, aside, 1.0, good, bad, t)
    return kind, x, y, nx, ny


@kernel
def _on_line(towards, away, out_m, in_m, slack):
    """Frames whose points are on the line: those that reach far enough to both sides.

    Gaps in which reach is short by no more than `slack` are let pass: there the guide bends about
    as tightly as it may, and how it was drawn decides.
    """
    count = towards.size
    on = np.empty(count, dtype=np.bool_)
    for k in range(count):
        on[k] = towards[k] >= out_m and (in_m <= 0.0 or away[k] >= in_m)
    k = 0
    while k < count:
        if on[k]:
            k += 1
            continue
        last, short = k, 0.0
        while last < count and not on[last]:
            short = max(short, out_m - towards[last], in_m - away[last])
            last += 1
        while k < last:
            on[k] = short <= slack
            k += 1
    return on


@kernel
def _stretches(xy, box, about, foot, aside, out_m, in_m, slack, towards, out_by, away, in_by):
    """Find runs of frames that are on the line, and how each begins (0) and ends (1).

    Gives first and last frame; kind; x, y, direction, and the centre of the turn.
    """
    count = foot.size
    on = _on_line(towards, away, out_m, in_m, slack)
    runs = np.empty((count, 2), dtype=np.int64)
    kind = np.zeros((count, 2), dtype=np.int64)
    ends = np.empty((count, 2, 6), dtype=np.float64)
    found = 0
    k = 0
    while k < count:
        if not on[k]:
            k += 1
            continue
        last = k
        while last + 1 < count and on[last + 1]:
            last += 1
        runs[found, 0], runs[found, 1] = k, last
        for which in range(2):
            good, bad = (k, k - 1) if which == 0 else (last, last + 1)
            if 0 <= bad < count:
                what, x, y, nx, ny = _ends_here(
                    xy, box, about, foot, aside, good, bad, out_m, in_m,
                    towards, out_by, away, in_by,
                )  # fmt: skip
            else:
                what = _OPEN
                x, y, nx, ny = _between(xy, foot, aside, 1.0, good, good, 0.0)
            kind[found, which] = what
            end = ends[found, which]
            end[0], end[1], end[2], end[3] = x, y, nx, ny
            far = out_m if what == _OUTWARD else -in_m
            end[4], end[5] = x + far * nx, y + far * ny
        found += 1
        k = last + 1
    return runs[:found], kind[:found], ends[:found]


@kernel
def _round_an_end(xy, end, radius):
    """Tell whether an end of the guide bounds a turn too: there the parallel itself ends."""
    last = xy.shape[0] - 1
    first_m = np.hypot(xy[0, 0] - end[4], xy[0, 1] - end[5])
    last_m = np.hypot(xy[last, 0] - end[4], xy[last, 1] - end[5])
    return min(first_m, last_m) <= radius


@kernel
def _links(xy, kind, ends, out_m, near):
    """Stretch that follows each one over a turn; -1 none.

    Also which of them follow one, and False where a turn has no other side.
    """
    count = kind.shape[0]
    follows = np.full(count, -1, dtype=np.int64)
    led_to = np.zeros(count, dtype=np.bool_)
    sound = True
    for i in range(count):
        if kind[i, 1] == _OPEN:
            continue
        best, which = near, -1
        at_end = _round_an_end(xy, ends[i, 1], out_m + near)
        for j in range(count):
            if led_to[j] or kind[j, 0] != kind[i, 1] or (j == i and at_end):
                continue
            gap = np.hypot(ends[j, 0, 4] - ends[i, 1, 4], ends[j, 0, 5] - ends[i, 1, 5])
            if gap < best:
                best, which = gap, j
        if which >= 0:
            follows[i] = which
            led_to[which] = True
        elif kind[i, 1] == _INWARD or not at_end:
            sound = False
    for j in range(count):
        if led_to[j] or kind[j, 0] == _OPEN:
            continue
        if kind[j, 0] == _INWARD or not _round_an_end(xy, ends[j, 0], out_m + near):
            sound = False
    return follows, led_to, sound


@kernel
def _arc(out, size, cx, cy, ax, ay, bx, by, radius, step):
    """Write the points at `radius` about a centre from direction a to b, the short way round."""
    angle = np.arctan2(ax * by - ay * bx, ax * bx + ay * by)
    parts = max(np.int64(np.ceil(abs(angle) / step)), 1)
    for k in range(parts + 1):
        cos, sin = np.cos(angle * k / parts), np.sin(angle * k / parts)
        out[size, 0] = cx + radius * (ax * cos - ay * sin)
        out[size, 1] = cy + radius * (ax * sin + ay * cos)
        size += 1
    return size


@kernel
def _turn(out, size, one, other, sign, radius, step):
    """Write the turn from one end to the other; False where it would turn the wrong way.

    `sign` is 1.0 where directions turn to the left. Between centres that lie apart, where a third
    stretch was too short to be seen, the line runs straight.
    """
    ax, ay, bx, by = one[2], one[3], other[2], other[3]
    right_way = sign * (ax * by - ay * bx) > -step
    mx, my = 0.0, 0.0
    if np.hypot(other[4] - one[4], other[5] - one[5]) > _SAME:
        mx, my = _square(one[4], one[5], other[4], other[5])
        if ax * mx + ay * my < 0.0:
            mx, my = -mx, -my
    if sign * (ax * my - ay * mx) > 0.0 and sign * (mx * by - my * bx) > 0.0:
        size = _arc(out, size, one[4], one[5], ax, ay, mx, my, radius, step)
        size = _arc(out, size, other[4], other[5], mx, my, bx, by, radius, step)
    else:
        cx, cy = 0.5 * (one[4] + other[4]), 0.5 * (one[5] + other[5])
        size = _arc(out, size, cx, cy, ax, ay, bx, by, radius, step)
    return size, right_way


@kernel
def _is_clear(xy, box, x, y, distance):
    """Tell whether no vertex of the guide is nearer to a point than a distance."""
    for b in range(box.shape[0]):
        if box_distance2(box, b, x, y) >= distance * distance:
            continue
        for i in range(b * BLOCK, min((b + 1) * BLOCK, xy.shape[0])):
            if (xy[i, 0] - x) ** 2 + (xy[i, 1] - y) ** 2 < distance * distance:
                return False
    return True


@kernel
def astray(xy, box, points, distance):
    """Mark points that are nearer to the guide than each should be, which no part of a line is."""
    out = np.empty(points.shape[0], dtype=np.bool_)
    for p in range(points.shape[0]):
        out[p] = not _is_clear(xy, box, points[p, 0], points[p, 1], distance[p] - _ASTRAY)
    return out


@kernel
def _finished(points, first, size, shortest, moved, scratch, stack):
    """Leave as many points of a line as it needs, none of one below `shortest`; their end."""
    length = 0.0
    for i in range(first, size):
        scratch[i - first, 0], scratch[i - first, 1] = points[i, 0], points[i, 1]
        if i > first:
            length += np.hypot(points[i, 0] - points[i - 1, 0], points[i, 1] - points[i - 1, 1])
    if length < shortest or length == 0.0:
        return first
    return thin(scratch, size - first, moved, stack, points, first)


@kernel
def strands(
    xy,
    box,
    about,
    foot,
    aside,
    side,
    offset,
    radius,
    towards,
    out_by,
    away,
    in_by,
    arc_step,
    near,
    moved,
):
    """Draw the lines at a distance to one side of a guide, their turns rounded to a radius.

    Parameters
    ----------
    xy : float64 (vertices, 2) of the guide; `box` from `plane`, `about` from `windows`.
    foot, aside : from `frames`, of the side.
    side : 1.0 left, -1.0 right.
    offset, radius : distance from the guide and of the tightest turn.
    towards, out_by : from `reaches` to the side; `away`, `in_by` away from it.
    arc_step : largest angle between points of an arc.
    near : two sides of a turn meet within this.
    moved : that leaving out points may move a line by.

    Returns
    -------
    points : float64 (n, 2)
    starts : int64 (lines + 1,), first point of each line, and n.
    sound : False where the sides of a turn did not meet, so that another way must be found.
    """
    out_m, in_m = offset + radius, radius - offset
    runs, kind, ends = _stretches(
        xy, box, about, foot, aside, out_m, in_m, _SLACK * radius, towards, out_by, away, in_by
    )
    follows, led_to, sound = _links(xy, kind, ends, out_m, near)
    count = runs.shape[0]
    room = foot.size + count * (np.int64(np.pi / arc_step) + 6)
    points = np.empty((room, 2), dtype=np.float64)
    scratch = np.empty((room, 2), dtype=np.float64)
    stack = np.empty(room, dtype=np.int64)
    starts = np.zeros(2 * count + 1, dtype=np.int64)
    done = np.zeros(count, dtype=np.bool_)
    lines, size = 0, 0
    for turn in range(2):  # lines that begin somewhere, then rings
        for begin in range(count):
            if done[begin] or (turn == 0 and led_to[begin]):
                continue
            j = begin
            while j >= 0 and not done[j]:
                done[j] = True
                if not (led_to[j] and size > starts[lines]):
                    points[size, 0] = ends[j, 0, 0] + offset * ends[j, 0, 2]
                    points[size, 1] = ends[j, 0, 1] + offset * ends[j, 0, 3]
                    size += 1
                for k in range(runs[j, 0], runs[j, 1] + 1):
                    x = xy[foot[k], 0] + offset * aside[k, 0]
                    y = xy[foot[k], 1] + offset * aside[k, 1]
                    dx, dy = x - points[size - 1, 0], y - points[size - 1, 1]
                    if side * (dx * aside[k, 1] - dy * aside[k, 0]) > 0.0:  # onwards
                        points[size, 0], points[size, 1] = x, y
                        size += 1
                after = follows[j]
                if after < 0:
                    points[size, 0] = ends[j, 1, 0] + offset * ends[j, 1, 2]
                    points[size, 1] = ends[j, 1, 1] + offset * ends[j, 1, 3]
                    size += 1
                    break
                was = size
                inward = kind[j, 1] == _INWARD
                size, right_way = _turn(
                    points, size, ends[j, 1], ends[after, 0], -side if inward else side,
                    radius if inward else -radius, arc_step,
                )  # fmt: skip
                sound = sound and right_way
                clear = True
                for p in range(was, size if inward else was):
                    clear = clear and _is_clear(xy, box, points[p, 0], points[p, 1], 0.5 * offset)
                if not clear:
                    # no tractor goes there
                    size = _finished(points, starts[lines], was, near, moved, scratch, stack)
                    if size > starts[lines]:
                        lines += 1
                        starts[lines] = size
                j = after
            # what is so short, or a ring with a tighter turn, a longer line has passed by
            shortest = max(near, 2.0 * np.pi * radius * turn)
            size = _finished(points, starts[lines], size, shortest, moved, scratch, stack)
            if size > starts[lines]:
                lines += 1
                starts[lines] = size
    return points[:size], starts[: lines + 1], sound
