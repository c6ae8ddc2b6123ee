"""A surface as triangles, for machines and programs that take no raster."""

from brimline.terrain.triangles.mesh import Triangles, triangulated

__all__ = ["Triangles", "triangulated"]
