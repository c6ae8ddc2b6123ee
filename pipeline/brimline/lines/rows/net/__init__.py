"""The ground that placing rows looks at, as a net of cells in the order in which it comes."""

from brimline.lines.rows.net.cells import Net, net_of

__all__ = ["Net", "net_of"]
