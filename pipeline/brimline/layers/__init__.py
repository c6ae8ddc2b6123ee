"""Every layer, raster, table and flag, declared once.

The writer, the checker, ``brimline layers``, the report, the exchange files and the tests all
read these declarations; nothing else spells a layer's columns.
"""

from brimline.layers.catalogue import CATALOGUE, FLAGS, layer, published, raster, table
from brimline.layers.schema import Column, Dtype, Flag, Geometry, Item, Layer, Raster, Table

__all__ = [
    "CATALOGUE",
    "FLAGS",
    "Column",
    "Dtype",
    "Flag",
    "Geometry",
    "Item",
    "Layer",
    "Raster",
    "Table",
    "layer",
    "published",
    "raster",
    "table",
]
