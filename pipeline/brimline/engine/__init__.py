"""Run stages in order, keep what they made by content, and say why a stage runs."""

from brimline.engine.stage import (
    GRID,
    Facts,
    Given,
    Params,
    Reporter,
    Source,
    Stage,
    Value,
    grid_facts,
)

__all__ = ["GRID", "Facts", "Given", "Params", "Reporter", "Source", "Stage", "Value", "grid_facts"]
