"""The table for ground that is larger than memory."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from brimline.config.base import ConfigTable, Positive


class Tiles(ConfigTable):
    """Elevation larger than memory: drained in tiles, and cut to what drains to the site."""

    use: Literal["auto", "always", "never"] = Field(
        "auto",
        description="When the elevation is drained in tiles first: auto where a run on all of it"
        " would not fit the memory; always; never.",
    )
    memory_gb: Positive | None = Field(
        None, description="Memory that a run may take; left out: what is free when it begins."
    )
    workers: int | None = Field(
        None, ge=1, le=1024, description="Processes that drain tiles; left out: one a processor."
    )
    scheduler: str = Field(
        "",
        description="Address of a running Dask scheduler, such as tcp://10.0.0.5:8786, whose"
        " workers reach the same folders by the same paths; left out: processes on this machine.",
    )
