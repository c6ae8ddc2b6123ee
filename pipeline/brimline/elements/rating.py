"""An outlet given by its rating: a drain at normal depth, a pump, a measured structure."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from brimline.elements._kernels import RATING
from brimline.elements.outlet import OutletRow
from brimline.errors import GridError

if TYPE_CHECKING:
    from brimline.elements.storage import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Rating:
    """Flow by head over a crest, linear between entries and beyond the last.

    A level beyond that stands above the crest reduces the flow as it does a sill's. Where the
    outlet lies lower, as in a drain, the flow is uniform while the surface falls as much as the
    bed; where the level beyond leaves it less, the flow goes with the root of that fall (Manning
    with the surface's slope). Water never runs back through it.

    Parameters
    ----------
    heads_m : float64 (n,), strictly rising from 0 [m].
    flows_m3_s : float64 (n,), not falling, from 0 [m³/s].
    is_pipe : whether it can block and so needs a surface path beside it.
    outlet_m : level of its lower end, over which the level beyond counts; the crest where left
        out [m].

    Raises
    ------
    GridError
        If the arrays break this contract.
    """

    crest_m: float
    heads_m: FloatArray
    flows_m3_s: FloatArray
    is_pipe: bool = False
    outlet_m: float = math.inf

    def __post_init__(self) -> None:
        for name in ("heads_m", "flows_m3_s"):
            array = np.array(getattr(self, name), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        heads, flows = self.heads_m, self.flows_m3_s
        if heads.ndim != 1 or heads.shape != flows.shape or heads.size < 2:
            raise GridError(
                f"a rating needs two 1-D arrays of one length of at least 2, "
                f"got {heads.shape} and {flows.shape}"
            )
        if heads[0] != 0 or flows[0] != 0 or not (np.diff(heads) > 0).all():
            raise GridError(f"a rating's heads must rise from 0 and its flows start at 0: {heads}")
        if not (np.diff(flows) >= 0).all() or not np.isfinite(flows).all():
            raise GridError(f"a rating's flows must not fall, got {flows} m³/s")

    @property
    def leaves_at_m(self) -> float:
        """Level from which the drop to the next spill level counts [m]."""
        return min(self.outlet_m, self.crest_m)

    def row(self) -> OutletRow:
        """Give the rating as routing reads it."""
        params = (self.crest_m - self.leaves_at_m, 0.0, 0.0)
        return OutletRow(
            RATING, self.crest_m, self.leaves_at_m, params, self.heads_m, self.flows_m3_s
        )

    def raised(self, by_m: float) -> Rating:
        """Return the same rating, higher by `by_m` [m]."""
        return replace(self, crest_m=self.crest_m + by_m)
