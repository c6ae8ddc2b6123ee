"""The layers of ``plan.gpkg`` that a person draws in; every column may be left empty."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from brimline.layers.schema import Item

ITEMS: Final[tuple[Item, ...]] = ()
