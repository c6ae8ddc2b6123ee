"""Drawn swales that are not level: what is designed on them does not hold what it says."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from brimline.cascade import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from brimline.stages._works_shapes import Drawn, Site


def off_level(drawn: Sequence[Drawn], site: Site, tolerance_m: float) -> Iterator[Finding]:
    """Flag swales whose drawn line departs from level, and say which line is level.

    A swale is designed on the line as it was drawn, because nobody but the person who drew it
    knows what it has to keep clear of. Where that line rises and falls, water stands at its low end
    and leaves there, and the storage is less than is told.

    Parameters
    ----------
    tolerance_m : departure of the smoothed survey from the line's own middle level [m].
    """
    for one in drawn:
        if one.element.kind != "swale":
            continue
        levels = site.level_along(one.shape)
        levels = levels[np.isfinite(levels)]
        off_m = float(np.abs(levels - np.median(levels)).max(initial=0.0)) if levels.size else 0.0
        if off_m > tolerance_m:
            name = one.element.element_id
            yield Finding(
                "off-level",
                name,
                f"the ground along the line as drawn departs from level by {off_m:.2f} m, where "
                f"{tolerance_m:g} m is asked: use the corrected line of {name} in swale_lines",
            )
