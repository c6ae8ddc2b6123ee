"""Elements, how they overflow, and stakes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from brimline.layers.schema import Item

ITEMS: Final[tuple[Item, ...]] = ()
