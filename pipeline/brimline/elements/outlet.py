"""What every way out of an element has in common: a crest, and a flow for two levels."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

from brimline.elements._kernels import outlet_flow

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import ArrayLike

    from brimline.elements.storage import FloatArray

NO_TABLE: Final = np.zeros(2)
NO_TABLE.setflags(write=False)

FREE: Final = -math.inf  # the level beyond an outlet that nothing drowns


@dataclass(frozen=True, slots=True, eq=False)
class OutletRow:
    """An outlet as routing reads it; the kinds and `params` are those of the kernels.

    Parameters
    ----------
    tail_m : level beyond, above which the outlet's flow depends on it [m].
    heads_m, flows_m3_s : float64 (n,), free rating over the crest, starting at 0.
    """

    kind: int
    crest_m: float
    tail_m: float
    params: tuple[float, float, float]
    heads_m: FloatArray = field(default_factory=lambda: NO_TABLE)
    flows_m3_s: FloatArray = field(default_factory=lambda: NO_TABLE)


class Outlet(Protocol):
    """A sill, a pipe or a rating."""

    @property
    def crest_m(self) -> float:
        """Level above which water flows out [m]."""
        ...

    @property
    def leaves_at_m(self) -> float:
        """Level from which the drop to the next spill level counts [m]."""
        ...

    @property
    def is_pipe(self) -> bool:
        """Whether it can block and so needs a surface path beside it."""
        ...

    def row(self) -> OutletRow:
        """Give the outlet as routing reads it."""
        ...

    def raised(self, by_m: float) -> Outlet:
        """Return the same outlet, higher by `by_m` [m]."""
        ...


def flow_m3_s(outlet: Outlet, level_m: float, tail_level_m: float = FREE) -> float:
    """Flow through an outlet for the levels above and beyond it.

    Parameters
    ----------
    tail_level_m : water level beyond; left out where nothing can drown the outlet [m].

    Returns
    -------
    Flow [m³/s]; negative where water runs back.
    """
    row = outlet.row()
    tail = tail_level_m if math.isfinite(tail_level_m) else -1e30
    flow, _, _ = outlet_flow(
        row.kind,
        row.crest_m,
        *row.params,
        row.heads_m,
        row.flows_m3_s,
        0,
        row.heads_m.size,
        float(level_m),
        float(tail),
    )
    return float(flow)


def discharge_m3_s(outlets: Iterable[Outlet], level_m: ArrayLike) -> FloatArray:
    """Free flow by all outlets together at each level, the discharge to a stage table [m³/s]."""
    levels = np.atleast_1d(np.asarray(level_m, dtype=np.float64))
    total = np.zeros(levels.shape)
    for outlet in outlets:
        total += [flow_m3_s(outlet, float(level)) for level in levels]
    return total


def head_for_m(outlet: Outlet, flow_wanted_m3_s: float, highest_head_m: float = 100.0) -> float:
    """Head over the crest at which an outlet passes a flow freely [m].

    Raises
    ------
    ValueError
        If even `highest_head_m` does not pass the flow.
    """
    low, high = 0.0, highest_head_m
    if flow_m3_s(outlet, outlet.crest_m + high) < flow_wanted_m3_s:
        raise ValueError(f"{flow_wanted_m3_s} m³/s does not pass at a head of {highest_head_m} m")
    for _ in range(80):
        middle = 0.5 * (low + high)
        if flow_m3_s(outlet, outlet.crest_m + middle) < flow_wanted_m3_s:
            low = middle
        else:
            high = middle
    return high
