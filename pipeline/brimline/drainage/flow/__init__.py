"""Which way water goes and how much of it passes: directions, their order, accumulation."""

from brimline.drainage.flow.accumulation import accumulate
from brimline.drainage.flow.directions import checked_directions, flow_directions
from brimline.drainage.flow.order import upstream_order

__all__ = ["accumulate", "checked_directions", "flow_directions", "upstream_order"]
