"""Which way water goes and how much of it passes: directions, their order, accumulation."""

from brimline.drainage.flow.accumulation import accumulate
from brimline.drainage.flow.directions import checked_directions, flow_directions, within
from brimline.drainage.flow.order import upstream_order
from brimline.drainage.flow.spreading import dinf_accumulation, mfd_accumulation, wetness_index

__all__ = [
    "accumulate",
    "checked_directions",
    "dinf_accumulation",
    "flow_directions",
    "mfd_accumulation",
    "upstream_order",
    "wetness_index",
    "within",
]
