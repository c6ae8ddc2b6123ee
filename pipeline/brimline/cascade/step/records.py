"""What the kernels know of each element and link, as records.

Records keep one element's values side by side in memory, and kernels' calls short.
"""

from __future__ import annotations

from typing import Final

import numpy as np

ELEMENT: Final = np.dtype(
    [
        # what it is
        ("table_first", np.int64),  # its entries in the stage tables
        ("table_last", np.int64),
        ("out_first", np.int64),  # its outlets in the lists of links
        ("out_last", np.int64),
        ("in_first", np.int64),
        ("in_last", np.int64),
        ("floor", np.float64),  # [m]
        ("conductivity", np.float64),  # soakage rate in the long run [m/s]
        ("suction", np.float64),  # [m]
        ("deficit", np.float64),
        # how it stands
        ("hint", np.int64),  # table entry read last
        ("volume", np.float64),  # [m³]
        ("level", np.float64),  # [m]; the end of the step while one is being solved
        ("depth_soaked", np.float64),  # [m]
        # one step
        ("start_level", np.float64),
        ("inflow", np.float64),  # from outside [m³/s]
        ("rate", np.float64),  # soakage rate in this step [m/s]
        ("theta", np.float64),
        ("soak_start", np.float64),  # [m³/s]
        ("net_start", np.float64),  # net inflow [m³/s]
        ("known", np.float64),  # volume less what the end of the step decides [m³]
        ("soaked", np.float64),  # [m³]
        ("outward", np.float64),  # volume that its links would take [m³]
        ("balance", np.float64),  # volume before soaking; below 0 where they took too much [m³]
        ("new_volume", np.float64),
        ("dirty", np.bool_),  # to be solved (again)
        ("dry", np.bool_),  # stands at its floor and stays there
        ("area", np.float64),  # slope of volume in level [m²]
        ("misfit", np.float64),  # volume that does not add up at the present levels [m³]
        ("pivot", np.float64),  # its slope in the element's own level, then eliminated
        ("move", np.float64),  # change of level, all solved together [m]
        ("level_before", np.float64),
        ("parent", np.int64),  # the element that drowns it most; −1 for none
        ("to_parent", np.float64),  # slope of the misfit in that one's level
        # sums and peaks
        ("sum_soaked", np.float64),
        ("peak_level", np.float64),
        ("peak_time", np.float64),
        ("peak_inflow", np.float64),
        ("peak_inflow_time", np.float64),
    ]
)

LINK: Final = np.dtype(
    [
        ("origin", np.int64),
        ("target", np.int64),  # −1 where water leaves
        ("kind", np.int64),
        ("rating_first", np.int64),  # its entries in the ratings
        ("rating_last", np.int64),
        ("crest", np.float64),
        ("tail", np.float64),
        ("p0", np.float64),
        ("p1", np.float64),
        ("p2", np.float64),
        ("one_way", np.bool_),  # water never runs back
        ("whole", np.int64),  # the way that it is a part of; itself where it is whole
        # one step
        ("theta", np.float64),
        ("coupled", np.bool_),  # the level below may matter
        ("share", np.float64),  # of the flow that the element it comes from can give
        ("flow_start", np.float64),
        ("flow", np.float64),
        ("flow_before", np.float64),  # in the sweep before
        ("by_level", np.float64),  # slope of flow in the level above
        ("by_tail", np.float64),  # and in the level below
        # sums and peaks
        ("sum_step", np.float64),  # net, since the last row of the series
        ("sum_forward", np.float64),
        ("sum_back", np.float64),
        ("together", np.float64),  # flow of all its parts at a step's end [m³/s]
        ("peak", np.float64),  # greatest of those
        ("peak_time", np.float64),
        ("peak_tail", np.float64),
    ]
)

STAGE: Final = np.dtype([("level", np.float64), ("storage", np.float64), ("soak", np.float64)])
