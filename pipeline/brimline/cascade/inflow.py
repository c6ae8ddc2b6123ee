"""What arrives at each element in one storm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from brimline.errors import GridError
from brimline.rainfall import sum_hydrographs

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import ArrayLike, NDArray

    from brimline.elements.storage import FloatArray
    from brimline.rainfall import Hydrograph, Storm


@dataclass(frozen=True, slots=True, eq=False)
class StormInflow:
    """Inflow from outside the cascade: runoff, roofs, outfalls, rain on the elements themselves.

    Parameters
    ----------
    edges_s : float64 (steps + 1,), strictly rising; equal steps are not needed [s].
    mean_m3_s : element name to float64 (steps,), mean flow of each step, 0 or more [m³/s].
        Elements that are not named get none.
    ends_s : time at which the rain ends, from where drawdown counts; the last edge where None.
    name : what to call the storm.

    Raises
    ------
    GridError
        If the arrays break this contract.
    """

    edges_s: FloatArray
    mean_m3_s: Mapping[str, FloatArray]
    ends_s: float | None = None
    name: str = ""

    def __post_init__(self) -> None:
        edges = np.asarray(self.edges_s, dtype=np.float64)
        if edges.ndim != 1 or edges.size < 2 or not (np.diff(edges) > 0).all():
            raise GridError(f"edges of a storm's steps must be 1-D and rise, got {edges.shape}")
        for name, flows in self.mean_m3_s.items():
            mean = np.asarray(flows, dtype=np.float64)
            if mean.shape != (edges.size - 1,):
                raise GridError(
                    f"inflow of {name} has shape {mean.shape} for {edges.size - 1} steps"
                )
            if not np.isfinite(mean).all() or (mean < 0).any():
                raise GridError(f"inflow of {name} must be finite and 0 m³/s or more")

    @property
    def rain_ends_s(self) -> float:
        """Time from which drawdown counts [s]."""
        return float(self.edges_s[-1]) if self.ends_s is None else self.ends_s

    @property
    def volume_m3(self) -> float:
        """Volume of all inflow [m³]."""
        lengths = np.diff(self.edges_s)
        return float(sum(np.dot(mean, lengths) for mean in self.mean_m3_s.values()))

    def scaled(self, factor: float) -> StormInflow:
        """Return the same storm with all inflow multiplied."""
        means = {name: np.asarray(mean) * factor for name, mean in self.mean_m3_s.items()}
        return StormInflow(self.edges_s, means, self.ends_s, self.name)

    def thinned(self, share: float = 0.005, longest_s: float = 1800.0) -> StormInflow:
        """Return the same storm in fewer steps: those are joined between which little changes.

        Volumes are kept. No flow is moved by more than a share of its own peak.

        Parameters
        ----------
        share : of each element's peak, by which its flow may vary within a joined step.
        longest_s : longest joined step [s].
        """
        edges = np.asarray(self.edges_s, dtype=np.float64)
        names = list(self.mean_m3_s)
        flows = np.array([np.asarray(self.mean_m3_s[name]) for name in names], dtype=np.float64)
        if not names:
            return self
        kept = _joined(edges, flows, share * flows.max(axis=1), longest_s)
        before = np.concatenate(
            [np.zeros((len(names), 1)), np.cumsum(flows * np.diff(edges), axis=1)], axis=1
        )
        means = np.diff(before[:, kept], axis=1) / np.diff(edges[kept])
        # where the flow does not change at all, the difference of sums is a hair beside it
        means = np.clip(means, flows.min(axis=1)[:, None], flows.max(axis=1)[:, None])
        return StormInflow(
            edges[kept], dict(zip(names, means, strict=True)), self.ends_s, self.name
        )


def _joined(
    edges: FloatArray, flows: FloatArray, allowed: FloatArray, longest_s: float
) -> NDArray[np.int64]:
    """Places of the edges that stay, the outer ones among them."""
    kept = [0]
    low = high = flows[:, 0]
    for step in range(1, flows.shape[1]):
        low, high = np.minimum(low, flows[:, step]), np.maximum(high, flows[:, step])
        long = edges[step + 1] - edges[kept[-1]] > longest_s
        if long or (high - low > allowed).any():
            kept.append(step)
            low = high = flows[:, step]
    return np.array([*kept, edges.size - 1], dtype=np.int64)


def inflow_of(
    hydrographs: Mapping[str, Sequence[Hydrograph]],
    edges_s: ArrayLike,
    *,
    ends_s: float | None = None,
    name: str = "",
) -> StormInflow:
    """Make a storm's inflow of hydrographs, keeping their volumes between the outer edges.

    Parameters
    ----------
    hydrographs : element name to all that arrives there from outside.
    edges_s : float64 (steps + 1,), edges of the steps to route by [s].
    """
    edges = np.asarray(edges_s, dtype=np.float64)
    means = {
        element: sum_hydrographs(parts).mean_flow_m3_s(edges)
        for element, parts in hydrographs.items()
        if len(parts) > 0
    }
    return StormInflow(edges, means, ends_s, name)


def with_rain(inflow: StormInflow, storm: Storm, open_area_m2: Mapping[str, float]) -> StormInflow:
    """Add the rain that falls on the elements themselves.

    Parameters
    ----------
    storm : rain, from time 0.
    open_area_m2 : element name to the area that the rain falls on [m²].
    """
    edges = np.asarray(inflow.edges_s, dtype=np.float64)
    steps = storm.step_s * np.arange(storm.depth_mm.size + 1)
    fallen_m = np.concatenate([[0.0], np.cumsum(storm.depth_mm)]) / 1000
    rain_m_s = np.diff(np.interp(edges, steps, fallen_m)) / np.diff(edges)
    means = {name: np.asarray(mean) for name, mean in inflow.mean_m3_s.items()}
    for name, area_m2 in open_area_m2.items():
        means[name] = means.get(name, np.zeros(rain_m_s.shape)) + rain_m_s * area_m2
    return StormInflow(edges, means, inflow.ends_s, inflow.name)
