"""Keylines as they are pegged out: on the ground that may be worked."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from brimline.lines.level_lines import long_enough
from brimline.lines.limits import Stop
from brimline.lines.measure import departures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from brimline.grid import Elevation, Grid
    from brimline.lines.keyline.keylines import Keyline
    from brimline.lines.level_lines import Drawing
    from brimline.lines.limits import Limits


def trimmed(
    keylines: Sequence[Keyline], survey: Elevation, grid: Grid, where: Limits, drawing: Drawing
) -> list[Keyline]:
    """Trim keylines at the boundary, keep-outs and steep ground, as their cultivation lines are.

    Parameters
    ----------
    survey : float32 (rows, cols) [m]; what each piece is measured against.
    where : ground where no line may run.
    drawing : pieces shorter than its least length are dropped.

    Returns
    -------
    Pieces of what is left, by number. The longest piece of a keyline keeps its number, by which its
    cultivation lines are known; others have numbers after all keylines and its keypoint. Each is
    flagged with why it ends, and measured anew.
    """
    lines = np.empty(len(keylines), dtype=object)
    lines[:] = [one.line for one in keylines]
    pieces = long_enough(lines, where, grid, drawing)
    level = np.array([one.level_m for one in keylines])[pieces.source]
    off = departures(pieces.lines, level, survey, grid)
    found: list[Keyline] = []
    taken: set[int] = set()
    spare = max((one.keyline_id for one in keylines), default=0)
    for place in np.argsort(-shapely.length(pieces.lines), kind="stable"):
        line = pieces.lines[place]
        whole = keylines[pieces.source[place]]
        ends = {Stop(int(code)).flag for code in (pieces.start[place], pieces.end[place])} - {""}
        flags = ends | set(whole.flags)
        if off.largest_m[place] <= drawing.tolerance_m:
            flags.discard("level-error")  # what was not level has been cut off
        number = whole.keyline_id
        if number in taken:
            spare += 1
            number = spare
        taken.add(number)
        found.append(
            replace(
                whole,
                keyline_id=number,
                line=line,
                length_m=float(shapely.length(line)),
                level_error_m=float(off.largest_m[place]),
                level_rms_m=float(off.rms_m[place]),
                flags=tuple(sorted(flags)),
            )
        )
    return sorted(found, key=lambda one: one.keyline_id)
